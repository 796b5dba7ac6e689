//! What the assembler hands on: counts in order, with gaps, breaks and news between them.
//!
//! Must not know frames' bytes or what a count weighs.

use crate::frames::{Identity, Status};

/// Which clock the spacing of samples comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Clock {
    /// Ticks of the device.
    Device,
    /// Arrival at the host.
    Host,
}

/// One step of the stream.
#[derive(Clone, Debug, PartialEq)]
pub enum Piece<'a> {
    /// From here on samples are spaced by 1/`rate_hz`.
    Rate {
        /// Samples a second.
        rate_hz: f64,
        /// Where that is known from.
        clock: Clock,
    },
    /// The next samples.
    Counts {
        /// Codes.
        counts: &'a [i32],
        /// The device says one of them stood at the end of its range.
        saturated: bool,
    },
    /// Samples are missing here.
    Gap {
        /// How many.
        missing: u64,
    },
    /// The device restarted: nothing is known of the time in between.
    Break,
    /// The ends of the converter's range.
    Range {
        /// Smallest code.
        count_min: i32,
        /// Largest code.
        count_max: i32,
    },
    /// Who answers.
    Identity(&'a Identity),
    /// Slow values.
    Status(&'a Status),
    /// Something was wrong with frames that were whole.
    Fault {
        /// A short fixed word.
        kind: &'static str,
        /// What was expected and found.
        detail: String,
    },
}
