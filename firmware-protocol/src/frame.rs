//! Frames: byte stuffing, checksum and the order of checks (SPEC.md sections 2 to 4).
//!
//! frame = COBS(body, CRC-32/ISO-HDLC of body, little-endian), 0x00. The checksum is
//! checked before anything in the body is read, then version, then id, then layout
//! and values. COBS: Cheshire and Baker, IEEE/ACM Transactions on Networking 7(2), 1999.
//! CRC: the published catalogue's CRC-32/ISO-HDLC, check value 0xCBF43926.

use crc::{CRC_32_ISO_HDLC, Crc, Table};

use crate::fault::{DecodeFault, EncodeFault};
use crate::fields::{FrameSink, close};
use crate::message::id;
use crate::{Identity, Message, Refusal, Samples, Start, Status};

/// Version in the first byte of every body.
pub const PROTOCOL_VERSION: u8 = 1;
/// Ends every frame and stands nowhere inside one.
pub const DELIMITER: u8 = 0x00;
/// Bytes of the checksum.
pub const CRC_LEN: usize = 4;
/// Longest body: version, id and payload, in bytes.
pub const MAX_BODY: usize = 2048;
/// Longest frame with its delimiter, in bytes.
pub const MAX_FRAME: usize = max_encoded_len(MAX_BODY);
/// Scratch that [`decode`] needs for any frame.
pub const SCRATCH_LEN: usize = MAX_BODY + CRC_LEN;

const _: () = assert!(MAX_FRAME == 2062 && SCRATCH_LEN == 2052);

// The 16-lane table costs 16 KiB and reads 16 bytes a step.
pub(crate) static CHECKSUM: Crc<u32, Table<16>> = Crc::<u32, Table<16>>::new(&CRC_32_ISO_HDLC);

/// Longest frame, delimiter included, of a body of `body_len` bytes.
#[must_use]
pub const fn max_encoded_len(body_len: usize) -> usize {
    cobs::max_encoding_length(body_len + CRC_LEN) + 1
}

/// CRC-32/ISO-HDLC of `bytes`.
#[must_use]
pub fn crc32(bytes: &[u8]) -> u32 {
    CHECKSUM.checksum(bytes)
}

fn payload_len(message: &Message<'_>) -> usize {
    match message {
        Message::Identity(_) => Identity::PAYLOAD_LEN,
        Message::Samples(samples) => samples.payload_len(),
        Message::Status(_) => Status::PAYLOAD_LEN,
        Message::Refusal(_) => Refusal::PAYLOAD_LEN,
        Message::Start(_) => Start::PAYLOAD_LEN,
        Message::Identify | Message::Stop | Message::PollStatus => 0,
    }
}

fn check(message: &Message<'_>) -> Result<(), &'static str> {
    match message {
        Message::Identity(identity) => identity.check(),
        Message::Samples(samples) => samples.check(),
        Message::Status(status) => status.check(),
        Message::Refusal(refusal) => refusal.check(),
        Message::Start(start) => start.check(),
        Message::Identify | Message::Stop | Message::PollStatus => Ok(()),
    }
}

/// Writes the whole frame of a message, delimiter included, to the front of `out`.
///
/// [`MAX_FRAME`] bytes always suffice.
///
/// # Errors
/// [`EncodeFault::Value`] for a field outside its range, [`EncodeFault::OutTooSmall`]
/// if `out` is shorter than the longest encoding of this message.
pub fn encode<'o>(message: &Message<'_>, out: &'o mut [u8]) -> Result<&'o [u8], EncodeFault> {
    check(message).map_err(|field| EncodeFault::Value { message: message.id(), field })?;
    let mut sink = FrameSink::new(out, 2 + payload_len(message))?;
    sink.put(&[PROTOCOL_VERSION, message.id()])?;
    match message {
        Message::Identity(identity) => identity.write(&mut sink)?,
        Message::Samples(samples) => samples.write(&mut sink)?,
        Message::Status(status) => status.write(&mut sink)?,
        Message::Refusal(refusal) => refusal.write(&mut sink)?,
        Message::Start(start) => start.write(&mut sink)?,
        Message::Identify | Message::Stop | Message::PollStatus => {}
    }
    let stuffed_len = sink.finish()?;
    Ok(close(out, stuffed_len))
}

/// Reads one frame, given without its delimiter. The message borrows `scratch`, for
/// which [`SCRATCH_LEN`] bytes always suffice.
///
/// # Errors
/// The first [`DecodeFault`] in the order in which they are listed there.
pub fn decode<'s>(frame: &[u8], scratch: &'s mut [u8]) -> Result<Message<'s>, DecodeFault> {
    if frame.is_empty() {
        return Err(DecodeFault::Empty);
    }
    if frame.len() >= MAX_FRAME {
        return Err(DecodeFault::TooLong);
    }
    // A longer scratch must not change which fault is found.
    let usable = scratch.len().min(SCRATCH_LEN);
    let scratch = scratch.get_mut(..usable).unwrap_or(&mut []);
    let unstuffed_len = unstuff(frame, scratch)?;
    let unstuffed = scratch.get(..unstuffed_len).unwrap_or(&[]);
    let (body, crc) = unstuffed.split_last_chunk::<CRC_LEN>().ok_or(DecodeFault::TooShort)?;
    let [version, message, payload @ ..] = body else {
        return Err(DecodeFault::TooShort);
    };
    let (expected, found) = (crc32(body), u32::from_le_bytes(*crc));
    if expected != found {
        return Err(DecodeFault::Crc { expected, found });
    }
    if *version != PROTOCOL_VERSION {
        return Err(DecodeFault::Version(*version));
    }
    read(*message, payload)
}

fn read(message: u8, payload: &[u8]) -> Result<Message<'_>, DecodeFault> {
    let exactly = |payload_len: usize| {
        if payload.len() == payload_len {
            return Ok(payload);
        }
        Err(DecodeFault::Length { message, expected: 2 + payload_len, found: 2 + payload.len() })
    };
    Ok(match message {
        id::IDENTITY => Message::Identity(Identity::read(exactly(Identity::PAYLOAD_LEN)?)?),
        id::SAMPLES => Message::Samples(Samples::read(payload)?),
        id::STATUS => Message::Status(Status::read(exactly(Status::PAYLOAD_LEN)?)?),
        id::REFUSAL => Message::Refusal(Refusal::read(exactly(Refusal::PAYLOAD_LEN)?)?),
        id::IDENTIFY => exactly(0).map(|_| Message::Identify)?,
        id::START => Message::Start(Start::read(exactly(Start::PAYLOAD_LEN)?)?),
        id::STOP => exactly(0).map(|_| Message::Stop)?,
        id::POLL_STATUS => exactly(0).map(|_| Message::PollStatus)?,
        unknown => return Err(DecodeFault::UnknownMessage(unknown)),
    })
}

fn unstuff(frame: &[u8], scratch: &mut [u8]) -> Result<usize, DecodeFault> {
    // The library skips leading delimiters and takes a closing one along; in one frame
    // none may stand, and a frame cut wrongly must not be accepted.
    if memchr::memchr(DELIMITER, frame).is_some() {
        return Err(DecodeFault::Cobs);
    }
    match cobs::decode(frame, scratch) {
        Ok(report) if report.parsed_size() == frame.len() => Ok(report.frame_size()),
        Ok(_) | Err(cobs::DecodeError::EmptyFrame | cobs::DecodeError::InvalidFrame { .. }) => {
            Err(DecodeFault::Cobs)
        }
        Err(cobs::DecodeError::TargetBufTooSmall) => Err(DecodeFault::TooLong),
    }
}
