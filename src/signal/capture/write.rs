//! Writes a recording, entry by entry; nothing is kept back, so a crash loses at most the last line.
//!
//! The form is told in `capture`; must not know files or clocks: the time of an entry is given.

use super::MAGIC;
use boltscribe_model::control::Command;
use boltscribe_model::time::MonoNs;
use std::fmt::Write as _;
use std::io::{self, Write};

/// Writes entries to `W`.
pub struct Writer<W: Write> {
    to: W,
    line: String,
}

impl<W: Write> Writer<W> {
    /// Writes the head: `notes` as comment lines, `settings` as the JSON the pipeline was made from.
    ///
    /// # Errors
    /// `W` cannot be written.
    pub fn new(mut to: W, notes: &[String], settings: &serde_json::Value) -> io::Result<Self> {
        writeln!(to, "{MAGIC}")?;
        for note in notes {
            writeln!(to, "# {}", note.replace(['\n', '\r'], " "))?;
        }
        writeln!(to, "settings {settings}")?;
        Ok(Self { to, line: String::new() })
    }

    /// Bytes of one read.
    ///
    /// # Errors
    /// `W` cannot be written.
    pub fn bytes(&mut self, at: MonoNs, bytes: &[u8]) -> io::Result<()> {
        self.line.clear();
        let _ = write!(self.line, "{} bytes ", at.0);
        for b in bytes {
            let _ = write!(self.line, "{b:02x}");
        }
        writeln!(self.to, "{}", self.line)
    }

    /// A person's command.
    ///
    /// # Errors
    /// `W` cannot be written.
    pub fn command(&mut self, at: MonoNs, command: &Command) -> io::Result<()> {
        writeln!(self.to, "{} command {}", at.0, serde_json::to_string(command)?)
    }

    /// The port came or went.
    ///
    /// # Errors
    /// `W` cannot be written.
    pub fn link(&mut self, at: MonoNs, up: bool) -> io::Result<()> {
        writeln!(self.to, "{} link {}", at.0, if up { "up" } else { "down" })
    }

    /// Gives `W` back.
    pub fn into_inner(self) -> W {
        self.to
    }
}
