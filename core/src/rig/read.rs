//! A rig file's text becomes a [`RigDescription`].

use super::description::*;
use super::servo::DEFAULT_CONTROLLER;
use super::{Dof, Elbows, Expression, RigError};
use crate::fields::{Fields, Problems, shown};
use crate::phonetics::MouthShape;
use serde_json::{Map, Value};
use std::collections::BTreeMap;

/// Content of the `format` field.
pub(super) const FORMAT: &str = "lipwright-rig";
/// Version this build writes, and the newest it reads.
pub(super) const VERSION: u64 = 1;

impl RigDescription {
    /// Reads a rig file's text without judging its numbers; [`Rig::new`](super::Rig::new) does that.
    ///
    /// # Errors
    /// Where it is no JSON, no rig, from a newer version, or fields are missing or of the wrong kind.
    pub fn from_json(text: &str) -> Result<Self, RigError> {
        let value: Value = serde_json::from_str(text).map_err(|e| RigError::Syntax {
            line: e.line(),
            column: e.column(),
            reason: reason(&e),
        })?;
        let format = value.get("format");
        if format.and_then(Value::as_str) != Some(FORMAT) {
            let found = format.map_or_else(|| "nothing".to_owned(), shown);
            return Err(RigError::NotARig { found });
        }
        let version = value.get("version").and_then(Value::as_u64);
        if let Some(found) = version.filter(|found| *found > VERSION) {
            return Err(RigError::Newer { found, supported: VERSION });
        }
        let mut problems = Problems::default();
        let rig = read_rig(value, &mut problems);
        if problems.0.is_empty() { Ok(rig) } else { Err(RigError::Invalid(problems.0)) }
    }

    /// The rig file's text.
    #[must_use]
    pub fn to_json(&self) -> String {
        // Every map key is a string and every value a plain number, text or list of such; a number
        // that JSON cannot hold becomes null. So serialising cannot fail.
        let mut text = serde_json::to_string_pretty(self).unwrap_or_default();
        text.push('\n');
        text
    }
}

/// serde_json's message without its own "at line … column …".
fn reason(e: &serde_json::Error) -> String {
    let text = e.to_string();
    text.split(" at line ").next().unwrap_or(&text).to_owned()
}

fn read_rig(value: Value, p: &mut Problems) -> RigDescription {
    let mut f = Fields::open("", value, p);
    f.text("format", p);
    let version = f.whole("version", p);
    if version == 0 && f.at("version") == "version" && p.0.is_empty() {
        p.add("version", "is 0", format!("write {VERSION}"));
    }
    let name = f.text("name", p);
    let notes = f.text_or("notes", "", p);
    let supply = {
        let mut s = f.object("supply", p);
        SupplyDescription {
            input_v: s.number("input_v", p),
            rail_v: s.number("rail_v", p),
            budget_a: s.number("budget_a", p),
            extra: s.rest(),
        }
    };
    let face = if f.has("face") {
        let mut s = f.object("face", p);
        let usual = FaceDescription::default();
        FaceDescription {
            lower_lip_per_jaw: s.number_or("lower_lip_per_jaw", usual.lower_lip_per_jaw, p),
            lip_compression_mm: s.number_or("lip_compression_mm", usual.lip_compression_mm, p),
            upper_teeth_edge_mm: s.number_or("upper_teeth_edge_mm", usual.upper_teeth_edge_mm, p),
            extra: s.rest(),
        }
    } else {
        FaceDescription::default()
    };
    let servos = each(&mut f, "servos", p, read_servo);
    let mechanisms = each(&mut f, "mechanisms", p, read_mechanism);
    let dofs = each(&mut f, "dofs", p, read_dof);
    let couplings = if f.has("couplings") { each(&mut f, "couplings", p, read_coupling) } else { Vec::new() };
    let poses = read_poses(&mut f, "poses", &MouthShape::ALL.map(|s| (s.name(), s)), p);
    let expressions = read_poses(&mut f, "expressions", &Expression::ALL.map(|e| (e.name(), e)), p);
    RigDescription {
        format: FORMAT,
        version: VERSION,
        name,
        notes,
        supply,
        face,
        servos: servos.into_iter().flatten().collect(),
        mechanisms: mechanisms.into_iter().flatten().collect(),
        dofs: dofs.into_iter().flatten().collect(),
        couplings: couplings.into_iter().flatten().collect(),
        poses,
        expressions,
        extra: f.rest(),
    }
}

impl Default for FaceDescription {
    /// Lower lip rides fully on the jaw; 1.5 mm of compression; teeth edge 1 mm below the lip line
    /// (common practice for a soft silicone mouth at head scale).
    fn default() -> Self {
        Self { lower_lip_per_jaw: 1.0, lip_compression_mm: 1.5, upper_teeth_edge_mm: -1.0, extra: Map::new() }
    }
}

fn each<T>(
    f: &mut Fields,
    key: &str,
    p: &mut Problems,
    read: fn(Fields, &mut Problems) -> Option<T>,
) -> Vec<Option<T>> {
    let path = f.at(key);
    let items = f.list(key, p);
    items
        .into_iter()
        .enumerate()
        .map(|(i, item)| {
            let fields = Fields::open(format!("{path}[{i}]"), item, p);
            read(fields, p)
        })
        .collect()
}

fn read_servo(mut f: Fields, p: &mut Problems) -> Option<ServoDescription> {
    Some(ServoDescription {
        name: f.text("name", p),
        controller: f.text_or("controller", DEFAULT_CONTROLLER, p),
        channel: f.whole("channel", p),
        pulse_min_us: f.number("pulse_min_us", p),
        pulse_max_us: f.number("pulse_max_us", p),
        pulse_neutral_us: f.number("pulse_neutral_us", p),
        us_per_degree: f.number("us_per_degree", p),
        speed_s_per_60deg: f.number("speed_s_per_60deg", p),
        load_derating_up: f.number_or("load_derating_up", 1.0, p),
        load_derating_down: f.number_or("load_derating_down", 1.0, p),
        acceleration_deg_per_s2: f.number("acceleration_deg_per_s2", p),
        dead_band_us: f.number_or("dead_band_us", 0.0, p),
        idle_current_a: f.number("idle_current_a", p),
        moving_current_a: f.number("moving_current_a", p),
        stall_current_a: f.number("stall_current_a", p),
        extra: f.rest(),
    })
}

fn dof_choices() -> [(&'static str, Dof); Dof::COUNT] {
    Dof::ALL.map(|d| (d.name(), d))
}

fn read_dof(mut f: Fields, p: &mut Problems) -> Option<DofDescription> {
    let dof = f.choice("dof", &dof_choices(), p)?;
    Some(DofDescription {
        dof,
        skin_min: f.number(&with_unit("skin_min", dof), p),
        skin_max: f.number(&with_unit("skin_max", dof), p),
        rest: f.number_or(&with_unit("rest", dof), 0.0, p),
        response: read_response(&mut f, dof, p),
        extra: f.rest(),
    })
}

fn read_response(f: &mut Fields, dof: Dof, p: &mut Problems) -> Vec<ResponsePoint> {
    if !f.has("response") {
        return Vec::new();
    }
    let path = f.at("response");
    let points = f.list("response", p).into_iter().enumerate();
    let read = |(i, point): (usize, Value)| {
        let mut f = Fields::open(format!("{path}[{i}]"), point, p);
        let seen_rising = f.number(&with_unit("seen_rising", dof), p);
        ResponsePoint {
            asked: f.number(&with_unit("asked", dof), p),
            seen_rising,
            seen_falling: f.number_or(&with_unit("seen_falling", dof), seen_rising, p),
            extra: f.rest(),
        }
    };
    points.map(read).collect()
}

fn read_mechanism(mut f: Fields, p: &mut Problems) -> Option<MechanismDescription> {
    #[derive(Clone, Copy)]
    enum Kind {
        Rotary,
        PushRod,
        FiveBar,
        Differential,
        Table,
    }
    let name = f.text("name", p);
    let kinds = [
        ("rotary", Kind::Rotary),
        ("push-rod", Kind::PushRod),
        ("five-bar", Kind::FiveBar),
        ("differential", Kind::Differential),
        ("table", Kind::Table),
    ];
    let linkage = match f.choice("kind", &kinds, p)? {
        Kind::Rotary => LinkageDescription::Rotary {
            ratio: f.number_or("ratio", 1.0, p),
            lever_mm: f.optional_number("lever_mm", p),
        },
        Kind::PushRod => LinkageDescription::PushRod {
            horn_radius_mm: f.number("horn_radius_mm", p),
            rod_length_mm: f.number("rod_length_mm", p),
            offset_mm: f.number_or("offset_mm", 0.0, p),
            neutral_horn_deg: f.number("neutral_horn_deg", p),
            lever_ratio: f.number_or("lever_ratio", 1.0, p),
        },
        Kind::FiveBar => LinkageDescription::FiveBar {
            base_mm: f.number("base_mm", p),
            proximal_mm: f.number("proximal_mm", p),
            distal_mm: f.number("distal_mm", p),
            elbows: f.choice("elbows", &Elbows::ALL.map(|e| (e.name(), e)), p).unwrap_or(Elbows::Out),
            rest_x_mm: f.number("rest_x_mm", p),
            rest_y_mm: f.number("rest_y_mm", p),
            rotation_deg: f.number_or("rotation_deg", 0.0, p),
            link_width_mm: f.number_or("link_width_mm", 0.0, p),
        },
        Kind::Differential => LinkageDescription::Differential {
            common_per_degree: f.number("common_per_degree", p),
            difference_per_degree: f.number("difference_per_degree", p),
        },
        Kind::Table => {
            let points = each(&mut f, "points", p, |mut f, p| {
                let (pulse_us, value) = (f.number("pulse_us", p), f.number("value", p));
                Some(TablePoint { pulse_us, value, extra: f.rest() })
            });
            LinkageDescription::Table { points: points.into_iter().flatten().collect() }
        }
    };
    let servos_path = f.at("servos");
    let servos = f.list("servos", p);
    let servos = servos
        .into_iter()
        .enumerate()
        .map(|(i, value)| match value {
            Value::String(s) => s,
            other => {
                p.add(
                    format!("{servos_path}[{i}]"),
                    format!("is {}", shown(&other)),
                    "name a servo, in quotes",
                );
                String::new()
            }
        })
        .collect();
    let drives = each(&mut f, "drives", p, |mut f, p| {
        let dof = f.choice("dof", &dof_choices(), p)?;
        Some(DriveDescription {
            dof,
            gain: f.number_or("gain", 1.0, p),
            at_neutral: f.number_or(&with_unit("at_neutral", dof), 0.0, p),
            extra: f.rest(),
        })
    });
    Some(MechanismDescription {
        name,
        linkage,
        servos,
        drives: drives.into_iter().flatten().collect(),
        extra: f.rest(),
    })
}

fn read_coupling(mut f: Fields, p: &mut Problems) -> Option<CouplingDescription> {
    let name = f.text("name", p);
    let terms = each(&mut f, "terms", p, |mut f, p| {
        let dof = f.choice("dof", &dof_choices(), p)?;
        Some(TermDescription { dof, factor: f.number("factor", p), extra: f.rest() })
    });
    Some(CouplingDescription {
        name,
        terms: terms.into_iter().flatten().collect(),
        min_mm: f.optional_number("min_mm", p),
        max_mm: f.optional_number("max_mm", p),
        extra: f.rest(),
    })
}

fn read_poses<K: Copy + Ord>(
    f: &mut Fields,
    key: &str,
    names: &[(&str, K)],
    p: &mut Problems,
) -> BTreeMap<K, PoseDescription> {
    let mut poses = BTreeMap::new();
    if !f.has(key) {
        return poses;
    }
    let group = f.object(key, p);
    let path = f.at(key);
    for (name, value) in group.rest() {
        let here = format!("{path}.{name}");
        let Some((_, shape)) = names.iter().find(|(n, _)| *n == name) else {
            let all = names.iter().map(|(n, _)| *n).collect::<Vec<_>>().join(", ");
            p.add(here, "is not a name used here", format!("use one of {all}"));
            continue;
        };
        let mut fields = Fields::open(&here, value, p);
        let target = read_dof_map(&mut fields, "target", p);
        let importance = read_dof_map(&mut fields, "importance", p);
        poses.insert(*shape, PoseDescription { target, importance, extra: fields.rest() });
    }
    poses
}

fn read_dof_map(f: &mut Fields, key: &str, p: &mut Problems) -> BTreeMap<Dof, f64> {
    let mut values = BTreeMap::new();
    if !f.has(key) {
        return values;
    }
    let path = f.at(key);
    for (name, value) in f.object(key, p).rest() {
        let here = format!("{path}.{name}");
        match (Dof::ALL.into_iter().find(|d| d.name() == name), value.as_f64()) {
            (Some(dof), Some(number)) => {
                values.insert(dof, number);
            }
            (None, _) => {
                let all = Dof::ALL.map(Dof::name).join(", ");
                p.add(here, "is not a degree of freedom", format!("use one of {all}"));
            }
            (Some(_), None) => p.add(here, format!("is {}", shown(&value)), "give a plain number"),
        }
    }
    values
}
