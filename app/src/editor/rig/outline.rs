//! The rig at a glance: each servo with what it drives, also where the draft is wrong.

use lipwright_core::rig::{Dof, FacePart, MechanismKind};
use serde_json::Value;

/// One row of the list.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct ServoRow {
    /// Place in the file's list of servos.
    pub servo: usize,
    /// Its name, as it stands.
    pub name: String,
    /// Board and channel, as they stand.
    pub wired: String,
    /// Place of the mechanism that it moves.
    pub mechanism: Option<usize>,
    /// Kind of that mechanism.
    pub kind: Option<MechanismKind>,
    /// Servos of that mechanism, by place.
    pub partners: Vec<usize>,
    /// What that mechanism drives, with the place in the file's list of DOFs.
    pub drives: Vec<(Dof, Option<usize>)>,
}

impl ServoRow {
    /// The part of the face that it moves.
    #[must_use]
    pub fn part(&self) -> Option<FacePart> {
        self.drives.first().map(|(dof, _)| dof.part())
    }

    /// What it moves, in words.
    #[must_use]
    pub fn moves(&self) -> String {
        if self.drives.is_empty() {
            return "moves nothing yet".to_owned();
        }
        let words: Vec<String> = self.drives.iter().map(|(dof, _)| words(*dof)).collect();
        words.join(", ")
    }
}

/// A degree of freedom in words.
#[must_use]
pub fn words(dof: Dof) -> String {
    dof.name().replace("-x", " out").replace("-y", " up").replace('-', " ")
}

/// A part of the face in words.
#[must_use]
pub const fn part_name(part: FacePart) -> &'static str {
    match part {
        FacePart::Jaw => "Jaw",
        FacePart::Lips => "Lips",
        FacePart::Corners => "Mouth corners",
        FacePart::Tongue => "Tongue",
        FacePart::Brows => "Brows",
        FacePart::Neck => "Neck",
        FacePart::Lids => "Eyelids",
    }
}

fn dof_of(value: &Value) -> Option<Dof> {
    let name = value.get("dof")?.as_str()?;
    Dof::ALL.into_iter().find(|d| d.name() == name)
}

fn list<'a>(draft: &'a Value, key: &str) -> &'a [Value] {
    draft.get(key).and_then(Value::as_array).map_or(&[], Vec::as_slice)
}

/// Every servo of a draft, by part of the face (as DOFs are ordered), then in file order; those
/// that move nothing come last.
#[must_use]
pub fn outline(draft: &Value) -> Vec<ServoRow> {
    let text = |v: &Value, key: &str| match v.get(key) {
        Some(Value::String(s)) => s.clone(),
        Some(other) => other.to_string(),
        None => String::new(),
    };
    let servos = list(draft, "servos");
    let place = |name: &Value| servos.iter().position(|s| s.get("name") == Some(name));
    let mut rows: Vec<ServoRow> = servos
        .iter()
        .enumerate()
        .map(|(servo, s)| {
            let mut row = ServoRow {
                servo,
                name: text(s, "name"),
                wired: format!("{} {}", text(s, "controller"), text(s, "channel")),
                mechanism: None,
                kind: None,
                partners: vec![servo],
                drives: Vec::new(),
            };
            let uses = |m: &&Value| list(m, "servos").iter().any(|n| Some(n) == s.get("name"));
            if let Some((i, m)) = list(draft, "mechanisms").iter().enumerate().find(|(_, m)| uses(m)) {
                row.mechanism = Some(i);
                row.kind =
                    MechanismKind::ALL.into_iter().find(|k| m.get("kind").is_some_and(|v| v == k.name()));
                row.partners = list(m, "servos").iter().filter_map(place).collect();
                row.drives = list(m, "drives")
                    .iter()
                    .filter_map(dof_of)
                    .map(|dof| (dof, list(draft, "dofs").iter().position(|d| dof_of(d) == Some(dof))))
                    .collect();
            }
            row
        })
        .collect();
    rows.sort_by_key(|r| (r.part().is_none(), r.part()));
    rows
}

#[cfg(test)]
mod tests {
    use super::super::{Entry, RigDraft};
    use super::*;
    use lipwright_core::rig::Preset;

    #[test]
    fn servos_are_listed_by_what_they_move() {
        let mut d = RigDraft::new(Preset::Harbourmaster.rig());
        let rows = outline(d.value());
        assert_eq!(rows.len(), 16);
        assert!(rows.windows(2).all(|w| w[0].part() <= w[1].part()));
        let corner = rows.iter().find(|r| r.name == "corner left inner").expect("there");
        assert_eq!(corner.kind, Some(MechanismKind::FiveBar));
        assert_eq!(corner.partners.len(), 2);
        assert_eq!(corner.moves(), "corner left out, corner left up");
        // A nonsense channel is shown as it stands.
        d.enter("channel", "servos[0].channel", Entry::Whole, "seven");
        assert!(outline(d.value()).iter().any(|r| r.wired == "main seven"));
        assert_eq!(outline(&Value::Null), Vec::new());
    }
}
