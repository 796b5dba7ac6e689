//! Where rows go: the kinds of files, and the one interface they share.
//!
//! Must not know what the rows mean, nor where the bytes end up.

use super::table::{Cell, Table};
use std::io::{self, Write};
use std::path::Path;

/// A kind of file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// RFC 4180, with its CRLF.
    Csv,
    /// One JSON object a line.
    JsonLines,
    /// Line protocol.
    LineProtocol,
    /// Parquet.
    Parquet,
}

impl Kind {
    /// Endings of file names and what they say.
    const ENDINGS: [(&'static str, Self); 5] = [
        ("csv", Self::Csv),
        ("jsonl", Self::JsonLines),
        ("ndjson", Self::JsonLines),
        ("lp", Self::LineProtocol),
        ("parquet", Self::Parquet),
    ];

    /// What the ending of a file's name says.
    #[must_use]
    pub fn of(path: &Path) -> Option<Self> {
        let ending = path.extension()?.to_str()?.to_ascii_lowercase();
        Self::ENDINGS.iter().find(|(known, _)| *known == ending).map(|(_, kind)| *kind)
    }
}

/// Why a row could not be written.
#[derive(Debug, thiserror::Error)]
pub enum SinkError {
    /// The bytes cannot be written.
    #[error(transparent)]
    Io(#[from] io::Error),
    /// This build cannot write that kind.
    #[error("cannot write Parquet: expected a build with it, found one without")]
    NotBuilt,
    /// The writer of the kind itself failed.
    #[error("cannot write the file's own structure: {0}")]
    Structure(String),
}

/// Takes rows.
pub trait Sink {
    /// Takes one row; as many cells as columns.
    ///
    /// # Errors
    /// The bytes cannot be written.
    fn row(&mut self, cells: &[Cell]) -> Result<(), SinkError>;

    /// Writes what is held back and what closes the file.
    ///
    /// # Errors
    /// The bytes cannot be written.
    fn finish(self: Box<Self>) -> Result<(), SinkError>;
}

/// Opens a sink. `noted`: CSV begins with the notes of the table as lines that begin with `#`.
///
/// # Errors
/// The head cannot be written, or this build cannot write that kind.
pub fn open<'a, W: Write + Send + 'a>(
    kind: Kind,
    to: W,
    table: &Table,
    noted: bool,
) -> Result<Box<dyn Sink + 'a>, SinkError> {
    match kind {
        Kind::Csv => Ok(Box::new(super::csv::Csv::new(to, table, noted)?)),
        Kind::JsonLines => Ok(Box::new(super::json_lines::JsonLines::new(to, table))),
        Kind::LineProtocol => Ok(Box::new(super::points::Points::new(to, table))),
        #[cfg(feature = "parquet")]
        Kind::Parquet => Ok(Box::new(super::parquet::Parquet::new(to, table)?)),
        #[cfg(not(feature = "parquet"))]
        Kind::Parquet => Err(SinkError::NotBuilt),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_ending_of_a_name_says_the_kind_in_any_case() {
        assert_eq!(Kind::of(Path::new("a.CSV")), Some(Kind::Csv));
        assert_eq!(Kind::of(Path::new("a.b/c.ndjson")), Some(Kind::JsonLines));
        assert_eq!(Kind::of(Path::new("runs.parquet")), Some(Kind::Parquet));
        assert_eq!(Kind::of(Path::new("runs")), None);
        assert_eq!(Kind::of(Path::new("runs.txt")), None);
    }
}
