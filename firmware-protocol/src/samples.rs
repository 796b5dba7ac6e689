//! Evenly spaced counts with their device ticks (SPEC.md section 5.2).
//!
//! The counts stay packed in the received bytes until `unpack_into` writes them
//! to the caller's slice in one loop: this is the hot path of a host. What a count
//! means in newtons is not known here.

use crate::fault::{DecodeFault, EncodeFault};
use crate::fields::{Fields, FrameSink};
use crate::frame::MAX_BODY;
use crate::message::id;

/// Most samples of one frame at 24 bits each.
pub const MAX_SAMPLES_24: usize = (MAX_BODY - 2 - Samples::HEADER_LEN) / 3;
/// Most samples of one frame at 32 bits each.
pub const MAX_SAMPLES_32: usize = (MAX_BODY - 2 - Samples::HEADER_LEN) / 4;

/// What a device noticed about the samples of a frame, as bits.
///
/// Between versions: bits may be added in a new version; in version 1 the others are 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Marks(u8);

impl Marks {
    /// Nothing to report.
    pub const NONE: Marks = Marks(0);
    /// At least one count of this frame stood at the end of the converter's range.
    pub const SATURATED: Marks = Marks(1);
    /// Samples were lost between the frame before and this one.
    pub const OVERRUN: Marks = Marks(2);

    /// `None` if a bit is set that version 1 does not know.
    #[must_use]
    pub const fn from_bits(bits: u8) -> Option<Marks> {
        if bits & !3 == 0 { Some(Marks(bits)) } else { None }
    }

    /// The bits on the wire.
    #[must_use]
    pub const fn bits(self) -> u8 {
        self.0
    }

    /// Whether all bits of `other` are set.
    #[must_use]
    pub const fn contains(self, other: Marks) -> bool {
        self.0 & other.0 == other.0
    }

    /// The bits of both.
    #[must_use]
    pub const fn union(self, other: Marks) -> Marks {
        Marks(self.0 | other.0)
    }
}

/// Width of a packed count.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Packing {
    /// 24: three bytes, two's complement, -8388608..=8388607.
    Bits24,
    /// 32: four bytes, two's complement.
    Bits32,
}

impl Packing {
    /// Bytes of one count.
    #[must_use]
    pub const fn width(self) -> usize {
        match self {
            Packing::Bits24 => 3,
            Packing::Bits32 => 4,
        }
    }

    /// The number on the wire: bits of one count.
    #[must_use]
    pub const fn number(self) -> u8 {
        match self {
            Packing::Bits24 => 24,
            Packing::Bits32 => 32,
        }
    }

    const fn from_number(number: u8) -> Option<Packing> {
        match number {
            24 => Some(Packing::Bits24),
            32 => Some(Packing::Bits32),
            _ => None,
        }
    }
}

/// One frame of samples; sample k was taken at tick `first_tick + k * ticks_per_sample`.
///
/// Between versions: packings and marks may be added; the header's fields stay.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Samples<'a> {
    /// Counts the samples frames since the start, wraps after 65535.
    pub sequence: u16,
    /// Tick of the first sample, wraps after 2^32 - 1.
    pub first_tick: u32,
    /// Ticks between samples, at least 1, constant from a start to the next.
    pub ticks_per_sample: u32,
    /// What the device noticed.
    pub marks: Marks,
    packing: Packing,
    count: u16,
    data: &'a [u8],
}

impl<'a> Samples<'a> {
    /// Bytes between message id and counts.
    pub(crate) const HEADER_LEN: usize = 14;

    /// A frame of counts packed by [`pack24`] or [`pack32`].
    ///
    /// # Errors
    /// [`EncodeFault::Value`] if `ticks_per_sample` is 0, or `data` is empty, too long
    /// or no multiple of the packing's width.
    pub fn new(
        sequence: u16,
        first_tick: u32,
        ticks_per_sample: u32,
        marks: Marks,
        packing: Packing,
        data: &'a [u8],
    ) -> Result<Samples<'a>, EncodeFault> {
        let refuse = |field| EncodeFault::Value { message: id::SAMPLES, field };
        let fits = data.len() <= MAX_BODY - 2 - Samples::HEADER_LEN;
        if data.is_empty() || !fits || !data.len().is_multiple_of(packing.width()) {
            return Err(refuse("data"));
        }
        let count = u16::try_from(data.len() / packing.width()).map_err(|_| refuse("data"))?;
        let samples = Samples { sequence, first_tick, ticks_per_sample, marks, packing, count, data };
        samples.check().map_err(refuse)?;
        Ok(samples)
    }

    /// How many samples the frame holds, at least 1.
    #[must_use]
    pub const fn count(&self) -> usize {
        self.count as usize
    }

    /// Width of the packed counts.
    #[must_use]
    pub const fn packing(&self) -> Packing {
        self.packing
    }

    /// The packed counts.
    #[must_use]
    pub const fn data(&self) -> &'a [u8] {
        self.data
    }

    /// Tick at which the sample behind this frame's last is due, wrapped.
    #[must_use]
    pub const fn next_tick(&self) -> u32 {
        let ticks = self.ticks_per_sample.wrapping_mul(self.count as u32);
        self.first_tick.wrapping_add(ticks)
    }

    /// Writes the counts to the front of `out`; returns how many were written, the
    /// lesser of the frame's count and `out.len()`.
    pub fn unpack_into(&self, out: &mut [i32]) -> usize {
        let written = self.count().min(out.len());
        match self.packing {
            Packing::Bits24 => {
                for (count, bytes) in out.iter_mut().zip(self.data.as_chunks::<3>().0) {
                    let [low, middle, high] = *bytes;
                    // Placed in the upper bytes, the shift back extends the sign.
                    *count = i32::from_le_bytes([0, low, middle, high]) >> 8;
                }
            }
            Packing::Bits32 => {
                for (count, bytes) in out.iter_mut().zip(self.data.as_chunks::<4>().0) {
                    *count = i32::from_le_bytes(*bytes);
                }
            }
        }
        written
    }

    pub(crate) fn check(&self) -> Result<(), &'static str> {
        if self.ticks_per_sample == 0 {
            return Err("ticks_per_sample");
        }
        Ok(())
    }

    pub(crate) fn payload_len(&self) -> usize {
        Samples::HEADER_LEN + self.data.len()
    }

    pub(crate) fn write(&self, sink: &mut FrameSink<'_>) -> Result<(), EncodeFault> {
        sink.put(&self.sequence.to_le_bytes())?;
        sink.put(&self.first_tick.to_le_bytes())?;
        sink.put(&self.ticks_per_sample.to_le_bytes())?;
        sink.put(&[self.marks.bits(), self.packing.number()])?;
        sink.put(&self.count.to_le_bytes())?;
        sink.put(self.data)
    }

    pub(crate) fn read(payload: &'a [u8]) -> Result<Samples<'a>, DecodeFault> {
        let refuse = |field| DecodeFault::Value { message: id::SAMPLES, field };
        let found = 2 + payload.len();
        let length = |expected| DecodeFault::Length { message: id::SAMPLES, expected, found };
        if payload.len() < Samples::HEADER_LEN {
            return Err(length(2 + Samples::HEADER_LEN));
        }
        let mut fields = Fields::new(payload);
        let sequence = fields.u16();
        let first_tick = fields.u32();
        let ticks_per_sample = fields.u32();
        let marks = Marks::from_bits(fields.u8()).ok_or(refuse("marks"))?;
        let packing = Packing::from_number(fields.u8()).ok_or(refuse("packing"))?;
        let count = fields.u16();
        let data = fields.rest();
        if count == 0 {
            return Err(refuse("count"));
        }
        if data.len() != usize::from(count) * packing.width() {
            let expected = 2 + Samples::HEADER_LEN + usize::from(count) * packing.width();
            return Err(length(expected));
        }
        let samples = Samples { sequence, first_tick, ticks_per_sample, marks, packing, count, data };
        samples.check().map_err(refuse)?;
        Ok(samples)
    }
}

const PACK_REFUSED: EncodeFault = EncodeFault::Value { message: id::SAMPLES, field: "data" };

/// Packs counts at 24 bits into the front of `out`; returns the packed bytes.
///
/// # Errors
/// [`EncodeFault::Value`] for a count outside -8388608..=8388607,
/// [`EncodeFault::OutTooSmall`] if `out` holds fewer than 3 bytes a count.
pub fn pack24<'o>(counts: &[i32], out: &'o mut [u8]) -> Result<&'o [u8], EncodeFault> {
    let (expected, found) = (counts.len() * 3, out.len());
    let out = out.get_mut(..expected).ok_or(EncodeFault::OutTooSmall { expected, found })?;
    for (bytes, &count) in out.as_chunks_mut::<3>().0.iter_mut().zip(counts) {
        if !(-0x80_0000..=0x7F_FFFF).contains(&count) {
            return Err(PACK_REFUSED);
        }
        let [low, middle, high, _] = count.to_le_bytes();
        *bytes = [low, middle, high];
    }
    Ok(out)
}

/// Packs counts at 32 bits into the front of `out`; returns the packed bytes.
///
/// # Errors
/// [`EncodeFault::OutTooSmall`] if `out` holds fewer than 4 bytes a count.
pub fn pack32<'o>(counts: &[i32], out: &'o mut [u8]) -> Result<&'o [u8], EncodeFault> {
    let (expected, found) = (counts.len() * 4, out.len());
    let out = out.get_mut(..expected).ok_or(EncodeFault::OutTooSmall { expected, found })?;
    for (bytes, &count) in out.as_chunks_mut::<4>().0.iter_mut().zip(counts) {
        *bytes = count.to_le_bytes();
    }
    Ok(out)
}

const _: () = assert!(2 + Samples::HEADER_LEN == 16);
const _: () = assert!(MAX_SAMPLES_24 == 677 && MAX_SAMPLES_32 == 508);
