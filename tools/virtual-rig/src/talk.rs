//! The device's side of the conversation (firmware-protocol SPEC.md): what a device answers.
//!
//! Bytes from the host go in, answers to send and changes to carry out come out. This file must
//! not know the port, the clock or the signal.

use crate::scenario::Rig;
use boltscribe_wire as wire;
use wire::{Chunk, DecodeFault, Fault, Message};

/// What the device does because of the host.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Action {
    /// Send these bytes.
    Send(Vec<u8>),
    /// Send the identity.
    Identify,
    /// Sample at this rate, which the device offers.
    Start(u32),
    /// Stop sampling.
    Stop,
    /// Send the status.
    Status,
}

/// A device that listens.
#[derive(Debug, Clone)]
pub struct Listener {
    rates_hz: Vec<u32>,
    deframer: wire::Deframer<{ wire::MAX_FRAME - 1 }>,
}

impl Listener {
    /// A device that offers the rig's rates.
    #[must_use]
    pub fn new(rig: &Rig) -> Self {
        Self { rates_hz: rig.rates_hz.clone(), deframer: wire::Deframer::new() }
    }

    /// Forgets a half-received message.
    pub fn reset(&mut self) {
        self.deframer.reset();
    }

    /// Takes bytes from the host. Bytes without sense are ignored, as SPEC.md wants of damaged
    /// frames; sound frames that cannot be carried out are refused.
    pub fn hear(&mut self, bytes: &[u8]) -> Vec<Action> {
        let mut actions = Vec::new();
        let mut rest = bytes;
        while let Some(chunk) = self.deframer.push(&mut rest) {
            if let Chunk::Frame(frame) = chunk
                && !frame.is_empty()
            {
                actions.extend(answer(frame, &self.rates_hz));
            }
        }
        actions
    }
}

fn answer(frame: &[u8], rates_hz: &[u32]) -> Option<Action> {
    let mut scratch = [0; wire::SCRATCH_LEN];
    match wire::decode(frame, &mut scratch) {
        Ok(Message::Identify) => Some(Action::Identify),
        Ok(Message::Start(start)) if rates_hz.contains(&start.rate_hz) => Some(Action::Start(start.rate_hz)),
        Ok(Message::Start(start)) => refusal(Fault::RateNotOffered, wire::id::START, start.rate_hz),
        Ok(Message::Stop) => Some(Action::Stop),
        Ok(Message::PollStatus) => Some(Action::Status),
        Ok(
            other @ (Message::Identity(_) | Message::Samples(_) | Message::Status(_) | Message::Refusal(_)),
        ) => refusal(Fault::UnknownMessage, other.id(), 0),
        Err(DecodeFault::Version(_)) => refusal(Fault::WrongVersion, 0, u32::from(wire::PROTOCOL_VERSION)),
        Err(DecodeFault::UnknownMessage(id)) => refusal(Fault::UnknownMessage, id, 0),
        Err(DecodeFault::Length { message, found, .. }) => {
            refusal(Fault::BadLength, message, u32::try_from(found).unwrap_or(u32::MAX))
        }
        Err(DecodeFault::Value { message, .. }) => refusal(Fault::BadValue, message, 2),
        Err(_) => None,
    }
}

fn refusal(fault: Fault, about_id: u8, detail: u32) -> Option<Action> {
    frame(&Message::Refusal(wire::Refusal { fault, about_id, detail })).map(Action::Send)
}

/// A message as a whole frame with its delimiter; none where a field cannot be encoded, which
/// a checked scenario does not bring about.
#[must_use]
pub fn frame(message: &Message<'_>) -> Option<Vec<u8>> {
    let mut out = [0; wire::MAX_FRAME];
    wire::encode(message, &mut out).ok().map(<[u8]>::to_vec)
}
