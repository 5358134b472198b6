//! The objective of a motion, evaluated on the motion itself.
//!
//! The solver sees contacts through linearised forms; here the true forms are taken, so that the number
//! means the same after a plan of the whole line and after a local one. It is a sum over frames: what
//! an edit changes is the difference of two sums over the frames that it can touch.

use super::condition::conditions;
use super::head::Group;
use super::plan::ServoCurve;
use super::planner::Planner;
use super::targets::Contact;
use super::track::Track;

impl Planner<'_> {
    /// Objective of the curves over the planner's free frames, whose first stands at `offset` in them.
    pub(super) fn objective_of(&self, servos: &[ServoCurve], offset: usize) -> f64 {
        let tracks = self.head.groups.iter().map(|g| (g, Track::of_plan(self, g, servos, offset)));
        tracks.map(|(group, track)| self.objective_of_group(group, &track)).sum()
    }

    fn objective_of_group(&self, group: &Group, track: &Track) -> f64 {
        let (free, m) = (self.free(), group.servos.len());
        // Without rows: errors, smoothness and jerk alone.
        let quadratic = self.objective(group, free.clone(), track);
        let angles = &track.angles[free.start * m..free.end * m];
        let paid = self.contacts_in(&free).into_iter().map(|c| self.paid(group, c, track)).sum::<f64>();
        quadratic.objective(angles) + paid
    }

    /// What one contact costs: its full price for the distance by which it is missed at the frame that
    /// comes nearest, and a small share of it on every other frame of its segment.
    fn paid(&self, group: &Group, contact: &Contact, track: &Track) -> f64 {
        let m = group.servos.len();
        let conditions = conditions(contact, group);
        let (mut held, mut best, mut least) = (0.0, 0.0, f64::INFINITY);
        if conditions.is_empty() {
            return 0.0;
        }
        for t in contact.first..contact.end {
            let face = group.face(self.head.rig, &track.angles[t * m..(t + 1) * m]);
            let sum = |made: bool| -> f64 {
                conditions
                    .iter()
                    .map(|c| c.price(&self.settings, made) * c.breach(c.form.value(&face), made))
                    .sum()
            };
            let missing =
                conditions.iter().map(|c| c.missing(c.form.value(&face))).fold(f64::NEG_INFINITY, f64::max);
            held += sum(false);
            if missing < least {
                least = missing;
                best = sum(true) - sum(false);
            }
        }
        held + best
    }
}

#[cfg(test)]
impl super::plan::Plan {
    /// The objective counted anew over the whole plan, from its curves and targets alone.
    pub(super) fn recount(&self) -> f64 {
        let wanted = (0..self.frames()).flat_map(|t| self.servos.iter().map(move |s| s.wanted[t].value()));
        let planner = Planner {
            head: super::head::Head::new(&self.rig, self.frame.value()).expect("was planned for"),
            targets: self.targets.clone(),
            settings: self.settings,
            wanted: wanted.collect(),
        };
        planner.objective_of(&self.servos, 0)
    }
}

#[cfg(test)]
#[path = "tests/score.rs"]
mod tests;
