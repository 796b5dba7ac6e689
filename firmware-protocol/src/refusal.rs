//! Why a device refused what the host asked (SPEC.md section 8).
//!
//! Faults have numbers, so that old hosts can at least show the number of a new
//! fault.

use crate::fault::{DecodeFault, EncodeFault};
use crate::fields::{Fields, FrameSink};
use crate::message::id;

/// Reason of a refusal. Number 0 is never used.
///
/// Between versions: numbers may be added, none is given another meaning.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Fault {
    /// 1: the asked rate is not in the identity; detail is the asked rate in Hz.
    RateNotOffered,
    /// 2: the message id is not known to this firmware; detail is 0.
    UnknownMessage,
    /// 3: the body has the wrong length for its id; detail is the found length in bytes.
    BadLength,
    /// 4: another protocol version; detail is the version the device speaks.
    WrongVersion,
    /// 5: still starting or calibrating; detail is the expected wait in ms, 0 if unknown.
    NotReady,
    /// 6: the converter does not answer or is out of its supply range; detail is the device's own code.
    AdcFault,
    /// 7: a field holds a value that is not allowed; detail is the field's offset in the body.
    BadValue,
    /// Any other number, kept as it came. Making it from a number above encodes as that fault.
    Other(u16),
}

impl Fault {
    /// The number on the wire.
    #[must_use]
    pub const fn number(self) -> u16 {
        match self {
            Fault::RateNotOffered => 1,
            Fault::UnknownMessage => 2,
            Fault::BadLength => 3,
            Fault::WrongVersion => 4,
            Fault::NotReady => 5,
            Fault::AdcFault => 6,
            Fault::BadValue => 7,
            Fault::Other(number) => number,
        }
    }

    /// The fault of a number on the wire; unknown ones are kept as [`Fault::Other`].
    #[must_use]
    pub const fn from_number(number: u16) -> Fault {
        match number {
            1 => Fault::RateNotOffered,
            2 => Fault::UnknownMessage,
            3 => Fault::BadLength,
            4 => Fault::WrongVersion,
            5 => Fault::NotReady,
            6 => Fault::AdcFault,
            7 => Fault::BadValue,
            other => Fault::Other(other),
        }
    }
}

/// The device's answer to a message that it will not carry out.
///
/// Between versions: the first three fields stay where they are in every version,
/// so that a host of any version can read why it was refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Refusal {
    /// The reason; number 0 is not allowed.
    pub fault: Fault,
    /// Id of the refused message, 0 if it could not be read.
    pub about_id: u8,
    /// Meaning depends on the fault.
    pub detail: u32,
}

impl Refusal {
    pub(crate) const PAYLOAD_LEN: usize = 7;

    pub(crate) fn check(&self) -> Result<(), &'static str> {
        if self.fault.number() == 0 {
            return Err("fault");
        }
        Ok(())
    }

    pub(crate) fn write(&self, sink: &mut FrameSink<'_>) -> Result<(), EncodeFault> {
        sink.put(&self.fault.number().to_le_bytes())?;
        sink.put(&[self.about_id])?;
        sink.put(&self.detail.to_le_bytes())
    }

    pub(crate) fn read(payload: &[u8]) -> Result<Refusal, DecodeFault> {
        let mut fields = Fields::new(payload);
        let refusal =
            Refusal { fault: Fault::from_number(fields.u16()), about_id: fields.u8(), detail: fields.u32() };
        refusal.check().map_err(|field| DecodeFault::Value { message: id::REFUSAL, field })?;
        Ok(refusal)
    }
}

const _: () = assert!(2 + Refusal::PAYLOAD_LEN == 9);
