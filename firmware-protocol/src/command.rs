//! Host to device messages that carry a payload (SPEC.md section 6).
//!
//! `Identify`, `Stop` and `PollStatus` have none and live in `message.rs` alone.

use crate::fault::{DecodeFault, EncodeFault};
use crate::fields::{Fields, FrameSink};
use crate::message::id;

/// Asks the device to sample at one of the rates of its identity.
///
/// Between versions: fields may be appended, `rate_hz` stays first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Start {
    /// Samples per second; one of the identity's rates, never 0.
    pub rate_hz: u32,
}

impl Start {
    pub(crate) const PAYLOAD_LEN: usize = 4;

    pub(crate) fn check(&self) -> Result<(), &'static str> {
        if self.rate_hz == 0 {
            return Err("rate_hz");
        }
        Ok(())
    }

    pub(crate) fn write(&self, sink: &mut FrameSink<'_>) -> Result<(), EncodeFault> {
        sink.put(&self.rate_hz.to_le_bytes())
    }

    pub(crate) fn read(payload: &[u8]) -> Result<Start, DecodeFault> {
        let start = Start { rate_hz: Fields::new(payload).u32() };
        start.check().map_err(|field| DecodeFault::Value { message: id::START, field })?;
        Ok(start)
    }
}

// Version, id, rate: the sizes that SPEC.md prints.
const _: () = assert!(2 + Start::PAYLOAD_LEN == 6);
