//! A recording of a rig's line in memory: what a reader would have read, and when.
//!
//! The text format is that of `boltscribed --record`: a first line, notes, settings, then one
//! line an entry with its time in ns. The device is asked who it is, started and polled as SPEC.md
//! section 7 says; a read comes every 1 to 16 ms (bursts of USB) and may end inside a frame. All of
//! it comes from the scenario's seed. This file must not know a clock or a port.

use crate::device::{Device, Protocol};
use crate::faults::{FaultKind, Schedule};
use crate::plan::{Case, lay_over_json};
use crate::scenario::Scenario;
use crate::serve::SIMULATED;
use crate::stream::{Pace, Stream};
use crate::truth::TruthRun;
use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg64Mcg;
use serde_json::{Value, json};
use std::fmt::Write as _;

/// From the open port to sample 0.
const START_NS: u64 = 8_000_000;
const MS: f64 = 1e6;
/// Gates of the settings, s.
const GATES_S: [f64; 2] = [1.0, 3.0];

/// Makes the text of a recording. `date` stands in its head.
///
/// # Errors
/// The case's protocol is neither `framed` nor a line format.
pub fn record(case: &Case, scenario: &Scenario, date: &str) -> Result<String, crate::lines::BadFormat> {
    let protocol = match case.protocol.as_str() {
        "framed" => Protocol::Framed,
        format => Protocol::Lines(format.parse()?),
    };
    let mut settings = settings(scenario, protocol);
    lay_over_json(&mut settings, &case.settings);
    let mut maker = Maker::new(case, scenario, protocol);
    maker.play();
    let mut text = String::from("boltscribe-capture 1\n");
    let rig = &scenario.rig;
    // Writing into a String cannot fail.
    let _ = writeln!(text, "# {SIMULATED}");
    let _ = writeln!(text, "# device: {}, firmware: {}, date: {date}", rig.serial, rig.firmware);
    let _ = writeln!(text, "# shows: {}", case.shows);
    for truth in &maker.truths {
        let _ = writeln!(text, "# played: {}", played(truth));
    }
    let _ = writeln!(text, "settings {settings}");
    let mut reader = Reader::new(case, scenario.seed);
    reader.read(maker.ready, maker.marks, &mut text);
    Ok(text)
}

/// What was played, as far as a measured run can be held against it.
fn played(truth: &TruthRun) -> Value {
    json!({
        "setup": truth.setup, "first_blow_s": truth.first_blow_s, "last_blow_s": truth.last_blow_s,
        "blows": truth.blows, "held_kN": truth.held_kn, "peak_kN": truth.peak_kn,
        "re_pulled": truth.re_pulled,
    })
}

/// Settings of the pipeline that fit the rig.
fn settings(scenario: &Scenario, protocol: Protocol) -> Value {
    let rig = &scenario.rig;
    let mut samples = json!({ "rate_hz": f64::from(rig.rate_hz) });
    let mut kn_per_count = 1.0 / rig.counts_per_kn;
    let instrument = match protocol {
        Protocol::Framed => json!({ "kind": "framed" }),
        Protocol::Lines(format) => {
            let pattern = if format.tick { "{tick},{value}" } else { "{value}" };
            let tick_hz = format.tick.then_some(f64::from(rig.tick_rate_hz));
            if format.kilonewtons {
                kn_per_count = 0.001;
            } else {
                let (count_min, count_max) = rig.count_limits();
                samples["count_min"] = json!(count_min);
                samples["count_max"] = json!(count_max);
            }
            let decimals = if format.kilonewtons { 3 } else { 0 };
            json!({
                "kind": "lines", "pattern": pattern, "tick_hz": tick_hz, "tick_bits": 32,
                "decimals": decimals,
            })
        }
    };
    json!({
        "instrument": instrument,
        "samples": samples,
        "runs": { "gates_s": GATES_S, "range_kN": rig.range_kn },
        "calibration": {
            "id": "invented", "coefficients_kN": [0.0, kn_per_count], "nominal": true,
            "range_kN": rig.range_kn,
        },
    })
}

/// What happens to a line besides bytes.
enum Mark {
    Link(bool),
    Command(String),
}

/// Plays the device's side: what is ready to be read, and when.
struct Maker<'a> {
    case: &'a Case,
    scenario: &'a Scenario,
    framed: bool,
    device: Device,
    schedule: Schedule,
    ready: Vec<(u64, Vec<u8>)>,
    marks: Vec<(u64, Mark)>,
    stalled_until: u64,
    away_until: Option<u64>,
    booting_until: Option<u64>,
    truths: Vec<TruthRun>,
}

impl<'a> Maker<'a> {
    fn new(case: &'a Case, scenario: &'a Scenario, protocol: Protocol) -> Self {
        let mut marks = vec![(0, Mark::Link(true))];
        for command in &case.commands {
            let at = if command.at_s < 0.0 { 1_000_000 } else { START_NS + (command.at_s * 1e9) as u64 };
            marks.push((at, Mark::Command(command.command.to_string())));
        }
        Self {
            case,
            scenario,
            framed: protocol == Protocol::Framed,
            device: Device::new(scenario, protocol, Pace::Free, false, 1.0),
            schedule: Schedule::new(scenario.faults.clone()),
            ready: Vec::new(),
            marks,
            stalled_until: 0,
            away_until: None,
            booting_until: None,
            truths: Vec::new(),
        }
    }

    fn say(&mut self, at: u64, bytes: Vec<u8>) {
        if !bytes.is_empty() {
            let last = self.ready.last().map_or(0, |ready| ready.0);
            self.ready.push((at.max(self.stalled_until).max(last), bytes));
        }
    }

    fn play(&mut self) {
        if self.case.boots {
            self.say(3_000_000, self.device.boot());
        } else if self.framed {
            self.say(3_000_000, self.device.identity().unwrap_or_default());
        }
        let rate = self.scenario.rig.rate_hz;
        self.device.start(rate);
        let hz = f64::from(rate) * (1.0 + self.scenario.rig.ppm * 1e-6);
        let due = |sample: u64| START_NS + (sample as f64 / hz * 1e9) as u64;
        let mut tail = (self.case.tail_s * f64::from(rate)) as u64;
        let mut polled = 0;
        loop {
            let now = due(self.device.stream().map_or(0, Stream::position));
            self.come_back(now, rate);
            self.faults(now);
            if self.framed && self.device.sending() && self.away_until.is_none() && now >= polled {
                polled = now + 1_000_000_000;
                self.say(now, self.device.status().unwrap_or_default());
            }
            let before = self.device.stream().map_or(0, Stream::position);
            let (packet, samples) = self.device.next_packet();
            let after = self.device.stream().map_or(0, Stream::position);
            let taken = self.away_until.is_none();
            if samples > 0 && taken {
                let bytes = self.device.line.pass(packet);
                self.say(due(after) + 100_000, bytes);
            }
            self.device.taken(taken, samples);
            if let Some(stream) = self.device.stream_mut() {
                self.truths.extend(stream.take_done().into_iter().filter_map(|done| done.truth));
                if stream.finished() {
                    tail = tail.saturating_sub(after - before);
                }
                if tail == 0 {
                    break;
                }
            }
        }
        self.marks.sort_by_key(|mark| mark.0);
    }

    fn come_back(&mut self, now: u64, rate_hz: u32) {
        if let Some(until) = self.away_until.take_if(|until| now >= *until) {
            self.marks.push((until, Mark::Link(true)));
            // The reader comes into the middle of a packet, then asks and starts.
            let half = |packet: Vec<u8>| packet[packet.len() / 2..].to_vec();
            self.say(now, self.device.status().map(half).unwrap_or_default());
            if self.framed {
                self.say(now, self.device.identity().unwrap_or_default());
                self.device.start(rate_hz);
            }
        }
        if self.booting_until.take_if(|until| now >= *until).is_some() {
            self.say(now, self.device.boot());
            self.device.start(rate_hz);
        }
    }

    fn faults(&mut self, now: u64) {
        let time_s = self.device.stream().map(|s| s.position() as f64 / s.rate_hz());
        while let Some(fault) = time_s.and_then(|time_s| self.schedule.due(time_s)) {
            let until = now + u64::from(fault.amount()) * 1_000_000;
            match fault.kind {
                FaultKind::Stall => self.stalled_until = until,
                FaultKind::HangUp => {
                    self.marks.push((now, Mark::Link(false)));
                    self.away_until = Some(until);
                }
                FaultKind::Reset => {
                    self.device.reset();
                    self.booting_until = Some(until);
                }
                _ => self.device.line.arm(fault),
            }
        }
    }
}

/// Evenly spread from 0 to 1.
fn uniform(random: &mut Pcg64Mcg) -> f64 {
    (random.next_u64() >> 11) as f64 / (1u64 << 53) as f64
}

/// Reads what is ready, in bursts.
struct Reader {
    random: Pcg64Mcg,
    read_ms: [f64; 2],
    pending: Vec<u8>,
    up: bool,
}

impl Reader {
    fn new(case: &Case, seed: u64) -> Self {
        let random = Pcg64Mcg::seed_from_u64(seed ^ 0xca97);
        Self { random, read_ms: case.read_ms, pending: Vec::new(), up: false }
    }

    fn read(&mut self, ready: Vec<(u64, Vec<u8>)>, marks: Vec<(u64, Mark)>, text: &mut String) {
        let mut ready = ready.into_iter().peekable();
        let mut marks = marks.into_iter().peekable();
        let mut now = 0;
        while ready.peek().is_some() || marks.peek().is_some() || !self.pending.is_empty() {
            let [least, most] = self.read_ms;
            now += ((least + (most - least) * uniform(&mut self.random)) * MS) as u64;
            while let Some((at, mark)) = marks.next_if(|mark| mark.0 <= now) {
                self.take(&mut ready, at);
                let _ = match mark {
                    Mark::Command(json) => writeln!(text, "{at} command {json}"),
                    Mark::Link(up) => {
                        // What was not read is lost with the port.
                        self.pending.clear();
                        self.up = up;
                        writeln!(text, "{at} link {}", if up { "up" } else { "down" })
                    }
                };
            }
            self.take(&mut ready, now);
            if !self.up {
                self.pending.clear();
            }
            let last = ready.peek().is_none();
            self.hand_out(now, last, text);
        }
    }

    fn take(&mut self, ready: &mut std::iter::Peekable<std::vec::IntoIter<(u64, Vec<u8>)>>, until: u64) {
        while let Some((_, bytes)) = ready.next_if(|ready| ready.0 <= until) {
            self.pending.extend(bytes);
        }
    }

    /// One read: all there is, or in one of three cases a part of it.
    fn hand_out(&mut self, now: u64, all: bool, text: &mut String) {
        if self.pending.is_empty() {
            return;
        }
        let mut count = self.pending.len();
        if !all && uniform(&mut self.random) < 1.0 / 3.0 {
            count = 1 + (uniform(&mut self.random) * (count - 1) as f64) as usize;
        }
        let _ = write!(text, "{now} bytes ");
        for byte in self.pending.drain(..count) {
            let _ = write!(text, "{byte:02x}");
        }
        text.push('\n');
    }
}
