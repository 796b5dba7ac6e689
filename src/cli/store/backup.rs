//! `store backup TO`: a whole copy of the store in one file, verified before it gets its name.
//!
//! The copy comes through the door, so who may read the store may copy it. Until it is whole, on the disk and
//! verified it lies under another name; a name that is taken is not written over without `--force`.

use crate::context::Context;
use crate::door::Door;
use crate::error::CliError;
use crate::output::{Cell, Format, Rows, print, say};
use axum::body::Body;
use axum::http::header;
use boltscribe_store::backup::verify;
use boltscribe_store::restore::sync_folder;
use clap::Args;
use http_body_util::BodyExt;
use serde_json::json;
use std::fs::{File, OpenOptions, TryLockError};
use std::io::{Error, ErrorKind, IsTerminal, Write};
use std::path::{Path, PathBuf};

/// Options of `store backup`.
#[derive(Debug, Args)]
#[command(before_help = "Examples:
  boltscribe store backup /media/usb/rigs-2026-05.sqlite
  boltscribe store backup rigs.sqlite --force
")]
pub struct Backup {
    /// The file to make.
    pub to: PathBuf,
    /// Replace a file that is there.
    #[arg(long)]
    pub force: bool,
}

/// The copy on its way in: removed unless it gets its name.
struct Coming {
    path: PathBuf,
    file: File,
}

impl Drop for Coming {
    fn drop(&mut self) {
        let _ = std::fs::remove_file(&self.path);
    }
}

/// Makes a copy.
///
/// # Errors
/// The name is taken, nobody answers, a disk is full, or the copy does not verify. The name is untouched then.
pub async fn run(backup: &Backup, context: &Context) -> Result<(), CliError> {
    let to = std::path::absolute(&backup.to).map_err(|source| CliError::File {
        tried: "find",
        path: backup.to.clone(),
        source,
    })?;
    if to.exists() && !backup.force {
        return Err(taken(&to));
    }
    let mut coming = begin(&to)?;
    receive(&context.door, &mut coming, context.format).await?;
    let copied = verify(&coming.path)?;
    name(&coming, &to, backup.force)?;
    let path = to.display().to_string();
    let document = json!({ "path": path, "bytes": copied.bytes, "runs": copied.runs,
                           "schema_version": copied.schema_version, "verified": true });
    let mut rows = Rows::new(&["copy", "bytes", "runs"]);
    rows.rows.push(vec![
        Cell::Text(path),
        Cell::Text(copied.bytes.to_string()),
        Cell::Text(copied.runs.to_string()),
    ]);
    print(context.format, &document, &rows)?;
    if context.format == Format::Table {
        say("the copy is whole and verified; `boltscribe --store FILE runs list` looks into it");
    }
    Ok(())
}

fn taken(to: &Path) -> CliError {
    CliError::No {
        what: format!("cannot back up to {}: expected a new name, found a file", to.display()),
        hint: Some("choose another name, or replace it with --force".into()),
    }
}

/// The same name again and again, under a lock: what a killed backup left behind is taken up by the next.
fn begin(to: &Path) -> Result<Coming, CliError> {
    let Some(file_name) = to.file_name().filter(|_| !to.is_dir()) else {
        return Err(CliError::usage(format!("cannot back up to {}: expected a file name", to.display())));
    };
    let path = to.with_file_name(format!(".{}.partial", file_name.to_string_lossy()));
    let fail = |source| CliError::File { tried: "make", path: path.clone(), source };
    let mut options = OpenOptions::new();
    options.create(true).truncate(false).write(true);
    // Samples and names are the owner's business, as in the store.
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let file = options.open(&path).map_err(fail)?;
    match file.try_lock() {
        Ok(()) => {}
        Err(TryLockError::WouldBlock) => return Err(fail(Error::other("another backup writes it"))),
        Err(TryLockError::Error(source)) => return Err(fail(source)),
    }
    file.set_len(0).map_err(fail)?;
    Ok(Coming { path, file })
}

async fn receive(door: &Door, coming: &mut Coming, format: Format) -> Result<(), CliError> {
    let answer = door.download("store/backup").await?;
    let length = answer.headers().get(header::CONTENT_LENGTH).and_then(|v| v.to_str().ok()?.parse().ok());
    let mut body: Body = answer.into_body();
    let mut progress = Progress::new(length, format);
    let mut received = 0_u64;
    while let Some(frame) = body.frame().await {
        let frame = frame.map_err(|error| broken_off(&error.to_string()))?;
        let Ok(chunk) = frame.into_data() else { continue };
        let fail = |source| CliError::File { tried: "write", path: coming.path.clone(), source };
        (&coming.file).write_all(&chunk).map_err(fail)?;
        received += chunk.len() as u64;
        progress.tell(received);
    }
    if length.is_some_and(|length| length != received) {
        return Err(broken_off(&format!("{received} bytes of {}", length.unwrap_or(0))));
    }
    coming.file.sync_all().map_err(|source| CliError::File {
        tried: "write",
        path: coming.path.clone(),
        source,
    })
}

fn broken_off(found: &str) -> CliError {
    CliError::Answer { request: "GET store/backup".into(), expected: "a whole copy", found: found.to_owned() }
}

/// A link refuses a name that is taken, in one step; a rename would not.
fn name(coming: &Coming, to: &Path, force: bool) -> Result<(), CliError> {
    let linked = if force {
        std::fs::rename(&coming.path, to)
    } else {
        match std::fs::hard_link(&coming.path, to) {
            Err(error) if error.kind() == ErrorKind::AlreadyExists => return Err(taken(to)),
            // Some file systems of memory sticks know no links.
            Err(_) if !to.exists() => std::fs::rename(&coming.path, to),
            other => other,
        }
    };
    linked.map_err(|source| CliError::File { tried: "name", path: to.to_owned(), source })?;
    if let Some(folder) = to.parent() {
        sync_folder(folder)?;
    }
    Ok(())
}

/// Says how far the copying is, at each tenth, where a person looks.
pub struct Progress {
    whole: Option<u64>,
    told: u64,
    wanted: bool,
}

impl Progress {
    /// Of `whole` bytes.
    #[must_use]
    pub fn new(whole: Option<u64>, format: Format) -> Self {
        Self { whole, told: 0, wanted: format == Format::Table && std::io::stderr().is_terminal() }
    }

    /// So many bytes are done.
    pub fn tell(&mut self, done: u64) {
        let Some(whole) = self.whole.filter(|whole| self.wanted && *whole > 0) else { return };
        let tenth = done * 10 / whole;
        if tenth > self.told {
            self.told = tenth;
            say(&format!("{} of {} MiB copied", done >> 20, whole >> 20));
        }
    }
}
