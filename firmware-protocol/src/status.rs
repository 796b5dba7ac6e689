//! The device's health and its slow channels (SPEC.md section 5.3).
//!
//! A value that is not measured has a number of its own on the wire and is `None`
//! here: a missing temperature must never read as zero degrees.

use crate::channel::MAX_CHANNELS;
use crate::fault::{DecodeFault, EncodeFault};
use crate::fields::{Fields, FrameSink};
use crate::message::id;

const SUPPLY_NONE: u16 = 0xFFFF;
const TEMPERATURE_NONE: i16 = i16::MIN;
const CHANNEL_NONE: i32 = i32::MIN;

/// Answer to `PollStatus`.
///
/// Between versions: fields may be appended; none is moved, widened or given
/// another unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(non_snake_case)] // A quantity carries its unit last, and mV is not Mv.
pub struct Status {
    /// Device ticks when the status was made.
    pub tick: u32,
    /// Samples dropped since boot; stays at its maximum.
    pub dropped: u32,
    /// Supply in millivolts, 0..=65534.
    pub supply_mV: Option<u16>,
    /// Board temperature in 0.01 degrees Celsius, -32767..=32767.
    pub temperature_centi_c: Option<i16>,
    /// Slow channels in the identity's order and units; slots without a channel are `None`.
    pub channel_values: [Option<i32>; MAX_CHANNELS],
}

impl Status {
    pub(crate) const PAYLOAD_LEN: usize = 12 + 4 * MAX_CHANNELS;

    pub(crate) fn check(&self) -> Result<(), &'static str> {
        if self.supply_mV == Some(SUPPLY_NONE) {
            return Err("supply_mV");
        }
        if self.temperature_centi_c == Some(TEMPERATURE_NONE) {
            return Err("temperature_centi_c");
        }
        if self.channel_values.contains(&Some(CHANNEL_NONE)) {
            return Err("channel_values");
        }
        Ok(())
    }

    pub(crate) fn write(&self, sink: &mut FrameSink<'_>) -> Result<(), EncodeFault> {
        sink.put(&self.tick.to_le_bytes())?;
        sink.put(&self.dropped.to_le_bytes())?;
        sink.put(&self.supply_mV.unwrap_or(SUPPLY_NONE).to_le_bytes())?;
        let temperature = self.temperature_centi_c.unwrap_or(TEMPERATURE_NONE);
        sink.put(&temperature.to_le_bytes())?;
        for value in self.channel_values {
            sink.put(&value.unwrap_or(CHANNEL_NONE).to_le_bytes())?;
        }
        Ok(())
    }

    pub(crate) fn read(payload: &[u8]) -> Result<Status, DecodeFault> {
        let mut fields = Fields::new(payload);
        let status = Status {
            tick: fields.u32(),
            dropped: fields.u32(),
            supply_mV: Some(fields.u16()).filter(|&value| value != SUPPLY_NONE),
            temperature_centi_c: Some(fields.i16()).filter(|&value| value != TEMPERATURE_NONE),
            channel_values: core::array::from_fn(|_| {
                Some(fields.i32()).filter(|&value| value != CHANNEL_NONE)
            }),
        };
        status.check().map_err(|field| DecodeFault::Value { message: id::STATUS, field })?;
        Ok(status)
    }
}

const _: () = assert!(2 + Status::PAYLOAD_LEN == 30);
