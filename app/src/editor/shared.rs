//! Large values that are passed around and compared by identity.

use std::ops::Deref;
use std::sync::Arc;

/// A shared value that equals another only if it is the very same one: cheap to copy, and cheap to
/// ask "did it change?".
#[derive(Debug)]
pub struct Shared<T>(Arc<T>);

impl<T> Shared<T> {
    /// Shares a value.
    pub fn new(value: T) -> Self {
        Self(Arc::new(value))
    }
}

impl<T: Default> Default for Shared<T> {
    fn default() -> Self {
        Self::new(T::default())
    }
}

impl<T> Clone for Shared<T> {
    fn clone(&self) -> Self {
        Self(Arc::clone(&self.0))
    }
}

impl<T> PartialEq for Shared<T> {
    fn eq(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.0, &other.0)
    }
}

impl<T> Deref for Shared<T> {
    type Target = T;
    fn deref(&self) -> &T {
        &self.0
    }
}

#[cfg(test)]
mod tests {
    use super::Shared;

    #[test]
    fn equal_values_are_not_the_same_value() {
        let a = Shared::new(vec![1, 2, 3]);
        assert!(a == a.clone());
        assert!(a != Shared::new(vec![1, 2, 3]));
    }
}
