//! What an instrument's parser yields, the same for all instruments.
//!
//! Must not know how any of them writes its bytes, nor what a count weighs.

/// A good frame, or what was wrong with a bad one.
#[derive(Clone, Debug, PartialEq)]
pub enum Item<'a> {
    /// A whole frame.
    Frame(Frame<'a>),
    /// Bytes were thrown away.
    Bad {
        /// A short fixed word, the counter they were added to.
        reason: &'static str,
        /// What was expected and what was found.
        detail: String,
    },
}

/// A frame, whatever the instrument.
#[derive(Clone, Debug, PartialEq)]
pub enum Frame<'a> {
    /// Who answers.
    Identity(Identity),
    /// Several samples with ticks.
    Samples(SampleFrame<'a>),
    /// One sample of an ASCII board.
    Reading {
        /// Its tick, where the board sends one.
        tick: Option<u64>,
        /// The code: value × 10^decimals.
        count: i32,
    },
    /// Slow values.
    Status(Status),
    /// The device could not do what it was asked.
    Refusal {
        /// Number of the fault (SPEC.md).
        fault: u16,
        /// Message it is about.
        about: u8,
        /// Detail by fault.
        detail: u32,
    },
}

/// Samples as they came.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SampleFrame<'a> {
    /// Tick of the first sample, as sent.
    pub first_tick: u32,
    /// Counts frames, wraps.
    pub sequence: u16,
    /// Ticks from one sample to the next.
    pub ticks_per_sample: u32,
    /// The device says a sample stood at the end of the range.
    pub saturated: bool,
    /// The device says it lost samples before this frame.
    pub overrun: bool,
    /// The codes.
    pub counts: &'a [i32],
}

/// Who answers at the other end.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Identity {
    /// Serial number.
    pub serial: String,
    /// Firmware version.
    pub firmware: String,
    /// Bits of the converter.
    pub adc_bits: u8,
    /// Smallest code.
    pub count_min: i32,
    /// Largest code.
    pub count_max: i32,
    /// Ticks a second.
    pub tick_rate_hz: u32,
    /// Device seconds in a second here.
    pub time_scale: u16,
    /// It says that it invents its counts.
    pub simulated: bool,
    /// Rates offered, hertz.
    pub rates_hz: Vec<u32>,
    /// Kinds of slow channels (numbers of SPEC.md), in the order of the status.
    pub channels: Vec<u8>,
}

/// Slow values of the device.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Status {
    /// Its tick counter.
    pub tick: u32,
    /// Samples dropped since its start.
    pub dropped: u32,
    /// Millivolts.
    pub supply_mv: Option<u16>,
    /// Hundredths of a degree Celsius.
    pub temperature_centi_c: Option<i16>,
    /// Slow channels in the identity's order.
    pub channels: Vec<Option<i32>>,
}
