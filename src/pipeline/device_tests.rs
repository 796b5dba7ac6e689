//! The conversation with devices that SPEC.md allows and that are slow, and with those that stop sampling.
//!
//! The device here is written from SPEC.md alone, on the wire crate; it invents its counts.

use super::*;
use boltscribe_wire::{
    Channels, Chunk, Deframer, Identity, MAX_BODY, MAX_FRAME, Marks, Message, Packing, Rates, SCRATCH_LEN,
    Samples, Status, decode, encode, pack24,
};

/// The test's time goes on in steps of this, nanoseconds.
const STEP_NS: u64 = 5_000_000;
const TICK_HZ: u64 = 1_000_000;

/// A device: what it does, and what was asked of it.
struct Device {
    /// Its one rate, samples/s.
    rate_hz: u32,
    /// Samples of a frame.
    frame: usize,
    /// From a Start to the first sample, nanoseconds.
    settle_ns: u64,
    /// Its converter stands, whatever is asked.
    halted: bool,
    /// When it was started, and its next sample's time.
    sampling: Option<u64>,
    booted_ns: u64,
    waiting: usize,
    sequence: u16,
    starts_ns: Vec<u64>,
    ear: Deframer<{ MAX_FRAME - 1 }>,
}

impl Device {
    fn new(rate_hz: u32, frame: usize, settle_ns: u64) -> Self {
        Self {
            rate_hz,
            frame,
            settle_ns,
            halted: false,
            sampling: None,
            booted_ns: 0,
            waiting: 0,
            sequence: 0,
            starts_ns: Vec::new(),
            ear: Deframer::new(),
        }
    }

    fn tick(&self, at_ns: u64) -> u32 {
        (at_ns.saturating_sub(self.booted_ns) * TICK_HZ / 1_000_000_000) as u32
    }

    /// It restarts, and the line loses its Identity.
    fn boot_unheard(&mut self, at_ns: u64) {
        (self.booted_ns, self.sampling, self.waiting) = (at_ns, None, 0);
    }

    fn identity(&self) -> Vec<u8> {
        frame_of(&Message::Identity(Identity {
            serial: "TEST-1",
            firmware: "virtual-rig test",
            adc_bits: 24,
            count_min: -8_388_608,
            count_max: 8_388_607,
            tick_rate_hz: TICK_HZ as u32,
            time_scale: 1,
            rates_hz: Rates::new(&[self.rate_hz]).unwrap(),
            channels: Channels::NONE,
        }))
    }

    fn hear(&mut self, at_ns: u64, bytes: &[u8]) -> Vec<u8> {
        let (mut rest, mut said) = (bytes, Vec::new());
        let mut ear = std::mem::replace(&mut self.ear, Deframer::new());
        while let Some(chunk) = ear.push(&mut rest) {
            let Chunk::Frame(frame) = chunk else { continue };
            match decode(frame, &mut [0; SCRATCH_LEN]) {
                Ok(Message::Identify) => said.extend(self.identity()),
                Ok(Message::PollStatus) => said.extend(frame_of(&Message::Status(Status {
                    tick: self.tick(at_ns),
                    dropped: 0,
                    supply_mV: None,
                    temperature_centi_c: None,
                    channel_values: [None; 4],
                }))),
                Ok(Message::Start(_)) => {
                    self.starts_ns.push(at_ns);
                    self.sampling = (!self.halted).then_some(at_ns + self.settle_ns);
                    (self.sequence, self.waiting) = (0, 0);
                }
                _ => {}
            }
        }
        self.ear = ear;
        said
    }

    /// What it sends of the samples due by now.
    fn samples(&mut self, at_ns: u64) -> Vec<u8> {
        let mut said = Vec::new();
        let period_ns = 1_000_000_000 / u64::from(self.rate_hz);
        while let Some(next_ns) = self.sampling.filter(|next| !self.halted && *next <= at_ns) {
            self.waiting += 1;
            self.sampling = Some(next_ns + period_ns);
            if self.waiting < self.frame {
                continue;
            }
            let first_ns = next_ns - (self.frame as u64 - 1) * period_ns;
            let mut room = [0; MAX_BODY];
            let data = pack24(&vec![1000; self.frame], &mut room).unwrap();
            let step = (TICK_HZ / u64::from(self.rate_hz)) as u32;
            let (tick, marks) = (self.tick(first_ns), Marks::NONE);
            let samples = Samples::new(self.sequence, tick, step, marks, Packing::Bits24, data).unwrap();
            said.extend(frame_of(&Message::Samples(samples)));
            (self.waiting, self.sequence) = (0, self.sequence.wrapping_add(1));
        }
        said
    }
}

fn frame_of(message: &Message<'_>) -> Vec<u8> {
    let mut out = [0; MAX_FRAME];
    encode(message, &mut out).unwrap().to_vec()
}

/// A pipeline and a device on one line.
struct Line {
    pipeline: Pipeline,
    device: Device,
    now_ns: u64,
    /// What the host said, with its time.
    said: Vec<(u64, Output)>,
}

impl Line {
    fn new(device: Device) -> Self {
        let settings = Settings {
            instrument: frames::Settings::Framed,
            samples: boltscribe_signal::samples::Settings::default(),
            runs: boltscribe_signal::runs::Settings::default(),
            calibration: None,
        };
        let mut line =
            Self { pipeline: Pipeline::new(settings).unwrap(), device, now_ns: 0, said: Vec::new() };
        let out = line.pipeline.push(Input::Link { at: MonoNs(0), state: LinkState::Up });
        line.take(out);
        line
    }

    fn take(&mut self, out: Vec<Output>) {
        let mut answers = Vec::new();
        for output in out {
            if let Output::Send(bytes) = &output {
                answers.extend(self.device.hear(self.now_ns, bytes));
            }
            self.said.push((self.now_ns, output));
        }
        self.bring(&answers);
    }

    fn bring(&mut self, bytes: &[u8]) {
        if !bytes.is_empty() {
            let out = self.pipeline.push(Input::Bytes { at: MonoNs(self.now_ns), bytes });
            self.take(out);
        }
    }

    /// Lets time pass.
    fn pass(&mut self, seconds: f64) {
        let end_ns = self.now_ns + (seconds * 1e9) as u64;
        while self.now_ns < end_ns {
            self.now_ns += STEP_NS;
            let bytes = self.device.samples(self.now_ns);
            self.bring(&bytes);
            if self.now_ns.is_multiple_of(50_000_000) {
                let out = self.pipeline.push(Input::Tick { at: MonoNs(self.now_ns) });
                self.take(out);
            }
        }
    }

    fn samples_in(&self) -> u64 {
        self.pipeline.counters().samples_in
    }
}

#[test]
fn a_device_that_settles_for_longer_than_half_a_second_is_started_once_and_delivers() {
    for settle_s in [0.6, 1.5, 1.9] {
        let mut line = Line::new(Device::new(2000, 20, (settle_s * 1e9) as u64));
        line.pass(5.0);
        assert_eq!(line.device.starts_ns.len(), 1, "settles for {settle_s} s");
        let due = ((5.0 - settle_s - 0.05) * 2000.0) as u64;
        assert!(line.samples_in() >= due, "settles for {settle_s} s: {} of {due}", line.samples_in());
    }
}

#[test]
fn the_longest_frame_at_a_low_rate_is_waited_for() {
    // 64 samples at 80/s take 0.8 s; 677, the longest frame of SPEC.md, 8.5 s.
    for frame in [64, 677] {
        let mut line = Line::new(Device::new(80, frame, 600_000_000));
        line.pass(30.0);
        assert_eq!(line.device.starts_ns.len(), 1, "frames of {frame}");
        let due = ((30.0 - 0.7) * 80.0) as u64 / frame as u64 * frame as u64;
        assert!(line.samples_in() >= due, "frames of {frame}: {} of {due}", line.samples_in());
    }
}

#[test]
fn a_device_that_settles_for_longer_than_the_first_patience_is_waited_for_longer_each_time() {
    let mut line = Line::new(Device::new(2000, 20, 4_000_000_000));
    line.pass(12.0);
    let starts = &line.device.starts_ns;
    assert_eq!(starts.len(), 2, "{starts:?}");
    assert!(line.samples_in() > 10_000, "{}", line.samples_in());
}

/// What was said after a time that a store would keep: each is a row.
fn rows_after(line: &Line, from_ns: u64) -> Vec<String> {
    let row = |output: &Output| match output {
        Output::Fault(fault) => Some(fault.kind.clone()),
        Output::Event(Event::Stale { stale }) => Some(format!("stale {stale}")),
        _ => None,
    };
    line.said.iter().filter(|(at, _)| *at > from_ns).filter_map(|(_, output)| row(output)).collect()
}

/// The last word on whether the device answers without samples.
fn unsampled(line: &Line) -> bool {
    let last = line.said.iter().rev().find_map(|(_, output)| match output {
        Output::Event(Event::Unsampled { answers }) => Some(*answers),
        _ => None,
    });
    last == Some(true)
}

#[test]
fn a_restart_whose_identity_is_lost_is_seen_in_the_tick_of_the_next_status() {
    // After 10 s; and after 50 min, where the tick of 2^32 µs seems to have run ahead.
    for before_s in [10.0, 3000.0] {
        let mut line = Line::new(Device::new(80, 8, 0));
        line.pass(before_s);
        let (boot_ns, starts) = (line.now_ns, line.device.starts_ns.len());
        line.device.boot_unheard(boot_ns);
        line.pass(3.0);
        let again = &line.device.starts_ns[starts..];
        assert_eq!(again.len(), 1, "{again:?}");
        // A status a second, a quarter of a second, two frames of 0.1 s, a tick of 0.05 s.
        assert!(again[0] - boot_ns <= 1_550_000_000, "after {} ns", again[0] - boot_ns);
        let before = line.samples_in();
        line.pass(10.0);
        assert!(line.samples_in() >= before + 790, "samples flow again");
        let rows = rows_after(&line, boot_ns);
        assert_eq!(rows.iter().filter(|row| *row == "started-again").count(), 1, "{rows:?}");
        assert!(rows.len() <= 3, "{rows:?}");
    }
}

#[test]
fn a_device_that_answers_without_sampling_is_started_ever_more_rarely_and_reported_once() {
    let mut line = Line::new(Device::new(2000, 20, 0));
    line.pass(5.0);
    let halt_ns = line.now_ns;
    line.device.halted = true;
    line.pass(100.0);
    // 2 s and 677 samples of 0.5 ms, then doubling to 60 s, each with a tick of 0.05 s.
    let waits: Vec<f64> = line.device.starts_ns.windows(2).map(|w| (w[1] - w[0]) as f64 / 1e9).collect();
    assert_eq!(waits.len(), 5, "{waits:?}");
    for (wait, due) in waits[1..].iter().zip([4.68, 9.35, 18.71, 37.42]) {
        assert!((wait - due).abs() < 0.06, "{waits:?}");
    }
    assert_eq!(rows_after(&line, halt_ns), ["stale true", "started-again"]);
    assert!(unsampled(&line), "shown while it lasts");
    line.device.halted = false;
    line.pass(70.0);
    assert!(!unsampled(&line));
    assert_eq!(rows_after(&line, halt_ns), ["stale true", "started-again", "stale false"]);
}

#[test]
fn a_slow_stream_of_long_frames_is_not_stale_between_them() {
    let mut line = Line::new(Device::new(80, 64, 0));
    line.pass(2.0);
    let from_ns = line.now_ns;
    line.pass(20.0);
    assert_eq!(rows_after(&line, from_ns), Vec::<String>::new());
}
