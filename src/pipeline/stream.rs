//! From pieces of a stream to runs, blocks and events: tension, finder, tags, torque.
//!
//! Must not know bytes or instruments: pieces come in order from `samples`.

mod pace;
mod rest;
mod tags;

use super::blocks::Blocks;
use super::live::Live;
use super::messages::{Block, Counters, Event, Output, RunRow, Settings};
use boltscribe_analysis::results::{Closed, Flag, RunResult, result::Context};
use boltscribe_model::constants::CalibrationError;
use boltscribe_model::control::Command;
use boltscribe_model::time::{LowerEnvelope, MonoNs};
use boltscribe_model::units::{Counts, Newtons};
use boltscribe_signal::runs::{Basis, Finder, Found, Opening, RELEASE_MAX_S, Record, Rest, Timing};
use boltscribe_signal::samples::{Clock, Piece};
use boltscribe_signal::tension::Converter;
use tags::Tags;

/// An open run's codes are handed out at least this often.
const FLUSH_NS: u64 = 100_000_000;

/// Everything behind the assembler.
pub struct Stream {
    settings: Settings,
    converter: Option<Converter>,
    range: Option<(i32, i32)>,
    rate_hz: Option<f64>,
    timing: Timing,
    finder: Option<Finder>,
    blocks: Option<Blocks>,
    rig_zero: Option<Newtons>,
    /// Below which tension must fall after a run that was broken off, and when it was.
    release: Option<(Newtons, MonoNs)>,
    resting: rest::Resting,
    tags: Tags,
    next: u64,
    now: MonoNs,
    flushed: MonoNs,
    arrivals: Option<LowerEnvelope>,
    /// First sample of the present stretch.
    began: u64,
    /// Rate and arrivals of the stretch before: its last run is announced when it is over.
    past: Option<(f64, LowerEnvelope)>,
    pace: pace::Pace,
    live: Live,
    tension: Vec<f32>,
    clipped: Vec<usize>,
    found: Vec<Found>,
    runs: u32,
    announced: u64,
    missing: u64,
    used: u64,
}

impl Stream {
    /// At the start of a stream.
    ///
    /// # Errors
    /// A calibration that cannot be used.
    pub fn new(settings: Settings) -> Result<Self, CalibrationError> {
        let converter = settings.calibration.as_ref().map(Converter::new).transpose()?;
        Ok(Self {
            converter,
            settings,
            range: None,
            rate_hz: None,
            timing: Timing::Device,
            finder: None,
            blocks: None,
            rig_zero: None,
            release: None,
            resting: rest::Resting::default(),
            tags: Tags::default(),
            next: 0,
            now: MonoNs(0),
            flushed: MonoNs(0),
            arrivals: None,
            began: 0,
            past: None,
            pace: pace::Pace::default(),
            live: Live::default(),
            tension: Vec::new(),
            clipped: Vec::new(),
            found: Vec::new(),
            runs: 0,
            announced: 0,
            missing: 0,
            used: 0,
        })
    }

    /// The pipeline's clock.
    pub fn set_now(&mut self, at: MonoNs) {
        self.now = self.now.max(at);
    }

    /// A run has begun and not closed.
    #[must_use]
    pub fn run_open(&self) -> bool {
        self.finder.as_ref().is_some_and(Finder::open)
    }

    /// Adds this room's accounts.
    pub fn count(&self, counters: &mut Counters) {
        counters.samples_missing = self.missing;
        counters.samples_used = self.used + self.blocks.as_ref().map_or(0, |b| b.used);
        counters.runs = self.announced;
    }

    /// Host time of a moment of the stream.
    #[must_use]
    pub fn mono_at(&self, stream_s: f64) -> Option<MonoNs> {
        let on = |rate_hz: f64, arrivals: &LowerEnvelope| {
            let at = arrivals.line()?.at(stream_s * rate_hz);
            Some(MonoNs((at * 1e9).max(0.0) as u64))
        };
        let began = |rate_hz: &f64| stream_s * rate_hz >= self.began as f64;
        let now = self.rate_hz.filter(began).zip(self.arrivals.as_ref()).and_then(|(r, a)| on(r, a));
        let past = self.past.as_ref().and_then(|(r, a)| on(*r, a));
        // A moment to come belongs to a stretch of another rate.
        now.filter(|at| *at <= self.now).or(past).or(now)
    }

    /// Takes one piece that arrived at `at`.
    pub fn piece(&mut self, at: MonoNs, piece: Piece<'_>, out: &mut Vec<Output>) {
        match piece {
            Piece::Rate { rate_hz, clock } => self.rate(rate_hz, clock, out),
            Piece::Counts { counts, .. } => self.counts(at, counts, out),
            Piece::Gap { missing } => self.gap(missing, out),
            Piece::Break => self.break_off(out),
            Piece::Range { count_min, count_max } => {
                self.range = Some((count_min, count_max));
                if let Some(converter) = &mut self.converter {
                    converter.set_range(count_min, count_max);
                }
            }
            Piece::Identity(identity) => {
                self.pace.scale(identity.time_scale);
                out.push(Output::Event(Event::from(identity)));
            }
            Piece::Status(s) => out.push(Output::Event(Event::Status {
                dropped: s.dropped,
                supply_v: s.supply_mv.map(|mv| f64::from(mv) / 1000.0),
                temperature_c: s.temperature_centi_c.map(|c| f64::from(c) / 100.0),
            })),
            Piece::Fault { .. } => {}
        }
    }

    fn rate(&mut self, rate_hz: f64, clock: Clock, out: &mut Vec<Output>) {
        self.break_off(out);
        self.timing = if clock == Clock::Device { Timing::Device } else { Timing::Host };
        self.rate_hz = Some(rate_hz);
        self.blocks = Some(Blocks::new(rate_hz, self.next));
        self.arrivals = Some(LowerEnvelope::new(rate_hz, 1.0 / rate_hz));
        self.pace.begin((clock == Clock::Device).then_some(rate_hz));
        self.began = self.next;
        if self.converter.is_some() {
            let mut finder =
                Finder::new(self.settings.runs.clone(), rate_hz, self.timing, self.next, self.runs);
            if let Some(zero) = self.rig_zero {
                finder.set_rig_zero(zero);
            }
            finder.set_rest(self.resting.awaited);
            if let Some((below, since)) = self.release.take() {
                if self.now.since_ns(since) as f64 <= RELEASE_MAX_S * 1e9 {
                    finder.await_release(below);
                } else {
                    finder.set_rest(Rest::Missed { below });
                }
            }
            self.finder = Some(finder);
        }
        out.push(Output::Event(Event::Rate { rate_hz }));
    }

    fn counts(&mut self, at: MonoNs, counts: &[i32], out: &mut Vec<Output>) {
        let Some(blocks) = &mut self.blocks else { return };
        let mut kept = Vec::new();
        blocks.push(counts, &mut kept);
        self.next += counts.len() as u64;
        self.pace.push(self.next, at.seconds());
        if let Some(arrivals) = &mut self.arrivals {
            arrivals.push(self.next as f64, at.seconds());
        }
        if let (Some(converter), Some(finder)) = (&self.converter, &mut self.finder) {
            converter.convert(counts, &mut self.tension, &mut self.clipped);
            finder.push(&self.tension, &self.clipped, &mut self.found);
            self.rig_zero = finder.rig_zero();
            self.look_at_rest(out);
        } else {
            self.tension.clear();
        }
        self.live.push(&self.tension, counts);
        out.extend(kept.into_iter().map(Output::Block));
        self.settle(out);
        if self.blocks.as_ref().is_some_and(Blocks::full) {
            self.hand_out(out);
        }
    }

    /// Hands out an open run's codes as far as it is sure that they belong to it, so that where reads end
    /// changes nothing.
    fn hand_out(&mut self, out: &mut Vec<Output>) {
        let sure = self.finder.as_ref().map_or(self.next, Finder::settled);
        self.with_blocks(out, |b, kept| b.flush(sure, kept));
    }

    fn gap(&mut self, missing: u64, out: &mut Vec<Output>) {
        self.missing += missing;
        let Some(finder) = &mut self.finder else {
            self.end_blocks(out);
            self.next += missing;
            self.blocks = self.rate_hz.map(|rate_hz| Blocks::new(rate_hz, self.next));
            return;
        };
        let bridged = finder.bridges(missing);
        finder.gap(missing, &mut self.found);
        if bridged {
            if let Some(blocks) = &mut self.blocks {
                blocks.gap(missing);
            }
            self.next += missing;
            self.settle(out);
        } else {
            self.settle(out);
            self.end_blocks(out);
            self.pace.forget();
            self.next += missing;
            self.blocks = self.rate_hz.map(|rate_hz| Blocks::new(rate_hz, self.next));
        }
    }

    /// Finishes what is open; the next samples belong to another stretch.
    fn break_off(&mut self, out: &mut Vec<Output>) {
        if let Some(finder) = &mut self.finder {
            finder.break_off(&mut self.found);
            self.runs = finder.runs();
            self.release = finder.awaited_release().map(|below| (below, self.now));
            self.resting.awaited = finder.awaited_rest().0;
        }
        self.settle(out);
        self.end_blocks(out);
        self.finder = None;
        if let Some(past) = self.rate_hz.take().zip(self.arrivals.take()) {
            self.past = Some(past);
        }
    }

    fn end_blocks(&mut self, out: &mut Vec<Output>) {
        if let Some(mut blocks) = self.blocks.take() {
            let mut kept = Vec::new();
            blocks.finish(&mut kept);
            self.used += blocks.used;
            out.extend(kept.into_iter().map(Output::Block));
        }
    }

    /// The stream ends.
    pub fn finish(&mut self, out: &mut Vec<Output>) {
        self.break_off(out);
    }

    /// After a read or a tick: hand out an open run's codes, and the live reading.
    pub fn after_bytes(&mut self, at: MonoNs, out: &mut Vec<Output>) {
        if at.since_ns(self.flushed) >= FLUSH_NS {
            self.flushed = at;
            self.hand_out(out);
        }
        if let Some(rate_hz) = self.rate_hz {
            let zero = self.rig_zero.unwrap_or(Newtons(0.0));
            out.extend(self.live.take(at, self.next as f64 / rate_hz, zero).map(Output::Event));
        }
    }

    /// Obeys a command.
    pub fn command(&mut self, command: Command, out: &mut Vec<Output>) {
        match command {
            Command::Use { in_force } => {
                self.tags.tell(self.next, in_force.clone());
                out.push(Output::Event(Event::InForce(Box::new(in_force))));
            }
            Command::Zero => match self.finder.as_ref().map(Finder::steady_reading) {
                Some(Ok(zero)) => {
                    // A person says that nothing pulls.
                    self.await_rest(Rest::Seen, out);
                    self.zeroed(zero, out);
                }
                Some(Err(why)) => refuse(&format!("cannot take a zero: {why}"), out),
                None => refuse("cannot take a zero: expected a calibration and samples, found none", out),
            },
            Command::RestoreZero { zero_kn } => self.zeroed(Newtons::from_kn(zero_kn), out),
            Command::AwaitRest { rest_counts } => self.await_rest_at(rest_counts, out),
            Command::Calibrate { calibration } => match Converter::new(&calibration) {
                Ok(converter) => {
                    let rate = self.rate_hz.map(|r| (r, self.timing));
                    self.break_off(out);
                    self.converter = Some(converter);
                    if let (Some((count_min, count_max)), Some(c)) = (self.range, &mut self.converter) {
                        c.set_range(count_min, count_max);
                    }
                    self.settings.calibration = Some(calibration);
                    (self.rig_zero, self.release) = (None, None);
                    self.resting.awaited = self.rest_again();
                    if let Some((rate_hz, timing)) = rate {
                        let clock = if timing == Timing::Device { Clock::Device } else { Clock::Host };
                        self.rate(rate_hz, clock, out);
                    }
                }
                Err(error) => refuse(&error.to_string(), out),
            },
        }
    }

    fn zeroed(&mut self, zero: Newtons, out: &mut Vec<Output>) {
        self.rig_zero = Some(zero);
        if let Some(finder) = &mut self.finder {
            finder.set_rig_zero(zero);
        }
        out.push(Output::Event(Event::Zeroed { zero }));
    }

    /// Turns what the finder found into outputs.
    fn settle(&mut self, out: &mut Vec<Output>) {
        if self.found.is_empty() {
            return;
        }
        let rate_hz = self.rate_hz.unwrap_or(1.0);
        for found in std::mem::take(&mut self.found) {
            match found {
                Found::Opened { run, keep_from, crossing, opening } => {
                    self.runs = run;
                    let from = (self.tags.at(crossing).0, Some(Opening { range: self.range, ..opening }));
                    self.with_blocks(out, |b, kept| b.open(run, keep_from, from, kept));
                    out.push(Output::Event(Event::Started { run_seq: run, at_s: crossing as f64 / rate_hz }));
                }
                Found::Blow { run, sample } => {
                    out.push(Output::Event(Event::Blow { run_seq: run, at_s: sample as f64 / rate_hz }));
                }
                Found::Announced { run, record, basis } => {
                    self.announced += 1;
                    let mut result = RunResult::new(run, *record.clone(), self.context(&record));
                    if self.pace.differs(record.first_blow_s) {
                        result.flags.push(Flag::DeviceClock);
                    }
                    result.basis = Some(Basis { range: self.range, ..basis });
                    self.hand_out(out);
                    let taken = result.in_force.attempt.clone();
                    out.push(Output::Run(RunRow::Announced(Box::new(result))));
                    let newest = taken.and_then(|taken| self.tags.taken(first_blow_of(&record), &taken));
                    out.extend(newest.map(|tags| Output::Event(Event::InForce(Box::new(tags)))));
                }
                Found::Closed { run, closing } => {
                    out.push(Output::Run(RunRow::Closed(Closed::new(run, closing))));
                }
                Found::KeptUntil { run, sample } => self.with_blocks(out, |b, kept| b.end(run, sample, kept)),
            }
        }
    }

    fn with_blocks(&mut self, out: &mut Vec<Output>, act: impl FnOnce(&mut Blocks, &mut Vec<Block>)) {
        if let Some(blocks) = &mut self.blocks {
            let mut kept = Vec::new();
            act(blocks, &mut kept);
            out.extend(kept.into_iter().map(Output::Block));
        }
    }

    fn context(&self, record: &Record) -> Context {
        let (in_force, setup_changed) = self.tags.at(first_blow_of(record));
        let calibration = self.settings.calibration.as_ref();
        Context {
            in_force,
            setup_changed,
            calibration: calibration.map_or_else(String::new, |c| c.id.clone()),
            nominal: calibration.is_some_and(|c| c.nominal),
        }
    }

    /// Converts codes of a stored run as this stream would (for recovery).
    #[must_use]
    pub fn newtons(&self, counts: Counts) -> Option<Newtons> {
        self.converter.as_ref().map(|c| c.newtons(counts))
    }
}

/// Number of the sample at a run's first blow.
fn first_blow_of(record: &Record) -> u64 {
    (record.first_blow_s * record.rate_hz).round().max(0.0) as u64
}

fn refuse(reason: &str, out: &mut Vec<Output>) {
    out.push(Output::Event(Event::Refused { reason: reason.to_owned() }));
}
