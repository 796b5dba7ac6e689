//! Recordings in a folder: which there are, of which rig and time, whether they are sound, and whole copies.
//!
//! A recording is taken whole or not at all, because what is measured depends on all that came before it. Times
//! count from the recording's own first line and its monotonic clock, so a wall clock that stepped meanwhile
//! shows here by as much. Must not know who records.

use boltscribe_signal::capture::{Check, Facts};
use std::fs::File;
use std::io::{self, BufRead, BufReader, Write};
use std::path::{Path, PathBuf};

/// Ending of a recording's name.
const ENDING: &str = "capture";
/// Longest line that is read, bytes: one read of a port is at most some ten thousand bytes.
const LINE_BYTES_MAX: u64 = 16 << 20;

/// A recording.
#[derive(Clone, Debug, PartialEq)]
pub struct Recording {
    /// The file.
    pub path: PathBuf,
    /// Its rig, by its notes.
    pub rig: Option<String>,
    /// When it began, by its notes.
    pub from_utc_ns: Option<i64>,
    /// When its last entry was made.
    pub to_utc_ns: Option<i64>,
    /// Entries.
    pub entries: u64,
    /// Bytes of the line in them.
    pub line_bytes: u64,
    /// Bytes of the file up to its last whole line.
    pub file_bytes: u64,
    /// A last line that was cut off, bytes: left out of copies.
    pub cut_bytes: u64,
    /// What is wrong with it; none: it is sound.
    pub fault: Option<String>,
}

/// Recordings of a folder by name.
///
/// # Errors
/// The folder cannot be read.
pub fn files(folder: &Path) -> io::Result<Vec<PathBuf>> {
    let mut all = Vec::new();
    for entry in std::fs::read_dir(folder)? {
        let path = entry?.path();
        if path.extension().is_some_and(|ending| ending == ENDING) && path.is_file() {
            all.push(path);
        }
    }
    all.sort();
    Ok(all)
}

/// Looks through a recording; its whole lines go to `copy` as they are.
///
/// # Errors
/// The file cannot be read, or `copy` cannot be written.
pub fn look(path: &Path, copy: &mut dyn Write) -> Result<Recording, LookError> {
    let file = File::open(path).map_err(LookError::Read)?;
    let mut from = BufReader::with_capacity(1 << 16, file);
    let (mut line, mut check) = (Vec::new(), Check::default());
    let (mut file_bytes, mut cut_bytes, mut fault) = (0, 0, None);
    loop {
        line.clear();
        let limited = &mut io::Read::take(&mut from, LINE_BYTES_MAX);
        let read = limited.read_until(b'\n', &mut line).map_err(LookError::Read)?;
        if read == 0 {
            break;
        }
        if line.last() != Some(&b'\n') && (read as u64) < LINE_BYTES_MAX {
            cut_bytes = read as u64;
            break;
        }
        copy.write_all(&line).map_err(LookError::Write)?;
        file_bytes += read as u64;
        if fault.is_none() {
            let text = String::from_utf8_lossy(&line);
            fault = check.line(text.trim_end_matches(['\r', '\n'])).err().map(|error| error.to_string());
        }
    }
    let facts = match (fault.is_none(), check.end()) {
        (true, Ok(facts)) => facts,
        (true, Err(error)) => {
            fault = Some(error.to_string());
            Facts::default()
        }
        (false, ended) => ended.unwrap_or_default(),
    };
    let (rig, from_utc_ns) = (rig_of(&facts.notes), began(&facts.notes));
    let length_ns = facts.last_ns.zip(facts.first_ns).map(|(last, first)| last - first);
    let to = from_utc_ns.zip(length_ns);
    Ok(Recording {
        path: path.to_owned(),
        rig,
        from_utc_ns,
        to_utc_ns: to.map(|(from, length)| from.saturating_add(i64::try_from(length).unwrap_or(i64::MAX))),
        entries: facts.entries,
        line_bytes: facts.bytes,
        file_bytes,
        cut_bytes,
        fault,
    })
}

/// Why a recording could not be looked through.
#[derive(Debug, thiserror::Error)]
pub enum LookError {
    /// It cannot be read.
    #[error("cannot read: {0}")]
    Read(io::Error),
    /// The copy cannot be written.
    #[error("cannot write: {0}")]
    Write(io::Error),
}

/// `rig NAME on PORT`.
fn rig_of(notes: &[String]) -> Option<String> {
    let rest = notes.iter().find_map(|note| note.strip_prefix("rig "))?;
    Some(rest.rsplit_once(" on ").map_or(rest, |(name, _)| name).to_owned())
}

/// `recorded TIME`.
fn began(notes: &[String]) -> Option<i64> {
    let text = notes.iter().find_map(|note| note.strip_prefix("recorded "))?;
    let stamp: jiff::Timestamp = text.trim().parse().ok()?;
    i64::try_from(stamp.as_nanosecond()).ok()
}

impl Recording {
    /// Whether it is of this rig and reaches into the time between; what is not known does not leave it out.
    #[must_use]
    pub fn fits(&self, rig: Option<&str>, from_utc_ns: Option<i64>, to_utc_ns: Option<i64>) -> bool {
        let of_rig = rig.is_none_or(|rig| self.rig.as_deref().is_none_or(|of| of == rig));
        let after = from_utc_ns.is_none_or(|from| self.to_utc_ns.is_none_or(|to| to >= from));
        let before = to_utc_ns.is_none_or(|to| self.from_utc_ns.is_none_or(|from| from < to));
        of_rig && after && before
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEAD: &str =
        "boltscribe-capture 1\n# rig bay on 2 on /dev/x\n# recorded 2026-01-31T10:00:00Z\nsettings {}\n";

    fn looked(text: &str) -> (Recording, Vec<u8>) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.capture");
        std::fs::write(&path, text).unwrap();
        let mut copy = Vec::new();
        let found = look(&path, &mut copy).unwrap();
        (found, copy)
    }

    #[test]
    fn a_recording_tells_its_rig_and_its_time_and_is_copied_to_its_last_whole_line() {
        let whole = format!("{HEAD}5000000000 link up\n65000000000 bytes 010203\n");
        let (found, copy) = looked(&format!("{whole}66000000000 byt"));
        assert_eq!(String::from_utf8(copy).unwrap(), whole);
        assert_eq!((found.rig.as_deref(), found.entries, found.line_bytes), (Some("bay on 2"), 2, 3));
        assert_eq!((found.cut_bytes, found.fault.as_deref()), (15, None));
        let minute = found.to_utc_ns.unwrap() - found.from_utc_ns.unwrap();
        assert_eq!(minute, 60_000_000_000);
        let from = found.from_utc_ns.unwrap();
        assert!(found.fits(Some("bay on 2"), Some(from + 1), Some(from + 2)));
        assert!(!found.fits(Some("bay 2"), None, None));
        assert!(!found.fits(None, Some(from + minute + 1), None));
        assert!(!found.fits(None, None, Some(from)));
    }

    #[test]
    fn a_damaged_recording_is_named_with_its_line() {
        let (found, _) = looked(&format!("{HEAD}5 bytes 00\n4 bytes 00\n6 bytes 00\n"));
        assert!(found.fault.as_deref().unwrap().starts_with("line 6: "), "{found:?}");
        let (found, _) = looked("boltscribe-capture 1\n");
        assert!(found.fault.is_some());
    }
}
