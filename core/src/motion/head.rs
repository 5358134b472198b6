//! A rig as the planner sees it: limits per frame, servos that must be solved together, and linear
//! forms of the face whose value is limited.

use super::settings::MotionError;
use super::solver::FrameLimits;
use super::targets::ContactKind;
use crate::rig::{Dof, DofValues, Mechanism, Rig, ServoId, Side};
use crate::units::Degrees;

/// Pulses are written in steps of 0.1 µs, so each may be off by half of that.
pub(super) const PULSE_ROUNDING_US: f64 = 0.05;

/// A linear form of the DOFs: Σ factor · dof + constant.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Form {
    pub(super) terms: Vec<(Dof, f64)>,
    pub(super) constant: f64,
}

impl Form {
    pub(super) fn value(&self, dofs: &DofValues) -> f64 {
        self.terms.iter().map(|&(d, k)| k * dofs[d]).sum::<f64>() + self.constant
    }

    /// Reads the form off a function that is linear in the DOFs, as gaps between lips and teeth are.
    fn probe(rig: &Rig, f: impl Fn(&DofValues) -> Option<f64>) -> Option<Self> {
        let zero = DofValues::default();
        let constant = f(&zero)?;
        let mut terms = vec![];
        for spec in rig.dofs() {
            let mut unit = zero;
            unit[spec.dof] = 1.0;
            let k = f(&unit)? - constant;
            if k != 0.0 {
                terms.push((spec.dof, k));
            }
        }
        Some(Self { terms, constant })
    }
}

/// A form that must stay between two values at every moment.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct FaceLimit {
    pub(super) form: Form,
    pub(super) lower: f64,
    pub(super) upper: f64,
}

/// Servos solved together, with everything that ties them.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Group {
    pub(super) servos: Vec<usize>,
    /// Positions of the mechanisms that they move.
    mechanisms: Vec<usize>,
    /// DOFs that these servos drive.
    pub(super) dofs: Vec<Dof>,
    pub(super) limits: Vec<FaceLimit>,
    /// Forms of the contacts that these servos make.
    pub(super) contacts: Vec<ContactForm>,
    /// What all servos together may draw; only where all are solved together.
    pub(super) budget: Option<Budget>,
}

/// A form by which a contact is judged.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct ContactForm {
    pub(super) kind: ContactKind,
    pub(super) form: Form,
    /// How far it stays off at most where every servo stops short of its command by its dead band, mm,
    /// by the slopes at rest.
    pub(super) stops_short: f64,
}

/// Current of the rail: Σ idle + moving · |speed| / full speed ≤ budget, on every step.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Budget {
    /// What is left for moving, A, less what rounding of pulses can add.
    pub(super) room: f64,
    /// A per degree of step, towards larger and smaller angles, one each per servo.
    pub(super) up: Vec<f64>,
    pub(super) down: Vec<f64>,
}

impl Budget {
    /// Moving current of servo `c` for one step, A.
    pub(super) fn load(&self, c: usize, step: f64) -> f64 {
        (step * self.up[c]).max(-step * self.down[c])
    }
}

/// The rig, prepared.
#[derive(Clone)]
pub(super) struct Head<'a> {
    pub(super) rig: &'a Rig,
    pub(super) rest: Vec<Degrees>,
    /// Limits per frame, tightened by what rounding of pulses can add.
    pub(super) limits: Vec<FrameLimits>,
    /// How far rounding moves each servo at most, degrees.
    pub(super) rounding: Vec<f64>,
    /// Servos that are held at rest: pulses in steps of 0.1 µs are too coarse for so little speed or
    /// acceleration, and any move would break the limit.
    pub(super) held: Vec<bool>,
    /// Mean square of how far the face moves per degree of each servo: turns weights per mm² of the
    /// face into weights per square degree of the servo.
    pub(super) gain: Vec<f64>,
    pub(super) groups: Vec<Group>,
}

impl<'a> Head<'a> {
    pub(super) fn new(rig: &'a Rig, frame: f64) -> Result<Self, MotionError> {
        let rest = rig.rest_angles();
        let (mut limits, mut rounding, mut held) = (vec![], vec![], vec![]);
        for (servo, rest) in rig.servos().iter().zip(&rest) {
            let step = PULSE_ROUNDING_US / servo.us_per_degree.abs() * (1.0 + 1e-6) + 1e-9;
            let (low, high) = rig.travel(servo.id);
            let (low, high, rest) = (low.value(), high.value(), rest.value());
            if !(rest >= low - 1e-6 && rest <= high + 1e-6) {
                return Err(MotionError::RestOutOfReach {
                    servo: servo.name.clone(),
                    what: format!("rest is {rest:.3} deg, its travel {low:.3} to {high:.3} deg"),
                });
            }
            let (up, down) = (servo.speed_up.value() * frame, servo.speed_down.value() * frame);
            let acceleration = servo.acceleration.value() * frame * frame;
            let coarse = 0.98 * up.min(down) < 2.0 * step || 0.98 * acceleration < 4.0 * step;
            limits.push(if coarse {
                FrameLimits { lower: rest, upper: rest, up, down, acceleration }
            } else {
                FrameLimits {
                    lower: (low + step).min(rest),
                    upper: (high - step).max(rest),
                    up: up - 2.0 * step,
                    down: down - 2.0 * step,
                    acceleration: acceleration - 4.0 * step,
                }
            });
            rounding.push(step);
            held.push(coarse);
        }
        let groups = groups(rig, &rest);
        let mut gain = vec![0.0; rest.len()];
        for group in &groups {
            let ends = [
                |l: &FrameLimits, _: f64| l.lower,
                |_: &FrameLimits, r: f64| r,
                |l: &FrameLimits, _: f64| l.upper,
            ];
            for end in ends {
                let angles: Vec<f64> =
                    group.servos.iter().map(|&s| end(&limits[s], rest[s].value())).collect();
                // Two-servo linkages need not close at the ends of both travels; rest stands for all.
                let paired = group.mechanisms(rig).any(|m| m.servos().len() > 1);
                let angles = if paired { group.rest(&rest) } else { angles };
                let slopes = group.slopes(rig, &angles);
                for (c, &servo) in group.servos.iter().enumerate() {
                    let square: f64 = group.dofs.iter().map(|&d| slopes.of(d, c).powi(2)).sum();
                    gain[servo] += square / 3.0;
                }
            }
        }
        Ok(Self { rig, rest, limits, rounding, held, gain, groups })
    }
}

impl Head<'_> {
    /// The rail's budget over all servos in rig order.
    pub(super) fn budget(&self, frame: f64) -> Budget {
        let servos = self.rig.servos();
        let per = |speed: f64, moving: f64| moving / (speed * frame);
        let up: Vec<f64> = servos.iter().map(|s| per(s.speed_up.value(), s.moving_current.value())).collect();
        let down: Vec<f64> =
            servos.iter().map(|s| per(s.speed_down.value(), s.moving_current.value())).collect();
        let idle: f64 = servos.iter().map(|s| s.idle_current.value()).sum();
        let rounding: f64 = (0..servos.len()).map(|c| 2.0 * self.rounding[c] * up[c].max(down[c])).sum();
        Budget { room: self.rig.supply().budget.value() - idle - rounding, up, down }
    }

    /// All servos as one group, with the budget.
    pub(super) fn all(&self, frame: f64) -> Group {
        let groups = &self.groups;
        Group {
            servos: (0..self.rest.len()).collect(),
            mechanisms: groups.iter().flat_map(|g| g.mechanisms.iter().copied()).collect(),
            dofs: groups.iter().flat_map(|g| g.dofs.iter().copied()).collect(),
            limits: groups.iter().flat_map(|g| g.limits.iter().cloned()).collect(),
            contacts: groups.iter().flat_map(|g| g.contacts.iter().cloned()).collect(),
            budget: Some(self.budget(frame)),
        }
    }
}

fn groups(rig: &Rig, rest: &[Degrees]) -> Vec<Group> {
    let count = rig.servos().len();
    let partials = rig.partials(rest);
    let drivers = |dof: Dof| partials.iter().filter(move |p| p.1 == dof).map(|p| p.0.0);
    let mut leader: Vec<usize> = (0..count).collect();
    fn find(leader: &mut [usize], mut i: usize) -> usize {
        while leader[i] != i {
            leader[i] = leader[leader[i]];
            i = leader[i];
        }
        i
    }
    let join = |leader: &mut Vec<usize>, members: Vec<usize>| {
        for pair in members.windows(2) {
            let (a, b) = (find(leader, pair[0]), find(leader, pair[1]));
            leader[a.max(b)] = a.min(b);
        }
    };
    for mechanism in rig.mechanisms() {
        join(&mut leader, mechanism.servos().iter().map(|s| s.0).collect());
    }
    let mut limits: Vec<FaceLimit> = vec![];
    for coupling in rig.couplings() {
        limits.push(FaceLimit {
            form: Form { terms: coupling.terms.clone(), constant: 0.0 },
            lower: coupling.min.unwrap_or(f64::NEG_INFINITY),
            upper: coupling.max.unwrap_or(f64::INFINITY),
        });
    }
    // Skin travel of what a single servo drives is in that servo's own travel already.
    for spec in rig.dofs() {
        if drivers(spec.dof).count() > 1 {
            limits.push(FaceLimit {
                form: Form { terms: vec![(spec.dof, 1.0)], constant: 0.0 },
                lower: spec.skin_min,
                upper: spec.skin_max,
            });
        }
    }
    let mut contacts: Vec<(ContactKind, Form)> = vec![];
    for side in Side::BOTH {
        let lips = Form::probe(rig, |v| rig.lip_gap(v, side).map(|g| g.value()));
        let teeth = Form::probe(rig, |v| rig.teeth_gap(v, side).map(|g| g.value()));
        contacts.extend(lips.map(|f| (ContactKind::Lips, f)));
        contacts.extend(teeth.map(|f| (ContactKind::LipOnTeeth, f)));
    }
    for (kind, dof) in [(ContactKind::TongueTip, Dof::TongueTip), (ContactKind::TongueBody, Dof::TongueBody)]
    {
        if rig.dof(dof).is_some() {
            contacts.push((kind, Form { terms: vec![(dof, -1.0)], constant: 0.0 }));
        }
    }
    let members = |form: &Form| -> Vec<usize> { form.terms.iter().flat_map(|&(d, _)| drivers(d)).collect() };
    for form in limits.iter().map(|l| &l.form).chain(contacts.iter().map(|c| &c.1)) {
        join(&mut leader, members(form));
    }

    let mut groups: Vec<Group> = vec![];
    let mut place = vec![usize::MAX; count];
    for servo in 0..count {
        let head = find(&mut leader, servo);
        if place[head] == usize::MAX {
            place[head] = groups.len();
            groups.push(Group::default());
        }
        place[servo] = place[head];
        groups[place[servo]].servos.push(servo);
    }
    for spec in rig.dofs() {
        if let Some(servo) = drivers(spec.dof).next() {
            groups[place[servo]].dofs.push(spec.dof);
        }
    }
    for (index, mechanism) in rig.mechanisms().iter().enumerate() {
        if let Some(servo) = mechanism.servos().first() {
            groups[place[servo.0]].mechanisms.push(index);
        }
    }
    for limit in limits {
        if let Some(&servo) = members(&limit.form).first() {
            groups[place[servo]].limits.push(limit);
        }
    }
    for (kind, form) in contacts {
        if let Some(&servo) = members(&form).first() {
            let stops_short = stops_short(rig, &partials, &form.terms);
            groups[place[servo]].contacts.push(ContactForm { kind, form, stops_short });
        }
    }
    groups
}

/// How far Σ factor · dof stays off at most where every servo stops short by its dead band.
pub(super) fn stops_short(rig: &Rig, partials: &[(ServoId, Dof, f64)], terms: &[(Dof, f64)]) -> f64 {
    rig.servos()
        .iter()
        .map(|servo| {
            let of_dof = |dof: Dof| partials.iter().filter(move |p| p.0 == servo.id && p.1 == dof);
            let slope: f64 = terms.iter().flat_map(|&(d, k)| of_dof(d).map(move |p| k * p.2)).sum();
            (slope * servo.dead_band.value() / servo.us_per_degree).abs()
        })
        .sum()
}

impl Group {
    /// Rest angles of its servos.
    pub(super) fn rest(&self, rest: &[Degrees]) -> Vec<f64> {
        self.servos.iter().map(|&s| rest[s].value()).collect()
    }

    /// DOF values for one angle (degrees) per servo of the group; other DOFs are 0.
    pub(super) fn face(&self, rig: &Rig, angles: &[f64]) -> DofValues {
        let mut values = DofValues::default();
        for mechanism in self.mechanisms(rig) {
            for (dof, value) in mechanism.forward(&self.angles_of(mechanism, angles)) {
                values[dof] = value;
            }
        }
        values
    }

    /// Derivatives of the DOFs by the servo angles, DOF unit per degree.
    pub(super) fn slopes(&self, rig: &Rig, angles: &[f64]) -> Slopes<'_> {
        let width = self.servos.len();
        let mut table = vec![0.0; self.dofs.len() * width];
        for mechanism in self.mechanisms(rig) {
            let theta = self.angles_of(mechanism, angles);
            for (servo, dof, slope) in mechanism.partials(&theta) {
                let place = |d| self.dofs.iter().position(|&x| x == d);
                let local = self.servos.iter().position(|&s| s == servo.0);
                if let (Some(c), Some(d)) = (local, place(dof)) {
                    table[d * width + c] += slope;
                }
            }
        }
        Slopes { group: self, table }
    }

    fn mechanisms<'r>(&self, rig: &'r Rig) -> impl Iterator<Item = &'r Mechanism> + use<'_, 'r> {
        self.mechanisms.iter().map(|&m| &rig.mechanisms()[m])
    }

    fn angles_of(&self, mechanism: &Mechanism, angles: &[f64]) -> [f64; 2] {
        let mut theta = [0.0; 2];
        for (slot, id) in theta.iter_mut().zip(mechanism.servos()) {
            if let Some(c) = self.servos.iter().position(|&s| s == id.0) {
                *slot = angles[c];
            }
        }
        theta
    }
}

/// Derivatives of a group's DOFs by its servo angles at one frame.
pub(super) struct Slopes<'a> {
    group: &'a Group,
    /// `dofs × servos`.
    table: Vec<f64>,
}

impl Slopes<'_> {
    pub(super) fn of(&self, dof: Dof, servo: usize) -> f64 {
        let row = self.group.dofs.iter().position(|&d| d == dof);
        row.map_or(0.0, |d| self.table[d * self.group.servos.len() + servo])
    }

    /// Slope of a form by one servo of the group.
    pub(super) fn of_form(&self, form: &Form, servo: usize) -> f64 {
        form.terms.iter().map(|&(d, k)| k * self.of(d, servo)).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rig::{Preset, ResponsePoint};

    /// The full head in a skin that follows less and less the further it is pulled.
    fn stiff_skin() -> Rig {
        let mut d = Preset::Harbourmaster.describe();
        for x in &mut d.dofs {
            let point = |share: f64, give: f64| {
                let asked = share.abs() * if share < 0.0 { x.skin_min } else { x.skin_max };
                let (seen, extra) = (give * asked, Default::default());
                ResponsePoint { asked, seen_rising: seen - 0.05, seen_falling: seen + 0.05, extra }
            };
            let shares: &[(f64, f64)] = if x.skin_min < x.rest {
                &[(-1.0, 0.7), (-0.4, 0.9), (0.0, 1.0), (0.4, 0.9), (1.0, 0.7)]
            } else {
                &[(0.0, 1.0), (0.4, 0.9), (1.0, 0.7)]
            };
            x.response = shares.iter().map(|s| point(s.0, s.1)).collect();
            (x.skin_min, x.skin_max) = (0.7 * x.skin_min, 0.7 * x.skin_max);
        }
        Rig::new(d).unwrap_or_else(|e| panic!("{e}"))
    }

    /// Slopes are those of the face that is seen: the judge is a difference of two forward passes.
    #[test]
    fn slopes_are_those_of_the_seen_face() {
        const STEP: f64 = 1e-4;
        let rig = stiff_skin();
        let head = Head::new(&rig, 0.02).expect("can rest");
        let mut compared = 0;
        for group in &head.groups {
            for share in [-0.5_f64, -0.2, 0.25, 0.6] {
                let rest = group.rest(&head.rest);
                let angles: Vec<f64> = group
                    .servos
                    .iter()
                    .zip(&rest)
                    .map(|(&s, r)| {
                        let end = if share < 0.0 { head.limits[s].lower } else { head.limits[s].upper };
                        r + share.abs() * (end - r)
                    })
                    .collect();
                let slopes = group.slopes(&rig, &angles);
                for c in 0..angles.len() {
                    let moved = |by: f64| {
                        let mut other = angles.clone();
                        other[c] += by;
                        group.face(&rig, &other)
                    };
                    let (more, less) = (moved(STEP), moved(-STEP));
                    for &dof in &group.dofs {
                        let judge = (more[dof] - less[dof]) / (2.0 * STEP);
                        let ours = slopes.of(dof, c);
                        assert!((ours - judge).abs() < 1e-4, "{dof} by {c}: {ours} against {judge}");
                        compared += usize::from(judge.abs() > 1e-3);
                    }
                }
            }
        }
        assert!(compared > 60, "{compared}");
    }

    /// 300 degrees a second upwards and 150 down; 0.5 A moving and 0.1 A still: at full speed 6 and 3 degrees a frame.
    #[test]
    fn the_budget_is_what_idling_and_rounding_leave() {
        let mut d = Preset::JawOnly.describe();
        let servo = &mut d.servos[0];
        (servo.speed_s_per_60deg, servo.load_derating_up, servo.load_derating_down) = (0.2, 1.0, 0.5);
        (servo.idle_current_a, servo.moving_current_a, servo.stall_current_a) = (0.1, 0.5, 2.0);
        d.supply.budget_a = 0.9;
        let rig = Rig::new(d).expect("still a head");
        let head = Head::new(&rig, 0.02).expect("it stands");
        let budget = head.budget(0.02);
        let moving = rig.servos()[0].moving_current.value();
        let close = |a: f64, b: f64| (a - b).abs() < 1e-9;
        assert!(close(budget.load(0, 6.0), moving) && close(budget.load(0, -3.0), moving), "{budget:?}");
        assert!(close(budget.load(0, 1.5), 0.25 * moving) && budget.load(0, 0.0) == 0.0);
        let step = PULSE_ROUNDING_US / rig.servos()[0].us_per_degree.abs();
        let rounding = 2.0 * step * moving / 3.0;
        assert!((budget.room - (0.9 - 0.1 - rounding)).abs() < 1e-6, "{budget:?}, {rounding}");
    }

    /// What two servos drive is held to its skin here; what one drives by that servo's travel.
    #[test]
    fn skin_is_a_limit_of_what_several_servos_drive() {
        let rig = Rig::harbourmaster();
        let head = Head::new(&rig, 0.02).expect("it stands");
        let skins: Vec<(Dof, f64, f64)> = (head.groups.iter().flat_map(|g| &g.limits))
            .filter(|l| l.form.terms.len() == 1)
            .map(|l| (l.form.terms[0].0, l.lower, l.upper))
            .collect();
        let corners = [Dof::CornerLeftX, Dof::CornerLeftY, Dof::CornerRightX, Dof::CornerRightY];
        let expected: Vec<(Dof, f64, f64)> =
            corners.iter().filter_map(|&d| rig.dof(d)).map(|s| (s.dof, s.skin_min, s.skin_max)).collect();
        assert_eq!((skins.len(), expected.len()), (4, 4));
        assert!(expected.iter().all(|e| skins.contains(e)), "{skins:?}");
    }

    /// Every servo short of its command by its dead band, each in the worse direction: by difference quotients.
    #[test]
    fn dead_bands_add_up_over_the_servos_of_a_contact() {
        let rig = Preset::JawAndLips.rig();
        let head = Head::new(&rig, 0.02).expect("it stands");
        let group = &head.groups[0];
        let rest = group.rest(&head.rest);
        for contact in &group.contacts {
            let mut sum = 0.0;
            for c in 0..rest.len() {
                let at = |by: f64| {
                    let mut angles = rest.clone();
                    angles[c] += by;
                    contact.form.value(&group.face(&rig, &angles))
                };
                let servo = &rig.servos()[group.servos[c]];
                let degrees = servo.dead_band.value() / servo.us_per_degree;
                sum += ((at(1e-4) - at(-1e-4)) / 2e-4 * degrees).abs();
            }
            assert!(sum > 0.01 && (contact.stops_short - sum).abs() < 1e-6, "{contact:?}: {sum}");
        }
    }
}
