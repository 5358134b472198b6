//! Reading a JSON object field by field, so that every fault names its field.

use serde_json::{Map, Value};
use std::fmt;

/// One fault in a described thing: which field, what is wrong, what to do about it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// Path of the field in the file: `servos[3].pulse_min_us`.
    pub path: String,
    /// What is wrong with it, with the offending value.
    pub problem: String,
    /// What to do.
    pub fix: String,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}; {}", self.path, self.problem, self.fix)
    }
}

/// Faults gathered on the way.
#[derive(Default)]
pub(crate) struct Problems(pub(crate) Vec<Problem>);

impl Problems {
    pub(crate) fn add(
        &mut self,
        path: impl Into<String>,
        problem: impl Into<String>,
        fix: impl Into<String>,
    ) {
        self.0.push(Problem { path: path.into(), problem: problem.into(), fix: fix.into() });
    }
}

/// One JSON object being read: fields are taken out, what is left is unknown.
pub(crate) struct Fields {
    path: String,
    map: Map<String, Value>,
}

impl Fields {
    /// `value` must be an object; where it is not, the fault is noted and reading goes on empty.
    pub(crate) fn open(path: impl Into<String>, value: Value, problems: &mut Problems) -> Self {
        let path = path.into();
        let map = match value {
            Value::Object(map) => map,
            other => {
                problems.add(&path, format!("is {}", kind(&other)), "give an object { … } with named fields");
                Map::new()
            }
        };
        Self { path, map }
    }

    /// Path of one of its fields.
    pub(crate) fn at(&self, key: &str) -> String {
        if self.path.is_empty() { key.to_owned() } else { format!("{}.{key}", self.path) }
    }

    pub(crate) fn has(&self, key: &str) -> bool {
        self.map.contains_key(key)
    }

    /// The fields nobody asked for.
    pub(crate) fn rest(self) -> Map<String, Value> {
        self.map
    }

    fn take(&mut self, key: &str, wanted: &str, problems: &mut Problems) -> Option<Value> {
        let value = self.map.remove(key);
        if value.is_none() {
            problems.add(self.at(key), "is missing", format!("add it: {wanted}"));
        }
        value
    }

    /// A number; NaN (with the fault noted) where it is missing or something else.
    pub(crate) fn number(&mut self, key: &str, problems: &mut Problems) -> f64 {
        match self.take(key, "a number", problems) {
            Some(Value::Number(n)) => n.as_f64().unwrap_or(f64::NAN),
            Some(other) => {
                problems.add(
                    self.at(key),
                    format!("is {}", kind(&other)),
                    "give a plain number, without quotes or unit",
                );
                f64::NAN
            }
            None => f64::NAN,
        }
    }

    /// A number, or `default` where the field is absent.
    pub(crate) fn number_or(&mut self, key: &str, default: f64, problems: &mut Problems) -> f64 {
        if self.has(key) { self.number(key, problems) } else { default }
    }

    /// A number, or none where the field is absent or null.
    pub(crate) fn optional_number(&mut self, key: &str, problems: &mut Problems) -> Option<f64> {
        if self.map.get(key).is_some_and(Value::is_null) {
            self.map.remove(key);
        }
        if self.has(key) { Some(self.number(key, problems)) } else { None }
    }

    pub(crate) fn whole(&mut self, key: &str, problems: &mut Problems) -> u64 {
        match self.take(key, "a whole number", problems) {
            Some(Value::Number(n)) if n.as_u64().is_some() => n.as_u64().unwrap_or(0),
            Some(other) => {
                problems.add(
                    self.at(key),
                    format!("is {}", shown(&other)),
                    "give a whole number that is not negative",
                );
                0
            }
            None => 0,
        }
    }

    pub(crate) fn text(&mut self, key: &str, problems: &mut Problems) -> String {
        match self.take(key, "a text in quotes", problems) {
            Some(Value::String(s)) => s,
            Some(other) => {
                problems.add(self.at(key), format!("is {}", kind(&other)), "give a text in quotes");
                String::new()
            }
            None => String::new(),
        }
    }

    pub(crate) fn text_or(&mut self, key: &str, default: &str, problems: &mut Problems) -> String {
        if self.has(key) { self.text(key, problems) } else { default.to_owned() }
    }

    pub(crate) fn list(&mut self, key: &str, problems: &mut Problems) -> Vec<Value> {
        match self.take(key, "a list [ … ]", problems) {
            Some(Value::Array(items)) => items,
            Some(other) => {
                problems.add(self.at(key), format!("is {}", kind(&other)), "give a list [ … ]");
                Vec::new()
            }
            None => Vec::new(),
        }
    }

    pub(crate) fn object(&mut self, key: &str, problems: &mut Problems) -> Self {
        let path = self.at(key);
        match self.take(key, "an object { … }", problems) {
            Some(value) => Self::open(path, value, problems),
            None => Self { path, map: Map::new() },
        }
    }

    /// One of a fixed set of names.
    pub(crate) fn choice<T: Copy>(
        &mut self,
        key: &str,
        choices: &[(&str, T)],
        problems: &mut Problems,
    ) -> Option<T> {
        let found = self.text(key, problems);
        let hit = choices.iter().find(|(name, _)| *name == found).map(|(_, value)| *value);
        if hit.is_none() && !problems.0.iter().any(|p| p.path == self.at(key)) {
            let names = choices.iter().map(|(name, _)| *name).collect::<Vec<_>>().join(", ");
            problems.add(self.at(key), format!("says \"{found}\""), format!("use one of {names}"));
        }
        hit
    }
}

/// What a JSON value is, for people.
pub(crate) fn kind(value: &Value) -> &'static str {
    match value {
        Value::Null => "null",
        Value::Bool(_) => "true or false",
        Value::Number(_) => "a number",
        Value::String(_) => "a text",
        Value::Array(_) => "a list",
        Value::Object(_) => "an object",
    }
}

/// A short value as it stands, a long one by its kind.
pub(crate) fn shown(value: &Value) -> String {
    match value {
        Value::Array(_) | Value::Object(_) => kind(value).to_owned(),
        other => {
            let text = other.to_string();
            if text.chars().count() > 40 { kind(value).to_owned() } else { text }
        }
    }
}
