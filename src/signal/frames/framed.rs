//! The project's own protocol: delimited, checked frames (firmware-protocol/SPEC.md sections 2 to 5).
//!
//! Must not know ports, ticks' meaning or newtons.

use super::account::Account;
use super::item::{Frame, Identity, Item, SampleFrame, Status};
use boltscribe_wire::{
    Chunk, DecodeFault, Deframer, MAX_FRAME, MAX_SAMPLES_24, Marks, Message, SCRATCH_LEN, decode,
};

/// Parses the device's side of the protocol.
pub struct Framed {
    deframer: Box<Deframer<{ MAX_FRAME - 1 }>>,
    scratch: Box<[u8]>,
    counts: Box<[i32]>,
    account: Account,
    resync: bool,
}

impl Default for Framed {
    fn default() -> Self {
        Self {
            deframer: Box::new(Deframer::new()),
            scratch: vec![0; SCRATCH_LEN].into_boxed_slice(),
            counts: vec![0; MAX_SAMPLES_24].into_boxed_slice(),
            account: Account::default(),
            resync: true,
        }
    }
}

impl Framed {
    /// The account of bytes.
    #[must_use]
    pub fn account(&self) -> &Account {
        &self.account
    }

    /// The port was (re)opened: what comes first may be the rest of a frame.
    pub fn link_up(&mut self) {
        let lost = self.deframer.reset();
        self.account.discard("resync", lost);
        self.resync = true;
    }

    /// Takes bytes, hands out what they hold.
    pub fn push(&mut self, bytes: &[u8], sink: &mut dyn FnMut(Item<'_>)) {
        self.account.bytes_in += bytes.len() as u64;
        let mut rest = bytes;
        while let Some(chunk) = self.deframer.push(&mut rest) {
            let length = chunk.stream_len();
            let frame = match chunk {
                Chunk::Frame(frame) => frame,
                Chunk::Overlong { bytes } => {
                    let reason = if self.resync { "resync" } else { "overlong" };
                    self.account.discard(reason, bytes);
                    self.resync = false;
                    let detail = format!("expected a frame of at most {MAX_FRAME} bytes, found {bytes}");
                    sink(Item::Bad { reason, detail });
                    continue;
                }
            };
            match decode(frame, &mut self.scratch) {
                Ok(message) => {
                    if let Some(frame) = from_device(&message, &mut self.counts) {
                        self.account.good(length);
                        sink(Item::Frame(frame));
                    } else {
                        self.account.discard("host-message", length);
                        let detail =
                            "expected a message of a device, found one of a host (an echo?)".to_owned();
                        sink(Item::Bad { reason: "host-message", detail });
                    }
                }
                // A lone delimiter is idle filling.
                Err(DecodeFault::Empty) => self.account.parsed += length as u64,
                Err(fault) => {
                    let reason = if self.resync { "resync" } else { reason(&fault) };
                    self.account.discard(reason, length);
                    sink(Item::Bad { reason, detail: fault.to_string() });
                }
            }
            self.resync = false;
        }
    }
}

fn reason(fault: &DecodeFault) -> &'static str {
    match fault {
        DecodeFault::Empty => "empty",
        DecodeFault::TooLong => "overlong",
        DecodeFault::Cobs => "cobs",
        DecodeFault::TooShort => "truncated",
        DecodeFault::Crc { .. } => "crc",
        DecodeFault::Version(_) => "version",
        DecodeFault::UnknownMessage(_) => "unknown-message",
        DecodeFault::Length { .. } => "length",
        DecodeFault::Value { .. } => "value",
        _ => "other",
    }
}

fn from_device<'c>(message: &Message<'_>, counts: &'c mut [i32]) -> Option<Frame<'c>> {
    Some(match message {
        Message::Samples(s) => {
            let n = s.unpack_into(counts);
            Frame::Samples(SampleFrame {
                first_tick: s.first_tick,
                sequence: s.sequence,
                ticks_per_sample: s.ticks_per_sample,
                saturated: s.marks.contains(Marks::SATURATED),
                overrun: s.marks.contains(Marks::OVERRUN),
                counts: &counts[..n],
            })
        }
        Message::Identity(i) => Frame::Identity(Identity {
            serial: i.serial.to_owned(),
            firmware: i.firmware.to_owned(),
            adc_bits: i.adc_bits,
            count_min: i.count_min,
            count_max: i.count_max,
            tick_rate_hz: i.tick_rate_hz,
            time_scale: i.time_scale,
            simulated: i.is_simulated(),
            rates_hz: i.rates_hz.as_slice().to_vec(),
            channels: i.channels.iter().map(boltscribe_wire::Channel::number).collect(),
        }),
        Message::Status(s) => Frame::Status(Status {
            tick: s.tick,
            dropped: s.dropped,
            supply_mv: s.supply_mV,
            temperature_centi_c: s.temperature_centi_c,
            channels: s.channel_values.to_vec(),
        }),
        Message::Refusal(r) => {
            Frame::Refusal { fault: r.fault.number(), about: r.about_id, detail: r.detail }
        }
        Message::Identify | Message::Start(_) | Message::Stop | Message::PollStatus => return None,
    })
}
