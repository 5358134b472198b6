//! Heads to start from. Sizes are common practice for hobby mechanisms (horns of 10–20 mm, rods of
//! 30–60 mm); every number is ours, for heads that do not exist.

use super::description::*;
use super::{Dof, Rig, ServoClass};
use serde_json::Map;
use std::collections::BTreeMap;

/// A head to start from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Preset {
    /// Jaw alone.
    JawOnly,
    /// Jaw, both lips, each on one servo.
    JawAndLips,
    /// The full head of sixteen servos.
    Harbourmaster,
    /// A foam puppet: jaw and brows.
    FoamPuppet,
    /// Jaw, lips, brows, eyelids and neck on seven servos.
    Lookout,
}

impl Preset {
    /// Every preset.
    pub const ALL: [Self; 5] =
        [Self::JawOnly, Self::JawAndLips, Self::Harbourmaster, Self::FoamPuppet, Self::Lookout];

    /// Name for people.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::JawOnly => "Jaw only",
            Self::JawAndLips => "Jaw and lips",
            Self::Harbourmaster => "Harbourmaster",
            Self::FoamPuppet => "Foam puppet",
            Self::Lookout => "Lookout",
        }
    }

    /// Name of its file under `static/rigs`.
    #[must_use]
    pub const fn file_name(self) -> &'static str {
        match self {
            Self::JawOnly => "jaw-only.json",
            Self::JawAndLips => "jaw-and-lips.json",
            Self::Harbourmaster => "harbourmaster.json",
            Self::FoamPuppet => "foam-puppet.json",
            Self::Lookout => "lookout.json",
        }
    }

    /// What it consists of, as a file would say it.
    #[must_use]
    pub fn describe(self) -> RigDescription {
        match self {
            Self::JawOnly => jaw_only(),
            Self::JawAndLips => jaw_and_lips(),
            Self::Harbourmaster => harbourmaster(),
            Self::FoamPuppet => foam_puppet(),
            Self::Lookout => lookout(),
        }
    }

    /// The head itself.
    #[must_use]
    pub fn rig(self) -> Rig {
        Rig::new(self.describe()).expect("presets are valid: a test builds each of them")
    }
}

impl Rig {
    /// The museum's talking head: jaw, four lip servos, two corners of two servos each, tongue tip
    /// and body, brows (each inner point, both outer ones together), both lids on one servo, neck.
    #[must_use]
    pub fn harbourmaster() -> Self {
        Preset::Harbourmaster.rig()
    }

    /// A jaw and nothing else.
    #[must_use]
    pub fn jaw_only() -> Self {
        Preset::JawOnly.rig()
    }
}

/// Builds descriptions up, servo by servo.
struct Builder {
    rig: RigDescription,
}

impl Builder {
    fn new(name: &str, notes: &str, budget_a: f64) -> Self {
        Self {
            rig: RigDescription {
                format: super::read::FORMAT,
                version: super::read::VERSION,
                name: name.to_owned(),
                notes: notes.to_owned(),
                supply: SupplyDescription { input_v: 12.0, rail_v: 6.0, budget_a, extra: Map::new() },
                face: FaceDescription::default(),
                servos: Vec::new(),
                mechanisms: Vec::new(),
                dofs: Vec::new(),
                couplings: Vec::new(),
                poses: BTreeMap::new(),
                expressions: BTreeMap::new(),
                extra: Map::new(),
            },
        }
    }

    /// Adds a servo on the next channel; `reverse` for one mounted the other way round.
    fn servo(&mut self, name: &str, class: ServoClass, reverse: bool) -> &mut ServoDescription {
        let channel = self.rig.servos.len() as u64;
        let mut servo = class.describe(name, channel);
        if reverse {
            servo.us_per_degree = -servo.us_per_degree;
        }
        self.rig.servos.push(servo);
        let last = self.rig.servos.len() - 1;
        &mut self.rig.servos[last]
    }

    fn dof(&mut self, dof: Dof, skin_min: f64, skin_max: f64) {
        self.rig.dofs.push(DofDescription {
            dof,
            skin_min,
            skin_max,
            rest: 0.0,
            response: Vec::new(),
            extra: Map::new(),
        });
    }

    fn mechanism(&mut self, name: &str, linkage: LinkageDescription, servos: &[&str], drives: &[(Dof, f64)]) {
        self.rig.mechanisms.push(MechanismDescription {
            name: name.to_owned(),
            linkage,
            servos: servos.iter().map(|s| (*s).to_owned()).collect(),
            drives: drives
                .iter()
                .map(|(dof, at_neutral)| DriveDescription {
                    dof: *dof,
                    gain: 1.0,
                    at_neutral: *at_neutral,
                    extra: Map::new(),
                })
                .collect(),
            extra: Map::new(),
        });
    }

    /// A jaw on a hinge 75 mm behind the incisors, geared down.
    fn jaw(&mut self, class: ServoClass, most: f64) {
        self.servo("jaw", class, false);
        self.dof(Dof::JawOpen, 0.0, most);
        let linkage = LinkageDescription::Rotary { ratio: 0.35, lever_mm: Some(75.0) };
        self.mechanism("jaw hinge", linkage, &["jaw"], &[(Dof::JawOpen, 0.5 * most)]);
    }

    /// A panel on a push-rod, with the usual travel; the horn stands across the rod in its middle.
    fn panel(&mut self, name: &str, class: ServoClass, reverse: bool, horn_and_rod: [f64; 2], dofs: &[Dof]) {
        self.servo(name, class, reverse);
        let mut drives = vec![];
        for dof in dofs {
            let (least, most) = dof.usual_travel();
            self.dof(*dof, least, most);
            drives.push((*dof, 0.5 * (least + most)));
        }
        let linkage = LinkageDescription::usual_push_rod(horn_and_rod[0], horn_and_rod[1]);
        self.mechanism(&format!("{name} rod"), linkage, &[name], &drives);
    }

    fn corner(&mut self, side: &str, reverse: bool, x: Dof, y: Dof) {
        let names = [format!("corner {side} inner"), format!("corner {side} outer")];
        for name in &names {
            self.servo(name, ServoClass::Standard, reverse);
        }
        for dof in [x, y] {
            let (least, most) = dof.usual_travel();
            self.dof(dof, least, most);
        }
        let linkage = LinkageDescription::usual_corner();
        self.mechanism(&format!("corner {side}"), linkage, &[&names[0], &names[1]], &[(x, 0.0), (y, 0.0)]);
    }

    fn couple(&mut self, name: &str, terms: &[(Dof, f64)], min_mm: Option<f64>, max_mm: Option<f64>) {
        self.rig.couplings.push(CouplingDescription {
            name: name.to_owned(),
            terms: terms
                .iter()
                .map(|(dof, factor)| TermDescription { dof: *dof, factor: *factor, extra: Map::new() })
                .collect(),
            min_mm,
            max_mm,
            extra: Map::new(),
        });
    }

    /// A neck that carries the whole head: slow, and slow to start.
    fn neck(&mut self, most: f64) {
        let neck = self.servo("neck", ServoClass::Standard, false);
        neck.speed_s_per_60deg = 0.16;
        neck.load_derating_up = 0.5;
        neck.load_derating_down = 0.5;
        neck.acceleration_deg_per_s2 = 1_500.0;
        neck.moving_current_a = 0.4;
        neck.stall_current_a = 2.5;
        self.dof(Dof::NeckTurn, -most, most);
        self.mechanism(
            "neck",
            LinkageDescription::Rotary { ratio: 1.0, lever_mm: None },
            &["neck"],
            &[(Dof::NeckTurn, 0.0)],
        );
    }

    /// Lips must not be driven into each other beyond what the skin takes.
    fn couple_lips(&mut self) {
        let (per_jaw, compression) = (self.rig.face.lower_lip_per_jaw, self.rig.face.lip_compression_mm);
        for (side, upper, lower) in [
            ("left", Dof::UpperLipLeft, Dof::LowerLipLeft),
            ("right", Dof::UpperLipRight, Dof::LowerLipRight),
        ] {
            let terms = [(upper, 1.0), (lower, -1.0), (Dof::JawOpen, per_jaw)];
            self.couple(&format!("lip gap {side}"), &terms, Some(-compression), None);
        }
    }
}

const JAW_TRAVEL: f64 = 18.0;
const LIP_ROD: [f64; 2] = [14.0, 45.0];
const BROW_ROD: [f64; 2] = [12.0, 40.0];
/// A long horn: lids want speed and hardly any force.
const LID_ROD: [f64; 2] = [20.0, 60.0];

fn jaw_only() -> RigDescription {
    let mut b = Builder::new("Jaw only", "One servo opens the jaw.", 1.0);
    b.jaw(ServoClass::FastDigital, JAW_TRAVEL);
    b.rig
}

fn jaw_and_lips() -> RigDescription {
    let mut b = Builder::new("Jaw and lips", "A jaw, and one servo for each lip.", 1.5);
    b.jaw(ServoClass::FastDigital, JAW_TRAVEL);
    let standard = ServoClass::Standard;
    b.panel("upper lip", standard, false, LIP_ROD, &[Dof::UpperLipLeft, Dof::UpperLipRight]);
    b.panel("lower lip", standard, true, LIP_ROD, &[Dof::LowerLipLeft, Dof::LowerLipRight]);
    b.couple_lips();
    b.rig
}

fn foam_puppet() -> RigDescription {
    let mut b = Builder::new("Foam puppet", "A foam head: jaw, and one servo for each brow.", 1.0);
    b.jaw(ServoClass::Standard, 30.0);
    let micro = ServoClass::MicroAnalogue;
    b.panel("brow left", micro, false, BROW_ROD, &[Dof::BrowLeftInner, Dof::BrowLeftOuter]);
    b.panel("brow right", micro, true, BROW_ROD, &[Dof::BrowRightInner, Dof::BrowRightOuter]);
    b.rig
}

/// Both lids hang on one servo, as makers do it who need no wink.
fn lookout() -> RigDescription {
    let mut b = Builder::new(
        "Lookout",
        "The lookout in the harbour's tower: jaw, lips, brows, eyelids and neck on seven servos.",
        2.0,
    );
    b.jaw(ServoClass::FastDigital, JAW_TRAVEL);
    let (standard, micro) = (ServoClass::Standard, ServoClass::MicroDigital);
    b.panel("upper lip", standard, false, LIP_ROD, &[Dof::UpperLipLeft, Dof::UpperLipRight]);
    b.panel("lower lip", standard, true, LIP_ROD, &[Dof::LowerLipLeft, Dof::LowerLipRight]);
    b.panel("brow left", micro, false, BROW_ROD, &[Dof::BrowLeftInner, Dof::BrowLeftOuter]);
    b.panel("brow right", micro, true, BROW_ROD, &[Dof::BrowRightInner, Dof::BrowRightOuter]);
    b.panel("lids", micro, false, LID_ROD, &[Dof::LidLeft, Dof::LidRight]);
    b.neck(40.0);
    b.couple_lips();
    b.rig
}

/// As many servos as one driver board has channels. So that the lids get one, the outer points of the
/// brows share theirs: they rise and fall together in every look there is.
fn harbourmaster() -> RigDescription {
    let b = Builder::new(
        "Harbourmaster",
        "Talking head of the harbour museum: silicone skin on moving panels, sixteen servos on one 6 V rail, \
         the outer brows on one and both eyelids on one. Servo figures and sizes are common practice, not \
         measurements.",
        3.0,
    );
    full(b, |b| {
        let micro = ServoClass::MicroDigital;
        b.panel("brow left inner", micro, false, BROW_ROD, &[Dof::BrowLeftInner]);
        b.panel("brow right inner", micro, true, BROW_ROD, &[Dof::BrowRightInner]);
        b.panel("brows outer", micro, false, BROW_ROD, &[Dof::BrowLeftOuter, Dof::BrowRightOuter]);
        b.panel("lids", micro, false, LID_ROD, &[Dof::LidLeft, Dof::LidRight]);
    })
}

/// The same without lids and with a servo for each point of the brows: whatever is wanted of it, each
/// part can do for itself, and tests may ask for any pose.
#[cfg(test)]
pub(crate) fn all_apart() -> RigDescription {
    full(Builder::new("All apart", "", 3.0), |b| {
        for (name, reverse, dof) in [
            ("brow left inner", false, Dof::BrowLeftInner),
            ("brow left outer", false, Dof::BrowLeftOuter),
            ("brow right inner", true, Dof::BrowRightInner),
            ("brow right outer", true, Dof::BrowRightOuter),
        ] {
            b.panel(name, ServoClass::MicroDigital, reverse, BROW_ROD, &[dof]);
        }
    })
}

/// Jaw, lips, corners and tongue with a servo for each motion, what is above the nose, and a neck.
fn full(mut b: Builder, above: impl FnOnce(&mut Builder)) -> RigDescription {
    b.jaw(ServoClass::FastDigital, JAW_TRAVEL);
    let standard = ServoClass::Standard;
    b.panel("upper lip left", standard, false, LIP_ROD, &[Dof::UpperLipLeft]);
    b.panel("upper lip right", standard, true, LIP_ROD, &[Dof::UpperLipRight]);
    b.panel("lower lip left", standard, false, LIP_ROD, &[Dof::LowerLipLeft]);
    b.panel("lower lip right", standard, true, LIP_ROD, &[Dof::LowerLipRight]);
    b.corner("left", false, Dof::CornerLeftX, Dof::CornerLeftY);
    b.corner("right", true, Dof::CornerRightX, Dof::CornerRightY);
    let micro = ServoClass::MicroDigital;
    b.panel("tongue tip", micro, false, [16.0, 50.0], &[Dof::TongueTip]);
    b.panel("tongue body", micro, false, [14.0, 45.0], &[Dof::TongueBody]);
    above(&mut b);
    b.neck(35.0);
    b.couple_lips();
    // The tongue rides on the jaw: with the jaw shut its tip has 9 mm to the palate.
    b.couple("tongue tip under palate", &[(Dof::TongueTip, 1.0), (Dof::JawOpen, -1.0)], None, Some(9.0));
    b.rig
}
