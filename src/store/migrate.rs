//! The schema's versions: each is brought in by one transaction, with a rollback journal, so that a
//! crash leaves the old or the new one and the version in the file's header is always true.
//!
//! A store of a newer version is refused before SQLite opens it: nothing is touched.

use super::audit;
use super::error::StoreError;
use boltscribe_analysis::results::{Flag, Verdict};
use rusqlite::{Connection, OptionalExtension, params};
use std::io::Read;
use std::path::Path;

/// Marks a file as a store of this program: "BSCR".
pub const APPLICATION_ID: u32 = 0x4253_4352;
/// The schema version this program writes.
pub const SCHEMA_VERSION: u32 = 9;
/// From this one on kept rows have links in the audit chain.
const AUDITED_FROM: u32 = 9;
/// Before this one SQLite could lose committed rows in WAL mode with two connections.
const SQLITE_AT_LEAST: (i32, &str) = (3_051_003, "3.51.3");

/// Each entry brings the schema from version (index) to (index + 1).
const STEPS: [&str; SCHEMA_VERSION as usize] = [
    include_str!("schema.sql"),
    include_str!("outbox.sql"),
    concat!(include_str!("by_hand.sql"), include_str!("keeping.sql")),
    include_str!("calibrations.sql"),
    include_str!("trials.sql"),
    include_str!("restarts.sql"),
    include_str!("simulated.sql"),
    include_str!("attempts.sql"),
    concat!(include_str!("audit.sql"), include_str!("shelf_as_of.sql")),
];

/// Tables whose rows are never changed.
pub(super) const KEPT: [&str; 26] = [
    "rigs",
    "streams",
    "identities",
    "commands",
    "zeros",
    "shelf",
    "runs",
    "blows",
    "gates",
    "run_flags",
    "closings",
    "corrections",
    "events",
    "recomputations",
    "recomputed_blows",
    "recomputed_gates",
    "recomputed_flags",
    "prunings",
    "tombstones",
    "idle_tombstones",
    "run_sources",
    "calibrations",
    "trials",
    "trial_entries",
    "sample_digests",
    "audit",
];

/// What the header of a file says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Found {
    /// No file, or an empty one.
    Nothing,
    /// A store of this version.
    Version(u32),
}

/// Refuses an SQLite library that is known to lose rows.
pub(super) fn check_library() -> Result<(), StoreError> {
    if rusqlite::version_number() < SQLITE_AT_LEAST.0 {
        return Err(StoreError::Library { expected: SQLITE_AT_LEAST.1, found: rusqlite::version() });
    }
    Ok(())
}

/// Looks at the first 100 bytes of the file (SQLite database file format, section 1.3), without SQLite.
pub(super) fn look(path: &Path) -> Result<Found, StoreError> {
    let mut header = Vec::with_capacity(100);
    match std::fs::File::open(path) {
        Ok(file) => file.take(100).read_to_end(&mut header).map_err(|source| StoreError::File {
            tried: "read the store",
            path: path.to_owned(),
            source,
        })?,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(Found::Nothing),
        Err(source) => {
            return Err(StoreError::File { tried: "open the store", path: path.to_owned(), source });
        }
    };
    if header.is_empty() {
        return Ok(Found::Nothing);
    }
    if header.len() < 100 || &header[..16] != b"SQLite format 3\0" {
        return Err(StoreError::NotADatabase { path: path.to_owned() });
    }
    let word = |at: usize| u32::from_be_bytes([header[at], header[at + 1], header[at + 2], header[at + 3]]);
    let (version, application) = (word(60), word(68));
    if application != APPLICATION_ID {
        return Err(StoreError::NotOurs {
            path: path.to_owned(),
            expected: APPLICATION_ID,
            found: application,
        });
    }
    if version > SCHEMA_VERSION {
        return Err(StoreError::Newer { path: path.to_owned(), known: SCHEMA_VERSION, found: version });
    }
    Ok(Found::Version(version))
}

/// The version SQLite itself reads, 0 for an empty database.
pub(super) fn version(connection: &Connection, path: &Path) -> Result<u32, StoreError> {
    let number = |name: &str| -> Result<u32, StoreError> {
        connection
            .pragma_query_value(None, name, |row| row.get::<_, i64>(0))
            .map(|value| value as u32)
            .map_err(|source| StoreError::sql("open", path, source))
    };
    let (application, version) = (number("application_id")?, number("user_version")?);
    let tables: i64 = connection
        .query_row("SELECT COUNT(*) FROM sqlite_schema", [], |row| row.get(0))
        .map_err(|source| StoreError::sql("open", path, source))?;
    if tables > 0 && application != APPLICATION_ID {
        return Err(StoreError::NotOurs {
            path: path.to_owned(),
            expected: APPLICATION_ID,
            found: application,
        });
    }
    if version > SCHEMA_VERSION {
        return Err(StoreError::Newer { path: path.to_owned(), known: SCHEMA_VERSION, found: version });
    }
    Ok(version)
}

/// Brings a store to the present version and writes the words of the flags.
pub(super) fn bring_up(connection: &mut Connection, from: u32) -> rusqlite::Result<()> {
    if from < SCHEMA_VERSION {
        // With a rollback journal the header changes with the commit, not at some later checkpoint.
        connection.pragma_update(None, "journal_mode", "DELETE")?;
        connection.pragma_update(None, "synchronous", "EXTRA")?;
        // A table may be made anew, which must not take what refers to it along; outside transactions only.
        connection.pragma_update(None, "foreign_keys", false)?;
        let step = connection.transaction_with_behavior(rusqlite::TransactionBehavior::Exclusive)?;
        for sql in &STEPS[from as usize..] {
            step.execute_batch(sql)?;
        }
        for table in KEPT {
            refuse_changes(&step, table)?;
        }
        step.execute(
            "INSERT INTO meta (key, value) VALUES ('written_by', ?1)
             ON CONFLICT (key) DO UPDATE SET value = excluded.value",
            [env!("CARGO_PKG_VERSION")],
        )?;
        refuse_loose_references(&step)?;
        if from < AUDITED_FROM {
            audit::link_all(&step)?;
        }
        step.pragma_update(None, "application_id", APPLICATION_ID)?;
        step.pragma_update(None, "user_version", SCHEMA_VERSION)?;
        step.commit()?;
        connection.pragma_update(None, "foreign_keys", true)?;
    }
    write_flags(connection)
}

/// A row that refers to one that is not there fails the step, which leaves the version before.
fn refuse_loose_references(connection: &Connection) -> rusqlite::Result<()> {
    let loose = connection
        .query_row("SELECT \"table\" FROM pragma_foreign_key_check", [], |row| row.get::<_, String>(0))
        .optional()?;
    match loose {
        None => Ok(()),
        Some(table) => Err(rusqlite::Error::SqliteFailure(
            rusqlite::ffi::Error::new(rusqlite::ffi::SQLITE_CONSTRAINT_FOREIGNKEY),
            Some(format!("rows of {table} refer to rows that are not there")),
        )),
    }
}

fn refuse_changes(connection: &Connection, table: &str) -> rusqlite::Result<()> {
    for verb in ["UPDATE", "DELETE"] {
        connection.execute_batch(&format!(
            "CREATE TRIGGER IF NOT EXISTS {table}_refuses_{verb} BEFORE {verb} ON {table}
             BEGIN SELECT RAISE(ABORT, 'rows of {table} are never changed'); END;",
        ))?;
    }
    Ok(())
}

/// The views need to know which flags leave a run out; the table in `results` is the one truth.
fn write_flags(connection: &mut Connection) -> rusqlite::Result<()> {
    let transaction = connection.transaction_with_behavior(rusqlite::TransactionBehavior::Immediate)?;
    for flag in Flag::ALL {
        transaction.execute(
            "INSERT INTO flags (flag, leaves_out, words) VALUES (?1, ?2, ?3)
             ON CONFLICT (flag) DO UPDATE SET leaves_out = excluded.leaves_out, words = excluded.words
             WHERE leaves_out <> excluded.leaves_out OR words <> excluded.words",
            params![flag.name(), flag.verdict() == Verdict::LeftOut, flag.words()],
        )?;
    }
    transaction.commit()
}
