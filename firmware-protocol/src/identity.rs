//! Who a device is and what it offers (SPEC.md section 5.1).
//!
//! All slots are of fixed size, so that firmware can keep its identity as one
//! constant block of bytes. Names are printable ASCII because a host shows them.

use crate::channel::{Channels, MAX_CHANNELS};
use crate::fault::{DecodeFault, EncodeFault};
use crate::fields::{Fields, FrameSink};
use crate::message::id;

/// Sampling rates that an identity can list.
pub const MAX_RATES: usize = 12;
/// Bytes of a serial or firmware name.
pub const MAX_TEXT: usize = 32;
/// What the firmware of a device that invents its counts begins with; no real hardware may begin so.
pub const SIMULATED_FIRMWARE: &str = "virtual-rig";
/// Largest time scale.
pub const TIME_SCALE_MAX: u16 = 1000;

/// 1..=[`MAX_RATES`] sampling rates in Hz, strictly increasing, none 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rates {
    hz: [u32; MAX_RATES],
}

impl Rates {
    /// # Errors
    /// [`EncodeFault::Value`] for no rate, too many, a 0, or rates that do not increase.
    pub fn new(rates_hz: &[u32]) -> Result<Rates, EncodeFault> {
        let mut hz = [0; MAX_RATES];
        let copied = hz.get_mut(..rates_hz.len()).map(|used| {
            used.copy_from_slice(rates_hz);
        });
        copied
            .and_then(|()| Rates::from_wire(hz))
            .filter(|rates| rates.as_slice().len() == rates_hz.len())
            .ok_or(EncodeFault::Value { message: id::IDENTITY, field: "rates_hz" })
    }

    /// The rates in Hz, increasing.
    #[must_use]
    pub fn as_slice(&self) -> &[u32] {
        let used = self.hz.iter().take_while(|&&rate| rate != 0).count();
        self.hz.get(..used).unwrap_or(&[])
    }

    /// Whether the device offers this rate.
    #[must_use]
    pub fn contains(&self, rate_hz: u32) -> bool {
        self.as_slice().contains(&rate_hz)
    }

    fn from_wire(hz: [u32; MAX_RATES]) -> Option<Rates> {
        let rates = Rates { hz };
        let used = rates.as_slice();
        let unused = hz.get(used.len()..).unwrap_or(&[]);
        let sound =
            !used.is_empty() && used.is_sorted_by(|a, b| a < b) && unused.iter().all(|&rate| rate == 0);
        sound.then_some(rates)
    }
}

/// Answer to `Identify`; also sent once, unasked, after boot.
///
/// Between versions: a later version may append fields behind `firmware`; nothing
/// is moved, and a host tells versions apart by the body's first byte.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Identity<'a> {
    /// Tells one device from another for good; 1..=32 printable ASCII characters.
    pub serial: &'a str,
    /// Firmware name and version; 1..=32 printable ASCII characters.
    pub firmware: &'a str,
    /// Resolution of the counts in bits, 8..=32.
    pub adc_bits: u8,
    /// Lowest code the converter can give; counts at it are saturated.
    pub count_min: i32,
    /// Highest code; above `count_min`, the two spanning at most 2^`adc_bits` codes.
    pub count_max: i32,
    /// Device ticks per second of device time, at least the highest rate.
    pub tick_rate_hz: u32,
    /// Device seconds per wall second, 1..=1000: 1 on real hardware, more on a simulated one.
    pub time_scale: u16,
    /// Sampling rates on offer.
    pub rates_hz: Rates,
    /// Slow channels in the order of a status's values.
    pub channels: Channels,
}

fn is_text(text: &str) -> bool {
    let printable = |byte: u8| (0x20..=0x7E).contains(&byte);
    (1..=MAX_TEXT).contains(&text.len()) && text.bytes().all(printable)
}

/// The text of a zero-padded slot; `None` where bytes follow the padding or are not printable.
fn text_of(slot: &[u8]) -> Option<&str> {
    let used = slot.iter().take_while(|&&byte| byte != 0).count();
    let (text, padding) = slot.split_at(used);
    if padding.iter().any(|&byte| byte != 0) {
        return None;
    }
    core::str::from_utf8(text).ok().filter(|text| is_text(text))
}

fn put_text(sink: &mut FrameSink<'_>, text: &str) -> Result<(), EncodeFault> {
    let mut slot = [0; MAX_TEXT];
    for (byte, of_text) in slot.iter_mut().zip(text.bytes()) {
        *byte = of_text;
    }
    sink.put(&slot)
}

impl<'a> Identity<'a> {
    /// Whether the device says that it invents its counts: by its firmware's name, or by a time that does not run as
    /// fast as the wall's (SPEC.md section 5.1). Nothing else decides this.
    #[must_use]
    pub fn is_simulated(&self) -> bool {
        self.time_scale != 1 || self.firmware.starts_with(SIMULATED_FIRMWARE)
    }

    pub(crate) const PAYLOAD_LEN: usize = 15 + 4 * MAX_RATES + MAX_CHANNELS + 2 * MAX_TEXT;

    pub(crate) fn check(&self) -> Result<(), &'static str> {
        let span = i64::from(self.count_max) - i64::from(self.count_min);
        let highest_hz = self.rates_hz.as_slice().last().copied().unwrap_or(0);
        if !(8..=32).contains(&self.adc_bits) {
            Err("adc_bits")
        } else if !(1..=TIME_SCALE_MAX).contains(&self.time_scale) {
            Err("time_scale")
        } else if span < 1 || span >= 1_i64 << self.adc_bits {
            Err("count_max")
        } else if self.tick_rate_hz < highest_hz {
            Err("tick_rate_hz")
        } else if !is_text(self.serial) {
            Err("serial")
        } else if !is_text(self.firmware) {
            Err("firmware")
        } else {
            Ok(())
        }
    }

    pub(crate) fn write(&self, sink: &mut FrameSink<'_>) -> Result<(), EncodeFault> {
        sink.put(&[self.adc_bits])?;
        sink.put(&self.time_scale.to_le_bytes())?;
        sink.put(&self.tick_rate_hz.to_le_bytes())?;
        sink.put(&self.count_min.to_le_bytes())?;
        sink.put(&self.count_max.to_le_bytes())?;
        for rate in self.rates_hz.hz {
            sink.put(&rate.to_le_bytes())?;
        }
        sink.put(self.channels.wire())?;
        put_text(sink, self.serial)?;
        put_text(sink, self.firmware)
    }

    pub(crate) fn read(payload: &'a [u8]) -> Result<Identity<'a>, DecodeFault> {
        let refuse = |field| DecodeFault::Value { message: id::IDENTITY, field };
        let mut fields = Fields::new(payload);
        let adc_bits = fields.u8();
        let time_scale = fields.u16();
        let tick_rate_hz = fields.u32();
        let count_min = fields.i32();
        let count_max = fields.i32();
        let hz = core::array::from_fn(|_| fields.u32());
        let rates_hz = Rates::from_wire(hz).ok_or(refuse("rates_hz"))?;
        let channels = Channels::from_wire(fields.bytes()).ok_or(refuse("channels"))?;
        let serial = text_of(fields.slice(MAX_TEXT)).ok_or(refuse("serial"))?;
        let firmware = text_of(fields.slice(MAX_TEXT)).ok_or(refuse("firmware"))?;
        let identity = Identity {
            serial,
            firmware,
            adc_bits,
            count_min,
            count_max,
            tick_rate_hz,
            time_scale,
            rates_hz,
            channels,
        };
        identity.check().map_err(refuse)?;
        Ok(identity)
    }
}

const _: () = assert!(2 + Identity::PAYLOAD_LEN == 133);
