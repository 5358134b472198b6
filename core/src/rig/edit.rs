//! Changing a description part by part: adding and taking out mechanisms with all that hangs on them.
//!
//! Nothing here judges: a description may be wrong before and after; [`Rig::new`](super::Rig::new)
//! says so. What these verbs promise is that a valid description stays valid.

use super::description::*;
use super::{Dof, ServoClass, Side, reference_face};
use serde_json::Map;

/// Kind of a mechanism, without its sizes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[allow(missing_docs)]
pub enum MechanismKind {
    Rotary,
    PushRod,
    FiveBar,
    Differential,
    Table,
}

impl MechanismKind {
    /// Every kind.
    pub const ALL: [Self; 5] = [Self::PushRod, Self::Rotary, Self::Table, Self::FiveBar, Self::Differential];

    /// Name in files.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Rotary => "rotary",
            Self::PushRod => "push-rod",
            Self::FiveBar => "five-bar",
            Self::Differential => "differential",
            Self::Table => "table",
        }
    }

    /// Number of servos (and, where it is two, of degrees of freedom).
    #[must_use]
    pub const fn servos(self) -> usize {
        match self {
            Self::FiveBar | Self::Differential => 2,
            Self::Rotary | Self::PushRod | Self::Table => 1,
        }
    }

    /// Sizes to start from, such that the skin's travel (least and greatest value of what is driven)
    /// takes about 30 to 45 degrees of servo each way. Common practice; measure your own.
    #[must_use]
    fn usual(self, driven: &[DofDescription]) -> LinkageDescription {
        let half = |i: usize| driven.get(i).map_or(1.0, |d| 0.5 * (d.skin_max - d.skin_min)).abs().max(0.5);
        let degrees = driven.first().is_some_and(|d| d.dof.unit() == "deg");
        let jaw = driven.first().is_some_and(|d| d.dof == Dof::JawOpen);
        match self {
            Self::Rotary if degrees => LinkageDescription::Rotary { ratio: 1.0, lever_mm: None },
            Self::Rotary if jaw => LinkageDescription::Rotary { ratio: 0.35, lever_mm: Some(75.0) },
            Self::Rotary => {
                LinkageDescription::Rotary { ratio: 1.0, lever_mm: Some((half(0) * 1.5).round().max(4.0)) }
            }
            Self::PushRod => {
                let horn = (half(0) / 0.5).clamp(10.0, 60.0).round();
                LinkageDescription::usual_push_rod(horn, (3.2 * horn).round())
            }
            Self::FiveBar => LinkageDescription::usual_corner(),
            Self::Differential => LinkageDescription::Differential {
                common_per_degree: half(0) / 30.0,
                difference_per_degree: half(1) / 30.0,
            },
            Self::Table => {
                let (low, high) = driven.first().map_or((0.0, 1.0), |d| (d.skin_min, d.skin_max));
                let point = |pulse_us, value| TablePoint { pulse_us, value, extra: Map::new() };
                let middle = 0.5 * (low + high);
                LinkageDescription::Table {
                    points: vec![point(1100.0, low), point(1500.0, middle), point(1900.0, high)],
                }
            }
        }
    }
}

impl LinkageDescription {
    /// Which kind it is.
    #[must_use]
    pub const fn kind(&self) -> MechanismKind {
        match self {
            Self::Rotary { .. } => MechanismKind::Rotary,
            Self::PushRod { .. } => MechanismKind::PushRod,
            Self::FiveBar { .. } => MechanismKind::FiveBar,
            Self::Differential { .. } => MechanismKind::Differential,
            Self::Table { .. } => MechanismKind::Table,
        }
    }
}

impl Dof {
    /// Travel that the reference face has here (least, greatest): where a new one starts.
    #[must_use]
    pub const fn usual_travel(self) -> (f64, f64) {
        reference_face::travel(self)
    }
}

impl RigDescription {
    /// The lowest channel of a board on which no servo hangs.
    #[must_use]
    pub fn free_channel(&self, controller: &str) -> u64 {
        let taken = |c: &u64| self.servos.iter().any(|s| s.controller == controller && s.channel == *c);
        (0..=255).find(|c| !taken(c)).unwrap_or(255)
    }

    /// A name that no servo has: the wanted one, else with a number behind it.
    fn free_name(&self, wanted: &str) -> String {
        let taken = |name: &str| self.servos.iter().any(|s| s.name == name);
        if !taken(wanted) {
            return wanted.to_owned();
        }
        // One more candidate than there are servos: one is free.
        (2..).map(|n| format!("{wanted} {n}")).find(|name| !taken(name)).unwrap_or_default()
    }

    /// Adds a mechanism of usual sizes with its servos, for degrees of freedom that nothing drives
    /// yet (two of them for two-servo kinds); those not listed are added with the reference face's
    /// travel. Lip and tongue limits that follow from the new parts are added with them. Gives back
    /// its index.
    pub fn add_mechanism(
        &mut self,
        kind: MechanismKind,
        class: ServoClass,
        name: &str,
        dofs: &[Dof],
    ) -> usize {
        for dof in dofs {
            if !self.dofs.iter().any(|d| d.dof == *dof) {
                let (skin_min, skin_max) = dof.usual_travel();
                let rest = 0.0;
                let (response, extra) = (Vec::new(), Map::new());
                self.dofs.push(DofDescription { dof: *dof, skin_min, skin_max, rest, response, extra });
            }
        }
        let driven = self.driven(dofs);
        let servos: Vec<String> = match kind.servos() {
            1 => vec![self.free_name(name)],
            _ => ["first", "second"].map(|which| self.free_name(&format!("{name} {which}"))).to_vec(),
        };
        let controller = self.servos.last().map(|s| s.controller.clone());
        for servo in &servos {
            let mut servo = class.describe(servo, 0);
            if let Some(controller) = &controller {
                servo.controller.clone_from(controller);
            }
            servo.channel = self.free_channel(&servo.controller);
            self.servos.push(servo);
        }
        let drives = drives_of(kind, &driven);
        self.mechanisms.push(MechanismDescription {
            name: name.to_owned(),
            linkage: kind.usual(&driven),
            servos,
            drives,
            extra: Map::new(),
        });
        self.couple_usual(dofs);
        self.mechanisms.len() - 1
    }

    fn driven(&self, dofs: &[Dof]) -> Vec<DofDescription> {
        dofs.iter().filter_map(|dof| self.dofs.iter().find(|d| d.dof == *dof).cloned()).collect()
    }

    /// Gives a mechanism another kind, with usual sizes for what it drives; only between kinds with
    /// the same number of servos, else nothing happens. Says whether it did.
    pub fn change_kind(&mut self, mechanism: usize, kind: MechanismKind) -> bool {
        let Some(old) = self.mechanisms.get(mechanism) else { return false };
        if old.linkage.kind().servos() != kind.servos() {
            return false;
        }
        let dofs: Vec<Dof> = old.drives.iter().map(|d| d.dof).collect();
        let driven = self.driven(&dofs);
        let Some(m) = self.mechanisms.get_mut(mechanism) else { return false };
        m.linkage = kind.usual(&driven);
        m.drives = drives_of(kind, &driven);
        true
    }

    /// Takes a mechanism out, with its servos, what it drove, and the limits and poses that spoke of
    /// that. Channels of the others stay as they are wired.
    pub fn remove_mechanism(&mut self, mechanism: usize) {
        if mechanism >= self.mechanisms.len() {
            return;
        }
        let gone = self.mechanisms.remove(mechanism);
        let used = |name: &String| self.mechanisms.iter().any(|m| m.servos.contains(name));
        self.servos.retain(|s| !gone.servos.contains(&s.name) || used(&s.name));
        for drive in &gone.drives {
            if self.mechanisms.iter().any(|m| m.drives.iter().any(|d| d.dof == drive.dof)) {
                continue;
            }
            self.dofs.retain(|d| d.dof != drive.dof);
            self.couplings.retain(|c| c.terms.iter().all(|t| t.dof != drive.dof));
            for pose in self.poses.values_mut().chain(self.expressions.values_mut()) {
                pose.target.remove(&drive.dof);
                pose.importance.remove(&drive.dof);
            }
        }
    }

    /// Gives a servo another name, here and in the mechanism that it moves.
    pub fn rename_servo(&mut self, servo: usize, name: &str) {
        let Some(s) = self.servos.get_mut(servo) else { return };
        let old = std::mem::replace(&mut s.name, name.to_owned());
        // Where two servos have the old name, nobody knows which one a mechanism means.
        if self.servos.iter().any(|s| s.name == old) {
            return;
        }
        for m in &mut self.mechanisms {
            for used in m.servos.iter_mut().filter(|used| **used == old) {
                name.clone_into(used);
            }
        }
    }

    /// Gives a servo the figures of a class; name, wiring, pulses and direction stay.
    pub fn set_class(&mut self, servo: usize, class: ServoClass) {
        let Some(s) = self.servos.get_mut(servo) else { return };
        let usual = class.describe(&s.name, s.channel);
        *s = ServoDescription {
            controller: s.controller.clone(),
            pulse_min_us: s.pulse_min_us,
            pulse_max_us: s.pulse_max_us,
            pulse_neutral_us: s.pulse_neutral_us,
            us_per_degree: s.us_per_degree,
            extra: s.extra.clone(),
            ..usual
        };
    }

    /// Adds the limits that lips and tongue need, where `new` parts make them possible and no limit
    /// speaks of the same parts yet.
    fn couple_usual(&mut self, new: &[Dof]) {
        let has = |d: &Self, dof: Dof| d.dofs.iter().any(|x| x.dof == dof);
        for (side, name) in Side::BOTH.into_iter().zip(["left", "right"]) {
            let (upper, lower) = (side.upper_lip(), side.lower_lip());
            if new.iter().any(|d| [upper, lower, Dof::JawOpen].contains(d))
                && has(self, upper)
                && has(self, lower)
            {
                let mut terms = vec![(upper, 1.0), (lower, -1.0)];
                if has(self, Dof::JawOpen) {
                    terms.push((Dof::JawOpen, self.face.lower_lip_per_jaw));
                }
                let least = -self.face.lip_compression_mm;
                self.couple(&format!("lip gap {name}"), &terms, Some(least), None);
            }
        }
        if new.iter().any(|d| [Dof::TongueTip, Dof::JawOpen].contains(d))
            && has(self, Dof::TongueTip)
            && has(self, Dof::JawOpen)
        {
            // The tongue rides on the jaw: with the jaw shut its tip has about 9 mm to the palate.
            let terms = [(Dof::TongueTip, 1.0), (Dof::JawOpen, -1.0)];
            self.couple("tongue tip under palate", &terms, None, Some(9.0));
        }
    }

    fn couple(&mut self, name: &str, terms: &[(Dof, f64)], min_mm: Option<f64>, max_mm: Option<f64>) {
        let terms: Vec<(Dof, f64)> = terms.iter().copied().filter(|t| t.1 != 0.0).collect();
        let same = |c: &CouplingDescription| {
            terms.iter().filter(|t| t.0 != Dof::JawOpen).all(|t| c.terms.iter().any(|x| x.dof == t.0))
        };
        if self.couplings.iter().any(same) {
            return;
        }
        let terms = terms
            .into_iter()
            .map(|(dof, factor)| TermDescription { dof, factor, extra: Map::new() })
            .collect();
        self.couplings.push(CouplingDescription {
            name: name.to_owned(),
            terms,
            min_mm,
            max_mm,
            extra: Map::new(),
        });
    }
}

/// Drives of usual gain, with the servo's neutral pulse in the middle of the skin's travel.
fn drives_of(kind: MechanismKind, driven: &[DofDescription]) -> Vec<DriveDescription> {
    let middle = |d: &DofDescription| match kind {
        // A table's values are the face's own; a five-bar's rest point is where it is mounted.
        MechanismKind::Table => 0.0,
        MechanismKind::FiveBar => d.rest,
        _ => 0.5 * (d.skin_min + d.skin_max),
    };
    driven
        .iter()
        .map(|d| DriveDescription { dof: d.dof, gain: 1.0, at_neutral: middle(d), extra: Map::new() })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phonetics::MouthShape;
    use crate::rig::{Preset, Rig};

    fn valid(d: &RigDescription) -> Rig {
        Rig::new(d.clone()).unwrap_or_else(|e| panic!("{e}"))
    }

    #[test]
    fn a_tongue_servo_is_added_to_jaw_and_lips() {
        let mut d = Preset::JawAndLips.describe();
        let i = d.add_mechanism(
            MechanismKind::PushRod,
            ServoClass::MicroDigital,
            "tongue tip",
            &[Dof::TongueTip],
        );
        let rig = valid(&d);
        assert_eq!((i, rig.servos().len(), rig.servos()[3].channel), (3, 4, 3));
        assert!(d.couplings.iter().any(|c| c.name == "tongue tip under palate"));
        let up = rig.reach(&crate::rig::DofValues::from_pairs(&[(Dof::TongueTip, 12.0)]));
        assert!(up.clamped.is_empty(), "the whole travel of the skin is reached: {up:?}");
    }

    /// Every kind for every DOF it can drive, on a head that lacks them: usual sizes must work.
    #[test]
    fn every_kind_starts_valid_and_goes_without_a_trace() {
        let before = Preset::JawOnly.describe();
        let corner = [Dof::CornerLeftX, Dof::CornerLeftY];
        let brow = [Dof::BrowLeftInner, Dof::BrowLeftOuter];
        for kind in MechanismKind::ALL {
            let choices: Vec<Vec<Dof>> = match kind {
                MechanismKind::FiveBar => vec![corner.to_vec()],
                MechanismKind::Differential => vec![corner.to_vec(), brow.to_vec()],
                _ => Dof::ALL[1..].iter().map(|d| vec![*d]).collect(),
            };
            for dofs in choices {
                // A slider moves millimetres; the neck turns.
                if kind == MechanismKind::PushRod && dofs.contains(&Dof::NeckTurn) {
                    continue;
                }
                let mut d = before.clone();
                let i = d.add_mechanism(kind, ServoClass::Standard, "new", &dofs);
                let rig = valid(&d);
                for dof in &dofs {
                    let spec = rig.dof(*dof).expect("added");
                    for value in [spec.skin_min, spec.skin_max] {
                        let mut wanted = rig.rest();
                        wanted[*dof] = value;
                        let got = rig.reach(&wanted).dofs[*dof];
                        assert!((got - value).abs() < 1e-6, "{} {dof}: {got} of {value}", kind.name());
                    }
                }
                d.remove_mechanism(i);
                assert_eq!(d, before, "{}", kind.name());
            }
        }
    }

    #[test]
    fn removing_takes_limits_and_poses_along() {
        let mut d = Preset::Harbourmaster.describe();
        d.poses.entry(MouthShape::Dental).or_default().target.insert(Dof::TongueTip, 6.0);
        let i = d.mechanisms.iter().position(|m| m.name == "tongue tip rod").expect("there");
        d.remove_mechanism(i);
        let rig = valid(&d);
        assert!(rig.dof(Dof::TongueTip).is_none() && rig.servos().len() == 15);
        d.remove_mechanism(99);
        valid(&d);
    }

    #[test]
    fn names_kinds_and_classes_change_in_place() {
        let mut d = Preset::JawAndLips.describe();
        d.rename_servo(1, "lip, upper");
        assert_eq!(d.mechanisms[1].servos, ["lip, upper"]);
        d.rename_servo(2, "lip, upper");
        d.rename_servo(2, "lower");
        assert_eq!(d.mechanisms[1].servos, ["lip, upper"], "a clash in between does not rewire");
        let mut d = Preset::JawAndLips.describe();
        d.servos[0].pulse_max_us = 2000.0;
        d.set_class(0, ServoClass::MicroAnalogue);
        assert_eq!((d.servos[0].pulse_max_us, d.servos[0].stall_current_a), (2000.0, 0.8));
        assert!(d.change_kind(1, MechanismKind::Table) && !d.change_kind(1, MechanismKind::FiveBar));
        valid(&d);
        assert!(d.change_kind(1, MechanismKind::PushRod));
        valid(&d);
    }
}
