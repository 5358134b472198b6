//! Files that come in together: which is a line, which is whose script.

/// What a file is to the project, by its name and first bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A project or a rig.
    Json,
    /// What is said in a recording.
    Script,
    /// Anything else: sound, or to be refused as none.
    Sound,
}

/// A file's name without its ending, small letters.
#[must_use]
pub fn stem(name: &str) -> String {
    name.rsplit_once('.').map_or(name, |(stem, _)| stem).to_lowercase()
}

/// What a file is.
#[must_use]
pub fn kind(name: &str, bytes: &[u8]) -> Kind {
    let lower = name.to_lowercase();
    if lower.ends_with(".json") || bytes.iter().find(|b| !b.is_ascii_whitespace()) == Some(&b'{') {
        Kind::Json
    } else if lower.ends_with(".txt") {
        Kind::Script
    } else {
        Kind::Sound
    }
}

/// What to do with the files that came in together; every number is a place in the list given.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Arrivals {
    /// Projects and rigs, one after the other.
    pub documents: Vec<usize>,
    /// New lines: a recording, and its script where one of the same name came with it.
    pub lines: Vec<(usize, Option<usize>)>,
    /// Scripts for lines that are there already: script and line.
    pub scripts: Vec<(usize, usize)>,
    /// Scripts that belong to nothing.
    pub strays: Vec<usize>,
}

/// Sorts files: recordings become lines in the order of their names, scripts go to the recording of
/// the same name, or to the line that has it; a script that comes quite alone belongs to the line
/// that is `open`.
#[must_use]
pub fn sort(files: &[(String, Kind)], lines: &[String], open: Option<usize>) -> Arrivals {
    let of = |wanted: Kind| {
        let mut places: Vec<usize> = (0..files.len()).filter(|i| files[*i].1 == wanted).collect();
        places.sort_by_key(|i| files[*i].0.to_lowercase());
        places
    };
    let mut arrivals = Arrivals { documents: of(Kind::Json), ..Arrivals::default() };
    let mut scripts = of(Kind::Script);
    for sound in of(Kind::Sound) {
        let same = scripts.iter().position(|s| stem(&files[*s].0) == stem(&files[sound].0));
        arrivals.lines.push((sound, same.map(|at| scripts.remove(at))));
    }
    for script in scripts {
        let name = stem(&files[script].0);
        let line = lines.iter().position(|l| stem(l) == name);
        match line.or(open.filter(|_| files.len() == 1)) {
            Some(line) => arrivals.scripts.push((script, line)),
            None => arrivals.strays.push(script),
        }
    }
    arrivals
}

#[cfg(test)]
mod tests {
    use super::*;

    fn files(names: &[&str]) -> Vec<(String, Kind)> {
        names.iter().map(|n| ((*n).to_owned(), kind(n, b"..."))).collect()
    }

    #[test]
    fn a_folder_of_recordings_and_scripts_finds_together() {
        let files = files(&["tide.txt", "Bell.WAV", "tide.wav", "notes.txt", "bell.txt", "a.mp3"]);
        let lines = ["notes.wav".to_owned()];
        let found = sort(&files, &lines, Some(0));
        assert_eq!(found.lines, [(5, None), (1, Some(4)), (2, Some(0))]);
        assert_eq!(found.scripts, [(3, 0)]);
        assert!(found.documents.is_empty() && found.strays.is_empty());
    }

    #[test]
    fn a_script_alone_belongs_to_the_open_line() {
        let one = files(&["anything.txt"]);
        assert_eq!(sort(&one, &[], Some(2)).scripts, [(0, 2)]);
        assert_eq!(sort(&one, &["anything.ogg".to_owned()], Some(2)).scripts, [(0, 0)], "by name first");
        assert_eq!(sort(&one, &[], None).strays, [0]);
        let two = files(&["anything.txt", "x.wav"]);
        assert_eq!(sort(&two, &[], Some(2)).strays, [0], "in company a stray is a mistake");
    }

    #[test]
    fn json_is_known_by_name_or_by_its_first_letter() {
        assert_eq!(kind("a.txt", b"  {\"format\": 1}"), Kind::Json);
        assert_eq!(kind("a.JSON", b"nonsense"), Kind::Json);
        assert_eq!(kind("a.wav", b"RIFF"), Kind::Sound);
    }
}
