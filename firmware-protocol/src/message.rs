//! The closed list of messages and their numbers (SPEC.md section 4).
//!
//! Numbers are explicit constants, never the order of an enum: a reordering here
//! must not change a byte on the wire.

use crate::{Identity, Refusal, Samples, Start, Status};

/// Message ids. Bit 7 tells the direction: clear from the device, set from the host.
pub mod id {
    /// Device to host: who the device is and what it offers.
    pub const IDENTITY: u8 = 0x01;
    /// Device to host: evenly spaced counts.
    pub const SAMPLES: u8 = 0x02;
    /// Device to host: health and slow channels.
    pub const STATUS: u8 = 0x03;
    /// Device to host: why a host message was refused.
    pub const REFUSAL: u8 = 0x04;
    /// Host to device: asks for an identity.
    pub const IDENTIFY: u8 = 0x81;
    /// Host to device: start sampling.
    pub const START: u8 = 0x82;
    /// Host to device: stop sampling.
    pub const STOP: u8 = 0x83;
    /// Host to device: asks for a status.
    pub const POLL_STATUS: u8 = 0x84;
}

/// Any message of protocol version 1.
///
/// Between versions: ids may be added, an id is never given another meaning.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Message<'a> {
    /// Device to host, 0x01.
    Identity(Identity<'a>),
    /// Device to host, 0x02.
    Samples(Samples<'a>),
    /// Device to host, 0x03.
    Status(Status),
    /// Device to host, 0x04.
    Refusal(Refusal),
    /// Host to device, 0x81. No payload, in this and every later version.
    Identify,
    /// Host to device, 0x82.
    Start(Start),
    /// Host to device, 0x83. No payload; a later version may append one.
    Stop,
    /// Host to device, 0x84. No payload; a later version may append one.
    PollStatus,
}

impl Message<'_> {
    /// The message id that stands in byte 1 of the body.
    #[must_use]
    pub const fn id(&self) -> u8 {
        match self {
            Message::Identity(_) => id::IDENTITY,
            Message::Samples(_) => id::SAMPLES,
            Message::Status(_) => id::STATUS,
            Message::Refusal(_) => id::REFUSAL,
            Message::Identify => id::IDENTIFY,
            Message::Start(_) => id::START,
            Message::Stop => id::STOP,
            Message::PollStatus => id::POLL_STATUS,
        }
    }
}
