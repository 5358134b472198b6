//! The rig being edited: whatever stands in the forms, also while it is wrong.
//!
//! The draft is the rig file's own JSON, so a field that holds nonsense can be kept, shown and
//! corrected, and its error comes back under the field's own path. The last rig that was good stays
//! in use meanwhile.

use super::path;
use lipwright_core::rig::{Rig, RigDescription, RigError, RigProblem};
use serde_json::Value;
use std::sync::Arc;

/// What a person typed into a field.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Entry {
    /// Words.
    Text,
    /// A number; a decimal comma counts as a point.
    Number,
    /// A number, or nothing where the field may be absent.
    Optional,
    /// A whole number.
    Whole,
}

impl Entry {
    /// The file's value for a text; what is no number stays as it was typed, for its error to name.
    fn value(self, text: &str) -> Option<Value> {
        let trimmed = text.trim();
        let plain = trimmed.replace(',', ".").replace('−', "-");
        let number = || plain.parse::<f64>().ok().filter(|n| n.is_finite()).map(Value::from);
        let as_typed = || Value::String(trimmed.to_owned());
        match self {
            Self::Text => Some(as_typed()),
            Self::Optional if trimmed.is_empty() => None,
            Self::Number | Self::Optional => Some(number().unwrap_or_else(as_typed)),
            Self::Whole => Some(plain.parse::<u64>().map_or_else(|_| as_typed(), Value::from)),
        }
    }
}

/// A rig on the desk.
#[derive(Clone, Debug)]
pub struct RigDraft {
    value: Value,
    description: Option<Arc<RigDescription>>,
    problems: Vec<RigProblem>,
    rig: Arc<Rig>,
    past: Vec<(String, Value)>,
    future: Vec<(String, Value)>,
    symmetric: bool,
}

/// Steps kept. A step is some tens of kilobytes.
const DEPTH: usize = 300;

fn value_of(description: &RigDescription) -> Value {
    // The text is our own; it reads back.
    serde_json::from_str(&description.to_json()).unwrap_or(Value::Null)
}

impl RigDraft {
    /// Starts with a good rig.
    #[must_use]
    pub fn new(rig: Rig) -> Self {
        let description = rig.description().clone();
        Self {
            value: value_of(&description),
            description: Some(Arc::new(description)),
            problems: Vec::new(),
            rig: Arc::new(rig),
            past: Vec::new(),
            future: Vec::new(),
            symmetric: false,
        }
    }

    /// Starts with a draft as it was left, perhaps wrong, and the rig that was in use.
    #[must_use]
    pub fn resume(rig: Rig, draft: Value) -> Self {
        let mut back = Self::new(rig);
        if draft.is_object() {
            back.value = draft;
            back.judge();
        }
        back
    }

    fn judge(&mut self) {
        let outcome = RigDescription::from_json(&self.value.to_string()).and_then(|d| {
            self.description = Some(Arc::new(d.clone()));
            Rig::new(d)
        });
        match outcome {
            Ok(rig) => {
                self.problems.clear();
                // The same rig again is no new one: nothing need be planned again.
                if *self.rig != rig {
                    self.rig = Arc::new(rig);
                }
            }
            Err(RigError::Invalid(problems)) => {
                if RigDescription::from_json(&self.value.to_string()).is_err() {
                    self.description = None;
                }
                self.problems = problems;
            }
            Err(other) => {
                self.description = None;
                let whole = RigProblem {
                    path: String::new(),
                    problem: other.to_string(),
                    fix: "take the last step back".to_owned(),
                };
                self.problems = vec![whole];
            }
        }
    }

    fn step(&mut self, what: impl Into<String>, next: Value) -> bool {
        if next == self.value {
            return false;
        }
        let before = std::mem::replace(&mut self.value, next);
        self.past.push((what.into(), before));
        if self.past.len() > DEPTH {
            self.past.remove(0);
        }
        self.future.clear();
        self.judge();
        true
    }

    /// The rig that is in use: the draft, or where that is wrong, the last one that was good.
    #[must_use]
    pub fn rig(&self) -> &Arc<Rig> {
        &self.rig
    }

    /// The draft as it stands.
    #[must_use]
    pub fn value(&self) -> &Value {
        &self.value
    }

    /// The draft as a description; `None` where a field holds something of the wrong kind.
    #[must_use]
    pub fn description(&self) -> Option<&RigDescription> {
        self.description.as_deref()
    }

    /// True if the draft is the rig in use.
    #[must_use]
    pub fn is_good(&self) -> bool {
        self.problems.is_empty()
    }

    /// Everything that is wrong with the draft.
    #[must_use]
    pub fn problems(&self) -> &[RigProblem] {
        &self.problems
    }

    /// What is wrong with one field, as a sentence.
    #[must_use]
    pub fn problem_at(&self, path: &str) -> Option<String> {
        let here: Vec<String> = self
            .problems
            .iter()
            .filter(|p| p.path == path)
            .map(|p| super::plain(&self.value, &format!("This {}; {}.", p.problem, p.fix)))
            .collect();
        (!here.is_empty()).then(|| here.join(" "))
    }

    /// What is wrong at or under a path.
    #[must_use]
    pub fn problems_under(&self, prefix: &str) -> usize {
        let under = |p: &str| {
            p.strip_prefix(prefix).is_some_and(|rest| rest.is_empty() || rest.starts_with(['.', '[']))
        };
        self.problems.iter().filter(|p| under(&p.path)).count()
    }

    /// What stands in a field, as a person would write it; empty where it is absent.
    #[must_use]
    pub fn text(&self, path: &str) -> String {
        match path::get(&self.value, path) {
            None | Some(Value::Null) => String::new(),
            Some(Value::String(s)) => s.clone(),
            Some(Value::Number(n)) => n.as_f64().map_or_else(|| n.to_string(), |f| format!("{}", f + 0.0)),
            Some(other) => other.to_string(),
        }
    }

    /// Length of a list; 0 where there is none.
    #[must_use]
    pub fn count(&self, path: &str) -> usize {
        path::get(&self.value, path).and_then(Value::as_array).map_or(0, Vec::len)
    }

    /// True if a pose at this path has a target or importance of the person's own.
    #[must_use]
    pub fn has_entries(&self, path: &str) -> bool {
        let any = |key: &str| {
            path::get(&self.value, &format!("{path}.{key}"))
                .and_then(Value::as_object)
                .is_some_and(|map| !map.is_empty())
        };
        any("target") || any("importance")
    }

    /// The number in a field.
    #[must_use]
    pub fn number(&self, path: &str) -> Option<f64> {
        path::get(&self.value, path)?.as_f64()
    }

    /// Writes what was typed into a field: one step, named for undo. Says whether anything changed.
    pub fn enter(&mut self, what: &str, path: &str, entry: Entry, text: &str) -> bool {
        if entry == Entry::Text
            && let Some(index) = servo_name(path)
            && let Some(mut d) = self.description().cloned()
        {
            // What a servo is called stands in its mechanism too.
            d.rename_servo(index, text.trim());
            return self.step(what, value_of(&d));
        }
        let mut next = self.value.clone();
        path::set(&mut next, path, entry.value(text)) && self.finish(what, next)
    }

    /// Puts a number into a field, or takes it out.
    pub fn put(&mut self, what: &str, path: &str, number: Option<f64>) -> bool {
        let mut next = self.value.clone();
        path::set(&mut next, path, number.map(Value::from)) && self.finish(what, next)
    }

    /// Takes a field or object out.
    pub fn take_out(&mut self, what: &str, path: &str) -> bool {
        let mut next = self.value.clone();
        path::set(&mut next, path, None) && self.finish(what, next)
    }

    /// Lets the right half follow, if it should and the draft can be read.
    fn finish(&mut self, what: &str, next: Value) -> bool {
        let mirrored = self.symmetric.then(|| RigDescription::from_json(&next.to_string()).ok()).flatten();
        let next = match mirrored {
            Some(mut d) => {
                d.mirror_left_to_right();
                value_of(&d)
            }
            None => next,
        };
        self.step(what, next)
    }

    /// Changes the whole description: one step.
    ///
    /// # Errors
    /// Where a field holds something of the wrong kind: that must be corrected first.
    pub fn change(
        &mut self,
        what: impl Into<String>,
        verb: impl FnOnce(&mut RigDescription),
    ) -> Result<bool, String> {
        let Some(mut d) = self.description().cloned() else {
            return Err("A marked field holds no number; correct it first, or undo.".to_owned());
        };
        verb(&mut d);
        if self.symmetric {
            d.mirror_left_to_right();
        }
        Ok(self.step(what, value_of(&d)))
    }

    /// Takes another rig: one step, so that the one before comes back with undo.
    pub fn replace(&mut self, what: impl Into<String>, rig: &Rig) {
        self.symmetric = false;
        self.step(what, value_of(rig.description()));
    }

    /// Takes up a rig file with faults: one step; the rig in use stays until they are corrected.
    pub fn take_up(&mut self, what: impl Into<String>, file: Value) -> bool {
        self.symmetric = false;
        self.step(what, file)
    }

    /// True while the right half follows the left.
    #[must_use]
    pub fn symmetric(&self) -> bool {
        self.symmetric
    }

    /// Lets the right half follow the left from now on (or no longer); switching it on mirrors.
    ///
    /// # Errors
    /// As [`RigDraft::change`].
    pub fn set_symmetric(&mut self, on: bool) -> Result<bool, String> {
        if !on {
            self.symmetric = false;
            return Ok(false);
        }
        let changed = self.change("right half follows left", RigDescription::mirror_left_to_right)?;
        self.symmetric = true;
        Ok(changed)
    }

    /// Name of the step that undo would take back.
    #[must_use]
    pub fn can_undo(&self) -> Option<&str> {
        self.past.last().map(|(what, _)| what.as_str())
    }

    /// Name of the step that redo would do again.
    #[must_use]
    pub fn can_redo(&self) -> Option<&str> {
        self.future.last().map(|(what, _)| what.as_str())
    }

    /// Takes the last step back. Symmetry is switched off: the step before may not have had it.
    pub fn undo(&mut self) -> bool {
        let Some((what, before)) = self.past.pop() else { return false };
        self.future.push((what, std::mem::replace(&mut self.value, before)));
        self.symmetric = false;
        self.judge();
        true
    }

    /// Does the last undone step again.
    pub fn redo(&mut self) -> bool {
        let Some((what, after)) = self.future.pop() else { return false };
        self.past.push((what, std::mem::replace(&mut self.value, after)));
        self.symmetric = false;
        self.judge();
        true
    }
}

/// Index of the servo whose name stands at this path.
fn servo_name(path: &str) -> Option<usize> {
    path.strip_prefix("servos[")?.strip_suffix("].name")?.parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use lipwright_core::rig::{MechanismKind, Preset, ServoClass};

    fn draft() -> RigDraft {
        RigDraft::new(Preset::Harbourmaster.rig())
    }

    #[test]
    fn a_bad_field_keeps_the_last_good_rig_and_says_where_it_is() {
        let mut d = draft();
        let good = Arc::clone(d.rig());
        for (text, at) in [("abc", "is a text"), ("2500", "not below"), ("", "is a text")] {
            assert!(d.enter("shortest pulse", "servos[0].pulse_min_us", Entry::Number, text));
            assert!(!d.is_good());
            let said = d.problem_at("servos[0].pulse_min_us").expect("said at the field");
            assert!(said.contains(at), "{text}: {said}");
            assert_eq!(d.text("servos[0].pulse_min_us"), text, "what was typed stays to be corrected");
            assert!(Arc::ptr_eq(d.rig(), &good));
        }
        assert_eq!(d.problems_under("servos[0]"), 1);
        assert_eq!(d.problems_under("servos[1]"), 0);
        assert!(d.enter("shortest pulse", "servos[0].pulse_min_us", Entry::Number, "1000,5"));
        assert!(d.is_good());
        assert_eq!(d.rig().servos()[0].pulse_min.value(), 1000.5);
    }

    #[test]
    fn every_step_comes_back_and_goes_again() {
        let mut d = draft();
        let start = d.value().clone();
        d.enter("travel", "dofs[0].skin_max_mm", Entry::Number, "16");
        d.change("tongue out", |r| r.remove_mechanism(7)).expect("readable");
        d.replace("jaw only", &Preset::JawOnly.rig());
        let end = d.value().clone();
        assert_eq!(d.can_undo(), Some("jaw only"));
        while d.undo() {}
        assert_eq!((d.value(), d.can_undo(), d.can_redo()), (&start, None, Some("travel")));
        while d.redo() {}
        assert_eq!(d.value(), &end);
        assert!(!d.enter("nothing", "servos[0].name", Entry::Text, "jaw"), "no change is no step");
    }

    #[test]
    fn unknown_fields_survive_editing() {
        let mut text: Value = serde_json::from_str(&Preset::JawAndLips.describe().to_json()).expect("json");
        text["maker"] = "harbour workshop".into();
        text["servos"][0]["bought"] = 2026.into();
        let mut d = RigDraft::new(Rig::from_json(&text.to_string()).expect("unknown fields are kept"));
        d.enter("name", "servos[0].name", Entry::Text, "chin");
        d.change("add", |r| {
            r.add_mechanism(
                MechanismKind::PushRod,
                ServoClass::Standard,
                "brow",
                &[lipwright_core::rig::Dof::BrowLeftInner],
            );
        })
        .expect("readable");
        let out = d.rig().to_json();
        assert!(d.is_good() && out.contains("harbour workshop") && out.contains("\"bought\": 2026"), "{out}");
        assert_eq!(d.rig().mechanisms()[0].servos().len(), 1, "the jaw's mechanism knows the new name");
    }

    #[test]
    fn the_right_half_follows_while_it_should() {
        let mut d = draft();
        d.set_symmetric(true).expect("readable");
        let left =
            d.value()["dofs"].as_array().expect("list").iter().position(|x| x["dof"] == "corner-left-x");
        let path = format!("dofs[{}].skin_max_mm", left.expect("there"));
        d.enter("travel", &path, Entry::Number, "6");
        let right = d.rig().dof(lipwright_core::rig::Dof::CornerRightX).expect("there");
        assert_eq!(right.skin_max, 6.0);
        d.undo();
        assert!(!d.symmetric());
        assert_eq!(d.rig().dof(lipwright_core::rig::Dof::CornerRightX).expect("there").skin_max, 8.0);
    }

    /// Every bad rig that core knows can be laid on the desk, says what is wrong, and goes again.
    #[test]
    fn bad_files_lie_on_the_desk_without_harm() {
        let mut d = draft();
        let good = Arc::clone(d.rig());
        assert!(d.is_good());
        for bad in [
            serde_json::json!({"format": "lipwright-rig", "version": 1, "servos": "none", "mechanisms": 3}),
            serde_json::json!({"format": "lipwright-rig", "version": 1, "servos": [{}], "mechanisms": [{"kind": 7}]}),
            serde_json::json!({"format": "lipwright-rig", "version": 99, "servos": [], "mechanisms": []}),
            serde_json::json!([1, 2, 3]),
        ] {
            assert!(d.take_up("file", bad.clone()), "{bad}");
            assert!(!d.is_good() && Arc::ptr_eq(d.rig(), &good), "{bad}");
            let _ = super::super::outline(d.value());
            d.enter("name", "servos[0].name", Entry::Text, "x");
            d.put("budget", "supply.budget_a", Some(1.0));
            assert!(d.change("verb", |_| {}).is_err() || d.description().is_some());
            while d.undo() {}
            assert!(d.is_good(), "{bad}");
        }
    }

    #[test]
    fn a_wrong_draft_is_taken_up_as_it_was_left() {
        let mut d = draft();
        d.enter("budget", "supply.budget_a", Entry::Number, "-1");
        let back = RigDraft::resume(Rig::clone(d.rig()), d.value().clone());
        assert_eq!(back.problems(), d.problems());
        assert_eq!(back.text("supply.budget_a"), "-1");
    }
}
