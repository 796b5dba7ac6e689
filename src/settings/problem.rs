//! A mistake in the settings: where, which key, what was expected and what was found.
//!
//! A problem is one line: `file:line:column: key: expected ..., found ...`. Lines and columns count from
//! 1, columns in characters. This file must not know any key.

use std::fmt;
use std::ops::Range;

/// Most problems told at once.
pub(super) const PROBLEMS_MAX: usize = 100;
/// Most characters of a value quoted in a message.
const QUOTE_CHARS_MAX: usize = 60;

/// Where a value was set.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Place {
    /// In the program.
    BuiltIn,
    /// In a file.
    File {
        /// Its path as given.
        file: String,
        /// Line, from 1.
        line: usize,
        /// Column in characters, from 1.
        column: usize,
    },
    /// Already in words: the path of a whole file, or the origin a value carries.
    Words(String),
    /// In the environment.
    Environment {
        /// The variable.
        variable: String,
    },
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::BuiltIn => f.write_str("built-in"),
            Self::File { file, line, column } => write!(f, "{file}:{line}:{column}"),
            Self::Words(words) => f.write_str(words),
            Self::Environment { variable } => write!(f, "environment {variable}"),
        }
    }
}

/// One mistake.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// Where.
    pub place: Place,
    /// Which key, such as `daemon.listen`; none where the file as a whole is meant.
    pub key: Option<String>,
    /// What was expected and found.
    pub what: String,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.key {
            Some(key) => write!(f, "{}: {key}: {}", self.place, self.what),
            None => write!(f, "{}: {}", self.place, self.what),
        }
    }
}

impl std::error::Error for Problem {}

/// A file's name and text.
#[derive(Clone, Debug)]
pub(super) struct Text {
    pub name: String,
    pub text: String,
}

impl Text {
    /// The place of a byte of the text.
    pub fn place(&self, byte: usize) -> Place {
        let before = &self.text[..self.text.floor_char_boundary(byte.min(self.text.len()))];
        let line_start = before.rfind('\n').map_or(0, |at| at + 1);
        Place::File {
            file: self.name.clone(),
            line: before.matches('\n').count() + 1,
            column: before[line_start..].chars().count() + 1,
        }
    }

    /// What stands there, on one line and not too long.
    pub fn quote(&self, span: Range<usize>) -> String {
        shorten(self.text.get(span).unwrap_or_default())
    }
}

/// A text on one line and not too long.
pub(super) fn shorten(text: &str) -> String {
    let words: Vec<&str> = text.split_whitespace().collect();
    let line = words.join(" ");
    if line.chars().count() <= QUOTE_CHARS_MAX {
        return line;
    }
    let head: String = line.chars().take(QUOTE_CHARS_MAX).collect();
    format!("{head}...")
}

/// The words for a name that is not known: the nearest one, or all of them.
pub(super) fn unknown(what: &str, found: &str, known: &[&str]) -> String {
    let nearest = known
        .iter()
        .map(|name| {
            (
                strsim::damerau_levenshtein(&found.to_lowercase(), &name.to_lowercase()),
                *name,
            )
        })
        .min_by_key(|(distance, _)| *distance);
    let found = shorten(found);
    match nearest {
        Some((distance, name)) if distance <= 2.max(name.chars().count() / 3) => {
            format!("expected a known {what}, found '{found}'; the nearest is {name}")
        }
        _ => format!("expected a known {what} ({}), found '{found}'", known.join(", ")),
    }
}
