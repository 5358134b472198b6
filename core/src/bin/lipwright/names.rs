//! Names of lines as names of files: whatever a project calls its lines, what is written stays in the
//! folder that was asked for, and no line's files replace another's.

use std::collections::HashSet;

/// Longest name, in bytes: with every ending, and while it is being written, it stays below the 255
/// that common file systems hold.
const LONGEST: usize = 120;

/// Names that some systems keep for devices, whatever ending follows (from memory).
const DEVICES: [&str; 4] = ["con", "prn", "aux", "nul"];

/// Names given out so far.
#[derive(Default)]
pub struct Names {
    taken: HashSet<String>,
}

impl Names {
    /// For a folder in which these names are already used.
    pub fn beside(used: &[&str]) -> Self {
        Self { taken: used.iter().map(|name| (*name).to_owned()).collect() }
    }

    /// A name that can be a file's and that no other line has.
    pub fn unique(&mut self, name: &str) -> String {
        let plain = plain(name);
        let mut candidate = plain.clone();
        let mut n = 2;
        // File systems that do not tell upper from lower case must not lose a line either.
        while !self.taken.insert(candidate.to_lowercase()) {
            candidate = format!("{plain}-{n}");
            n += 1;
        }
        candidate
    }
}

/// Letters, digits, spaces, hyphens and underscores; nothing that leads elsewhere.
fn plain(name: &str) -> String {
    let fit = |c: char| if c.is_alphanumeric() || " -_".contains(c) { c } else { '-' };
    let mut out = String::new();
    for c in name.trim().chars().map(fit) {
        if out.len() + c.len_utf8() > LONGEST {
            break;
        }
        out.push(c);
    }
    out.truncate(out.trim_end().len());
    if out.is_empty() {
        "line".to_owned()
    } else if is_device(&out) {
        format!("line-{out}")
    } else {
        out
    }
}

fn is_device(name: &str) -> bool {
    let name = name.to_lowercase();
    let numbered = |kind| name.strip_prefix(kind).is_some_and(|n: &str| n.chars().count() == 1);
    DEVICES.contains(&name.as_str()) || numbered("com") || numbered("lpt")
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::{Component, Path};

    #[test]
    fn hostile_names_stay_in_the_folder() {
        let long = "a".repeat(5000);
        let wide = "\u{1d400}".repeat(500);
        let mut names = Names::default();
        for name in
            ["../../x", "/etc/x", "..", ".", "", "  ", "a\0b", "C:\\x", "\\\\host\\x", "x\n", &long, &wide]
        {
            let file = names.unique(name);
            let parts: Vec<Component> = Path::new(&file).components().collect();
            assert!(matches!(parts.as_slice(), [Component::Normal(_)]), "{name:?} became {file:?}");
            assert!(file.len() <= LONGEST && !file.contains(['\0', '\\', ':', '.']), "{file:?}");
        }
    }

    #[test]
    fn no_two_lines_share_a_name() {
        let mut names = Names::beside(&["summary"]);
        let given = ["Welcome", "welcome", "welcome-2", "we/come", "we-come", "Summary"];
        let files = given.map(|name| names.unique(name));
        assert_eq!(
            files,
            ["Welcome", "welcome-2", "welcome-2-2", "we-come", "we-come-2", "Summary-2"].map(str::to_owned)
        );
    }

    #[test]
    fn devices_are_no_files() {
        let mut names = Names::default();
        assert_eq!(names.unique("NUL"), "line-NUL");
        assert_eq!(names.unique("com1"), "line-com1");
        assert_eq!(names.unique("lpt\u{b9}"), "line-lpt\u{b9}");
        assert_eq!(names.unique("comet"), "comet");
        assert_eq!(names.unique("null"), "null");
    }
}
