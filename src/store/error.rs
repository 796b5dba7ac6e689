//! What can go wrong with the store, in sentences: what was tried, where, expected, found.
//!
//! Refusals of single rows are in `write.rs`; these are failures of the store as a whole.

use std::path::PathBuf;

/// Why the store could not be opened, read or written.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// The folder or a file in it cannot be used.
    #[error("cannot {tried} {path}: {source}")]
    File {
        /// What was tried.
        tried: &'static str,
        /// Where.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// Another process holds the lock.
    #[error("cannot open the store in {folder}: expected no other user, found it held by process {holder}")]
    Held {
        /// The store's folder.
        folder: PathBuf,
        /// Process id as written in the lock file, or `unknown`.
        holder: String,
    },
    /// There is no store where one was expected.
    #[error("cannot open the store {path}: expected a file, found none")]
    Missing {
        /// Where.
        path: PathBuf,
    },
    /// The file is not a database at all.
    #[error("cannot open the store {path}: expected a SQLite database, found a file that starts otherwise")]
    NotADatabase {
        /// Where.
        path: PathBuf,
    },
    /// A database, but of another program.
    #[error("cannot open the store {path}: expected application id {expected:#010x}, found {found:#010x}")]
    NotOurs {
        /// Where.
        path: PathBuf,
        /// Our id.
        expected: u32,
        /// Its id.
        found: u32,
    },
    /// Too little room on the disk for a second store.
    #[error("cannot copy the store in {folder}: expected {expected} bytes free, found {found}")]
    NoRoom {
        /// The folder the copy is made in.
        folder: PathBuf,
        /// Bytes needed.
        expected: u64,
        /// Bytes free.
        found: u64,
    },
    /// A copy is being made already.
    #[error("cannot copy the store in {folder}: expected no other copying, found one going on")]
    Busy {
        /// The store's folder.
        folder: PathBuf,
    },
    /// A copy that is not one file.
    #[error("cannot restore {path}: expected one file, found a write-ahead log beside it")]
    HasLog {
        /// The copy.
        path: PathBuf,
    },
    /// Written by a newer program.
    #[error("cannot open the store {path}: expected schema version {known} or older, found {found}")]
    Newer {
        /// Where.
        path: PathBuf,
        /// The newest version this program knows.
        known: u32,
        /// The version of the file.
        found: u32,
    },
    /// Written by an older program, and opened without leave to bring it up to date.
    #[error(
        "cannot read the store {path} without changing it: expected schema version {known}, found {found}"
    )]
    Older {
        /// Where.
        path: PathBuf,
        /// The version this program reads.
        known: u32,
        /// The version of the file.
        found: u32,
    },
    /// The SQLite library linked in is one known to lose committed rows.
    #[error("cannot use SQLite {found}: expected {expected} or newer")]
    Library {
        /// Oldest version that is safe.
        expected: &'static str,
        /// The one linked in.
        found: &'static str,
    },
    /// SQLite found the file damaged.
    #[error("the store {path} is damaged: {detail}")]
    Damaged {
        /// Where.
        path: PathBuf,
        /// What was found.
        detail: String,
    },
    /// A stored document or block does not read back.
    #[error("cannot read {what} {id}: {detail}")]
    Unreadable {
        /// The kind of row.
        what: &'static str,
        /// Its id.
        id: i64,
        /// What was wrong.
        detail: String,
    },
    /// Anything else SQLite says.
    #[error("cannot {tried} the store {path}: {source}")]
    Sql {
        /// What was tried.
        tried: &'static str,
        /// Where.
        path: PathBuf,
        /// What SQLite said.
        source: rusqlite::Error,
    },
}

impl StoreError {
    /// Sorts what SQLite said into damage and the rest.
    pub(super) fn sql(tried: &'static str, path: &std::path::Path, source: rusqlite::Error) -> Self {
        use rusqlite::ErrorCode::{DatabaseCorrupt, NotADatabase};
        match source.sqlite_error_code() {
            Some(DatabaseCorrupt | NotADatabase) => {
                Self::Damaged { path: path.to_owned(), detail: source.to_string() }
            }
            _ => Self::Sql { tried, path: path.to_owned(), source },
        }
    }

    /// What to do about it, where there is something to do.
    #[must_use]
    pub fn hint(&self) -> Option<&'static str> {
        match self {
            Self::Held { .. } => Some("stop that process, or reach its store through the daemon's socket"),
            Self::Newer { .. } => Some("run the newer program this store was written with"),
            Self::Older { .. } => {
                Some("start the daemon on a copy of the store once: it brings it up to date")
            }
            Self::NotADatabase { .. } | Self::NotOurs { .. } => Some("check the folder given for the store"),
            Self::Damaged { .. } => {
                Some("keep a copy of the folder before anything else, then run 'boltscribe store check'")
            }
            Self::Missing { .. } | Self::File { .. } => {
                Some("check the path and who may read and write there")
            }
            Self::NoRoom { .. } => {
                Some("free some room, or prune old samples: 'boltscribe store prune --help'")
            }
            Self::Busy { .. } => Some("wait for it to end"),
            Self::HasLog { .. } => {
                Some("make the copy with 'boltscribe store backup', which leaves nothing in a log")
            }
            Self::Library { .. } | Self::Unreadable { .. } | Self::Sql { .. } => None,
        }
    }
}
