//! A copy of the whole store while it is written: page by page from one snapshot, by SQLite's online backup.
//!
//! The copy is one plain file without a log. It is made in the store's folder, whose owner need not be able to
//! write anywhere else; its name goes as soon as it is read, so nothing is left where a reader breaks off.

use super::error::StoreError;
use super::migrate::{self, APPLICATION_ID, Found, SCHEMA_VERSION};
use super::open::{Readers, open_read_only};
use rusqlite::Connection;
use rusqlite::backup::{Backup, StepResult};
use std::fs::{File, OpenOptions, TryLockError};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Name of the copy while it is made.
pub const COPY_NAME: &str = "backup.tmp";
/// Held while a copy is made: one at a time.
const TURN_NAME: &str = "backup.lock";
const TURN_TRIES: u32 = 50;
/// Pages copied in one step.
const PAGES_A_STEP: i32 = 4096;
/// Room that must be left beside the copy for the work going on.
const SPARE_BYTES: u64 = 64 << 20;

/// A whole copy, without a name: gone when it is closed.
#[derive(Debug)]
pub struct Copy {
    /// To be read from its start.
    pub file: File,
    /// Its length.
    pub bytes: u64,
    _turn: File,
}

/// What a copy holds, by its own header and rows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
pub struct Copied {
    /// Version of its schema.
    pub schema_version: u32,
    /// Runs in it.
    pub runs: u64,
    /// Length of the file.
    pub bytes: u64,
}

/// Free bytes on the disk of a path, for an ordinary user; none where the system does not tell.
#[must_use]
pub fn free_bytes(path: &Path) -> Option<u64> {
    let disk = rustix::fs::statvfs(path).ok()?;
    Some(disk.f_bavail.saturating_mul(disk.f_frsize))
}

/// Copies the store of `readers` as it is at this moment.
///
/// # Errors
/// No room for a second one, a copy being made already, a disk that fails.
pub fn copy(readers: &Readers) -> Result<Copy, StoreError> {
    let source = readers.path();
    let folder = source.parent().unwrap_or(Path::new(".")).to_owned();
    let turn = take_turn(&folder)?;
    let length = std::fs::metadata(source).map_or(0, |meta| meta.len());
    if let Some(free) = free_bytes(&folder)
        && free < length + SPARE_BYTES
    {
        return Err(StoreError::NoRoom { folder, expected: length + SPARE_BYTES, found: free });
    }
    let path = folder.join(COPY_NAME);
    let made = pages(readers, &path).and_then(|()| {
        let open = |source| StoreError::File { tried: "open the copy", path: path.clone(), source };
        let file = File::open(&path).map_err(open)?;
        let bytes = file.metadata().map_err(open)?.len();
        Ok((file, bytes))
    });
    let _ = std::fs::remove_file(&path);
    made.map(|(file, bytes)| Copy { file, bytes, _turn: turn })
}

fn take_turn(folder: &Path) -> Result<File, StoreError> {
    let path = folder.join(TURN_NAME);
    let fail = |source| StoreError::File { tried: "lock", path: path.clone(), source };
    let file = OpenOptions::new().create(true).truncate(false).write(true).open(&path).map_err(fail)?;
    for _ in 0..TURN_TRIES {
        match file.try_lock() {
            Ok(()) => return Ok(file),
            // A process that is just being started holds a copy of every open file for a moment.
            Err(TryLockError::WouldBlock) => std::thread::sleep(Duration::from_millis(10)),
            Err(TryLockError::Error(source)) => return Err(fail(source)),
        }
    }
    Err(StoreError::Busy { folder: folder.to_owned() })
}

fn pages(readers: &Readers, path: &Path) -> Result<(), StoreError> {
    let reader = readers.reader()?;
    let from = reader.connection();
    let failed = |source| StoreError::sql("copy", readers.path(), source);
    remove_with_log(path);
    // A snapshot: what is written meanwhile is not seen, and does not make the copy start again.
    from.execute_batch("BEGIN").map_err(failed)?;
    from.query_row("SELECT COUNT(*) FROM sqlite_schema", [], |_| Ok(())).map_err(failed)?;
    let mut to = Connection::open(path).map_err(failed)?;
    to.pragma_update(None, "synchronous", "OFF").map_err(failed)?;
    {
        let backup = Backup::new(from, &mut to).map_err(failed)?;
        loop {
            match backup.step(PAGES_A_STEP).map_err(failed)? {
                StepResult::Done => break,
                StepResult::More => {}
                // Busy or locked by a checkpoint that ends by itself.
                _ => std::thread::sleep(Duration::from_millis(5)),
            }
        }
    }
    // One file that is whole by itself, whoever opens it.
    to.pragma_update(None, "journal_mode", "DELETE").map_err(failed)?;
    to.close().map_err(|(_, source)| failed(source))?;
    Ok(())
}

fn remove_with_log(path: &Path) {
    for ending in ["", "-wal", "-shm", "-journal"] {
        let _ = std::fs::remove_file(with_ending(path, ending));
    }
}

/// The path with an ending behind its name.
pub(super) fn with_ending(path: &Path, ending: &str) -> PathBuf {
    let mut name = path.to_owned().into_os_string();
    name.push(ending);
    PathBuf::from(name)
}

/// Removes what a copy left behind that was being made when its process died. Under the store's lock.
pub(super) fn clean(folder: &Path) {
    remove_with_log(&folder.join(COPY_NAME));
}

/// Looks whether a copy is a whole store of this or an older version: header, integrity, and its runs.
///
/// # Errors
/// Not a store, a newer version, or damage, which is told.
pub fn verify(path: &Path) -> Result<Copied, StoreError> {
    let schema_version = match migrate::look(path)? {
        Found::Nothing => return Err(StoreError::Missing { path: path.to_owned() }),
        Found::Version(version) => version,
    };
    let reader = if schema_version == SCHEMA_VERSION {
        open_read_only(path)?.reader()?
    } else {
        Readers::of_older(path).reader()?
    };
    let application: Option<i64> = reader.first("PRAGMA application_id", [], |row| row.get(0))?;
    if application != Some(i64::from(APPLICATION_ID)) {
        let found = application.unwrap_or(0) as u32;
        return Err(StoreError::NotOurs { path: path.to_owned(), expected: APPLICATION_ID, found });
    }
    let faults = reader.all("PRAGMA integrity_check(3)", [], |row| row.get::<_, String>(0))?;
    if faults != ["ok"] {
        return Err(StoreError::Damaged { path: path.to_owned(), detail: faults.join("; ") });
    }
    let bytes = std::fs::metadata(path).map_or(0, |meta| meta.len());
    Ok(Copied { schema_version, runs: reader.run_count()?, bytes })
}
