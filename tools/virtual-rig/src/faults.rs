//! Faults of the line and the device: what can go wrong, when, and what it does to bytes.
//!
//! A fault is due at a time on the device's clock (from sample 0). Those that change bytes act
//! on the packets (frames or lines) that follow; those that change the device (stall, hang up,
//! reset) are carried out by `serve`. Everything random has a seed. This file must not know the
//! port.

use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg64Mcg;
use serde::{Deserialize, Serialize};
use std::str::FromStr;

/// Largest packet that the wrong-version fault takes apart.
const BODY_MAX: usize = 4096;

/// What goes wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum FaultKind {
    /// Bytes out of the middle of the next packet are lost (argument: how many, 1).
    DropBytes,
    /// Whole packets are lost on the line (argument: how many, 1).
    DropFrames,
    /// Bits of the next packet are flipped (argument: how many, 1).
    Flip,
    /// Nothing is sent for a while, then what was kept (argument: milliseconds, 500).
    Stall,
    /// The port goes away and comes back under the same link (argument: milliseconds, 500).
    HangUp,
    /// The device restarts: banner, ticks from 0, not sampling (argument: milliseconds, 300).
    Reset,
    /// The device restarts and the line loses all it says of it (argument: milliseconds, 300).
    QuietReset,
    /// The converter stands: polls are answered, Starts are in vain (argument: milliseconds, 5000).
    Halt,
    /// Random bytes on the line (argument: how many, 64).
    Garbage,
    /// Packets are sent twice (argument: how many packets, 1).
    Duplicate,
    /// Frames say another protocol version, with a sound checksum (argument: how many, 1).
    WrongVersion,
    /// Packets lose their second half with the delimiter, so that the next joins (argument: how many, 1).
    Splice,
    /// Random bytes without a delimiter or line end (argument: how many, 3000).
    Overlong,
}

/// A fault with its time.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FaultAt {
    /// Time from sample 0 in s.
    pub at_s: f64,
    /// What goes wrong.
    pub kind: FaultKind,
    /// How much or how long; absent means the kind's default.
    #[serde(default)]
    pub arg: Option<u32>,
}

/// A fault switch that cannot be read.
#[derive(Debug, thiserror::Error)]
#[error("cannot read fault {found:?}: expected kind@seconds[:argument] with kind one of {KINDS}")]
pub struct BadFault {
    found: String,
}

const KINDS: &str = "drop-bytes, drop-frames, flip, stall, hang-up, reset, quiet-reset, halt, garbage, \
                     duplicate, wrong-version, splice, overlong";

impl FromStr for FaultAt {
    type Err = BadFault;

    fn from_str(text: &str) -> Result<Self, BadFault> {
        let bad = || BadFault { found: text.to_owned() };
        let (kind, when) = text.split_once('@').ok_or_else(bad)?;
        let (at, arg) = when.split_once(':').map_or((when, None), |(at, arg)| (at, Some(arg)));
        let kind = serde_json::from_value(serde_json::Value::from(kind)).map_err(|_| bad())?;
        let at_s: f64 = at.parse().map_err(|_| bad())?;
        let arg = arg.map(str::parse).transpose().map_err(|_| bad())?;
        if (0.0..=1e7).contains(&at_s) { Ok(Self { at_s, kind, arg }) } else { Err(bad()) }
    }
}

impl FaultAt {
    /// The argument, or the kind's default.
    #[must_use]
    pub fn amount(&self) -> u32 {
        let default = match self.kind {
            FaultKind::Stall | FaultKind::HangUp => 500,
            FaultKind::Reset | FaultKind::QuietReset => 300,
            FaultKind::Halt => 5000,
            FaultKind::Garbage => 64,
            FaultKind::Overlong => 3000,
            _ => 1,
        };
        self.arg.unwrap_or(default)
    }
}

/// Faults in the order of their times.
#[derive(Debug, Clone, Default)]
pub struct Schedule {
    waiting: Vec<FaultAt>,
}

impl Schedule {
    /// A schedule of any faults in any order.
    #[must_use]
    pub fn new(mut faults: Vec<FaultAt>) -> Self {
        faults.sort_by(|a, b| b.at_s.total_cmp(&a.at_s));
        Self { waiting: faults }
    }

    /// Takes the next fault that is due at a time.
    pub fn due(&mut self, time_s: f64) -> Option<FaultAt> {
        self.waiting.pop_if(|fault| fault.at_s <= time_s)
    }
}

/// What the line does to packets.
#[derive(Debug, Clone)]
pub struct LineFaults {
    random: Pcg64Mcg,
    drop_bytes: u32,
    drop_frames: u32,
    flips: u32,
    garbage: u32,
    duplicates: u32,
    wrong_versions: u32,
    splices: u32,
    overlong: u32,
}

impl LineFaults {
    /// A sound line.
    #[must_use]
    pub fn new(seed: u64) -> Self {
        Self {
            random: Pcg64Mcg::seed_from_u64(seed ^ 0xfa17),
            drop_bytes: 0,
            drop_frames: 0,
            flips: 0,
            garbage: 0,
            duplicates: 0,
            wrong_versions: 0,
            splices: 0,
            overlong: 0,
        }
    }

    /// Arms a fault; it acts on the packets that follow. Faults of the device are not taken.
    pub fn arm(&mut self, fault: FaultAt) {
        let amount = fault.amount();
        match fault.kind {
            FaultKind::DropBytes => self.drop_bytes += amount,
            FaultKind::DropFrames => self.drop_frames += amount,
            FaultKind::Flip => self.flips += amount,
            FaultKind::Garbage => self.garbage += amount,
            FaultKind::Duplicate => self.duplicates += amount,
            FaultKind::WrongVersion => self.wrong_versions += amount,
            FaultKind::Splice => self.splices += amount,
            FaultKind::Overlong => self.overlong += amount,
            FaultKind::Stall
            | FaultKind::HangUp
            | FaultKind::Reset
            | FaultKind::QuietReset
            | FaultKind::Halt => {}
        }
    }

    /// What of a packet arrives at the other end.
    #[must_use]
    pub fn pass(&mut self, packet: Vec<u8>) -> Vec<u8> {
        let mut out = Vec::new();
        if self.garbage > 0 {
            out.extend((0..core::mem::take(&mut self.garbage)).map(|_| 0));
            self.random.fill_bytes(&mut out);
        }
        for _ in 0..core::mem::take(&mut self.overlong) {
            // Above every control character, so neither a delimiter nor a line end.
            out.push(0x20 + self.below(0xe0) as u8);
        }
        if self.drop_frames > 0 {
            self.drop_frames -= 1;
            return out;
        }
        let mut packet = packet;
        if self.wrong_versions > 0
            && let Some(changed) = with_version(&packet, boltscribe_wire::PROTOCOL_VERSION + 1)
        {
            self.wrong_versions -= 1;
            packet = changed;
        }
        for _ in 0..core::mem::take(&mut self.flips) {
            let bit = self.below(packet.len() * 8);
            packet[bit / 8] ^= 1 << (bit % 8);
        }
        if self.drop_bytes > 0 {
            let count = (self.drop_bytes as usize).min(packet.len());
            let from = self.below(packet.len() - count + 1);
            packet.drain(from..from + count);
            self.drop_bytes -= count as u32;
        }
        if self.splices > 0 {
            self.splices -= 1;
            packet.truncate(packet.len() / 2);
        }
        out.extend_from_slice(&packet);
        if self.duplicates > 0 {
            self.duplicates -= 1;
            out.extend_from_slice(&packet);
        }
        out
    }

    fn below(&mut self, limit: usize) -> usize {
        (self.random.next_u64() % limit.max(1) as u64) as usize
    }
}

/// The same frame with another version in its body and a checksum that agrees. None for bytes
/// that are no frame.
fn with_version(frame: &[u8], version: u8) -> Option<Vec<u8>> {
    let stuffed = frame.strip_suffix(&[boltscribe_wire::DELIMITER])?;
    let mut body = [0; BODY_MAX];
    let length = cobs::decode(stuffed, body.get_mut(..stuffed.len())?).ok()?.frame_size();
    let kept = length.checked_sub(boltscribe_wire::CRC_LEN)?;
    *body.first_mut()? = version;
    let crc = boltscribe_wire::crc32(&body[..kept]).to_le_bytes();
    body[kept..length].copy_from_slice(&crc);
    let mut out = vec![0; cobs::max_encoding_length(length)];
    let used = cobs::encode(&body[..length], &mut out);
    out.truncate(used);
    out.push(boltscribe_wire::DELIMITER);
    Some(out)
}
