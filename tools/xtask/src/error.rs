//! Why a command did not do what was asked, with its exit code.
//!
//! Must not know any command.

use std::fmt::Display;

/// A failure: words and exit code (1 the answer is no, 2 wrong usage, 3 IO).
#[derive(Debug)]
pub struct Failed {
    /// What was tried, expected and found.
    pub what: String,
    /// Exit code of the command.
    pub code: u8,
}

impl Failed {
    /// The answer is no.
    pub fn no(what: impl Into<String>) -> Self {
        Self { what: what.into(), code: 1 }
    }

    /// Wrong usage.
    pub fn usage(what: impl Into<String>) -> Self {
        Self { what: what.into(), code: 2 }
    }

    /// Something outside did not work.
    pub fn io(tried: impl Display, error: impl Display) -> Self {
        Self { what: format!("cannot {tried}: {error}"), code: 3 }
    }
}
