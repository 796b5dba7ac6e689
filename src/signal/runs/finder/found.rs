//! What the finder says, in order.
//!
//! Must not know who listens.

use super::super::record::{Basis, Closing, Record};
use super::Opening;

/// News from the finder, in order. Sample numbers count from the start of the stream.
#[derive(Clone, Debug, PartialEq)]
pub enum Found {
    /// A run has begun; its samples are kept from here.
    Opened {
        /// Number of the run, from 1.
        run: u32,
        /// First sample kept.
        keep_from: u64,
        /// Where tension crossed the threshold.
        crossing: u64,
        /// What it begins from: with its samples, all that measuring needs.
        opening: Opening,
    },
    /// A blow was seen; provisional.
    Blow {
        /// Number of the run.
        run: u32,
        /// Sample of its onset.
        sample: u64,
    },
    /// The run is measured.
    Announced {
        /// Number of the run.
        run: u32,
        /// The record.
        record: Box<Record>,
        /// What it was measured from.
        basis: Basis,
    },
    /// The run has closed.
    Closed {
        /// Number of the run.
        run: u32,
        /// How.
        closing: Closing,
    },
    /// Samples of the run are kept up to here and no further.
    KeptUntil {
        /// Number of the run.
        run: u32,
        /// First sample not kept.
        sample: u64,
    },
}
