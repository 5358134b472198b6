//! Judging a rig description: every fault with its field and its fix.

use super::description::*;
use super::{Dof, Expression};
use crate::fields::Problems;
use std::collections::HashMap;
use std::ops::RangeInclusive;

/// Lengths that a head can have, mm.
pub(super) const LENGTH: RangeInclusive<f64> = 0.1..=1000.0;
/// Pulse widths that any hobby servo understands, µs.
pub(super) const PULSE: RangeInclusive<f64> = 100.0..=5000.0;
/// Largest value of a face DOF, mm or degrees.
pub(super) const FACE: RangeInclusive<f64> = -360.0..=360.0;

/// Notes a fault unless `value` is a number within `range`; says whether it was.
pub(super) fn within(
    path: String,
    value: f64,
    range: RangeInclusive<f64>,
    unit: &str,
    p: &mut Problems,
) -> bool {
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
