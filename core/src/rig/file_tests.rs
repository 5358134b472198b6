//! Rig files: faults name their field and a fix, unknown fields stay, any text is read or refused.

use super::*;
use proptest::prelude::*;
use serde_json::{Map, Value, json};

fn harbourmaster() -> Value {
    serde_json::from_str(&Rig::harbourmaster().to_json()).expect("it wrote JSON")
}

fn read(value: &Value) -> Result<Rig, RigError> {
    Rig::from_json(&value.to_string())
}

/// Takes out what a JSON pointer points at.
fn remove(value: &mut Value, pointer: &str) {
    let (parent, key) = pointer.rsplit_once('/').expect("a pointer has a slash");
    match value.pointer_mut(parent).expect("parent exists") {
        Value::Object(map) => drop(map.remove(key).expect("field exists")),
        Value::Array(items) => drop(items.remove(key.parse().expect("an index"))),
        _ => panic!("{pointer} has no parent"),
    }
}

/// Puts a value where a JSON pointer points, adding the last field if need be.
fn set(value: &mut Value, pointer: &str, new: Value) {
    let (parent, key) = pointer.rsplit_once('/').expect("a pointer has a slash");
    match value.pointer_mut(parent).expect("parent exists") {
        Value::Object(map) => drop(map.insert(key.to_owned(), new)),
        Value::Array(items) => items[key.parse::<usize>().expect("an index")] = new,
        _ => panic!("{pointer} has no parent"),
    }
}

#[test]
fn bad_rigs_each_name_the_field_and_the_fix() {
    let cases: Vec<Value> =
        serde_json::from_str(include_str!("bad_rigs.json")).expect("the case list is JSON");
    assert!(cases.len() >= 40);
    for case in &cases {
        let name = case["name"].as_str().expect("cases have names");
        let mut rig = harbourmaster();
        for (pointer, value) in case["set"].as_object().into_iter().flatten() {
            set(&mut rig, pointer, value.clone());
        }
        for pointer in case["remove"].as_array().into_iter().flatten() {
            remove(&mut rig, pointer.as_str().expect("pointers are texts"));
        }
        let error = match read(&rig) {
            Ok(_) => panic!("{name}: was accepted"),
            Err(e) => e,
        };
        let (path, fix) = (case["path"].as_str().expect("a path"), case["fix"].as_str().expect("a fix"));
        let hit = error.problems().iter().any(|p| p.path == path && p.fix.contains(fix));
        assert!(hit, "{name}: wanted {path} … {fix}, got {error}");
    }
}

#[test]
fn what_is_no_rig_is_refused_by_name() {
    let text = Rig::jaw_only().to_json();
    for (spoiled, says) in [
        (String::new(), "not valid JSON at line 1"),
        ("{".to_owned(), "not valid JSON at line 1"),
        (text.replacen("18.0", "NaN", 1), "not valid JSON at line"),
        (text.replacen("18.0", "1e999", 1), "not valid JSON at line"),
        ("[]".to_owned(), "says nothing"),
        ("{}".to_owned(), "says nothing"),
        (text.replacen("lipwright-rig", "lipwright-track", 1), "choose a rig file"),
        (
            text.replacen("\"version\": 1", "\"version\": 2", 1),
            "reads up to 1; open it with a newer Lipwright",
        ),
    ] {
        assert_ne!(spoiled, text);
        let error = Rig::from_json(&spoiled).expect_err(says).to_string();
        assert!(error.contains(says), "{says}: {error}");
    }
}

/// Every number, text and list of the file by its JSON pointer and its path in messages.
fn leaves(value: &Value, pointer: String, path: String, found: &mut Vec<(String, String)>) {
    match value {
        Value::Object(map) => {
            for (key, inner) in map {
                let inner_path = if path.is_empty() { key.clone() } else { format!("{path}.{key}") };
                leaves(inner, format!("{pointer}/{key}"), inner_path, found);
            }
        }
        Value::Array(items) => {
            for (i, inner) in items.iter().enumerate() {
                leaves(inner, format!("{pointer}/{i}"), format!("{path}[{i}]"), found);
            }
        }
        _ => found.push((pointer, path)),
    }
}

#[test]
fn a_wrong_kind_is_reported_at_every_single_field() {
    let rig = harbourmaster();
    let mut found = Vec::new();
    leaves(&rig, String::new(), String::new(), &mut found);
    assert!(found.len() > 400, "{}", found.len());
    for (pointer, path) in found {
        for wrong in [json!([]), json!({}), json!(true)] {
            let mut spoiled = rig.clone();
            set(&mut spoiled, &pointer, wrong.clone());
            let error = match read(&spoiled) {
                Ok(_) => panic!("{path} = {wrong} was accepted"),
                Err(e) => e,
            };
            let hit = error.problems().iter().any(|p| p.path == path);
            let named = path == "format" && matches!(error, RigError::NotARig { .. });
            assert!(hit || named, "{path} = {wrong}: {error}");
        }
    }
}

#[test]
fn extreme_numbers_anywhere_are_refused_or_make_a_sane_rig() {
    let rig = harbourmaster();
    let mut found = Vec::new();
    leaves(&rig, String::new(), String::new(), &mut found);
    for (pointer, path) in found {
        for extreme in [-1e308, -1.0, 0.0, 1e-300, 1e308] {
            let mut spoiled = rig.clone();
            set(&mut spoiled, &pointer, json!(extreme));
            if let Ok(rig) = read(&spoiled) {
                let rest = rig.reach(&rig.rest());
                assert!(
                    rest.clamped.is_empty() && rest.angles.iter().all(|a| a.is_finite()),
                    "{path} = {extreme}"
                );
            }
        }
    }
}

#[test]
fn numbers_that_json_cannot_hold_are_refused_in_a_description_too() {
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        let fresh = || Preset::Harbourmaster.describe();
        let mut cases: Vec<(&str, RigDescription)> = Vec::new();
        let mut add = |path, change: &dyn Fn(&mut RigDescription)| {
            let mut d = fresh();
            change(&mut d);
            cases.push((path, d));
        };
        add("supply.budget_a", &|d| d.supply.budget_a = bad);
        add("face.upper_teeth_edge_mm", &|d| d.face.upper_teeth_edge_mm = bad);
        add("servos[2].pulse_neutral_us", &|d| d.servos[2].pulse_neutral_us = bad);
        add("servos[2].us_per_degree", &|d| d.servos[2].us_per_degree = bad);
        add("servos[2].speed_s_per_60deg", &|d| d.servos[2].speed_s_per_60deg = bad);
        add("servos[2].acceleration_deg_per_s2", &|d| d.servos[2].acceleration_deg_per_s2 = bad);
        add("servos[2].moving_current_a", &|d| d.servos[2].moving_current_a = bad);
        add("dofs[2].skin_max_mm", &|d| d.dofs[2].skin_max = bad);
        add("mechanisms[2].drives[0].gain", &|d| d.mechanisms[2].drives[0].gain = bad);
        add("mechanisms[2].drives[0].at_neutral_mm", &|d| d.mechanisms[2].drives[0].at_neutral = bad);
        add("couplings[0].min_mm", &|d| d.couplings[0].min_mm = Some(bad));
        add("couplings[0].terms[0].factor", &|d| d.couplings[0].terms[0].factor = bad);
        add("mechanisms[2].neutral_horn_deg", &|d| {
            if let LinkageDescription::PushRod { neutral_horn_deg, .. } = &mut d.mechanisms[2].linkage {
                *neutral_horn_deg = bad;
            }
        });
        for (path, d) in cases {
            let error = Rig::new(d).expect_err(path);
            assert!(error.problems().iter().any(|p| p.path == path), "{path} = {bad}: {error}");
        }
    }
}

#[test]
fn every_fault_is_reported_at_once() {
    let mut rig = harbourmaster();
    set(&mut rig, "/servos/0/speed_s_per_60deg", json!(0));
    set(&mut rig, "/dofs/10/rest_mm", json!(99));
    set(&mut rig, "/mechanisms/1/horn_radius_mm", json!(-14));
    set(&mut rig, "/supply/rail_v", json!(-6));
    assert_eq!(read(&rig).expect_err("four faults").problems().len(), 4);
}

/// Adds a field nobody knows to every object of the file that may have one.
fn sprinkle(value: &mut Value, count: &mut usize) {
    match value {
        Value::Object(map) => {
            for (key, inner) in map.iter_mut() {
                // Keys of these two are names of DOFs: there, a stray name is a fault.
                if key != "target" && key != "importance" {
                    sprinkle(inner, count);
                }
            }
            *count += 1;
            map.insert("seen_by".into(), json!({"hand": *count}));
        }
        Value::Array(items) => items.iter_mut().for_each(|inner| sprinkle(inner, count)),
        _ => {}
    }
}

#[test]
fn unknown_fields_stay() {
    let mut rig = harbourmaster();
    let table = json!({"name": "lip", "kind": "table", "servos": ["upper lip left"],
        "drives": [{"dof": "upper-lip-left", "gain": 1.0, "at_neutral_mm": 0.0}],
        "points": [{"pulse_us": 1200.0, "value": -3.0}, {"pulse_us": 1500.0, "value": 0.5}, {"pulse_us": 1900.0, "value": 6.0}]});
    set(&mut rig, "/mechanisms/1", table);
    let mut count = 0;
    sprinkle(&mut rig, &mut count);
    set(&mut rig, "/poses", json!({"open": {"target": {"jaw-open": 12.0}, "importance": {}, "seen_by": 1}}));
    set(&mut rig, "/expressions", json!({"smile": {"target": {}, "importance": {"corner-left-y": 2.0}}}));
    assert!(count > 60, "{count}");
    let built = match read(&rig) {
        Ok(built) => built,
        Err(e) => panic!("{e}"),
    };
    let back: Value = serde_json::from_str(&built.to_json()).expect("it wrote JSON");
    assert_eq!(back, rig);
    use crate::phonetics::MouthShape;
    assert!((built.pose(MouthShape::Open).target[Dof::JawOpen] - 12.0).abs() < 1e-9, "own pose counts");
    assert_eq!(built.expression(Expression::Smile).importance[Dof::CornerLeftY], 2.0);
}

#[test]
fn fields_with_defaults_may_be_left_out() {
    let mut rig = harbourmaster();
    for pointer in ["/face", "/notes", "/servos/0/controller", "/servos/0/dead_band_us", "/dofs/0/rest_mm"] {
        remove(&mut rig, pointer);
    }
    for i in 0..14 {
        for k in 0..rig["mechanisms"][i]["drives"].as_array().expect("a list").len() {
            remove(&mut rig, &format!("/mechanisms/{i}/drives/{k}/gain"));
        }
    }
    assert!(read(&rig).is_ok());
}

proptest! {
    #[test]
    fn any_text_is_read_or_refused(text in "\\PC{0,300}", cut in 0usize..9000) {
        let _ = Rig::from_json(&text);
        let whole = Rig::jaw_only().to_json();
        let _ = Rig::from_json(&whole[..cut.min(whole.len())]);
    }

    #[test]
    fn any_json_is_read_or_refused(value in any_json()) {
        let _ = read(&value);
        let mut rig = harbourmaster();
        for key in ["servos", "mechanisms", "dofs", "couplings", "supply", "face"] {
            set(&mut rig, &format!("/{key}"), value.clone());
            prop_assert!(read(&rig).is_err() || value == json!([]) || value.is_object());
        }
    }
}

fn any_json() -> impl Strategy<Value = Value> {
    let leaf = prop_oneof![
        Just(Value::Null),
        any::<bool>().prop_map(Value::from),
        any::<f64>().prop_map(Value::from),
        any::<i64>().prop_map(Value::from),
        "[a-z_]{0,8}".prop_map(Value::from),
    ];
    leaf.prop_recursive(4, 40, 6, |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..6).prop_map(Value::from),
            prop::collection::vec(("(name|kind|servos|drives|dof|gain|points|terms|channel)", inner), 0..6)
                .prop_map(|pairs| Value::Object(pairs.into_iter().collect::<Map<_, _>>())),
        ]
    })
}
