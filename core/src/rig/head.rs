//! The validated head: what the planner, the exporters and the screen ask.

use super::description::RigDescription;
use super::{
    Dof, DofValues, Expression, Mechanism, RigError, Servo, ServoId, ShapePose, Side, poses, validate, wiring,
};
use crate::fields::Problems;
use crate::phonetics::MouthShape;
use crate::units::{Amps, Degrees, Millimetres, Volts};

/// One head: servos, mechanisms, skin, limits, poses.
///
/// Always: every servo moves exactly one mechanism and every DOF has exactly one; every number is
/// finite; the rest pose is within skin, pulses and couplings, and away from singular linkages.
#[derive(Clone, Debug, PartialEq)]
pub struct Rig {
    pub(super) description: RigDescription,
    pub(super) servos: Vec<Servo>,
    pub(super) mechanisms: Vec<Mechanism>,
    pub(super) dofs: Vec<DofSpec>,
    pub(super) couplings: Vec<Coupling>,
    supply: Supply,
    face: Face,
    pub(super) travel: Vec<(f64, f64)>,
    rest_angles: Vec<Degrees>,
    poses: Vec<ShapePose>,
    expressions: Vec<ShapePose>,
}

/// A DOF the head has, with the travel its skin allows (mm or degrees).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DofSpec {
    /// Which.
    pub dof: Dof,
    /// Least value the skin allows.
    pub skin_min: f64,
    /// Greatest value.
    pub skin_max: f64,
    /// Value at rest.
    pub rest: f64,
}

/// A linear limit between DOFs, in mm: `min` ≤ Σ factor · dof ≤ `max`.
#[derive(Clone, Debug, PartialEq)]
pub struct Coupling {
    /// Name for people.
    pub name: String,
    /// Factors.
    pub terms: Vec<(Dof, f64)>,
    /// Lower limit.
    pub min: Option<f64>,
    /// Upper limit.
    pub max: Option<f64>,
}

impl Coupling {
    /// Σ factor · dof.
    #[must_use]
    pub fn sum(&self, values: &DofValues) -> f64 {
        self.terms.iter().map(|(dof, factor)| factor * values[*dof]).sum()
    }
}

/// What feeds the servo rail.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Supply {
    /// Into the regulator.
    pub input: Volts,
    /// Servo rail.
    pub rail: Volts,
    /// What all servos together may draw while moving.
    pub budget: Amps,
}

/// Sizes that decide whether lips and teeth meet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Face {
    /// Fall of the lower lip per millimetre of jaw opening.
    pub lower_lip_per_jaw: f64,
    /// How far the lips may be pressed into each other.
    pub lip_compression: Millimetres,
    /// Height of the upper teeth's edge against the lips' meeting line at rest; negative below.
    pub upper_teeth_edge: Millimetres,
}

impl Rig {
    /// Builds the head a description describes.
    ///
    /// # Errors
    /// [`RigError::Invalid`] with every fault that was found, each naming its field and a fix.
    pub fn new(description: RigDescription) -> Result<Self, RigError> {
        let d = &description;
        let mut p = Problems::default();
        if d.name.trim().is_empty() {
            p.add("name", "is empty", "name the head");
        }
        validate::servos(&d.servos, &mut p);
        validate::supply(&d.supply, &d.servos, &mut p);
        validate::face(&d.face, &mut p);
        validate::dofs(&d.dofs, &mut p);
        validate::couplings(&d.couplings, &d.dofs, &mut p);
        validate::poses(d, &mut p);
        let servos: Vec<Servo> =
            d.servos.iter().enumerate().map(|(i, s)| Servo::build(ServoId(i), s)).collect();
        let mechanisms = wiring::mechanisms(d, &servos, &mut p);
        if !p.0.is_empty() {
            return Err(RigError::Invalid(p.0));
        }
        let mut dofs: Vec<DofSpec> = d
            .dofs
            .iter()
            .map(|d| DofSpec { dof: d.dof, skin_min: d.skin_min, skin_max: d.skin_max, rest: d.rest })
            .collect();
        dofs.sort_by_key(|d| d.dof);
        let mut rig = Self {
            servos,
            mechanisms,
            dofs,
            couplings: d
                .couplings
                .iter()
                .map(|c| Coupling {
                    name: c.name.clone(),
                    terms: c.terms.iter().map(|t| (t.dof, t.factor)).collect(),
                    min: c.min_mm,
                    max: c.max_mm,
                })
                .collect(),
            supply: Supply {
                input: Volts::new(d.supply.input_v),
                rail: Volts::new(d.supply.rail_v),
                budget: Amps::new(d.supply.budget_a),
            },
            face: Face {
                lower_lip_per_jaw: d.face.lower_lip_per_jaw,
                lip_compression: Millimetres::new(d.face.lip_compression_mm),
                upper_teeth_edge: Millimetres::new(d.face.upper_teeth_edge_mm),
            },
            travel: Vec::new(),
            rest_angles: Vec::new(),
            poses: Vec::new(),
            expressions: Vec::new(),
            description,
        };
        rig.travel = rig.find_travel();
        rig.check_rest(&mut p);
        if !p.0.is_empty() {
            return Err(RigError::Invalid(p.0));
        }
        rig.rest_angles = rig.reach(&rig.rest()).angles;
        rig.poses = MouthShape::ALL.map(|s| poses::shape(&rig, s)).to_vec();
        rig.expressions = Expression::ALL.map(|e| poses::expression(&rig, e)).to_vec();
        Ok(rig)
    }

    /// Reads and builds a rig file.
    ///
    /// # Errors
    /// See [`RigError`]: no JSON, no rig, a newer version, or named faults.
    pub fn from_json(text: &str) -> Result<Self, RigError> {
        Self::new(RigDescription::from_json(text)?)
    }

    /// The rig file's text; reading it gives this rig again, unknown fields included.
    #[must_use]
    pub fn to_json(&self) -> String {
        self.description.to_json()
    }

    /// The description it was built from, to be edited and built anew.
    #[must_use]
    pub fn description(&self) -> &RigDescription {
        &self.description
    }

    /// What the person calls the head.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.description.name
    }

    /// Servos, in track order.
    #[must_use]
    pub fn servos(&self) -> &[Servo] {
        &self.servos
    }

    /// Mechanisms.
    #[must_use]
    pub fn mechanisms(&self) -> &[Mechanism] {
        &self.mechanisms
    }

    /// The DOFs this head has, in [`Dof`] order.
    #[must_use]
    pub fn dofs(&self) -> &[DofSpec] {
        &self.dofs
    }

    /// One DOF, if the head has it.
    #[must_use]
    pub fn dof(&self, dof: Dof) -> Option<&DofSpec> {
        self.dofs.iter().find(|d| d.dof == dof)
    }

    /// Linear limits between DOFs.
    #[must_use]
    pub fn couplings(&self) -> &[Coupling] {
        &self.couplings
    }

    /// What feeds the servos.
    #[must_use]
    pub fn supply(&self) -> &Supply {
        &self.supply
    }

    /// Sizes of the face.
    #[must_use]
    pub fn face(&self) -> &Face {
        &self.face
    }

    /// The rest pose.
    #[must_use]
    pub fn rest(&self) -> DofValues {
        let mut rest = DofValues::default();
        for d in &self.dofs {
            rest[d.dof] = d.rest;
        }
        rest
    }

    /// One angle per servo, at the rest pose.
    #[must_use]
    pub fn rest_angles(&self) -> Vec<Degrees> {
        self.rest_angles.clone()
    }

    /// What a mouth shape asks of this head.
    #[must_use]
    pub fn pose(&self, shape: MouthShape) -> &ShapePose {
        &self.poses[shape.index()]
    }

    /// What an expression asks of this head: brows, and corners as far as speech leaves them free.
    #[must_use]
    pub fn expression(&self, expression: Expression) -> &ShapePose {
        &self.expressions[expression.index()]
    }

    /// The mechanism a servo moves.
    #[must_use]
    pub fn mechanism_of(&self, servo: ServoId) -> Option<&Mechanism> {
        self.mechanisms.iter().find(|m| m.servos().contains(&servo))
    }

    /// Every mechanism must hold the rest pose.
    fn check_rest(&self, p: &mut Problems) {
        for (i, m) in self.mechanisms.iter().enumerate() {
            for id in m.servos() {
                let (low, high) = self.travel[id.0];
                if !(low < high) {
                    p.add(
                        format!("mechanisms[{i}].drives"),
                        format!(
                            "leave servo \"{}\" no travel: pulses, linkage and skin do not overlap",
                            self.servos[id.0].name
                        ),
                        "widen the pulse range, correct the value at neutral or the sign of gain and direction",
                    );
                    return;
                }
            }
        }
        let rest = self.rest();
        let reached = self.reach(&rest);
        for dof in reached.clamped {
            let i = self.mechanisms.iter().position(|m| m.drives().iter().any(|d| d.dof == dof)).unwrap_or(0);
            p.add(
                format!("mechanisms[{i}].drives"),
                format!(
                    "cannot hold {dof} at its rest value {}: it gets {:.2}",
                    rest[dof], reached.dofs[dof]
                ),
                "correct the value at the neutral pulse, the linkage or the rest value",
            );
        }
        for (i, e) in self.check_linkages(&reached.angles) {
            p.add(
                format!("mechanisms[{i}].kind"),
                format!("at rest: {e}"),
                "mount the horns so that rest is well inside the linkage's travel",
            );
        }
    }

    /// Upper minus lower lip edge on one side: 0 = touching, negative = pressed. The lower lip rides
    /// on the jaw. None where the rig has neither jaw nor lips there.
    #[must_use]
    pub fn lip_gap(&self, values: &DofValues, side: Side) -> Option<Millimetres> {
        let any = [Dof::JawOpen, side.upper_lip(), side.lower_lip()].iter().any(|d| self.dof(*d).is_some());
        any.then(|| Millimetres::new(values[side.upper_lip()] - self.lower_lip_edge(values, side)))
    }

    /// Upper teeth's edge minus lower lip's edge on one side: 0 = the lip touches the teeth, positive
    /// = it is below them. None where the rig has neither jaw nor lower lip there.
    #[must_use]
    pub fn teeth_gap(&self, values: &DofValues, side: Side) -> Option<Millimetres> {
        let any = [Dof::JawOpen, side.lower_lip()].iter().any(|d| self.dof(*d).is_some());
        any.then(|| self.face.upper_teeth_edge - Millimetres::new(self.lower_lip_edge(values, side)))
    }

    /// Height of the lower lip's edge against the lips' meeting line at rest.
    fn lower_lip_edge(&self, values: &DofValues, side: Side) -> f64 {
        values[side.lower_lip()] - self.face.lower_lip_per_jaw * values[Dof::JawOpen]
    }
}
