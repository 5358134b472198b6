//! A jaw with lips, for tests of limits that tie its servos to each other.

use crate::motion::head::Group;
use crate::rig::{Dof, DofValues, Rig};

/// The same limits turned round, so that what was a least value is a most.
pub(in crate::motion) fn turned(group: &Group) -> Group {
    let mut turned = group.clone();
    for limit in &mut turned.limits {
        (limit.lower, limit.upper) = (-limit.upper, -limit.lower);
        limit.form.constant = -limit.form.constant;
        limit.form.terms.iter_mut().for_each(|t| t.1 = -t.1);
    }
    turned
}

/// Angles of lips as they stand with the jaw 15 mm open, and of a jaw that is shut: the lips are driven into each other.
pub(in crate::motion) fn one_in_the_other(rig: &Rig) -> Vec<f64> {
    let lips = [
        (Dof::UpperLipLeft, -2.0),
        (Dof::UpperLipRight, -2.0),
        (Dof::LowerLipLeft, 2.0),
        (Dof::LowerLipRight, 2.0),
    ];
    let wide = DofValues::from_pairs(&[&[(Dof::JawOpen, 15.0)], &lips[..]].concat());
    let mut angles: Vec<f64> = rig.reach(&wide).angles.iter().map(|a| a.value()).collect();
    angles[0] = rig.rest_angles()[0].value();
    angles
}

/// Two postures that have the same value of a group's first limit; on the straight way of the servos from one to the other
/// it strays, for linkages are curved.
pub(in crate::motion) struct Way {
    /// Angles at rest.
    pub(in crate::motion) first: Vec<f64>,
    /// The other ones.
    pub(in crate::motion) last: Vec<f64>,
    /// The limit's value at both ends.
    pub(in crate::motion) ends: f64,
    /// By how much it strays below and above that.
    pub(in crate::motion) below: f64,
    pub(in crate::motion) above: f64,
}

impl Way {
    /// Looks at hundredths of the way.
    pub(in crate::motion) fn of(rig: &Rig, group: &Group) -> Self {
        let gap = |angles: &[f64]| group.limits[0].form.value(&group.face(rig, angles));
        let first = group.rest(&rig.rest_angles());
        let with = |lip: f64| vec![first[0] + 16.0, lip, first[2] + 20.0];
        // The upper lip makes up for jaw and lower lip, found by halving.
        let (mut closer, mut wider) = (first[1] - 60.0, first[1] + 60.0);
        if gap(&with(closer)) > gap(&with(wider)) {
            (closer, wider) = (wider, closer);
        }
        for _ in 0..60 {
            let lip = 0.5 * (closer + wider);
            if gap(&with(lip)) < gap(&first) { closer = lip } else { wider = lip }
        }
        let last = with(closer);
        let along = |k: u32| -> f64 {
            let u = f64::from(k) / 100.0;
            gap(&first.iter().zip(&last).map(|(a, b)| a + u * (b - a)).collect::<Vec<f64>>())
        };
        let (low, high) = (0..=100).map(along).fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(v), h.max(v)));
        let ends = along(0);
        let (below, above) = (ends - low, high - ends);
        assert!((ends - along(100)).abs() < 1e-6 && below.max(above) > 0.05, "{ends}: {low} to {high}");
        Self { first, last, ends, below, above }
    }

    /// Limits that allow the ends, and on the way half of what it strays by.
    pub(in crate::motion) fn half(&self) -> (f64, f64) {
        if self.below > self.above {
            (self.ends - 0.5 * self.below, 99.0)
        } else {
            (-99.0, self.ends + 0.5 * self.above)
        }
    }
}
