//! Faults in the words of the screen: a builder knows the tongue's servo, not `servos[3]`.

use super::{FACE, Field, SERVO, SUPPLY, linkage_fields, skin_fields, words};
use lipwright_core::rig::{Dof, MechanismKind};
use serde_json::Value;

/// Every field that has a name on the screen.
fn fields() -> impl Iterator<Item = &'static Field> {
    let linkages = MechanismKind::ALL.into_iter().flat_map(linkage_fields);
    let skins = [Dof::JawOpen, Dof::NeckTurn].into_iter().flat_map(skin_fields);
    SERVO.iter().chain(&SUPPLY).chain(&FACE).chain(linkages).chain(skins)
}

/// The name that the screen gives to a place like `servos[3]`; `None` where it has none.
fn named(draft: &Value, list: &str, index: &str) -> Option<String> {
    let item = draft.get(list)?.get(index.parse::<usize>().ok()?)?;
    let text = |key: &str| item.get(key).and_then(Value::as_str).filter(|s| !s.trim().is_empty());
    match list {
        "dofs" => Dof::ALL.into_iter().find(|d| Some(d.name()) == text("dof")).map(words),
        "couplings" => text("name").map(|n| format!("limit “{n}”")),
        "mechanisms" => text("name").map(|n| format!("linkage “{n}”")),
        _ => text("name").map(|n| format!("“{n}”")),
    }
}

/// A sentence with places and file names of fields said in the words of the screen.
#[must_use]
pub fn plain(draft: &Value, sentence: &str) -> String {
    let mut out = String::with_capacity(sentence.len());
    let mut rest = sentence;
    let lists = ["servos[", "mechanisms[", "dofs[", "couplings["];
    while let Some((at, list)) =
        lists.iter().filter_map(|l| rest.find(l).map(|at| (at, *l))).min_by_key(|(at, _)| *at)
    {
        let (before, from) = rest.split_at(at);
        out.push_str(before);
        let inner = &from[list.len()..];
        let Some((index, after)) = inner.split_once(']') else {
            rest = from;
            break;
        };
        match named(draft, list.trim_end_matches('['), index) {
            Some(name) => out.push_str(&name),
            None => out.push_str(&from[..from.len() - after.len()]),
        }
        // "“jaw”, channel" reads better than "“jaw”.channel".
        rest = match after.strip_prefix('.') {
            Some(field) => {
                out.push_str(", ");
                field
            }
            None => after,
        };
    }
    out.push_str(rest);
    // Longest names first: none is replaced inside another.
    let mut known: Vec<&Field> = fields().filter(|f| f.key.contains('_')).collect();
    known.sort_by_key(|f| std::cmp::Reverse(f.key.len()));
    for f in known {
        if out.contains(f.key) {
            out = out.replace(f.key, &f.label.to_lowercase());
        }
    }
    out.replace(" us,", " µs,").replace(" us;", " µs;")
}

#[cfg(test)]
mod tests {
    use super::super::{Entry, RigDraft};
    use super::*;
    use lipwright_core::rig::Preset;

    #[test]
    fn faults_speak_of_what_is_on_the_screen() {
        let mut d = RigDraft::new(Preset::JawAndLips.rig());
        d.enter("channel", "servos[2].channel", Entry::Whole, "0");
        d.enter("pulse", "servos[2].pulse_min_us", Entry::Number, "2500");
        let said: Vec<String> = d.problems().iter().map(|p| plain(d.value(), &p.to_string())).collect();
        assert!(
            said[0].starts_with("“lower lip”, channel: is 0 on \"main\", where “jaw” already hangs"),
            "{said:?}"
        );
        assert!(
            said[1].starts_with("“lower lip”, shortest pulse: is 2500 µs, not below longest pulse 2200"),
            "{said:?}"
        );
        for odd in ["servos[", "servos[99].name", "", "dofs[x]"] {
            let _ = plain(d.value(), odd);
        }
        assert_eq!(plain(&Value::Null, "servos[1].name: is empty"), "servos[1], name: is empty");
    }
}
