//! Symmetry: edit the left half, have the right half follow.

use super::description::{MechanismDescription, PoseDescription, RigDescription};
use super::{Dof, DofValues};

impl DofValues {
    /// Left and right exchanged; the neck turns the other way.
    #[must_use]
    pub fn mirrored(&self) -> Self {
        let mut out = *self;
        for (dof, value) in self.iter() {
            out[dof.mirror()] = if dof == Dof::NeckTurn { -value } else { value };
        }
        out
    }
}

impl RigDescription {
    /// Gives the right half the skin, mechanism sizes and poses of the left, where both halves have
    /// the same parts. What belongs to the single servo stays: pulses, direction, channel, currents.
    pub fn mirror_left_to_right(&mut self) {
        for left in self.dofs.clone().into_iter().filter(|d| d.dof.is_left()) {
            if let Some(right) = self.dofs.iter_mut().find(|d| d.dof == left.dof.mirror()) {
                (right.skin_min, right.skin_max, right.rest) = (left.skin_min, left.skin_max, left.rest);
            }
        }
        let all = self.mechanisms.clone();
        for left in all.iter().filter(|m| m.drives.iter().all(|d| d.dof.is_left())) {
            let twin = |m: &&mut MechanismDescription| {
                m.servos.len() == left.servos.len()
                    && m.drives.len() == left.drives.len()
                    && m.drives.iter().zip(&left.drives).all(|(a, b)| a.dof == b.dof.mirror())
            };
            if let Some(right) = self.mechanisms.iter_mut().find(twin) {
                right.linkage = left.linkage.clone();
                for (to, from) in right.drives.iter_mut().zip(&left.drives) {
                    (to.gain, to.at_neutral) = (from.gain, from.at_neutral);
                }
            }
        }
        self.poses.values_mut().chain(self.expressions.values_mut()).for_each(mirror_pose);
    }
}

fn mirror_pose(pose: &mut PoseDescription) {
    for map in [&mut pose.target, &mut pose.importance] {
        for (dof, value) in map.clone().into_iter().filter(|(dof, _)| dof.is_left()) {
            map.insert(dof.mirror(), value);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phonetics::MouthShape;
    use crate::rig::{LinkageDescription, Preset, Rig};

    #[test]
    fn mirroring_twice_is_nothing() {
        for dof in Dof::ALL {
            assert_eq!(dof.mirror().mirror(), dof);
            assert_eq!(dof.is_left(), dof.name().contains("left"));
            assert_eq!(dof.mirror() != dof, dof.name().contains("left") || dof.name().contains("right"));
        }
        let values = DofValues::from_pairs(&[(Dof::NeckTurn, 5.0), (Dof::CornerLeftX, 2.0)]);
        assert_eq!(values.mirrored()[Dof::CornerRightX], 2.0);
        assert_eq!(values.mirrored()[Dof::NeckTurn], -5.0);
        assert_eq!(values.mirrored().mirrored(), values);
    }

    #[test]
    fn the_right_half_follows_the_left() {
        let fresh = Preset::Harbourmaster.describe();
        let mut same = fresh.clone();
        same.mirror_left_to_right();
        assert_eq!(same, fresh, "the preset is symmetric");
        let mut d = fresh;
        let at =
            |d: &RigDescription, name: &str| d.mechanisms.iter().position(|m| m.name == name).expect("there");
        let left = at(&d, "corner left");
        if let LinkageDescription::FiveBar { distal_mm, .. } = &mut d.mechanisms[left].linkage {
            *distal_mm = 41.0;
        }
        d.dofs[1].skin_max = 5.0;
        d.poses.entry(MouthShape::Spread).or_default().target.insert(Dof::CornerLeftX, 5.5);
        let pulses = d.servos.clone();
        d.mirror_left_to_right();
        assert_eq!(d.servos, pulses, "servos keep their own calibration");
        let rig = Rig::new(d).expect("valid");
        assert_eq!(rig.dof(Dof::UpperLipRight).map(|x| x.skin_max), Some(5.0));
        for shape in MouthShape::ALL {
            let target = rig.pose(shape).target;
            for (dof, value) in target.mirrored().iter() {
                assert!((value - target[dof]).abs() < 1e-9, "{shape} {dof}");
            }
        }
    }
}
