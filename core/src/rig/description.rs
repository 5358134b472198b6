//! A rig as its file says it: plain fields with their units in the names, nothing checked.
//!
//! A person edits a [`RigDescription`] (in the file or on the page); [`Rig::new`](super::Rig::new)
//! checks it and builds the head from it. Fields that this version does not know are kept in `extra`
//! and written back.

use super::{Dof, Elbows, Expression};
use crate::phonetics::MouthShape;
use serde::ser::SerializeMap;
use serde::{Serialize, Serializer};
use serde_json::{Map, Value};
use std::collections::BTreeMap;

/// Fields that a later version, or another tool, put there.
pub type Extra = Map<String, Value>;

/// Everything in a rig file.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RigDescription {
    /// Always `lipwright-rig`.
    pub format: &'static str,
    /// Version of the format.
    pub version: u64,
    /// What the person calls the head.
    pub name: String,
    /// Free text.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub notes: String,
    /// What feeds the servos.
    pub supply: SupplyDescription,
    /// Sizes of the face that decide whether lips and teeth meet.
    pub face: FaceDescription,
    /// Servos, in the order tracks use.
    pub servos: Vec<ServoDescription>,
    /// What the servos drive, and how.
    pub mechanisms: Vec<MechanismDescription>,
    /// Degrees of freedom the head has, with the travel its skin allows.
    pub dofs: Vec<DofDescription>,
    /// Linear limits between DOFs.
    pub couplings: Vec<CouplingDescription>,
    /// Poses the person has adjusted; the others are generated.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub poses: BTreeMap<MouthShape, PoseDescription>,
    /// Expressions the person has adjusted; the others are generated.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub expressions: BTreeMap<Expression, PoseDescription>,
    /// Unknown fields.
    #[serde(flatten)]
    pub extra: Extra,
}

/// Supply of the servo rail.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SupplyDescription {
    /// Voltage into the regulator.
    pub input_v: f64,
    /// Regulated servo rail.
    pub rail_v: f64,
    /// Current that all servos together may draw while moving.
    pub budget_a: f64,
    /// Unknown fields.
    #[serde(flatten)]
    pub extra: Extra,
}

/// Sizes of the face.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FaceDescription {
    /// How far the lower lip falls per millimetre of jaw opening (the lower lip rides on the jaw).
    pub lower_lip_per_jaw: f64,
    /// How far the lips may be pressed into each other before skin or servo suffers.
    pub lip_compression_mm: f64,
    /// Height of the upper teeth's edge against the line where the lips meet at rest; negative below.
    pub upper_teeth_edge_mm: f64,
    /// Unknown fields.
    #[serde(flatten)]
    pub extra: Extra,
}

/// One servo.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ServoDescription {
    /// Unique name.
    pub name: String,
    /// Board it hangs on.
    pub controller: String,
    /// Output channel of that board.
    pub channel: u64,
    /// Shortest pulse it may be sent.
    pub pulse_min_us: f64,
    /// Longest pulse it may be sent.
    pub pulse_max_us: f64,
    /// Pulse at angle 0.
    pub pulse_neutral_us: f64,
    /// Pulse change per degree; negative where a longer pulse turns it towards smaller angles.
    pub us_per_degree: f64,
    /// Data-sheet time for 60 degrees at the rail voltage, no load.
    pub speed_s_per_60deg: f64,
    /// Share of the no-load speed left under skin load, turning towards larger angles, 0 to 1.
    pub load_derating_up: f64,
    /// Share left turning towards smaller angles, 0 to 1.
    pub load_derating_down: f64,
    /// Angular acceleration under load.
    pub acceleration_deg_per_s2: f64,
    /// Smallest pulse change it answers to.
    pub dead_band_us: f64,
    /// Current at rest.
    pub idle_current_a: f64,
    /// Current at full loaded speed.
    pub moving_current_a: f64,
    /// Current when blocked.
    pub stall_current_a: f64,
    /// Unknown fields.
    #[serde(flatten)]
    pub extra: Extra,
}

/// One mechanism.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MechanismDescription {
    /// Name for people.
    pub name: String,
    /// Kind and sizes.
    #[serde(flatten)]
    pub linkage: LinkageDescription,
    /// Names of its servos: two for five-bar and differential, else one.
    pub servos: Vec<String>,
    /// What it drives: outward and up for five-bar, common and difference for differential, else
    /// any number of DOFs that move together.
    pub drives: Vec<DriveDescription>,
    /// Unknown fields.
    #[serde(flatten)]
    pub extra: Extra,
}

/// Kind and sizes of a linkage; the types of the same names draw and explain them.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum LinkageDescription {
    /// See [`Rotary`](super::Rotary).
    Rotary {
        /// Axle degrees per servo degree.
        ratio: f64,
        /// Lever, for DOFs in mm.
        #[serde(skip_serializing_if = "Option::is_none")]
        lever_mm: Option<f64>,
    },
    /// See [`PushRod`](super::PushRod).
    PushRod {
        /// Horn radius.
        horn_radius_mm: f64,
        /// Rod length.
        rod_length_mm: f64,
        /// Slider offset.
        offset_mm: f64,
        /// Horn angle at the neutral pulse.
        neutral_horn_deg: f64,
        /// Face mm per slider mm, signed.
        lever_ratio: f64,
    },
    /// See [`FiveBar`](super::FiveBar).
    FiveBar {
        /// Distance between axles.
        base_mm: f64,
        /// Crank length.
        proximal_mm: f64,
        /// Rod length.
        distal_mm: f64,
        /// Which way the elbows point.
        elbows: Elbows,
        /// Driven point at neutral pulses, linkage frame.
        rest_x_mm: f64,
        /// Driven point at neutral pulses, linkage frame.
        rest_y_mm: f64,
        /// Turn of the linkage frame against the face.
        rotation_deg: f64,
        /// Width of the cranks where they share a layer; 0 where they pass over each other.
        link_width_mm: f64,
    },
    /// See [`Differential`](super::Differential).
    Differential {
        /// First DOF per degree of common motion.
        common_per_degree: f64,
        /// Second DOF per degree of half difference.
        difference_per_degree: f64,
    },
    /// See [`Table`](super::Table).
    Table {
        /// Measured points.
        points: Vec<TablePoint>,
    },
}

impl LinkageDescription {
    /// The two-servo linkage of a mouth corner that mechanisms start from. Common practice; measure
    /// your own.
    #[must_use]
    pub const fn usual_corner() -> Self {
        Self::FiveBar {
            base_mm: 24.0,
            proximal_mm: 16.0,
            distal_mm: 38.0,
            elbows: Elbows::Out,
            rest_x_mm: 12.0,
            rest_y_mm: 36.0,
            rotation_deg: 0.0,
            link_width_mm: 0.0,
        }
    }

    /// A push-rod on a horn that stands square to it at the neutral pulse, with a lever that turns
    /// the slider's way round.
    #[must_use]
    pub const fn usual_push_rod(horn_radius_mm: f64, rod_length_mm: f64) -> Self {
        Self::PushRod {
            horn_radius_mm,
            rod_length_mm,
            offset_mm: 0.0,
            neutral_horn_deg: 90.0,
            lever_ratio: -1.0,
        }
    }
}

/// One measured point of a table.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TablePoint {
    /// Pulse sent.
    pub pulse_us: f64,
    /// Value seen, in the driven DOF's unit (mm or degrees).
    pub value: f64,
    /// Unknown fields.
    #[serde(flatten)]
    pub extra: Extra,
}

/// A DOF driven by a mechanism: value = gain · q + value at the neutral pulse.
///
/// In files the last field is `at_neutral_mm` or `at_neutral_deg`, after the DOF's unit.
#[derive(Clone, Debug, PartialEq)]
pub struct DriveDescription {
    /// Which.
    pub dof: Dof,
    /// Factor on the linkage's own output q.
    pub gain: f64,
    /// Value with the servo at its neutral pulse, in the DOF's unit.
    pub at_neutral: f64,
    /// Unknown fields.
    pub extra: Extra,
}

impl Serialize for DriveDescription {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(None)?;
        map.serialize_entry("dof", &self.dof)?;
        map.serialize_entry("gain", &self.gain)?;
        map.serialize_entry(&with_unit("at_neutral", self.dof), &self.at_neutral)?;
        for (key, value) in &self.extra {
            map.serialize_entry(key, value)?;
        }
        map.end()
    }
}

/// What the skin allows of one DOF.
///
/// In files the fields end in `_mm` or `_deg`, after the DOF's unit: `skin_min_mm`.
#[derive(Clone, Debug, PartialEq)]
pub struct DofDescription {
    /// Which.
    pub dof: Dof,
    /// Least value, in the DOF's unit.
    pub skin_min: f64,
    /// Greatest value.
    pub skin_max: f64,
    /// Value at rest.
    pub rest: f64,
    /// What the skin was seen to do for what its mechanism asked; empty where it follows exactly.
    pub response: Vec<ResponsePoint>,
    /// Unknown fields.
    pub extra: Extra,
}

/// One measured point of a skin's response, in the DOF's unit.
///
/// In files the fields end in `_mm` or `_deg`: `asked_mm`, `seen_rising_mm`, `seen_falling_mm`.
#[derive(Clone, Debug, PartialEq)]
pub struct ResponsePoint {
    /// What the mechanism asks.
    pub asked: f64,
    /// What the skin is seen to do, coming from smaller values.
    pub seen_rising: f64,
    /// What it is seen to do coming from larger values; the difference is its hysteresis.
    pub seen_falling: f64,
    /// Unknown fields.
    pub extra: Extra,
}

/// A response point with the DOF whose unit its fields carry.
struct PointOf<'a>(&'a ResponsePoint, Dof);

impl Serialize for PointOf<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let Self(point, dof) = self;
        let mut map = serializer.serialize_map(None)?;
        map.serialize_entry(&with_unit("asked", *dof), &point.asked)?;
        map.serialize_entry(&with_unit("seen_rising", *dof), &point.seen_rising)?;
        map.serialize_entry(&with_unit("seen_falling", *dof), &point.seen_falling)?;
        for (key, value) in &point.extra {
            map.serialize_entry(key, value)?;
        }
        map.end()
    }
}

impl Serialize for DofDescription {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(None)?;
        map.serialize_entry("dof", &self.dof)?;
        for (name, value) in [("skin_min", self.skin_min), ("skin_max", self.skin_max), ("rest", self.rest)] {
            map.serialize_entry(&with_unit(name, self.dof), &value)?;
        }
        if !self.response.is_empty() {
            let points: Vec<_> = self.response.iter().map(|p| PointOf(p, self.dof)).collect();
            map.serialize_entry("response", &points)?;
        }
        for (key, value) in &self.extra {
            map.serialize_entry(key, value)?;
        }
        map.end()
    }
}

/// Field name of a quantity in the unit of `dof`.
pub(super) fn with_unit(name: &str, dof: Dof) -> String {
    format!("{name}_{}", dof.unit())
}

/// A linear limit: min ≤ Σ factor · dof ≤ max.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CouplingDescription {
    /// Name for people.
    pub name: String,
    /// Factor per DOF.
    pub terms: Vec<TermDescription>,
    /// Lower limit, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub min_mm: Option<f64>,
    /// Upper limit, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub max_mm: Option<f64>,
    /// Unknown fields.
    #[serde(flatten)]
    pub extra: Extra,
}

/// One term of a coupling.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TermDescription {
    /// Which DOF.
    pub dof: Dof,
    /// Its factor.
    pub factor: f64,
    /// Unknown fields.
    #[serde(flatten)]
    pub extra: Extra,
}

/// A pose or expression adjusted by hand; DOFs not named keep the generated value.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct PoseDescription {
    /// Wanted value per DOF, in the DOF's unit.
    pub target: BTreeMap<Dof, f64>,
    /// How much each DOF matters, 0 = not at all.
    pub importance: BTreeMap<Dof, f64>,
    /// Unknown fields.
    #[serde(flatten)]
    pub extra: Extra,
}
