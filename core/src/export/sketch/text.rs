//! Names as C++ and file systems take them.

/// A name that can stand in a C++ string or comment: printable ASCII without quotes and backslashes.
pub(super) fn plain(name: &str) -> String {
    let fit = |c: char| match c {
        '"' => '\'',
        '\\' => '/',
        // A question mark could begin a trigraph.
        '?' => '.',
        ' '..='~' => c,
        _ => '_',
    };
    name.chars().take(40).map(fit).collect()
}

/// A name for a folder and the sketch in it: letters, digits, hyphens, a letter first.
pub(super) fn folder_name(name: &str) -> String {
    let fit = |c: char| if c.is_ascii_alphanumeric() { c } else { '-' };
    let out: String = name.chars().take(60).map(fit).collect();
    let out = out.trim_matches('-').to_owned();
    if out.starts_with(|c: char| c.is_ascii_alphabetic()) { out } else { format!("head-{out}") }
}
