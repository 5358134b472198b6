//! The changes, as cargo-mutants lists them (`cargo mutants --list --json`).

use serde::Deserialize;

/// One change of the program.
#[derive(Debug, Clone, Deserialize)]
pub struct Change {
    /// File, line, column and what is done, in words: cargo-mutants' own name for it.
    pub name: String,
    /// The file, seen from the root of the workspace.
    pub file: String,
    /// What kind of change.
    pub genre: Genre,
    /// What stands there instead.
    pub replacement: String,
    /// What is replaced.
    pub span: Span,
}

/// Kinds of change.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
pub enum Genre {
    /// A function gives a fixed value at once.
    FnValue,
    /// Another operator between two operands, or another assigning operator.
    BinaryOperator,
    /// `-` or `!` left out.
    UnaryOperator,
    /// A guard that always holds, or never.
    MatchArmGuard,
    /// An arm left out, so that the one for all else takes its place.
    MatchArm,
    /// A field left out of a struct expression that has a base.
    StructField,
}

/// From where to where, lines and columns counted from 1.
#[derive(Debug, Clone, Copy, Deserialize)]
pub struct Span {
    /// First character.
    pub start: Place,
    /// One past the last.
    pub end: Place,
}

/// A character of a file.
#[derive(Debug, Clone, Copy, Deserialize)]
pub struct Place {
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
}

impl Place {
    /// Bytes before this place; the end of the text where there is no such place.
    pub fn offset(self, text: &str) -> usize {
        let line: usize = text.split_inclusive('\n').take(self.line - 1).map(str::len).sum();
        let rest = text.get(line..).unwrap_or_default();
        line + rest.char_indices().nth(self.column - 1).map_or(rest.len(), |(at, _)| at)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_count_characters_from_one() {
        let text = "ab\ncäd\n";
        assert_eq!(Place { line: 1, column: 1 }.offset(text), 0);
        assert_eq!(Place { line: 2, column: 1 }.offset(text), 3);
        assert_eq!(Place { line: 2, column: 3 }.offset(text), 6);
        assert_eq!(Place { line: 9, column: 1 }.offset(text), text.len());
    }
}
