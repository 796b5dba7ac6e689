//! Looks at a recording line by line, so that one of any length is checked in bounded memory.
//!
//! The form is told in `capture`; must not know files. A last line that was cut off is no fault: a recording is
//! written entry by entry, and a crash or a copy made meanwhile ends inside one.

use super::read::{CaptureError, LineReader};

/// What a recording holds.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Facts {
    /// Its comment lines, without the mark, the first few.
    pub notes: Vec<String>,
    /// Entries.
    pub entries: u64,
    /// Bytes of the line in them.
    pub bytes: u64,
    /// Monotonic time of the first entry, nanoseconds.
    pub first_ns: Option<u64>,
    /// Of the last.
    pub last_ns: Option<u64>,
}

/// Comment lines that are kept.
const NOTES_MAX: usize = 16;

/// Takes lines.
#[derive(Debug, Default)]
pub struct Check {
    reader: LineReader,
    facts: Facts,
}

impl Check {
    /// Takes one whole line, without its end.
    ///
    /// # Errors
    /// Another format or version, a line that is none of ours, a time that falls.
    pub fn line(&mut self, line: &str) -> Result<(), CaptureError> {
        use super::read::Read;
        match self.reader.line(line)? {
            Read::Note(note) if self.facts.notes.len() < NOTES_MAX => self.facts.notes.push(note),
            Read::Entry(at, entry) => {
                self.facts.entries += 1;
                self.facts.first_ns.get_or_insert(at.0);
                self.facts.last_ns = Some(at.0);
                if let super::Entry::Bytes(bytes) = entry {
                    self.facts.bytes += bytes.len() as u64;
                }
            }
            Read::Note(_) | Read::Head | Read::Settings(_) | Read::Nothing => {}
        }
        Ok(())
    }

    /// What it held.
    ///
    /// # Errors
    /// It has no settings, so nothing can be made of it.
    pub fn end(self) -> Result<Facts, CaptureError> {
        self.reader.end()?;
        Ok(self.facts)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_recording_holds_is_told_without_keeping_it() {
        let text = "boltscribe-capture 1\n# rig a\n# recorded 2026\nsettings {}\n0 link up\n5 bytes 0102\n9 bytes ff";
        let mut check = Check::default();
        text.lines().for_each(|line| check.line(line).unwrap());
        let facts = check.end().unwrap();
        assert_eq!((facts.entries, facts.bytes, facts.first_ns, facts.last_ns), (3, 3, Some(0), Some(9)));
        assert_eq!(facts.notes, ["rig a", "recorded 2026"]);
        let mut check = Check::default();
        check.line("boltscribe-capture 1").unwrap();
        assert!(check.line("7 bytes 0g").is_err());
        assert!(Check::default().end().is_err());
    }
}
