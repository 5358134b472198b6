//! Places in a rig file, written as its errors write them: `servos[3].pulse_min_us`.

use serde_json::{Map, Value};

/// One step of a path.
enum Part<'a> {
    Key(&'a str),
    Index(usize),
}

fn parts(path: &str) -> impl Iterator<Item = Part<'_>> {
    path.split('.').flat_map(|part| {
        let (key, rest) = part.split_once('[').map_or((part, ""), |(k, r)| (k, r));
        let indices = rest.split('[').filter_map(|i| i.trim_end_matches(']').parse().ok().map(Part::Index));
        Some(Part::Key(key)).filter(|_| !key.is_empty()).into_iter().chain(indices)
    })
}

/// What stands at a path.
pub fn get<'a>(root: &'a Value, path: &str) -> Option<&'a Value> {
    parts(path).try_fold(root, |at, part| match part {
        Part::Key(key) => at.get(key),
        Part::Index(i) => at.get(i),
    })
}

/// Puts a value at a path (`None` takes it out); objects on the way are made, lists are not grown.
/// Says whether the place exists.
pub fn set(root: &mut Value, path: &str, value: Option<Value>) -> bool {
    let all: Vec<Part<'_>> = parts(path).collect();
    let Some((last, way)) = all.split_last() else { return false };
    let mut at = root;
    for part in way {
        let next = match part {
            Part::Key(key) => match at {
                Value::Object(map) => map.entry(*key).or_insert_with(|| Value::Object(Map::new())),
                _ => return false,
            },
            Part::Index(i) => match at.get_mut(*i) {
                Some(next) => next,
                None => return false,
            },
        };
        at = next;
    }
    match (last, at, value) {
        (Part::Key(key), Value::Object(map), Some(value)) => {
            map.insert((*key).to_owned(), value);
        }
        (Part::Key(key), Value::Object(map), None) => {
            map.remove(*key);
        }
        (Part::Index(i), Value::Array(items), Some(value)) if *i < items.len() => items[*i] = value,
        (Part::Index(i), Value::Array(items), None) if *i < items.len() => {
            items.remove(*i);
        }
        _ => return false,
    }
    true
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn errors_paths_lead_to_their_fields() {
        let mut v = json!({"servos": [{"name": "jaw"}, {"name": "lip"}], "poses": {}});
        assert_eq!(get(&v, "servos[1].name"), Some(&json!("lip")));
        assert_eq!(get(&v, "servos[2].name"), None);
        assert!(set(&mut v, "poses.half-open.target.jaw-open", Some(json!(7.5))));
        assert_eq!(get(&v, "poses.half-open.target.jaw-open"), Some(&json!(7.5)));
        assert!(set(&mut v, "poses.half-open.target.jaw-open", None));
        assert_eq!(get(&v, "poses.half-open.target"), Some(&json!({})));
        assert!(!set(&mut v, "servos[5].name", Some(json!("x"))), "lists are not grown");
        assert!(!set(&mut v, "servos[0].name.deeper", Some(json!("x"))));
        assert!(set(&mut v, "servos[0]", None));
        assert_eq!(get(&v, "servos[0].name"), Some(&json!("lip")));
    }
}
