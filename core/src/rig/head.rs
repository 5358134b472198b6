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
    travel: Vec<(f64, f64)>,
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

/// What a wanted pose comes to on the head.
#[derive(Clone, Debug, PartialEq)]
pub struct Reach {
    /// One angle per servo.
    pub angles: Vec<Degrees>,
    /// What those angles give.
    pub dofs: DofValues,
    /// DOFs of the rig that could not have the wanted value.
    pub clamped: Vec<Dof>,
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

    /// Angles a servo may have.
    ///
    /// One-servo mechanisms: exactly the angles allowed by pulse range, linkage and the skin of what
    /// it drives. Two-servo mechanisms: pulse range, narrowed to a box around the angles that the
    /// skin's rectangle needs; the box is a bound, not a promise that every pair in it is allowed.
    /// (0, 0) for a servo the rig does not have.
    #[must_use]
    pub fn travel(&self, servo: ServoId) -> (Degrees, Degrees) {
        let (low, high) = self.travel.get(servo.0).copied().unwrap_or_default();
        (Degrees::new(low), Degrees::new(high))
    }

    /// Angles of the servos of one mechanism, in its order; a missing angle counts as 0.
    fn angles_of(&self, mechanism: &Mechanism, angles: &[Degrees]) -> [f64; 2] {
        let mut theta = [0.0; 2];
        for (slot, id) in theta.iter_mut().zip(mechanism.servos()) {
            *slot = angles.get(id.0).map_or(0.0, |a| a.value());
        }
        theta
    }

    /// What the face does for one angle per servo. DOFs the head lacks are 0. Angles at which a
    /// linkage does not close give the nearest point at which it does; [`Rig::check_linkages`] tells.
    #[must_use]
    pub fn forward(&self, angles: &[Degrees]) -> DofValues {
        let mut values = DofValues::default();
        for m in &self.mechanisms {
            for (dof, value) in m.forward(&self.angles_of(m, angles)) {
                values[dof] = value;
            }
        }
        values
    }

    /// Mechanisms that do not close, or are too near a singular configuration, at these angles.
    #[must_use]
    pub fn check_linkages(&self, angles: &[Degrees]) -> Vec<(usize, super::KinematicError)> {
        let checked = self.mechanisms.iter().enumerate();
        checked.filter_map(|(i, m)| m.check(&self.angles_of(m, angles)).err().map(|e| (i, e))).collect()
    }

    /// ∂dof/∂angle at these angles, in DOF units per degree; entries not listed are 0.
    #[must_use]
    pub fn partials(&self, angles: &[Degrees]) -> Vec<(ServoId, Dof, f64)> {
        let mut entries = Vec::new();
        for m in &self.mechanisms {
            let theta = self.angles_of(m, angles);
            match m {
                Mechanism::FiveBar { servos, drives, linkage, .. } => {
                    pair_partials(servos, drives, linkage.jacobian(theta), &mut entries);
                }
                Mechanism::Differential { servos, drives, linkage, .. } => {
                    pair_partials(servos, drives, linkage.jacobian(), &mut entries);
                }
                _ => {
                    let slope = m.single().map_or(0.0, |s| s.slope(theta[0]));
                    entries.extend(m.drives().iter().map(|d| (m.servos()[0], d.dof, d.gain * slope)));
                }
            }
        }
        entries
    }

    /// Servo angles for a wanted pose, held to skin, linkage and pulses. Never fails: what cannot be
    /// had is moved to what can, and named in `clamped`. Values that are not numbers count as rest.
    #[must_use]
    pub fn reach(&self, wanted: &DofValues) -> Reach {
        let mut target = *wanted;
        for d in &self.dofs {
            let value = if wanted[d.dof].is_finite() { wanted[d.dof] } else { d.rest };
            target[d.dof] = value.clamp(d.skin_min, d.skin_max);
        }
        let mut angles = vec![Degrees::ZERO; self.servos.len()];
        for m in &self.mechanisms {
            match m.single() {
                Some(single) => {
                    let id = m.servos()[0];
                    let (low, high) = self.travel[id.0];
                    let theta = self.single_inverse(m, single, &target).clamp(low, high);
                    angles[id.0] = Degrees::new(theta);
                }
                None => {
                    let theta = self.pair_reach(m, &target);
                    for (id, theta) in m.servos().iter().zip(theta) {
                        angles[id.0] = Degrees::new(theta);
                    }
                }
            }
        }
        let dofs = self.forward(&angles);
        let missed = |d: &&DofSpec| !((dofs[d.dof] - wanted[d.dof]).abs() <= 1e-6);
        let clamped = self.dofs.iter().filter(missed).map(|d| d.dof).collect();
        Reach { angles, dofs, clamped }
    }

    /// Servo angle whose output fits the driven DOFs best (least squares), held to the linkage.
    fn single_inverse(&self, m: &Mechanism, single: super::mechanism::Single<'_>, target: &DofValues) -> f64 {
        let weight: f64 = m.drives().iter().map(|d| d.gain * d.gain).sum();
        let q = m.drives().iter().map(|d| d.gain * (target[d.dof] - d.at_neutral)).sum::<f64>() / weight;
        single_angle(single, q)
    }

    /// Angles of a two-servo mechanism for a target within the skin; where that is out of reach,
    /// the last point in reach on the straight way there from rest.
    fn pair_reach(&self, m: &Mechanism, target: &DofValues) -> [f64; 2] {
        let drives = m.drives();
        let inverse = |values: [f64; 2]| -> Option<[f64; 2]> {
            let q = [drives[0].output(values[0]), drives[1].output(values[1])];
            let theta = match m {
                Mechanism::FiveBar { linkage, .. } => linkage.inverse(q).ok()?,
                Mechanism::Differential { linkage, .. } => linkage.inverse(q),
                _ => return None,
            };
            let inside = m.servos().iter().zip(theta).all(|(id, t)| {
                let (low, high) = self.servos[id.0].pulse_travel();
                low.value() <= t && t <= high.value()
            });
            inside.then_some(theta)
        };
        let wanted = [target[drives[0].dof], target[drives[1].dof]];
        if let Some(theta) = inverse(wanted) {
            return theta;
        }
        let rest = [0, 1].map(|i| self.dof(drives[i].dof).map_or(0.0, |d| d.rest));
        let Some(mut best) = inverse(rest) else {
            // Only before construction has checked the rest pose.
            return [0.0; 2];
        };
        let (mut near, mut far) = (0.0, 1.0);
        for _ in 0..50 {
            let s = 0.5 * (near + far);
            match inverse([rest[0] + s * (wanted[0] - rest[0]), rest[1] + s * (wanted[1] - rest[1])]) {
                Some(theta) => (best, near) = (theta, s),
                None => far = s,
            }
        }
        best
    }

    fn find_travel(&self) -> Vec<(f64, f64)> {
        let mut travel: Vec<(f64, f64)> = self
            .servos
            .iter()
            .map(|s| {
                let (a, b) = s.pulse_travel();
                (a.value(), b.value())
            })
            .collect();
        for m in &self.mechanisms {
            match m.single() {
                Some(single) => {
                    let (mut low, mut high) = single.range();
                    for d in m.drives() {
                        let Some(spec) = self.dof(d.dof) else { continue };
                        let a = single_angle(single, d.output(spec.skin_min));
                        let b = single_angle(single, d.output(spec.skin_max));
                        low = low.max(a.min(b));
                        high = high.min(a.max(b));
                    }
                    let slot = &mut travel[m.servos()[0].0];
                    *slot = (slot.0.max(low), slot.1.min(high));
                }
                None => self.pair_travel(m, &mut travel),
            }
        }
        travel
    }

    /// Narrows two servos' travel to what the skin rectangle needs, with a margin for the grid.
    fn pair_travel(&self, m: &Mechanism, travel: &mut [(f64, f64)]) {
        const STEPS: u32 = 40;
        const MARGIN: f64 = 1.0;
        let drives = m.drives();
        let (Some(a), Some(b)) = (self.dof(drives[0].dof), self.dof(drives[1].dof)) else { return };
        let mut needed = [(f64::INFINITY, f64::NEG_INFINITY); 2];
        for i in 0..=STEPS {
            for j in 0..=STEPS {
                let along = |d: &DofSpec, k: u32| {
                    d.skin_min + (d.skin_max - d.skin_min) * f64::from(k) / f64::from(STEPS)
                };
                let q = [drives[0].output(along(a, i)), drives[1].output(along(b, j))];
                let theta = match m {
                    Mechanism::FiveBar { linkage, .. } => linkage.inverse(q).ok(),
                    Mechanism::Differential { linkage, .. } => Some(linkage.inverse(q)),
                    _ => None,
                };
                for (slot, t) in needed.iter_mut().zip(theta.into_iter().flatten()) {
                    *slot = (slot.0.min(t), slot.1.max(t));
                }
            }
        }
        for (id, (low, high)) in m.servos().iter().zip(needed) {
            if low <= high {
                let slot = &mut travel[id.0];
                *slot = (slot.0.max(low - MARGIN), slot.1.min(high + MARGIN));
            }
        }
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

/// Angle for a linkage output, held to the linkage's range.
fn single_angle(single: super::mechanism::Single<'_>, q: f64) -> f64 {
    let (low, high) = single.range();
    match single.inverse(q) {
        Ok(theta) => theta.clamp(low, high),
        // Out of reach: the end whose output is nearer (both ends are finite wherever q has bounds).
        Err(_) => {
            let (a, b) = (single.forward(low), single.forward(high));
            if (a - q).abs() <= (b - q).abs() { low } else { high }
        }
    }
}

fn pair_partials(
    servos: &[ServoId; 2],
    drives: &[super::Drive; 2],
    jacobian: [[f64; 2]; 2],
    entries: &mut Vec<(ServoId, Dof, f64)>,
) {
    for (drive, row) in drives.iter().zip(jacobian) {
        for (servo, slope) in servos.iter().zip(row) {
            entries.push((*servo, drive.dof, drive.gain * slope));
        }
    }
}
