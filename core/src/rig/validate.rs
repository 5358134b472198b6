//! Judging a rig description: every fault with its field and its fix.

use super::description::*;
use super::table::TableFault;
use super::{
    Differential, Dof, Drive, Expression, FiveBar, Mechanism, PushRod, Rotary, Servo, ServoId, Table,
};
use crate::fields::Problems;
use std::collections::HashMap;
use std::ops::RangeInclusive;

/// Lengths that a head can have, mm.
const LENGTH: RangeInclusive<f64> = 0.1..=1000.0;
/// Pulse widths that any hobby servo understands, µs.
const PULSE: RangeInclusive<f64> = 100.0..=5000.0;
/// Largest value of a face DOF, mm or degrees.
const FACE: RangeInclusive<f64> = -360.0..=360.0;

/// Notes a fault unless `value` is a number within `range`; says whether it was.
fn within(path: String, value: f64, range: RangeInclusive<f64>, unit: &str, p: &mut Problems) -> bool {
    let good = range.contains(&value);
    if !good {
        let (low, high) = (range.start(), range.end());
        let problem = if value.is_nan() { "is not a number".to_owned() } else { format!("is {value}{unit}") };
        p.add(path, problem, format!("give a value from {low} to {high}{unit}"));
    }
    good
}

/// Notes a fault unless `value` is finite and above zero, at most `most`.
fn positive(path: String, value: f64, most: f64, unit: &str, p: &mut Problems) -> bool {
    let good = value > 0.0 && value <= most;
    if !good {
        let problem = if value.is_nan() { "is not a number".to_owned() } else { format!("is {value}{unit}") };
        p.add(path, problem, format!("give a value above 0, up to {most}{unit}"));
    }
    good
}

pub(super) fn supply(d: &SupplyDescription, servos: &[ServoDescription], p: &mut Problems) {
    let input = positive("supply.input_v".into(), d.input_v, 60.0, " V", p);
    let rail = positive("supply.rail_v".into(), d.rail_v, 30.0, " V", p);
    if input && rail && d.rail_v > d.input_v {
        p.add(
            "supply.rail_v",
            format!("is {} V, above the input of {} V", d.rail_v, d.input_v),
            "give the regulated servo voltage, at most supply.input_v",
        );
    }
    let idle: f64 = servos.iter().map(|s| s.idle_current_a).sum();
    if positive("supply.budget_a".into(), d.budget_a, 1000.0, " A", p) && d.budget_a <= idle {
        p.add(
            "supply.budget_a",
            format!("is {} A, and the servos draw {idle:.3} A at rest", d.budget_a),
            "give a budget above what they draw when still, or correct their idle_current_a",
        );
    }
}

pub(super) fn face(d: &FaceDescription, p: &mut Problems) {
    within("face.lower_lip_per_jaw".into(), d.lower_lip_per_jaw, 0.0..=2.0, "", p);
    within("face.lip_compression_mm".into(), d.lip_compression_mm, 0.0..=20.0, " mm", p);
    within("face.upper_teeth_edge_mm".into(), d.upper_teeth_edge_mm, -50.0..=50.0, " mm", p);
}

pub(super) fn servos(all: &[ServoDescription], p: &mut Problems) {
    if all.is_empty() {
        p.add("servos", "is empty", "describe at least one servo");
    }
    let mut names: HashMap<&str, usize> = HashMap::new();
    let mut pins: HashMap<(&str, u64), usize> = HashMap::new();
    for (i, s) in all.iter().enumerate() {
        let at = |field: &str| format!("servos[{i}].{field}");
        if s.name.trim().is_empty() {
            p.add(at("name"), "is empty", "give every servo a name of its own");
        } else if let Some(first) = names.insert(&s.name, i) {
            p.add(
                at("name"),
                format!("is \"{}\", as is servos[{first}].name", s.name),
                "give every servo a name of its own",
            );
        }
        if s.controller.trim().is_empty() {
            p.add(at("controller"), "is empty", "name the board it hangs on, or leave the field out");
        }
        if s.channel > 255 {
            p.add(at("channel"), format!("is {}", s.channel), "give the board's channel number, 0 to 255");
        }
        if let Some(first) = pins.insert((&s.controller, s.channel), i) {
            p.add(
                at("channel"),
                format!("is {} on \"{}\", where servos[{first}] already hangs", s.channel, s.controller),
                "give every servo a channel of its own",
            );
        }
        let min = within(at("pulse_min_us"), s.pulse_min_us, PULSE, " us", p);
        let max = within(at("pulse_max_us"), s.pulse_max_us, PULSE, " us", p);
        let neutral = within(at("pulse_neutral_us"), s.pulse_neutral_us, PULSE, " us", p);
        if min && max && s.pulse_min_us >= s.pulse_max_us {
            p.add(
                at("pulse_min_us"),
                format!("is {} us, not below pulse_max_us {}", s.pulse_min_us, s.pulse_max_us),
                "give the shorter pulse as min; direction goes into the sign of us_per_degree",
            );
        } else if min && max && neutral && !(s.pulse_min_us..=s.pulse_max_us).contains(&s.pulse_neutral_us) {
            p.add(
                at("pulse_neutral_us"),
                format!("is {} us, outside {} to {}", s.pulse_neutral_us, s.pulse_min_us, s.pulse_max_us),
                "give a neutral pulse between the ends",
            );
        }
        if within(at("us_per_degree"), s.us_per_degree, -100.0..=100.0, " us", p)
            && s.us_per_degree.abs() < 0.5
        {
            p.add(
                at("us_per_degree"),
                format!("is {}", s.us_per_degree),
                "give the pulse change per degree, usually 8 to 12, negative for reverse direction",
            );
        }
        positive(at("speed_s_per_60deg"), s.speed_s_per_60deg, 60.0, " s", p);
        positive(at("load_derating_up"), s.load_derating_up, 1.0, "", p);
        positive(at("load_derating_down"), s.load_derating_down, 1.0, "", p);
        positive(at("acceleration_deg_per_s2"), s.acceleration_deg_per_s2, 1e6, " deg/s^2", p);
        within(at("dead_band_us"), s.dead_band_us, 0.0..=200.0, " us", p);
        within(at("idle_current_a"), s.idle_current_a, 0.0..=50.0, " A", p);
        let moving = within(at("moving_current_a"), s.moving_current_a, 0.0..=50.0, " A", p);
        let stall = positive(at("stall_current_a"), s.stall_current_a, 100.0, " A", p);
        if moving && stall && s.moving_current_a > s.stall_current_a {
            p.add(
                at("stall_current_a"),
                format!("is {} A, below moving_current_a {}", s.stall_current_a, s.moving_current_a),
                "give the current of the blocked servo: the largest it ever draws",
            );
        }
    }
}

pub(super) fn dofs(all: &[DofDescription], p: &mut Problems) {
    if all.is_empty() {
        p.add("dofs", "is empty", "list what the face does, with the travel its skin allows");
    }
    let mut seen: HashMap<Dof, usize> = HashMap::new();
    for (i, d) in all.iter().enumerate() {
        let at = |field: &str| format!("dofs[{i}].{}", with_unit(field, d.dof));
        if let Some(first) = seen.insert(d.dof, i) {
            p.add(
                format!("dofs[{i}].dof"),
                format!("is {}, as is dofs[{first}]", d.dof),
                "list each degree of freedom once",
            );
        }
        let min = within(at("skin_min"), d.skin_min, FACE, "", p);
        let max = within(at("skin_max"), d.skin_max, FACE, "", p);
        let rest = within(at("rest"), d.rest, FACE, "", p);
        if min && max && d.skin_min >= d.skin_max {
            p.add(
                at("skin_min"),
                format!("is {}, not below {} {}", d.skin_min, with_unit("skin_max", d.dof), d.skin_max),
                "give the smaller end as min",
            );
        } else if min && max && rest && !(d.skin_min..=d.skin_max).contains(&d.rest) {
            p.add(
                at("rest"),
                format!("is {}, outside {} to {}", d.rest, d.skin_min, d.skin_max),
                "give a rest value within the skin's travel",
            );
        }
    }
}

pub(super) fn couplings(all: &[CouplingDescription], dofs: &[DofDescription], p: &mut Problems) {
    for (i, c) in all.iter().enumerate() {
        let at = |field: &str| format!("couplings[{i}].{field}");
        if c.terms.is_empty() {
            p.add(at("terms"), "is empty", "name the degrees of freedom it limits, with a factor each");
        }
        let mut at_rest = 0.0;
        let mut complete = true;
        for (k, t) in c.terms.iter().enumerate() {
            let path = format!("couplings[{i}].terms[{k}]");
            complete &= within(format!("{path}.factor"), t.factor, -100.0..=100.0, "", p);
            if t.factor == 0.0 {
                p.add(format!("{path}.factor"), "is 0", "give a factor, or leave the term out");
            }
            if t.dof.unit() != "mm" {
                p.add(format!("{path}.dof"), format!("is {} in degrees", t.dof), "couple only DOFs in mm");
            }
            if c.terms[..k].iter().any(|other| other.dof == t.dof) {
                p.add(
                    format!("{path}.dof"),
                    format!("names {} again", t.dof),
                    "give each DOF one term, with its whole factor",
                );
            }
            match dofs.iter().find(|d| d.dof == t.dof) {
                Some(d) => at_rest += t.factor * d.rest,
                None => {
                    complete = false;
                    p.add(
                        format!("{path}.dof"),
                        format!("names {}, which this rig does not have", t.dof),
                        "list it under dofs or leave the term out",
                    );
                }
            }
        }
        let limit = |value: Option<f64>, field: &str, p: &mut Problems| {
            value.is_none_or(|v| within(at(field), v, -1000.0..=1000.0, " mm", p))
        };
        complete &= limit(c.min_mm, "min_mm", p);
        complete &= limit(c.max_mm, "max_mm", p);
        match (c.min_mm, c.max_mm) {
            (None, None) => p.add(at("min_mm"), "and max_mm are both missing", "give at least one limit"),
            (Some(min), Some(max)) if min > max => {
                p.add(at("min_mm"), format!("is {min}, above max_mm {max}"), "give the smaller limit as min");
            }
            (min, max)
                if complete && (min.is_some_and(|m| at_rest < m) || max.is_some_and(|m| at_rest > m)) =>
            {
                p.add(
                    at("terms"),
                    format!("sum to {at_rest} mm at rest, outside the limit"),
                    "choose limits that allow the rest pose",
                );
            }
            _ => {}
        }
    }
}

pub(super) fn poses(d: &RigDescription, p: &mut Problems) {
    let mut check = |path: String, pose: &PoseDescription| {
        for (dof, value) in &pose.target {
            within(format!("{path}.target.{dof}"), *value, FACE, "", p);
            if !d.dofs.iter().any(|known| known.dof == *dof) {
                p.add(
                    format!("{path}.target.{dof}"),
                    "is not a degree of freedom of this rig",
                    "list it under dofs or leave it out",
                );
            }
        }
        for (dof, value) in &pose.importance {
            within(format!("{path}.importance.{dof}"), *value, 0.0..=100.0, "", p);
        }
    };
    for (shape, pose) in &d.poses {
        check(format!("poses.{shape}"), pose);
    }
    for (expression, pose) in &d.expressions {
        check(format!("expressions.{}", Expression::name(*expression)), pose);
    }
}

/// Builds the mechanisms, noting what cannot be built.
pub(super) fn mechanisms(d: &RigDescription, servos: &[Servo], p: &mut Problems) -> Vec<Mechanism> {
    let mut built = Vec::new();
    let mut servo_user: HashMap<ServoId, usize> = HashMap::new();
    let mut dof_user: HashMap<Dof, usize> = HashMap::new();
    for (i, m) in d.mechanisms.iter().enumerate() {
        let at = |field: &str| format!("mechanisms[{i}].{field}");
        let before = p.0.len();
        if m.name.trim().is_empty() {
            p.add(at("name"), "is empty", "name the mechanism");
        }
        let needed = match m.linkage {
            LinkageDescription::FiveBar { .. } | LinkageDescription::Differential { .. } => 2,
            _ => 1,
        };
        if m.servos.len() != needed {
            p.add(
                at("servos"),
                format!("names {} servos", m.servos.len()),
                format!("name {needed} for this kind of mechanism"),
            );
        }
        let mut ids = Vec::new();
        for (k, name) in m.servos.iter().enumerate() {
            let path = format!("mechanisms[{i}].servos[{k}]");
            match servos.iter().find(|s| s.name == *name) {
                None => {
                    p.add(path, format!("names \"{name}\", which is no servo"), "use a name under servos")
                }
                Some(servo) => {
                    if let Some(first) = servo_user.insert(servo.id, i) {
                        p.add(
                            path,
                            format!("uses \"{name}\", which mechanisms[{first}] already uses"),
                            "let each servo move one mechanism",
                        );
                    }
                    ids.push(servo.id);
                }
            }
        }
        let drives = drives(i, m, needed, d, &mut dof_user, p);
        if p.0.len() > before {
            continue;
        }
        built.extend(linkage(i, m, &ids, drives, servos, p));
    }
    for (i, s) in servos.iter().enumerate() {
        if !servo_user.contains_key(&s.id) {
            p.add(
                format!("servos[{i}].name"),
                format!("is \"{}\", and no mechanism uses it", s.name),
                "name it in a mechanism or take it out",
            );
        }
    }
    for (i, dof) in d.dofs.iter().enumerate() {
        if !dof_user.contains_key(&dof.dof) {
            p.add(
                format!("dofs[{i}].dof"),
                format!("is {}, which no mechanism drives", dof.dof),
                "drive it from a mechanism or take it out",
            );
        }
    }
    built
}

fn drives(
    i: usize,
    m: &MechanismDescription,
    servos: usize,
    d: &RigDescription,
    dof_user: &mut HashMap<Dof, usize>,
    p: &mut Problems,
) -> Vec<Drive> {
    let at = |field: &str| format!("mechanisms[{i}].{field}");
    if servos == 2 && m.drives.len() != 2 {
        p.add(at("drives"), format!("names {} DOFs", m.drives.len()), "name two: first and second output");
    }
    if m.drives.is_empty() {
        p.add(at("drives"), "is empty", "name what it moves");
    }
    for (k, drive) in m.drives.iter().enumerate() {
        let path = format!("mechanisms[{i}].drives[{k}]");
        if let Some(first) = dof_user.insert(drive.dof, i) {
            p.add(
                format!("{path}.dof"),
                format!("drives {}, which mechanisms[{first}] already drives", drive.dof),
                "let each degree of freedom have one mechanism",
            );
        }
        if !d.dofs.iter().any(|known| known.dof == drive.dof) {
            p.add(
                format!("{path}.dof"),
                format!("drives {}, which is not under dofs", drive.dof),
                "list it under dofs with its skin travel",
            );
        }
        if within(format!("{path}.gain"), drive.gain, -100.0..=100.0, "", p) && drive.gain.abs() < 1e-3 {
            p.add(format!("{path}.gain"), format!("is {}", drive.gain), "give a factor that moves it");
        }
        within(format!("{path}.{}", with_unit("at_neutral", drive.dof)), drive.at_neutral, FACE, "", p);
        if let LinkageDescription::Rotary { lever_mm, .. } = m.linkage {
            if lever_mm.is_none() && drive.dof.unit() == "mm" {
                p.add(
                    at("lever_mm"),
                    format!("is missing, and {} is in mm", drive.dof),
                    "give the lever from the axle to where the face moves",
                );
            } else if lever_mm.is_some() && drive.dof.unit() == "deg" {
                p.add(
                    at("lever_mm"),
                    format!("is given, and {} is in degrees", drive.dof),
                    "leave it out: the axle's own angle is the value",
                );
            }
        }
    }
    m.drives.iter().map(|d| Drive { dof: d.dof, gain: d.gain, at_neutral: d.at_neutral }).collect()
}

fn linkage(
    i: usize,
    m: &MechanismDescription,
    ids: &[ServoId],
    drives: Vec<Drive>,
    servos: &[Servo],
    p: &mut Problems,
) -> Option<Mechanism> {
    let at = |field: &str| format!("mechanisms[{i}].{field}");
    let before = p.0.len();
    let name = m.name.clone();
    let mechanism = match &m.linkage {
        LinkageDescription::Rotary { ratio, lever_mm } => {
            if within(at("ratio"), *ratio, -100.0..=100.0, "", p) && ratio.abs() < 1e-3 {
                p.add(at("ratio"), format!("is {ratio}"), "give the axle's turn per turn of the servo");
            }
            if let Some(lever) = lever_mm {
                within(at("lever_mm"), *lever, LENGTH, " mm", p);
            }
            Mechanism::Rotary {
                name,
                servo: ids[0],
                drives,
                linkage: Rotary { ratio: *ratio, lever: *lever_mm },
            }
        }
        LinkageDescription::PushRod {
            horn_radius_mm,
            rod_length_mm,
            offset_mm,
            neutral_horn_deg,
            lever_ratio,
        } => {
            let mut good = within(at("horn_radius_mm"), *horn_radius_mm, LENGTH, " mm", p);
            good &= within(at("rod_length_mm"), *rod_length_mm, LENGTH, " mm", p);
            good &= within(at("offset_mm"), *offset_mm, -1000.0..=1000.0, " mm", p);
            good &= within(at("neutral_horn_deg"), *neutral_horn_deg, -720.0..=720.0, " deg", p);
            if within(at("lever_ratio"), *lever_ratio, -100.0..=100.0, "", p) && lever_ratio.abs() < 1e-3 {
                p.add(at("lever_ratio"), format!("is {lever_ratio}"), "give the face's mm per slider mm");
            }
            let rod = PushRod {
                horn_radius: *horn_radius_mm,
                rod_length: *rod_length_mm,
                offset: *offset_mm,
                neutral_horn: *neutral_horn_deg,
                lever: *lever_ratio,
            };
            if good && !(rod.rod_length > rod.horn_radius + rod.offset.abs() + 1e-6) {
                p.add(
                    at("rod_length_mm"),
                    format!(
                        "is {} mm, not longer than horn radius {} plus offset {}",
                        rod.rod_length,
                        rod.horn_radius,
                        rod.offset.abs()
                    ),
                    "lengthen the rod: it cannot stay assembled through a turn of the horn",
                );
            } else if good && rod.clearance(0.0) <= PushRod::MIN_CLEARANCE {
                p.add(
                    at("neutral_horn_deg"),
                    format!("puts the horn {:.1} degrees from its dead centre", rod.clearance(0.0)),
                    "mount the horn across the rod at the neutral pulse (near 90 degrees)",
                );
            }
            Mechanism::PushRod { name, servo: ids[0], drives, linkage: rod }
        }
        LinkageDescription::FiveBar {
            base_mm,
            proximal_mm,
            distal_mm,
            elbows,
            rest_x_mm,
            rest_y_mm,
            rotation_deg,
        } => {
            let mut good = within(at("base_mm"), *base_mm, 0.0..=1000.0, " mm", p);
            good &= within(at("proximal_mm"), *proximal_mm, LENGTH, " mm", p);
            good &= within(at("distal_mm"), *distal_mm, LENGTH, " mm", p);
            good &= within(at("rest_x_mm"), *rest_x_mm, -1000.0..=1000.0, " mm", p);
            good &= within(at("rest_y_mm"), *rest_y_mm, -1000.0..=1000.0, " mm", p);
            good &= within(at("rotation_deg"), *rotation_deg, -720.0..=720.0, " deg", p);
            if !good {
                return None;
            }
            let rest = [*rest_x_mm, *rest_y_mm];
            match FiveBar::new(*base_mm, *proximal_mm, *distal_mm, *elbows, rest, *rotation_deg) {
                Ok(linkage) => Mechanism::FiveBar {
                    name,
                    servos: [ids[0], ids[1]],
                    drives: [drives[0], drives[1]],
                    linkage,
                },
                Err(e) => {
                    p.add(
                        at("rest_y_mm"),
                        format!("and rest_x_mm: {e}"),
                        "put the rest point where both arms are well bent, or change the lengths",
                    );
                    return None;
                }
            }
        }
        LinkageDescription::Differential { common_per_degree, difference_per_degree } => {
            for (field, value) in
                [("common_per_degree", *common_per_degree), ("difference_per_degree", *difference_per_degree)]
            {
                if within(at(field), value, -100.0..=100.0, "", p) && value.abs() < 1e-4 {
                    p.add(at(field), format!("is {value}"), "give the value's change per degree");
                }
            }
            Mechanism::Differential {
                name,
                servos: [ids[0], ids[1]],
                drives: [drives[0], drives[1]],
                linkage: Differential { common: *common_per_degree, difference: *difference_per_degree },
            }
        }
        LinkageDescription::Table { points } => {
            let servo = &servos[ids[0].0];
            for (k, point) in points.iter().enumerate() {
                within(format!("mechanisms[{i}].points[{k}].pulse_us"), point.pulse_us, PULSE, " us", p);
                within(format!("mechanisms[{i}].points[{k}].value"), point.value, FACE, "", p);
            }
            if p.0.len() > before {
                return None;
            }
            let measured: Vec<(f64, f64)> = points
                .iter()
                .map(|t| (servo.angle(crate::units::Microseconds::new(t.pulse_us)).value(), t.value))
                .collect();
            let linkage = match Table::new(&measured) {
                Ok(table) => table,
                Err(TableFault::TooFew) => {
                    p.add(
                        at("points"),
                        format!("has {} points", points.len()),
                        "measure at least two, better five to nine",
                    );
                    return None;
                }
                Err(TableFault::NotFinite(k)) => {
                    p.add(
                        format!("mechanisms[{i}].points[{k}].value"),
                        "is not a number",
                        "measure it again",
                    );
                    return None;
                }
                Err(TableFault::AnglesRepeat(k)) => {
                    p.add(
                        format!("mechanisms[{i}].points[{k}].pulse_us"),
                        format!("is {} after {}", points[k].pulse_us, points[k - 1].pulse_us),
                        "list points by rising pulse, each pulse once",
                    );
                    return None;
                }
                Err(TableFault::FoldsBack(k)) => {
                    p.add(
                        format!("mechanisms[{i}].points[{k}].value"),
                        format!(
                            "is {} after {}: the linkage folds back",
                            points[k].value,
                            points[k - 1].value
                        ),
                        "use only the stretch over which it keeps moving one way",
                    );
                    return None;
                }
            };
            Mechanism::Table { name, servo: ids[0], drives, linkage }
        }
    };
    (p.0.len() == before).then_some(mechanism)
}
