//! The fields of the rig's forms: names, units and limits as a builder reads them.
//!
//! Limits are the rig file's own (core judges them; a test here compares); hints say what is usual.

use super::Entry;
use lipwright_core::rig::{Dof, MechanismKind};

/// What a field takes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Kind {
    /// Words.
    Text,
    /// A whole number up to a greatest one.
    Whole(u64),
    /// A number between two limits, both allowed.
    Range(f64, f64),
    /// A number above 0, up to a limit.
    Positive(f64),
    /// One of some names.
    Choice(&'static [&'static str]),
}

/// One field of a form.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Field {
    /// Name in the file.
    pub key: &'static str,
    /// Name on the screen.
    pub label: &'static str,
    /// Unit on the screen.
    pub unit: &'static str,
    /// What it takes.
    pub kind: Kind,
    /// True where it may be absent.
    pub optional: bool,
    /// Step of the arrow keys.
    pub step: f64,
    /// What it means and what is usual.
    pub hint: &'static str,
}

impl Field {
    /// How its text is read.
    #[must_use]
    pub const fn entry(&self) -> Entry {
        match self.kind {
            Kind::Text | Kind::Choice(_) => Entry::Text,
            Kind::Whole(_) => Entry::Whole,
            Kind::Range(..) | Kind::Positive(_) if self.optional => Entry::Optional,
            Kind::Range(..) | Kind::Positive(_) => Entry::Number,
        }
    }

    /// Its limits in words; empty where there are none to speak of.
    #[must_use]
    pub fn limits(&self) -> String {
        let unit = if self.unit.is_empty() { String::new() } else { format!(" {}", self.unit) };
        match self.kind {
            Kind::Range(low, high) => format!("{low} to {high}{unit}"),
            Kind::Positive(high) => format!("above 0, up to {high}{unit}"),
            Kind::Whole(high) => format!("0 to {high}"),
            Kind::Text | Kind::Choice(_) => String::new(),
        }
    }
}

const fn field(
    key: &'static str,
    label: &'static str,
    unit: &'static str,
    kind: Kind,
    step: f64,
    hint: &'static str,
) -> Field {
    Field { key, label, unit, kind, optional: false, step, hint }
}

const PULSE: Kind = Kind::Range(100.0, 5000.0);
const LENGTH: Kind = Kind::Range(0.1, 1000.0);
const SIGNED: Kind = Kind::Range(-1000.0, 1000.0);
const FACTOR: Kind = Kind::Range(-100.0, 100.0);
const TURN: Kind = Kind::Range(-720.0, 720.0);
const VALUE: Kind = Kind::Range(-360.0, 360.0);

/// Fields of a servo, in form order.
pub const SERVO: [Field; 15] = [
    field("name", "Name", "", Kind::Text, 0.0, "A name of its own; tracks and lanes carry it."),
    field(
        "controller",
        "Controller",
        "",
        Kind::Text,
        0.0,
        "The board it hangs on; each board gets its own track.",
    ),
    field("channel", "Channel", "", Kind::Whole(255), 1.0, "Output of that board, as it is wired."),
    field(
        "pulse_min_us",
        "Shortest pulse",
        "µs",
        PULSE,
        5.0,
        "Never sent shorter: stop before the linkage does.",
    ),
    field(
        "pulse_neutral_us",
        "Neutral pulse",
        "µs",
        PULSE,
        5.0,
        "The pulse at angle 0, with the horn mounted as drawn.",
    ),
    field("pulse_max_us", "Longest pulse", "µs", PULSE, 5.0, "Never sent longer."),
    field(
        "us_per_degree",
        "Pulse per degree",
        "µs",
        FACTOR,
        0.1,
        "Usually 8 to 12 (common practice); negative where a longer pulse turns it the other way.",
    ),
    field(
        "speed_s_per_60deg",
        "Time for 60°",
        "s",
        Kind::Positive(60.0),
        0.01,
        "Data sheet, no load, at the rail's voltage; 0.06 to 0.20 s is usual.",
    ),
    field(
        "load_derating_up",
        "Speed left, up",
        "",
        Kind::Positive(1.0),
        0.05,
        "Share of that speed left under the skin's load, towards larger angles; 0.5 to 0.7 is usual.",
    ),
    field(
        "load_derating_down",
        "Speed left, down",
        "",
        Kind::Positive(1.0),
        0.05,
        "The same towards smaller angles.",
    ),
    field(
        "acceleration_deg_per_s2",
        "Acceleration",
        "°/s²",
        Kind::Positive(1e6),
        500.0,
        "Under load; a small servo reaches full speed in 40 to 70 ms (common practice).",
    ),
    field(
        "dead_band_us",
        "Dead band",
        "µs",
        Kind::Range(0.0, 200.0),
        1.0,
        "Smallest pulse change that it answers to.",
    ),
    field(
        "idle_current_a",
        "Current at rest",
        "A",
        Kind::Range(0.0, 50.0),
        0.005,
        "Holding still, unloaded.",
    ),
    field(
        "moving_current_a",
        "Current moving",
        "A",
        Kind::Range(0.0, 50.0),
        0.05,
        "At full loaded speed; the planner keeps the sum within the budget.",
    ),
    field(
        "stall_current_a",
        "Current stalled",
        "A",
        Kind::Positive(100.0),
        0.1,
        "Blocked: what wire, fuse and supply are sized for.",
    ),
];

/// Fields of the supply.
pub const SUPPLY: [Field; 3] = [
    field(
        "input_v",
        "Into the regulator",
        "V",
        Kind::Positive(60.0),
        0.1,
        "12 V into the controller is usual.",
    ),
    field(
        "rail_v",
        "Servo rail",
        "V",
        Kind::Positive(30.0),
        0.1,
        "Regulated; at most the input. 6 V is usual for hobby servos.",
    ),
    field(
        "budget_a",
        "Budget while moving",
        "A",
        Kind::Positive(1000.0),
        0.1,
        "What all servos together may draw while nothing is blocked: the planner keeps to it.",
    ),
];

/// Fields of the face.
pub const FACE: [Field; 3] = [
    field(
        "lower_lip_per_jaw",
        "Lower lip per jaw",
        "mm/mm",
        Kind::Range(0.0, 2.0),
        0.05,
        "How far the lower lip falls per millimetre of jaw: 1 where it rides on the jaw.",
    ),
    field(
        "lip_compression_mm",
        "Lips may press",
        "mm",
        Kind::Range(0.0, 20.0),
        0.1,
        "How far the lips may be pressed into each other before skin or servo suffers.",
    ),
    field(
        "upper_teeth_edge_mm",
        "Upper teeth's edge",
        "mm",
        Kind::Range(-50.0, 50.0),
        0.1,
        "Against the line where the lips meet at rest; negative below it.",
    ),
];

const ROTARY: [Field; 2] = [
    field(
        "ratio",
        "Ratio",
        "",
        FACTOR,
        0.05,
        "Axle degrees per servo degree; negative where they turn against each other.",
    ),
    Field {
        optional: true,
        ..field(
            "lever_mm",
            "Lever",
            "mm",
            LENGTH,
            1.0,
            "From the axle to where the face moves; empty for a part measured in degrees.",
        )
    },
];

const PUSH_ROD: [Field; 5] = [
    field("horn_radius_mm", "Horn radius", "mm", LENGTH, 0.5, "Axle to pin; 10 to 20 mm is usual."),
    field(
        "rod_length_mm",
        "Rod length",
        "mm",
        LENGTH,
        1.0,
        "Pin to pin; longer than horn radius plus offset.",
    ),
    field("offset_mm", "Slider offset", "mm", SIGNED, 0.5, "Distance of the slider's line from the axle."),
    field(
        "neutral_horn_deg",
        "Horn at neutral",
        "°",
        TURN,
        1.0,
        "Against the slider's line; 90 stands across the rod.",
    ),
    field(
        "lever_ratio",
        "Lever ratio",
        "mm/mm",
        FACTOR,
        0.05,
        "Face millimetres per slider millimetre; negative where they go opposite ways.",
    ),
];

const FIVE_BAR: [Field; 8] = [
    field(
        "base_mm",
        "Between axles",
        "mm",
        Kind::Range(0.0, 1000.0),
        0.5,
        "Distance of the two servo axles.",
    ),
    field("proximal_mm", "Cranks", "mm", LENGTH, 0.5, "Axle to elbow."),
    field("distal_mm", "Rods", "mm", LENGTH, 0.5, "Elbow to the driven point."),
    field(
        "elbows",
        "Elbows",
        "",
        Kind::Choice(&["out", "in", "left", "right"]),
        0.0,
        "Which way the elbows point.",
    ),
    field("rest_x_mm", "Point at neutral, x", "mm", SIGNED, 0.5, "From the first axle towards the second."),
    field("rest_y_mm", "Point at neutral, y", "mm", SIGNED, 0.5, "Across the line of the axles."),
    field(
        "rotation_deg",
        "Turned by",
        "°",
        TURN,
        1.0,
        "Turn of the linkage against the face's outward and up.",
    ),
    field(
        "link_width_mm",
        "Crank width",
        "mm",
        Kind::Range(0.0, 1000.0),
        0.5,
        "Where cranks lie in one layer; 0 where they pass over each other.",
    ),
];

const DIFFERENTIAL: [Field; 2] = [
    field("common_per_degree", "Together", "per °", FACTOR, 0.01, "First part per degree of common motion."),
    field(
        "difference_per_degree",
        "Against each other",
        "per °",
        FACTOR,
        0.01,
        "Second part per degree of half the difference.",
    ),
];

/// Fields of a linkage's sizes; a table has points instead.
#[must_use]
pub const fn linkage_fields(kind: MechanismKind) -> &'static [Field] {
    match kind {
        MechanismKind::Rotary => &ROTARY,
        MechanismKind::PushRod => &PUSH_ROD,
        MechanismKind::FiveBar => &FIVE_BAR,
        MechanismKind::Differential => &DIFFERENTIAL,
        MechanismKind::Table => &[],
    }
}

const SKIN_MM: [Field; 3] = [
    field(
        "skin_min_mm",
        "Skin, least",
        "mm",
        VALUE,
        0.1,
        "Where the skin starts to pull, downwards or inwards.",
    ),
    field("rest_mm", "At rest", "mm", VALUE, 0.1, "The value of the relaxed face."),
    field(
        "skin_max_mm",
        "Skin, most",
        "mm",
        VALUE,
        0.1,
        "Where the skin starts to pull, upwards or outwards.",
    ),
];
const SKIN_DEG: [Field; 3] = [
    field("skin_min_deg", "Skin, least", "°", VALUE, 1.0, "Where the skin starts to pull, one way."),
    field("rest_deg", "At rest", "°", VALUE, 1.0, "The value of the relaxed face."),
    field("skin_max_deg", "Skin, most", "°", VALUE, 1.0, "Where the skin starts to pull, the other way."),
];

/// Fields of a degree of freedom's skin: least, rest, most.
#[must_use]
pub fn skin_fields(dof: Dof) -> &'static [Field; 3] {
    if dof.unit() == "deg" { &SKIN_DEG } else { &SKIN_MM }
}

#[cfg(test)]
mod tests {
    use super::super::RigDraft;
    use super::*;
    use lipwright_core::rig::{Preset, ServoClass};

    /// Limits on the screen are the limits that core keeps: just outside is refused at that field,
    /// the limit itself is not refused for its size.
    #[test]
    fn limits_on_the_screen_are_core_s() {
        let mut start = RigDraft::new(Preset::Harbourmaster.rig());
        start
            .change("every kind", |d| {
                let dof = [Dof::NeckTurn];
                let neck = d.mechanisms.len() - 1;
                d.remove_mechanism(neck);
                d.add_mechanism(MechanismKind::Rotary, ServoClass::Standard, "neck again", &dof);
                d.remove_mechanism(d.mechanisms.len() - 2);
                d.remove_mechanism(d.mechanisms.len() - 2);
                let brows = [Dof::BrowLeftOuter, Dof::BrowRightOuter];
                d.add_mechanism(MechanismKind::Differential, ServoClass::Standard, "brow", &brows);
            })
            .expect("readable");
        assert!(start.is_good(), "{:?}", start.problems());
        let index = |kind: &str| {
            let all = start.value()["mechanisms"].as_array().expect("list");
            all.iter().position(|m| m["kind"] == kind).expect(kind)
        };
        let mut places: Vec<(String, &[Field])> = vec![
            ("servos[0]".into(), &SERVO),
            ("supply".into(), &SUPPLY),
            ("face".into(), &FACE),
            ("dofs[0]".into(), skin_fields(Dof::JawOpen)),
        ];
        for kind in MechanismKind::ALL.into_iter().filter(|k| *k != MechanismKind::Table) {
            places.push((format!("mechanisms[{}]", index(kind.name())), linkage_fields(kind)));
        }
        for (place, fields) in places {
            for f in fields {
                let path = format!("{place}.{}", f.key);
                let refused = |number: f64| {
                    let mut d = start.clone();
                    d.enter("x", &path, f.entry(), &format!("{number}"));
                    d.problem_at(&path).filter(|p| p.contains("give a value") || p.contains("channel number"))
                };
                let (inside, outside): (Vec<f64>, Vec<f64>) = match f.kind {
                    Kind::Range(low, high) => (vec![low, high], vec![low - 1.0, high + 1.0]),
                    Kind::Positive(high) => (vec![high], vec![0.0, -1.0, high * 1.01]),
                    Kind::Whole(high) => (vec![0.0, high as f64], vec![high as f64 + 1.0]),
                    Kind::Text | Kind::Choice(_) => continue,
                };
                for value in outside {
                    assert!(refused(value).is_some(), "{path} takes {value}");
                }
                for value in inside {
                    assert_eq!(refused(value), None, "{path} refuses {value}");
                }
            }
        }
    }
}
