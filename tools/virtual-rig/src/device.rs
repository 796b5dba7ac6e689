//! The device that samples: a stream with ticks, packed for the line.
//!
//! It is the same physical rig for both kinds of instrument: `framed` packs samples into our
//! frames, `lines` prints them. It knows how many samples should have been made at a time on
//! its own clock, counts what the line could not take, and marks the next frame as an overrun.
//! This file must not know the port or a wall clock.

use crate::faults::LineFaults;
use crate::lines::LineFormat;
use crate::scenario::Scenario;
use crate::stream::{Pace, Stream};
use crate::talk::frame;
use boltscribe_wire as wire;
use wire::{Channels, Identity, Marks, Message, Packing, Rates, Samples, Status};

/// How the device talks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Protocol {
    /// Our frames.
    Framed,
    /// ASCII lines.
    Lines(LineFormat),
}

/// A sampling device.
#[derive(Debug, Clone)]
pub struct Device {
    scenario: Scenario,
    protocol: Protocol,
    pace: Pace,
    looping: bool,
    /// Device seconds a wall second.
    speed: f64,
    stream: Option<Stream>,
    sending: bool,
    sequence: u16,
    /// Tick of the stream's sample 0, counted on modulo 2^32.
    tick_of_zero: u32,
    dropped: u32,
    overrun: bool,
    go_waits: bool,
    counts: Vec<i32>,
    /// What the line does to packets.
    pub line: LineFaults,
}

impl Device {
    /// A device that does not sample yet. `speed` is device seconds a wall second.
    #[must_use]
    pub fn new(scenario: &Scenario, protocol: Protocol, pace: Pace, looping: bool, speed: f64) -> Self {
        Self {
            scenario: scenario.clone(),
            protocol,
            pace,
            looping,
            speed,
            stream: None,
            sending: false,
            sequence: 0,
            tick_of_zero: scenario.rig.first_tick,
            dropped: 0,
            overrun: false,
            go_waits: false,
            counts: Vec::new(),
            line: LineFaults::new(scenario.seed),
        }
    }

    /// The running stream, if sampling has begun.
    #[must_use]
    pub fn stream(&self) -> Option<&Stream> {
        self.stream.as_ref()
    }

    /// The running stream, for taking what is done.
    pub fn stream_mut(&mut self) -> Option<&mut Stream> {
        self.stream.as_mut()
    }

    /// Samples dropped since boot.
    #[must_use]
    pub fn dropped(&self) -> u32 {
        self.dropped
    }

    /// Whether samples are sent.
    #[must_use]
    pub fn sending(&self) -> bool {
        self.sending
    }

    /// Lets a step start out of its turn; before sampling begins nothing can be chosen.
    pub fn go_to(&mut self, step: usize) -> bool {
        self.stream.as_mut().is_some_and(|stream| stream.go_to(step))
    }

    /// Lets the waiting step start, now or as soon as sampling begins.
    pub fn go(&mut self) {
        match &mut self.stream {
            Some(stream) => stream.go(),
            None => self.go_waits = true,
        }
    }

    /// Starts sending at a rate. The rig goes on where it is at the same rate; another rate
    /// starts the current step again, with ticks that go on. Returns whether sample 0 is now.
    pub fn start(&mut self, rate_hz: u32) -> bool {
        self.sending = true;
        self.sequence = 0;
        self.overrun = false;
        let rate = f64::from(rate_hz);
        if self.stream.as_ref().is_some_and(|stream| stream.rate_hz() == rate) {
            return false;
        }
        self.tick_of_zero = self.tick();
        let mut stream = match &self.stream {
            Some(old) => old.at_rate(rate),
            None => Stream::new(&self.scenario, rate, self.pace),
        };
        stream.set_looping(self.looping);
        if core::mem::take(&mut self.go_waits) {
            stream.go();
        }
        self.stream = Some(stream);
        true
    }

    /// Stops sending; the rig itself goes on.
    pub fn stop(&mut self) {
        self.sending = false;
    }

    /// Restarts the device: not sending, nothing dropped yet, ticks from 0.
    pub fn reset(&mut self) {
        self.sending = false;
        self.dropped = 0;
        self.overrun = false;
        self.tick_of_zero = 0u32.wrapping_sub(self.ticks_at(self.position()));
    }

    fn position(&self) -> u64 {
        self.stream.as_ref().map_or(0, Stream::position)
    }

    fn ticks_per_sample(&self) -> u32 {
        self.stream.as_ref().map_or(1, |stream| self.scenario.rig.tick_rate_hz / stream.rate_hz() as u32)
    }

    /// Ticks from sample 0 to a sample, modulo 2^32 as the counter itself.
    fn ticks_at(&self, sample: u64) -> u32 {
        sample.wrapping_mul(u64::from(self.ticks_per_sample())) as u32
    }

    /// Tick of the next sample.
    #[must_use]
    pub fn tick(&self) -> u32 {
        self.tick_of_zero.wrapping_add(self.ticks_at(self.position()))
    }

    /// Samples in one packet: about 10 ms of the wall clock, within what a frame holds.
    #[must_use]
    pub fn packet_samples(&self) -> usize {
        let rate_hz = self.stream.as_ref().map_or(1.0, Stream::rate_hz);
        let most = if self.scenario.rig.bits <= 24 { wire::MAX_SAMPLES_24 } else { wire::MAX_SAMPLES_32 };
        ((rate_hz * self.speed * 0.01) as usize).clamp(1, most)
    }

    /// Makes the next packet of samples, as it leaves the device, and how many samples it
    /// holds. An empty packet while nothing is sent.
    pub fn next_packet(&mut self) -> (Vec<u8>, u32) {
        let count = self.packet_samples();
        let tick = self.tick();
        let step = self.ticks_per_sample();
        let Some(stream) = &mut self.stream else {
            return (Vec::new(), 0);
        };
        self.counts.resize(count, 0);
        let filled = stream.fill(&mut self.counts);
        if !self.sending {
            return (Vec::new(), 0);
        }
        let packet = match self.protocol {
            Protocol::Lines(format) => {
                format.print(tick, step, &self.counts, self.scenario.rig.counts_per_kn)
            }
            Protocol::Framed => self.pack(tick, step, filled.saturated).unwrap_or_default(),
        };
        (packet, count as u32)
    }

    fn pack(&self, first_tick: u32, step: u32, saturated: bool) -> Option<Vec<u8>> {
        let mut bytes = [0; wire::MAX_BODY];
        let narrow = self.scenario.rig.bits <= 24;
        let (packing, data) = if narrow {
            (Packing::Bits24, wire::pack24(&self.counts, &mut bytes).ok()?)
        } else {
            (Packing::Bits32, wire::pack32(&self.counts, &mut bytes).ok()?)
        };
        let mut marks = if saturated { Marks::SATURATED } else { Marks::NONE };
        if self.overrun {
            marks = marks.union(Marks::OVERRUN);
        }
        let samples = Samples::new(self.sequence, first_tick, step, marks, packing, data).ok()?;
        frame(&Message::Samples(samples))
    }

    /// Says that the packet last made was taken by the line, or dropped with its samples.
    pub fn taken(&mut self, taken: bool, samples: u32) {
        if samples == 0 {
            return;
        }
        if taken {
            self.sequence = self.sequence.wrapping_add(1);
            self.overrun = false;
        } else {
            self.dropped = self.dropped.saturating_add(samples);
            self.overrun = true;
        }
    }

    /// The identity as a frame.
    #[must_use]
    pub fn identity(&self) -> Option<Vec<u8>> {
        let rig = &self.scenario.rig;
        let (count_min, count_max) = rig.count_limits();
        // A scale below 1 cannot be said: slow motion counts as real time.
        let scale = self.speed.round().clamp(1.0, f64::from(wire::TIME_SCALE_MAX));
        frame(&Message::Identity(Identity {
            serial: &rig.serial,
            firmware: &rig.firmware,
            adc_bits: rig.bits,
            count_min,
            count_max,
            tick_rate_hz: rig.tick_rate_hz,
            time_scale: scale as u16,
            rates_hz: Rates::new(&rig.rates_hz).ok()?,
            channels: Channels::NONE,
        }))
    }

    /// The status as a frame.
    #[must_use]
    pub fn status(&self) -> Option<Vec<u8>> {
        frame(&Message::Status(Status {
            tick: self.tick(),
            dropped: self.dropped,
            supply_mV: Some(5000),
            temperature_centi_c: Some(2350),
            channel_values: [None; wire::MAX_CHANNELS],
        }))
    }

    /// What the device says after boot.
    #[must_use]
    pub fn boot(&self) -> Vec<u8> {
        let name = &self.scenario.rig.firmware;
        match self.protocol {
            Protocol::Lines(format) => {
                let end = format.ending.text();
                format!("{name}: simulated rig, all numbers invented{end}boot ok{end}").into_bytes()
            }
            Protocol::Framed => {
                let mut bytes = format!("\r\n{name}: simulated rig, all numbers invented\r\n").into_bytes();
                bytes.push(wire::DELIMITER);
                bytes.extend(self.identity().unwrap_or_default());
                bytes
            }
        }
    }
}
