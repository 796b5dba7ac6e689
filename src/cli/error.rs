//! What can go wrong in a verb, as a person reads it: what was tried, what was expected, what was
//! found. The text is here; advice (the hint line) and the exit code are in `hints.rs`, the one
//! place for both. This file must not print.

use std::path::PathBuf;

/// Why a verb did not do what was asked.
#[derive(Debug, thiserror::Error)]
pub enum CliError {
    /// The command line contradicts itself or lacks something only this verb can check.
    #[error("{what}")]
    Usage {
        /// What is wrong, expected and found.
        what: String,
        /// What to type instead.
        hint: Option<String>,
    },
    /// The settings cannot be used; each line names file, line and column.
    #[error("{}", .0.join("\n"))]
    Config(Vec<String>),
    /// The question was understood and the answer is no (no such run, faults in the store).
    #[error("{what}")]
    No {
        /// The answer in words.
        what: String,
        /// What to do about it.
        hint: Option<String>,
    },
    /// Nobody answers at the socket, or the answer breaks off.
    #[error("cannot {tried} through {}: {source}", path.display())]
    Socket {
        /// What was tried.
        tried: &'static str,
        /// The socket.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// The store cannot be opened, or is held by someone.
    #[error("{0}")]
    Store(#[from] boltscribe_store::StoreError),
    /// A file cannot be read or written.
    #[error("cannot {tried} {}: {source}", path.display())]
    File {
        /// What was tried.
        tried: &'static str,
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// Standard output cannot take the data.
    #[error("cannot write to standard output: {0}")]
    Output(std::io::Error),
    /// The other side did not speak as expected.
    #[error("cannot understand the answer to {request}: expected {expected}, found {found}")]
    Answer {
        /// Method and path.
        request: String,
        /// What should have come.
        expected: &'static str,
        /// What came, shortened.
        found: String,
    },
    /// A signal ended the work.
    #[error("stopped by a signal; nothing was left behind")]
    Stopped {
        /// Its number.
        signal: i32,
    },
    /// The API refused; its own words.
    #[error("{detail}")]
    Refused {
        /// Status of the answer.
        status: u16,
        /// What it said.
        detail: String,
        /// Its advice.
        hint: Option<String>,
    },
}

impl CliError {
    /// Wrong usage, without advice.
    pub fn usage(what: impl Into<String>) -> Self {
        Self::Usage { what: what.into(), hint: None }
    }

    /// Wrong usage, with what to type instead.
    pub fn usage_with(what: impl Into<String>, hint: impl Into<String>) -> Self {
        Self::Usage { what: what.into(), hint: Some(hint.into()) }
    }

    /// Whoever read our output has gone away: the end of the work, not a fault.
    #[must_use]
    pub fn is_closed_pipe(&self) -> bool {
        matches!(self, Self::Output(e) if e.kind() == std::io::ErrorKind::BrokenPipe)
    }
}

impl From<std::io::Error> for CliError {
    /// Only writing of output uses `?` on a bare IO error; every other place names its file.
    fn from(source: std::io::Error) -> Self {
        Self::Output(source)
    }
}
