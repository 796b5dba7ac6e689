//! What the device will send, made before anything is timed, with the truth about it.
//!
//! The scenario of the virtual rig is played again and again at 20,000 samples a second; the same counts
//! are given as frames of the project's own protocol and as packed 32-bit numbers. All of it is invented.

use super::figure::Outcome;
use std::path::Path;
use virtual_rig::device::{Device, Protocol};
use virtual_rig::stream::Pace;
use virtual_rig::{Scenario, Stream, TruthRun};

/// Samples a second of the device's own time.
pub const RATE_HZ: u32 = 20_000;

/// The frames of a device.
pub struct Feed {
    /// What is played.
    pub scenario: Scenario,
    /// Who the device is, as a frame.
    pub identity: Vec<u8>,
    /// How it is, as a frame.
    pub status: Vec<u8>,
    /// All frames of samples, one after the other.
    pub bytes: Vec<u8>,
    /// Where each frame ends in `bytes`.
    pub ends: Vec<usize>,
    /// Samples in each frame.
    pub samples_a_frame: usize,
    /// Runs that end within the feed, with time for them to be closed.
    pub truth: Vec<TruthRun>,
}

/// The scenario of the file `tools/virtual-rig/scenarios/depot.toml`.
pub fn scenario() -> Outcome<Scenario> {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("tools/virtual-rig/scenarios/depot.toml");
    Ok(Scenario::from_toml(&std::fs::read_to_string(file)?)?)
}

impl Feed {
    /// At least `samples` samples at `rate_hz`, in frames of about 10 ms of a device that runs `speed`
    /// times as fast as its own clock says.
    pub fn make(rate_hz: u32, speed: f64, samples: usize) -> Outcome<Self> {
        let scenario = scenario()?;
        let mut device = Device::new(&scenario, Protocol::Framed, Pace::Free, true, speed);
        let none = || "the virtual rig makes no such frame";
        let identity = device.identity().ok_or_else(none)?;
        let status = device.status().ok_or_else(none)?;
        device.start(rate_hz);
        let samples_a_frame = device.packet_samples();
        let (mut bytes, mut ends, mut truth) = (Vec::with_capacity(samples * 4), Vec::new(), Vec::new());
        while ends.len() * samples_a_frame < samples {
            let (packet, count) = device.next_packet();
            device.taken(true, count);
            bytes.extend_from_slice(&packet);
            ends.push(bytes.len());
            let done = device.stream_mut().map(Stream::take_done).unwrap_or_default();
            truth.extend(done.into_iter().filter_map(|done| done.truth));
        }
        Ok(Self { scenario, identity, status, bytes, ends, samples_a_frame, truth })
    }

    /// Samples in the feed.
    pub fn samples(&self) -> usize {
        self.ends.len() * self.samples_a_frame
    }

    /// The same samples as counts.
    pub fn counts(&self, rate_hz: u32) -> Vec<i32> {
        let mut stream = Stream::new(&self.scenario, f64::from(rate_hz), Pace::Free);
        stream.set_looping(true);
        let mut counts = vec![0; self.samples()];
        stream.fill(&mut counts);
        counts
    }
}
