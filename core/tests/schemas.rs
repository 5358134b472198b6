//! The published schemas describe what the code writes and reads.
//!
//! A small judge covers the part of JSON Schema 2020-12 that the two schemas use; it refuses any
//! keyword it does not know, so that a schema cannot quietly outgrow it.

use lipwright_core::export::{Knot, ServoTrack, SmoothKnot, TrackMeta};
use lipwright_core::rig::{Preset, Rig};
use lipwright_core::units::{Microseconds, Seconds};
use serde_json::{Value, json};

const RIG: &str = include_str!("../../static/schema/rig.schema.json");
const TRACK: &str = include_str!("../../static/schema/servo-track.schema.json");

struct Schema(Value);

impl Schema {
    fn new(text: &str) -> Self {
        Self(serde_json::from_str(text).expect("a schema is JSON"))
    }

    /// Every fault of `value`, each with where it is.
    fn faults(&self, value: &Value) -> Vec<String> {
        let mut faults = Vec::new();
        self.check(&self.0, value, "", &mut faults);
        faults
    }

    fn passes(&self, rule: &Value, value: &Value) -> bool {
        let mut faults = Vec::new();
        self.check(rule, value, "", &mut faults);
        faults.is_empty()
    }

    fn check(&self, rule: &Value, value: &Value, at: &str, faults: &mut Vec<String>) {
        let rules = rule.as_object().expect("a rule is an object");
        for (keyword, wanted) in rules {
            let number = |good: fn(f64, f64) -> bool| {
                value.as_f64().is_none_or(|v| good(v, wanted.as_f64().expect("a bound is a number")))
            };
            let count = |n: Option<usize>, good: fn(usize, usize) -> bool| {
                n.is_none_or(|n| good(n, wanted.as_u64().expect("a count") as usize))
            };
            let items = value.as_array();
            let good = match keyword.as_str() {
                "$schema" | "$id" | "$defs" | "title" | "description" | "default" => true,
                "$ref" => {
                    let pointer =
                        wanted.as_str().and_then(|r| r.strip_prefix('#')).expect("a local reference");
                    self.check(
                        self.0.pointer(pointer).expect("the reference leads somewhere"),
                        value,
                        at,
                        faults,
                    );
                    true
                }
                "type" => match wanted.as_str().expect("one type") {
                    "object" => value.is_object(),
                    "array" => value.is_array(),
                    "string" => value.is_string(),
                    "number" => value.is_number(),
                    "integer" => value.is_i64() || value.is_u64(),
                    other => panic!("type {other}"),
                },
                "const" => value == wanted,
                "enum" => wanted.as_array().expect("a list").contains(value),
                "minimum" => number(|v, w| v >= w),
                "maximum" => number(|v, w| v <= w),
                "exclusiveMinimum" => number(|v, w| v > w),
                "minItems" => count(items.map(Vec::len), |n, w| n >= w),
                "maxItems" => count(items.map(Vec::len), |n, w| n <= w),
                "minLength" => count(value.as_str().map(|s| s.chars().count()), |n, w| n >= w),
                // The only pattern in use: empty or 64 lower-case hex digits.
                "pattern" => {
                    assert_eq!(wanted, "^([0-9a-f]{64})?$");
                    let hex =
                        |s: &str| s.len() == 64 && s.bytes().all(|b| matches!(b, b'0'..=b'9' | b'a'..=b'f'));
                    value.as_str().is_none_or(|s| s.is_empty() || hex(s))
                }
                "required" => {
                    let names = wanted.as_array().expect("a list").iter().filter_map(Value::as_str);
                    value.as_object().is_none_or(|map| names.into_iter().all(|n| map.contains_key(n)))
                }
                "properties" => {
                    for (name, rule) in wanted.as_object().expect("an object") {
                        if let Some(inner) = value.get(name) {
                            self.check(rule, inner, &format!("{at}/{name}"), faults);
                        }
                    }
                    true
                }
                "additionalProperties" => {
                    assert!(rules.get("properties").is_none(), "used only without listed properties");
                    for (name, inner) in value.as_object().into_iter().flatten() {
                        self.check(wanted, inner, &format!("{at}/{name}"), faults);
                    }
                    true
                }
                "propertyNames" => {
                    let mut names = value.as_object().into_iter().flatten().map(|(name, _)| json!(name));
                    names.all(|name| self.passes(wanted, &name))
                }
                "items" => {
                    for (i, inner) in items.into_iter().flatten().enumerate() {
                        self.check(wanted, inner, &format!("{at}/{i}"), faults);
                    }
                    true
                }
                "prefixItems" => {
                    let rules = wanted.as_array().expect("a list");
                    for (i, (rule, inner)) in rules.iter().zip(items.into_iter().flatten()).enumerate() {
                        self.check(rule, inner, &format!("{at}/{i}"), faults);
                    }
                    true
                }
                "oneOf" => {
                    wanted.as_array().expect("a list").iter().filter(|r| self.passes(r, value)).count() == 1
                }
                "anyOf" => wanted.as_array().expect("a list").iter().any(|r| self.passes(r, value)),
                other => panic!("the judge does not know the keyword {other}"),
            };
            if !good {
                faults.push(format!("{at}: {keyword} {wanted}"));
            }
        }
    }
}

fn parsed(text: &str) -> Value {
    serde_json::from_str(text).expect("JSON")
}

#[test]
fn rigs_to_start_from_are_published_as_they_are_built() {
    let schema = Schema::new(RIG);
    for (preset, text) in [
        (Preset::JawOnly, include_str!("../../static/rigs/jaw-only.json")),
        (Preset::JawAndLips, include_str!("../../static/rigs/jaw-and-lips.json")),
        (Preset::Harbourmaster, include_str!("../../static/rigs/harbourmaster.json")),
        (Preset::FoamPuppet, include_str!("../../static/rigs/foam-puppet.json")),
        (Preset::Lookout, include_str!("../../static/rigs/lookout.json")),
    ] {
        assert_eq!(
            text,
            preset.describe().to_json(),
            "run `cargo run -p lipwright-core --example rigs -- static/rigs`"
        );
        assert_eq!(schema.faults(&parsed(text)), Vec::<String>::new(), "{}", preset.name());
    }
}

#[test]
fn every_kind_of_mechanism_fits_the_schema() {
    let schema = Schema::new(RIG);
    let mut rig = parsed(&Rig::harbourmaster().to_json());
    rig["mechanisms"][1] = json!({"name": "lip", "kind": "table", "servos": ["upper lip left"],
        "drives": [{"dof": "upper-lip-left"}],
        "points": [{"pulse_us": 1200, "value": -3}, {"pulse_us": 1900, "value": 6}]});
    rig["mechanisms"][5] = json!({"name": "corner", "kind": "differential",
        "servos": ["corner left inner", "corner left outer"],
        "drives": [{"dof": "corner-left-x"}, {"dof": "corner-left-y"}],
        "common_per_degree": 0.2, "difference_per_degree": 0.2});
    rig["poses"] = json!({"open": {"target": {"jaw-open": 12}, "importance": {"jaw-open": 2}}});
    rig["dofs"][0]["response"] = json!([{"asked_mm": 0, "seen_rising_mm": 0},
        {"asked_mm": 18, "seen_rising_mm": 18, "seen_falling_mm": 18.2}]);
    assert_eq!(schema.faults(&rig), Vec::<String>::new());
    assert!(Rig::from_json(&rig.to_string()).is_ok());
}

/// Where the schema refuses, so does the code; the code knows more (names, geometry) and may refuse
/// what the schema passes.
#[test]
fn what_the_schema_refuses_the_code_refuses() {
    let schema = Schema::new(RIG);
    let cases = parsed(include_str!("../src/rig/bad_rigs.json"));
    let mut refused = 0;
    for case in cases.as_array().expect("a list") {
        let mut rig = parsed(&Rig::harbourmaster().to_json());
        for (pointer, value) in case["set"].as_object().into_iter().flatten() {
            let (parent, key) = pointer.rsplit_once('/').expect("a pointer");
            match rig.pointer_mut(parent).expect("there") {
                Value::Object(map) => drop(map.insert(key.to_owned(), value.clone())),
                Value::Array(items) => items[key.parse::<usize>().expect("an index")] = value.clone(),
                _ => panic!("{pointer}"),
            }
        }
        if !schema.faults(&rig).is_empty() {
            refused += 1;
            assert!(Rig::from_json(&rig.to_string()).is_err(), "{}", case["name"]);
        }
    }
    assert!(refused >= 30, "the schema finds {refused} of the cases");
}

#[test]
fn tracks_fit_their_schema_in_every_form() {
    let schema = Schema::new(TRACK);
    let rig = Rig::harbourmaster();
    let rest: Vec<Microseconds> =
        rig.servos().iter().zip(rig.rest_angles()).map(|(s, a)| s.pulse(a)).collect();
    let meta = TrackMeta { line: "first".into(), ..TrackMeta::default() };
    let (frame, start) = (Seconds::new(0.02), Seconds::new(-0.1));
    let dense: Vec<_> = rest.iter().map(|p| vec![*p; 6]).collect();
    let keyed: Vec<_> =
        rest.iter().map(|p| vec![Knot { frame: 0, pulse: *p }, Knot { frame: 5, pulse: *p }]).collect();
    let still = |frame, pulse| SmoothKnot { frame, pulse, slope: Microseconds::ZERO };
    let smooth: Vec<_> = rest.iter().map(|p| vec![still(0, *p), still(5, *p)]).collect();
    for track in [
        ServoTrack::dense(&rig, meta.clone(), frame, start, &dense),
        ServoTrack::keyed(&rig, meta.clone(), frame, start, 6, &keyed),
        ServoTrack::smooth(&rig, meta, frame, start, 6, &smooth),
    ] {
        let value = parsed(&track.expect("fits").export_json(&rig).expect("at rest"));
        assert_eq!(schema.faults(&value), Vec::<String>::new());
        let mut both = value.clone();
        both["servos"][0]["knots"] = json!([[0, 1500], [5, 1500]]);
        both["servos"][0]["pulses_us"] = json!([1500, 1500, 1500, 1500, 1500, 1500]);
        assert!(!schema.faults(&both).is_empty(), "pulses and knots together");
    }
}
