//! The views of the page: one enum, so that another is one line here and one arm where it is shown.

/// What the page shows below its bar.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum View {
    /// One line: stage, shapes, lanes.
    #[default]
    Line,
    /// The head: servos, mechanisms, poses, calibration.
    Rig,
    /// The head on the bench: driven by hand, slowly at first.
    Bench,
}

impl View {
    /// Every view, in the order of the switch; the key that goes there is its place, from 1.
    pub const ALL: [Self; 3] = [Self::Line, Self::Rig, Self::Bench];

    /// Name on the switch.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Line => "Line",
            Self::Rig => "Rig",
            Self::Bench => "Bench",
        }
    }

    /// Name for `data-testid`, element ids and `data-view`.
    #[must_use]
    pub const fn id(self) -> &'static str {
        match self {
            Self::Line => "line",
            Self::Rig => "rig",
            Self::Bench => "bench",
        }
    }

    /// What a person does there.
    #[must_use]
    pub const fn purpose(self) -> &'static str {
        match self {
            Self::Line => "Hear, see and correct a line",
            Self::Rig => "Describe, calibrate and change the head",
            Self::Bench => "Move the head itself, slowly at first",
        }
    }

    /// The view that a digit key goes to.
    #[must_use]
    pub fn of_key(key: &str) -> Option<Self> {
        let place: usize = key.parse().ok()?;
        Self::ALL.get(place.checked_sub(1)?).copied()
    }

    /// The view `by` places on, round the end.
    #[must_use]
    pub fn stepped(self, by: isize) -> Self {
        let count = Self::ALL.len() as isize;
        let at = Self::ALL.iter().position(|v| *v == self).unwrap_or(0) as isize;
        Self::ALL[(at + by).rem_euclid(count) as usize]
    }
}

#[cfg(test)]
mod tests {
    use super::View;

    #[test]
    fn digits_and_steps_reach_every_view() {
        for (i, view) in View::ALL.into_iter().enumerate() {
            assert_eq!(View::of_key(&(i + 1).to_string()), Some(view));
            assert_eq!(view.stepped(1).stepped(-1), view);
        }
        assert_eq!(View::of_key("0"), None, "0 is the zoom's");
        assert_eq!(View::of_key("9"), None);
        assert_eq!(View::of_key("Enter"), None);
    }
}
