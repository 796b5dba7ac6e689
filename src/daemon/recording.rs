//! A recording of everything a rig's pipeline is fed with, for bug reports and tests.
//!
//! Bytes, commands and changes of the line, each with its monotonic time: pushed again, they give the
//! same results. Writing must never disturb measuring: a recording that fails is dropped with one line
//! in the log, and the rig goes on.

use super::error::DaemonError;
use boltscribe_model::control::Command;
use boltscribe_model::time::MonoNs;
use boltscribe_pipeline::LinkState;
use boltscribe_settings as settings;
use boltscribe_signal::capture;
use std::fs::File;
use std::io;
use std::path::Path;

/// Where a rig's input is written to.
pub trait Record: Send {
    /// Bytes as they arrived.
    ///
    /// # Errors
    /// They cannot be written.
    fn bytes(&mut self, at: MonoNs, bytes: &[u8]) -> io::Result<()>;

    /// A command as it was given.
    ///
    /// # Errors
    /// It cannot be written.
    fn command(&mut self, at: MonoNs, command: &Command) -> io::Result<()>;

    /// The line came or went.
    ///
    /// # Errors
    /// It cannot be written.
    fn link(&mut self, at: MonoNs, state: LinkState) -> io::Result<()>;
}

/// A recording in a file.
struct InFile(capture::Writer<File>);

impl Record for InFile {
    fn bytes(&mut self, at: MonoNs, bytes: &[u8]) -> io::Result<()> {
        self.0.bytes(at, bytes)
    }

    fn command(&mut self, at: MonoNs, command: &Command) -> io::Result<()> {
        self.0.command(at, command)
    }

    fn link(&mut self, at: MonoNs, state: LinkState) -> io::Result<()> {
        self.0.link(at, state == LinkState::Up)
    }
}

/// Begins the recording of one rig in `folder`, in a new file named by the rig and the time.
///
/// # Errors
/// The file cannot be made.
pub fn begin(
    folder: &Path,
    rig: &str,
    line: &settings::Line,
    utc: &str,
) -> Result<Box<dyn Record>, DaemonError> {
    let path = folder.join(format!("{rig}-{}.capture", utc.replace(':', "")));
    let make = || {
        std::fs::create_dir_all(folder)?;
        let file = File::options().write(true).create_new(true).open(&path)?;
        let notes = [format!("rig {rig} on {}", line.port), format!("recorded {utc}")];
        capture::Writer::new(file, &notes, &serde_json::to_value(&line.pipeline)?)
    };
    match make() {
        Ok(writer) => Ok(Box::new(InFile(writer))),
        Err(source) => {
            Err(DaemonError::System { tried: format!("record rig '{rig}' into {}", path.display()), source })
        }
    }
}

/// A recording that ends itself at the first failure.
#[derive(Default)]
pub struct Recording {
    to: Option<Box<dyn Record>>,
}

impl Recording {
    /// Records to `to`; none: records nothing.
    #[must_use]
    pub fn new(to: Option<Box<dyn Record>>) -> Self {
        Self { to }
    }

    /// Writes one thing.
    pub fn put(&mut self, rig: &str, write: impl FnOnce(&mut dyn Record) -> io::Result<()>) {
        if let Some(to) = &mut self.to
            && let Err(e) = write(to.as_mut())
        {
            tracing::error!("rig '{rig}': the recording ends here, it cannot be written: {e}");
            self.to = None;
        }
    }
}
