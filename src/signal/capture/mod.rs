//! The raw recording of a rig's line: what it was fed with, when, and what the pipeline was set to.
//!
//! Plain text, one entry a line, so that a recording can be read, cut and put into a bug report:
//!
//! ```text
//! boltscribe-capture 1
//! # device, firmware, date, notes: any lines that begin with '#'
//! settings {"instrument":{"kind":"framed"},...}
//! 0 link up
//! 15000000 command {"command":"use",...}
//! 20000000 bytes 0102ff
//! ```
//!
//! The number is the host's monotonic time in nanoseconds. Must not know what the bytes mean.

pub mod check;
pub mod read;
pub mod write;

pub use check::{Check, Facts};
pub use read::{Capture, CaptureError, is_capture, read};
pub use write::Writer;

use boltscribe_model::control::Command;

/// The first line of a recording.
pub const MAGIC: &str = "boltscribe-capture 1";

/// One entry of a recording.
#[derive(Clone, Debug, PartialEq)]
pub enum Entry {
    /// Bytes of one read.
    Bytes(Vec<u8>),
    /// A person's command.
    Command(Command),
    /// The port came (true) or went.
    Link {
        /// It came.
        up: bool,
    },
}
