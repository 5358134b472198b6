//! The whole way from a recording to what was heard in it.

/// How to listen.
#[derive(Clone, Debug, Default, PartialEq)]
#[non_exhaustive]
pub struct ListenSettings {}
