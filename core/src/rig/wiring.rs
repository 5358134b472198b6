//! Who drives what: mechanisms are built, and every fault in wiring or sizes is noted.

use super::description::*;
use super::table::TableFault;
use super::validate::{FACE, LENGTH, PULSE, within};
use super::{
    Differential, Dof, Drive, FiveBar, KinematicError, Mechanism, PushRod, Rotary, Servo, ServoId,
    SkinResponse, Table,
};
use crate::fields::Problems;
use crate::units::Microseconds;
use std::collections::HashMap;

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
    let drive = |x: &DriveDescription| {
        let skin =
            d.dofs.iter().position(|known| known.dof == x.dof).and_then(|i| response(i, &d.dofs[i], p));
        Drive { dof: x.dof, gain: x.gain, at_neutral: x.at_neutral, skin }
    };
    m.drives.iter().map(drive).collect()
}

fn pair(drives: Vec<Drive>) -> Option<[Drive; 2]> {
    <[Drive; 2]>::try_from(drives).ok()
}

/// The measured response of a skin; none where it follows exactly, or is no curve (noted).
fn response(i: usize, d: &DofDescription, p: &mut Problems) -> Option<SkinResponse> {
    if d.response.is_empty() {
        return None;
    }
    let at = |k: usize, field: &str| format!("dofs[{i}].response[{k}].{}", with_unit(field, d.dof));
    let mut good = true;
    for (k, point) in d.response.iter().enumerate() {
        for (field, value) in
            [("asked", point.asked), ("seen_rising", point.seen_rising), ("seen_falling", point.seen_falling)]
        {
            good &= within(at(k, field), value, FACE, "", p);
        }
    }
    if !good {
        return None;
    }
    let points: Vec<[f64; 3]> = d.response.iter().map(|r| [r.asked, r.seen_rising, r.seen_falling]).collect();
    let (path, problem, fix) = match SkinResponse::new(&points) {
        Ok(skin) => {
            let (low, high) = skin.seen_range();
            if d.skin_min >= low - 1e-6 && d.skin_max <= high + 1e-6 {
                return Some(skin);
            }
            (
                format!("dofs[{i}].response"),
                format!(
                    "was seen from {low:.2} to {high:.2}, the skin's travel is {} to {}",
                    d.skin_min, d.skin_max
                ),
                "measure over the whole travel, or narrow skin_min and skin_max to what was seen",
            )
        }
        Err(TableFault::TooFew) => (
            format!("dofs[{i}].response"),
            "has one point".to_owned(),
            "measure at least two, better five to nine",
        ),
        Err(TableFault::AnglesRepeat(k) | TableFault::NotFinite(k)) => (
            at(k, "asked"),
            format!("is {} out of order", d.response[k].asked),
            "list points by rising asked value",
        ),
        Err(TableFault::FoldsBack(k)) => (
            at(k, "seen_rising"),
            "does not go on in the direction of asked".to_owned(),
            "measure again: the skin slipped, or its anchor moved",
        ),
    };
    p.add(path, problem, fix);
    None
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
            link_width_mm,
        } => {
            let mut good = within(at("base_mm"), *base_mm, 0.0..=1000.0, " mm", p);
            good &= within(at("proximal_mm"), *proximal_mm, LENGTH, " mm", p);
            good &= within(at("distal_mm"), *distal_mm, LENGTH, " mm", p);
            good &= within(at("rest_x_mm"), *rest_x_mm, -1000.0..=1000.0, " mm", p);
            good &= within(at("rest_y_mm"), *rest_y_mm, -1000.0..=1000.0, " mm", p);
            good &= within(at("rotation_deg"), *rotation_deg, -720.0..=720.0, " deg", p);
            good &= within(at("link_width_mm"), *link_width_mm, 0.0..=1000.0, " mm", p);
            if !good {
                return None;
            }
            let rest = [*rest_x_mm, *rest_y_mm];
            let bar = FiveBar::new(*base_mm, *proximal_mm, *distal_mm, *elbows, rest, *rotation_deg);
            match bar.and_then(|bar| bar.with_link_width(*link_width_mm)) {
                Ok(linkage) => {
                    Mechanism::FiveBar { name, servos: [ids[0], ids[1]], drives: pair(drives)?, linkage }
                }
                Err(e @ KinematicError::Collision { .. }) => {
                    p.add(
                        at("link_width_mm"),
                        format!("at rest: {e}"),
                        "narrow the cranks or move the axles apart",
                    );
                    return None;
                }
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
                drives: pair(drives)?,
                linkage: Differential { common: *common_per_degree, difference: *difference_per_degree },
            }
        }
        LinkageDescription::Table { points } => {
            let linkage = table(i, points, &servos[ids[0].0], p)?;
            Mechanism::Table { name, servo: ids[0], drives, linkage }
        }
    };
    (p.0.len() == before).then_some(mechanism)
}

fn table(i: usize, points: &[TablePoint], servo: &Servo, p: &mut Problems) -> Option<Table> {
    let at = |k: usize, field: &str| format!("mechanisms[{i}].points[{k}].{field}");
    let mut good = true;
    for (k, point) in points.iter().enumerate() {
        good &= within(at(k, "pulse_us"), point.pulse_us, PULSE, " us", p);
        good &= within(at(k, "value"), point.value, FACE, "", p);
    }
    if !good {
        return None;
    }
    let angle = |t: &TablePoint| servo.angle(Microseconds::new(t.pulse_us)).value();
    let measured: Vec<(f64, f64)> = points.iter().map(|t| (angle(t), t.value)).collect();
    let (path, problem, fix) = match Table::new(&measured) {
        Ok(table) => return Some(table),
        Err(TableFault::TooFew) => (
            format!("mechanisms[{i}].points"),
            format!("has {} points", points.len()),
            "measure at least two, better five to nine",
        ),
        Err(TableFault::NotFinite(k)) => {
            (at(k, "value"), "is not a number".to_owned(), "correct it, and the servo's us_per_degree")
        }
        Err(TableFault::AnglesRepeat(k)) => (
            at(k, "pulse_us"),
            format!("is {} after {}", points[k].pulse_us, points[k - 1].pulse_us),
            "list points by rising pulse, each pulse once",
        ),
        Err(TableFault::FoldsBack(k)) => (
            at(k, "value"),
            format!("is {} after {}: the linkage folds back", points[k].value, points[k - 1].value),
            "use only the stretch over which it keeps moving one way",
        ),
    };
    p.add(path, problem, fix);
    None
}
