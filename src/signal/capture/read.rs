//! Reads a recording; an error names the line, what was expected there and what was found.
//!
//! The form is told in `capture`; must not know files, frames or what a command does.

use super::{Entry, MAGIC};
use boltscribe_model::time::MonoNs;

/// A whole recording.
#[derive(Clone, Debug, PartialEq)]
pub struct Capture {
    /// Comment lines, without the mark.
    pub notes: Vec<String>,
    /// What the pipeline was made from.
    pub settings: serde_json::Value,
    /// Entries in order of time.
    pub entries: Vec<(MonoNs, Entry)>,
}

/// Why a recording cannot be read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("line {line}: expected {expected}, found '{found}'")]
pub struct CaptureError {
    /// Counted from 1.
    pub line: usize,
    /// What should stand there.
    pub expected: &'static str,
    /// What stands there, shortened.
    pub found: String,
}

/// Whether a file that begins like this is a recording.
#[must_use]
pub fn is_capture(head: &[u8]) -> bool {
    head.starts_with(b"boltscribe-capture ")
}

/// Reads a recording.
///
/// # Errors
/// Another format or version, a line that is none of ours, times that fall.
pub fn read(text: &str) -> Result<Capture, CaptureError> {
    let mut capture = Capture { notes: Vec::new(), settings: serde_json::Value::Null, entries: Vec::new() };
    let mut reader = LineReader::default();
    for line in text.lines() {
        match reader.line(line)? {
            Read::Note(note) => capture.notes.push(note),
            Read::Settings(settings) => capture.settings = settings,
            Read::Entry(at, entry) => capture.entries.push((at, entry)),
            Read::Head | Read::Nothing => {}
        }
    }
    reader.end()?;
    Ok(capture)
}

/// What a line is.
#[derive(Clone, Debug, PartialEq)]
pub enum Read {
    /// The first one.
    Head,
    /// A comment.
    Note(String),
    /// What the pipeline was made from.
    Settings(serde_json::Value),
    /// An entry.
    Entry(MonoNs, Entry),
    /// An empty line.
    Nothing,
}

/// Reads lines and remembers what must hold between them.
#[derive(Debug, Default)]
pub struct LineReader {
    lines: usize,
    last_ns: u64,
    has_settings: bool,
}

impl LineReader {
    /// Takes one line, without its end.
    ///
    /// # Errors
    /// Another format or version, a line that is none of ours, a time that falls.
    pub fn line(&mut self, line: &str) -> Result<Read, CaptureError> {
        self.lines += 1;
        let number = self.lines;
        let wrong = |expected: &'static str| CaptureError {
            line: number,
            expected,
            found: line.chars().take(60).collect(),
        };
        if number == 1 {
            return if line == MAGIC {
                Ok(Read::Head)
            } else {
                Err(wrong("the first line 'boltscribe-capture 1'"))
            };
        }
        if let Some(note) = line.strip_prefix('#') {
            return Ok(Read::Note(note.trim().to_owned()));
        }
        if let Some(json) = line.strip_prefix("settings ") {
            let settings: serde_json::Value =
                serde_json::from_str(json).map_err(|_| wrong("settings as one JSON object"))?;
            self.has_settings = !settings.is_null();
            return Ok(Read::Settings(settings));
        }
        if line.trim().is_empty() {
            return Ok(Read::Nothing);
        }
        let (at, entry) = entry(line).ok_or_else(|| wrong("'NANOSECONDS bytes|command|link ...'"))?;
        if at < self.last_ns {
            return Err(wrong("a time that is not before the one above"));
        }
        self.last_ns = at;
        Ok(Read::Entry(MonoNs(at), entry))
    }

    /// After the last line.
    ///
    /// # Errors
    /// There were no settings.
    pub fn end(&self) -> Result<(), CaptureError> {
        if self.has_settings {
            return Ok(());
        }
        let (line, expected) = (self.lines, "a line 'settings {...}' above");
        Err(CaptureError { line, expected, found: "the end".into() })
    }
}

fn entry(line: &str) -> Option<(u64, Entry)> {
    let (at, rest) = line.split_once(' ')?;
    let at = at.parse().ok()?;
    let (kind, value) = rest.split_once(' ')?;
    let entry = match (kind, value.trim()) {
        ("bytes", hex) => Entry::Bytes(from_hex(hex)?),
        ("command", json) => Entry::Command(serde_json::from_str(json).ok()?),
        ("link", "up") => Entry::Link { up: true },
        ("link", "down") => Entry::Link { up: false },
        _ => return None,
    };
    Some((at, entry))
}

fn from_hex(hex: &str) -> Option<Vec<u8>> {
    let digits = hex.as_bytes();
    if !digits.len().is_multiple_of(2) {
        return None;
    }
    let nibble = |d: u8| char::from(d).to_digit(16);
    digits.chunks_exact(2).map(|pair| Some((nibble(pair[0])? * 16 + nibble(pair[1])?) as u8)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::Writer;
    use boltscribe_model::control::Command;

    #[test]
    fn what_is_written_comes_back() {
        let settings = serde_json::json!({"a": 1});
        let mut w = Writer::new(Vec::new(), &["a note\nin two lines".into()], &settings).unwrap();
        w.link(MonoNs(0), true).unwrap();
        w.bytes(MonoNs(5), &[0, 255, 16]).unwrap();
        w.command(MonoNs(5), &Command::Zero).unwrap();
        w.link(MonoNs(9), false).unwrap();
        let text = String::from_utf8(w.into_inner()).unwrap();
        let capture = read(&text).unwrap();
        assert_eq!(capture.notes, ["a note in two lines"]);
        assert_eq!(capture.settings, settings);
        assert_eq!(
            capture.entries,
            [
                (MonoNs(0), Entry::Link { up: true }),
                (MonoNs(5), Entry::Bytes(vec![0, 255, 16])),
                (MonoNs(5), Entry::Command(Command::Zero)),
                (MonoNs(9), Entry::Link { up: false }),
            ]
        );
    }

    #[test]
    fn a_wrong_line_is_named() {
        let head = "boltscribe-capture 1\nsettings {}\n";
        let line = |text: &str| read(text).unwrap_err().line;
        assert_eq!(line("boltscribe-capture 2\n"), 1);
        assert_eq!(line(&format!("{head}5 bytes 0g\n")), 3);
        assert_eq!(line(&format!("{head}5 bytes 00\n4 bytes 00\n")), 4);
        assert_eq!(line(&format!("{head}5 shout 00\n")), 3);
        assert_eq!(read("boltscribe-capture 1\n").unwrap_err().expected, "a line 'settings {...}' above");
    }
}
