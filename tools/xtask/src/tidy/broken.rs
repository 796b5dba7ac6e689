//! One place where a rule is broken, and how it is told.
//!
//! Must not know any rule; exceptions come from the table.

use super::table::{EXCEPTIONS, Exception};
use std::fmt::{Display, Formatter, Result};

/// A rule is broken here.
#[derive(Debug)]
pub struct Broken {
    /// Name of the rule.
    pub rule: &'static str,
    /// File, from the top of the repository.
    pub path: String,
    /// Line, from 1.
    pub line: usize,
    expected: String,
    found: String,
}

impl Broken {
    /// A rule broken at a line of a file.
    pub fn new(
        rule: &'static str,
        path: &str,
        line: usize,
        expected: impl Into<String>,
        found: impl Into<String>,
    ) -> Self {
        Self { rule, path: path.to_owned(), line, expected: expected.into(), found: found.into() }
    }

    /// An exception of the table covers it.
    pub fn is_excused(&self) -> bool {
        EXCEPTIONS.iter().any(|e| self.excused_by(e))
    }

    /// This exception covers it.
    pub fn excused_by(&self, exception: &Exception) -> bool {
        exception.rule == self.rule && exception.path == self.path
    }
}

impl Display for Broken {
    fn fmt(&self, f: &mut Formatter<'_>) -> Result {
        let Self { rule, path, line, expected, found } = self;
        write!(f, "{path}:{line}: {rule}: expected {expected}, found {found}")
    }
}
