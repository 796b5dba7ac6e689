//! The serial protocol between a bolt-tension rig's amplifier and its host.
//!
//! One crate for both ends: no `std`, no allocation, no unsafe code. A frame is
//! COBS(body, CRC-32 of the body) and a zero byte; a body is a version, a message
//! id and a fixed little-endian layout. `SPEC.md` beside this crate says the same
//! without Rust, and `vectors/` pins the bytes of both.
//!
//! This crate must not know ports, clocks, newtons or what a host does with a
//! message.
#![no_std]
#![forbid(unsafe_code)]

mod channel;
mod command;
mod deframer;
mod fault;
mod fields;
mod frame;
mod identity;
mod message;
mod refusal;
mod samples;
mod status;

pub use channel::{Channel, Channels, MAX_CHANNELS};
pub use command::Start;
pub use deframer::{Chunk, Deframer};
pub use fault::{DecodeFault, EncodeFault};
pub use frame::{
    CRC_LEN, DELIMITER, MAX_BODY, MAX_FRAME, PROTOCOL_VERSION, SCRATCH_LEN, crc32, decode, encode,
    max_encoded_len,
};
pub use identity::{Identity, MAX_RATES, MAX_TEXT, Rates, SIMULATED_FIRMWARE, TIME_SCALE_MAX};
pub use message::{Message, id};
pub use refusal::{Fault, Refusal};
pub use samples::{MAX_SAMPLES_24, MAX_SAMPLES_32, Marks, Packing, Samples, pack24, pack32};
pub use status::Status;
