//! Opening and closing a store: lock, checks, schema, the writer's thread; and copies read-only.
//!
//! One folder holds `store.sqlite`, its write-ahead log and `lock`.

use super::audit::Recorder;
use super::error::StoreError;
use super::lock::Lock;
use super::migrate::{self, Found};
use super::reader::Reader;
use super::write::{StreamId, Unfinished};
use super::writer::{self, Shared, Writer};
use super::{backup, restore, settle, unfinished};
use rusqlite::{Connection, OpenFlags};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::thread::JoinHandle;
use std::time::Duration;

/// Name of the database in the store's folder.
pub const STORE_NAME: &str = "store.sqlite";
const BUSY: Duration = Duration::from_secs(5);
/// The writer tries again by itself, and says so meanwhile.
const BUSY_WRITER: Duration = Duration::from_millis(250);
const JOURNAL_BYTES_MAX: i64 = 16 << 20;

/// Version of the SQLite built in, `3.x.y`.
#[must_use]
pub fn sqlite_version() -> &'static str {
    rusqlite::version()
}

/// What to do where there is no store yet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mode {
    /// Make the folder and an empty store.
    Create,
    /// Refuse.
    Existing,
}

/// An open store: holds the lock and the writer's thread until it is closed or dropped.
pub struct Store {
    folder: PathBuf,
    path: PathBuf,
    writer: Writer,
    thread: Option<JoinHandle<()>>,
    _lock: Lock,
}

/// Makes readers of one store; cheap to clone.
#[derive(Clone, Debug)]
pub struct Readers {
    path: PathBuf,
    immutable: bool,
}

impl Store {
    /// Opens the store of a folder and brings it to the present schema. Runs that were announced but
    /// not closed before the program died are closed as interrupted; those not yet announced are in
    /// [`Store::unfinished`].
    ///
    /// # Errors
    /// The folder is not usable, another process holds it (its id is named), the file is not a store,
    /// is of a newer version (nothing is touched then) or is damaged.
    pub fn open(folder: &Path, mode: Mode) -> Result<Self, StoreError> {
        migrate::check_library()?;
        let path = folder.join(STORE_NAME);
        match mode {
            Mode::Create => std::fs::create_dir_all(folder).map_err(|source| StoreError::File {
                tried: "make the folder",
                path: folder.to_owned(),
                source,
            })?,
            Mode::Existing if !restore::waits(folder) && migrate::look(&path)? == Found::Nothing => {
                return Err(StoreError::Missing { path });
            }
            Mode::Existing => {}
        }
        let lock = Lock::take(folder)?;
        restore::finish(folder)?;
        backup::clean(folder);
        if !journal_of(&path).exists() {
            migrate::look(&path)?;
        }
        let sql = |source| StoreError::sql("open", &path, source);
        let mut connection = Connection::open_with_flags(
            &path,
            OpenFlags::SQLITE_OPEN_READ_WRITE
                | OpenFlags::SQLITE_OPEN_CREATE
                | OpenFlags::SQLITE_OPEN_NO_MUTEX,
        )
        .map_err(sql)?;
        // A crash while a version was brought in left a journal, which SQLite has undone by now: only
        // what it says itself is true in that case.
        let from = migrate::version(&connection, &path)?;
        prepare(&mut connection, from).map_err(sql)?;
        let recorder = Recorder::watch(&mut connection).map_err(sql)?;
        settle::settle(&mut connection, &recorder).map_err(sql)?;
        connection.busy_timeout(BUSY_WRITER).map_err(sql)?;
        let shared = Arc::new(Shared::default());
        let for_thread = Arc::clone(&shared);
        let thread = std::thread::Builder::new()
            .name("store-writer".to_owned())
            .spawn(move || {
                writer::run(&for_thread, &connection, &recorder);
                // The last connection to close moves the log into the store and removes it.
                let _ = connection.close();
            })
            .map_err(|source| StoreError::File {
                tried: "start the writer of",
                path: path.clone(),
                source,
            })?;
        Ok(Self {
            folder: folder.to_owned(),
            path,
            writer: Writer { shared },
            thread: Some(thread),
            _lock: lock,
        })
    }

    /// A handle for writing.
    #[must_use]
    pub fn writer(&self) -> Writer {
        self.writer.clone()
    }

    /// A maker of readers.
    #[must_use]
    pub fn readers(&self) -> Readers {
        Readers { path: self.path.clone(), immutable: false }
    }

    /// The folder.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Runs whose recording was cut off before they were announced, oldest first. Each is to be
    /// answered by one `Write::Recovered`. To be asked before new streams begin.
    ///
    /// # Errors
    /// The store cannot be read, or what was stored of such a run does not read back.
    pub fn unfinished(&self) -> Result<Vec<Unfinished>, StoreError> {
        unfinished::unfinished(&self.readers().reader()?, None)
    }

    /// Stores what waits, moves the log into the store, and gives the lock back.
    pub fn close(self) {
        drop(self);
    }
}

impl Drop for Store {
    fn drop(&mut self) {
        self.writer.shared.queue.close();
        if let Some(thread) = self.thread.take() {
            // A panic of the writer was reported by the thread itself; there is nothing left to save here.
            let _ = thread.join();
        }
    }
}

fn prepare(connection: &mut Connection, from: u32) -> rusqlite::Result<()> {
    connection.busy_timeout(BUSY)?;
    connection.set_prepared_statement_cache_capacity(128);
    connection.pragma_update(None, "foreign_keys", true)?;
    connection.pragma_update(None, "recursive_triggers", true)?;
    connection.pragma_update(None, "trusted_schema", false)?;
    migrate::bring_up(connection, from)?;
    connection.pragma_update(None, "journal_mode", "WAL")?;
    connection.pragma_update(None, "synchronous", "FULL")?;
    connection.pragma_update(None, "wal_autocheckpoint", 0)?;
    connection.pragma_update(None, "journal_size_limit", JOURNAL_BYTES_MAX)?;
    Ok(())
}

/// Gives free pages back to the disk, by writing the store anew. Takes as much room again meanwhile.
///
/// # Errors
/// Someone holds the store, or the disk is full; the store is as it was then.
pub fn shrink(folder: &Path) -> Result<(), StoreError> {
    let store = Store::open(folder, Mode::Existing)?;
    let path = store.path.clone();
    let sql = |source| StoreError::sql("shrink", &path, source);
    let connection = Connection::open(&path).map_err(sql)?;
    connection.busy_timeout(BUSY).map_err(sql)?;
    connection.execute_batch("VACUUM").map_err(sql)?;
    connection.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(())).map_err(sql)
}

/// Opens a copy of a store for reading only: a `.sqlite` file, or a folder that holds `store.sqlite`.
/// Where a write-ahead log lies beside it, SQLite needs to make its index there for the time of reading;
/// without one nothing at all is written.
///
/// # Errors
/// No file, not a store, a newer or older version, damage.
pub fn open_read_only(path: &Path) -> Result<Readers, StoreError> {
    migrate::check_library()?;
    let path = if path.is_dir() { path.join(STORE_NAME) } else { path.to_owned() };
    match migrate::look(&path)? {
        Found::Nothing => return Err(StoreError::Missing { path }),
        Found::Version(version) if version < migrate::SCHEMA_VERSION => {
            return Err(StoreError::Older { path, known: migrate::SCHEMA_VERSION, found: version });
        }
        Found::Version(_) => {}
    }
    let mut log = path.clone().into_os_string();
    log.push("-wal");
    let immutable = std::fs::metadata(&log).map_or(0, |meta| meta.len()) == 0;
    Ok(Readers { path, immutable })
}

impl Readers {
    /// Of a file of an older version, which is only looked at.
    pub(super) fn of_older(path: &Path) -> Self {
        Self { path: path.to_owned(), immutable: true }
    }

    /// Opens a connection for reading. Short-lived: while it reads, the log cannot be cut.
    ///
    /// # Errors
    /// The file cannot be opened, or is damaged.
    pub fn reader(&self) -> Result<Reader, StoreError> {
        let sql = |source| StoreError::sql("open for reading", &self.path, source);
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let connection = if self.immutable {
            let name = uri(&self.path);
            Connection::open_with_flags(name, flags | OpenFlags::SQLITE_OPEN_URI)
        } else {
            Connection::open_with_flags(&self.path, flags)
        }
        .map_err(sql)?;
        connection.busy_timeout(BUSY).map_err(sql)?;
        connection.pragma_update(None, "query_only", true).map_err(sql)?;
        connection.pragma_update(None, "trusted_schema", false).map_err(sql)?;
        Ok(Reader::new(connection, self.path.clone()))
    }

    /// Runs of a stream whose recording broke off before they were announced, as [`Store::unfinished`] has them.
    /// To be asked when nobody writes to the stream any more.
    ///
    /// # Errors
    /// As there.
    pub fn unfinished(&self, stream: StreamId) -> Result<Vec<Unfinished>, StoreError> {
        unfinished::unfinished(&self.reader()?, Some(stream))
    }

    /// The database file.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }
}

fn journal_of(path: &Path) -> PathBuf {
    let mut name = path.to_owned().into_os_string();
    name.push("-journal");
    PathBuf::from(name)
}

/// The path as SQLite's URI, every byte that has a meaning there escaped (RFC 3986, section 2.1).
fn uri(path: &Path) -> String {
    use std::fmt::Write;
    use std::os::unix::ffi::OsStrExt;
    let mut text = String::from("file:");
    for &byte in path.as_os_str().as_bytes() {
        if byte.is_ascii_alphanumeric() || b"/-_.~".contains(&byte) {
            text.push(char::from(byte));
        } else {
            let _ = write!(text, "%{byte:02X}");
        }
    }
    text.push_str("?immutable=1");
    text
}
