//! `export captures FOLDER`: which recordings there are, and whole copies of those that fit.
//!
//! The folder is the one that `boltscribed --record` was given; no daemon and no store is asked. Must not know
//! what a recording holds.

use super::signals::Signals;
use super::time::time;
use super::write::of_target;
use crate::error::CliError;
use crate::output::{Cell, Format, Rows, print, say};
use boltscribe_export::captures::{LookError, Recording, files, look};
use boltscribe_export::{Target, table::utc};
use jiff::Timestamp;
use serde_json::{Value, json};
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// Options of `export captures`.
#[derive(Clone, Debug, clap::Args)]
#[command(before_help = "Examples:
  boltscribe export captures /var/lib/boltscribe/captures
  boltscribe export captures captures --rig bench --from 2026-01-31 --to 2026-02-01 --into report
")]
pub struct Captures {
    /// Folder of recordings, as given to `boltscribed --record`.
    #[arg(value_name = "FOLDER")]
    pub folder: PathBuf,
    /// Only of this rig.
    #[arg(long)]
    pub rig: Option<String>,
    /// Only those that reach into the time from here on (UTC where no offset is given).
    #[arg(long, value_name = "TIME", value_parser = time)]
    pub from: Option<Timestamp>,
    /// Only those that began before this time.
    #[arg(long, value_name = "TIME", value_parser = time)]
    pub to: Option<Timestamp>,
    /// Copy them into this folder, whole: what is measured depends on all that came before.
    #[arg(long, value_name = "FOLDER")]
    pub into: Option<PathBuf>,
    /// Replace copies that are there.
    #[arg(long, requires = "into")]
    pub force: bool,
}

/// Lists, and copies where asked.
///
/// # Errors
/// A folder that cannot be read or written, a copy that is there already; exit 1 where a recording is damaged.
pub async fn run(options: &Captures, format: Format) -> Result<(), CliError> {
    let mut signals = Signals::new()?;
    let stop = Arc::new(AtomicBool::new(false));
    let (for_work, options) = (Arc::clone(&stop), options.clone());
    let mut work = tokio::task::spawn_blocking(move || find(&options, &for_work));
    let found = tokio::select! {
        stopped = signals.any() => {
            stop.store(true, Ordering::Relaxed);
            // It ends at its next line and takes its half copy with it.
            let _ = work.await;
            return Err(stopped);
        }
        found = &mut work => found,
    };
    let found = found.map_err(|error| CliError::Output(std::io::Error::other(error)))??;
    let documents: Vec<Value> = found.iter().map(document).collect();
    print(format, &json!({ "captures": documents }), &rows(&found))?;
    if found.is_empty() {
        say("no recording fits");
    }
    match found.iter().filter(|recording| recording.fault.is_some()).count() {
        0 => Ok(()),
        damaged => Err(CliError::No {
            what: format!("{damaged} of {} recordings are damaged", found.len()),
            hint: Some("what stands before the line named can be cut out with any editor".into()),
        }),
    }
}

fn find(options: &Captures, stop: &Arc<AtomicBool>) -> Result<Vec<Recording>, CliError> {
    let failed = |source| CliError::File { tried: "read the folder", path: options.folder.clone(), source };
    let ns = |time: Option<Timestamp>| time.and_then(|time| i64::try_from(time.as_nanosecond()).ok());
    let mut found: Vec<Recording> = Vec::new();
    for path in files(&options.folder).map_err(failed)? {
        let recording = looked(&path, &mut Stoppable(std::io::sink(), Arc::clone(stop)), &path)?;
        if recording.fits(options.rig.as_deref(), ns(options.from), ns(options.to)) {
            found.push(recording);
        }
    }
    if let Some(into) = &options.into {
        let failed = |source| CliError::File { tried: "make the folder", path: into.clone(), source };
        std::fs::create_dir_all(into).map_err(failed)?;
        for recording in &found {
            copy(recording, into, options.force, stop)?;
        }
    }
    Ok(found)
}

/// Takes nothing more once a signal came.
struct Stoppable<W>(W, Arc<AtomicBool>);

impl<W: Write> Write for Stoppable<W> {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        if self.1.load(Ordering::Relaxed) {
            return Err(std::io::Error::other("stopped by a signal"));
        }
        self.0.write(bytes)
    }

    fn flush(&mut self) -> std::io::Result<()> {
        self.0.flush()
    }
}

fn looked(path: &Path, copy: &mut dyn Write, written: &Path) -> Result<Recording, CliError> {
    look(path, copy).map_err(|error| match error {
        LookError::Read(source) => CliError::File { tried: "read", path: path.into(), source },
        LookError::Write(source) => CliError::File { tried: "write", path: written.into(), source },
    })
}

fn copy(recording: &Recording, into: &Path, force: bool, stop: &Arc<AtomicBool>) -> Result<(), CliError> {
    let Some(name) = recording.path.file_name() else { return Ok(()) };
    let target = Target::create(&into.join(name), force).map_err(of_target)?;
    let path = target.path().to_owned();
    let mut to = Stoppable(BufWriter::with_capacity(1 << 16, target), Arc::clone(stop));
    looked(&recording.path, &mut to, &path)?;
    let target = to.0.into_inner().map_err(|error| CliError::File {
        tried: "write",
        path: path.clone(),
        source: error.into_error(),
    })?;
    target.commit().map_err(of_target)?;
    Ok(())
}

fn document(recording: &Recording) -> Value {
    json!({
        "file": recording.path.display().to_string(),
        "rig": recording.rig,
        "from": recording.from_utc_ns.map(utc),
        "to": recording.to_utc_ns.map(utc),
        "entries": recording.entries,
        "line_bytes": recording.line_bytes,
        "file_bytes": recording.file_bytes,
        "cut_bytes": recording.cut_bytes,
        "fault": recording.fault,
    })
}

fn rows(found: &[Recording]) -> Rows {
    let mut rows = Rows::new(&["file", "rig", "from", "to", "entries", "line_bytes", "remarks"]);
    for recording in found {
        let remarks = match (&recording.fault, recording.cut_bytes) {
            (Some(fault), _) => Cell::Text(format!("damaged: {fault}")),
            (None, 0) => Cell::None,
            (None, cut) => Cell::Text(format!("its last line is cut off ({cut} bytes)")),
        };
        rows.rows.push(vec![
            Cell::Text(recording.path.display().to_string()),
            Cell::text(recording.rig.as_deref()),
            Cell::text(recording.from_utc_ns.map(utc).as_deref()),
            Cell::text(recording.to_utc_ns.map(utc).as_deref()),
            Cell::number(Some(recording.entries as f64), 0),
            Cell::number(Some(recording.line_bytes as f64), 0),
            remarks,
        ]);
    }
    rows
}
