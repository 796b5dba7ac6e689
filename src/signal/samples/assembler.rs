//! Puts frames in order: spacing, gaps, repeats, restarts.
//!
//! Must not know calibration or runs; what it hands on is described in `piece`.

use super::bounds::Bounds;
use super::piece::{Clock, Piece};
use super::readings::{Readings, Step};
use super::settings::{RATE_MAX_HZ, Settings};
use super::ticks::{Follower, Place};
use crate::frames::{self, Frame, Identity, SampleFrame};
use boltscribe_model::time::MonoNs;
use std::collections::BTreeMap;

/// Readings after which a refined host-clock rate is looked at.
const REFINE_EVERY: u64 = 400;
/// A refined rate is taken over when it differs by more than this share.
const REFINE_BY: f64 = 0.001;

/// From frames to the pieces of a stream.
pub struct Assembler {
    follower: Follower,
    readings: Readings,
    tick_rate_hz: Option<u32>,
    ticks_per_sample: u32,
    rate_hz: Option<f64>,
    identity: Option<Identity>,
    range_told: bool,
    bounds: Bounds,
    settings: Settings,
    readings_seen: u64,
    /// Samples taken from frames.
    pub samples_in: u64,
    /// Samples not handed on, by reason.
    pub dropped: BTreeMap<&'static str, u64>,
}

impl Assembler {
    /// For an instrument.
    #[must_use]
    pub fn new(instrument: &frames::Settings, settings: &Settings) -> Self {
        let readings = match instrument {
            frames::Settings::Lines(l) => {
                let has_tick = l.pattern.contains("{tick}");
                Readings::new(l.tick_hz.filter(|_| has_tick), l.tick_bits, settings.rate_hz)
            }
            frames::Settings::Framed => Readings::new(None, 32, settings.rate_hz),
        };
        Self {
            follower: Follower::default(),
            readings,
            tick_rate_hz: None,
            ticks_per_sample: 0,
            rate_hz: None,
            identity: None,
            range_told: false,
            bounds: Bounds::default(),
            settings: settings.clone(),
            readings_seen: 0,
            samples_in: 0,
            dropped: BTreeMap::new(),
        }
    }

    /// The rate, once known.
    #[must_use]
    pub fn rate_hz(&self) -> Option<f64> {
        self.rate_hz
    }

    /// Device seconds in a second here.
    #[must_use]
    pub fn time_scale(&self) -> u16 {
        self.identity.as_ref().map_or(1, |i| i.time_scale)
    }

    /// Samples held back while the spacing is learned.
    #[must_use]
    pub fn held(&self) -> u64 {
        self.readings.held()
    }

    /// Takes a frame that arrived at `at`. `may_refine`: no run is open, so a better host rate may be
    /// taken over. `asked`: an identity was asked for; one that comes unasked means a restart.
    pub fn push(
        &mut self,
        at: MonoNs,
        frame: &Frame<'_>,
        may_refine: bool,
        asked: bool,
        sink: &mut dyn FnMut(Piece<'_>),
    ) {
        match frame {
            Frame::Samples(samples) => self.samples(samples, sink),
            Frame::Reading { tick, count } => self.reading(at, *tick, *count, may_refine, sink),
            Frame::Identity(identity) => self.identified(identity, asked, sink),
            Frame::Status(status) => sink(Piece::Status(status)),
            Frame::Refusal { fault, about, detail } => sink(Piece::Fault {
                kind: "refused",
                detail: format!("the device refused message {about:#04x}: fault {fault}, detail {detail}"),
            }),
        }
    }

    /// The port was lost: what follows is another stretch of time.
    pub fn link_down(&mut self, sink: &mut dyn FnMut(Piece<'_>)) {
        self.forget();
        sink(Piece::Break);
    }

    fn forget(&mut self) {
        self.follower.restart();
        let held = self.readings.held();
        self.drop("before-rate", held);
        self.readings.restart();
        self.rate_hz = None;
    }

    fn drop(&mut self, reason: &'static str, samples: u64) {
        if samples > 0 {
            *self.dropped.entry(reason).or_default() += samples;
        }
    }

    fn identified(&mut self, identity: &Identity, asked: bool, sink: &mut dyn FnMut(Piece<'_>)) {
        let changed = self.identity.as_ref().is_some_and(|known| known != identity);
        if changed || (!asked && self.rate_hz.is_some()) {
            self.forget();
            sink(Piece::Break);
        }
        self.tick_rate_hz = Some(identity.tick_rate_hz);
        self.identity = Some(identity.clone());
        sink(Piece::Identity(identity));
        self.bounds.set(identity.count_min, identity.count_max);
        sink(Piece::Range { count_min: identity.count_min, count_max: identity.count_max });
    }

    fn samples(&mut self, frame: &SampleFrame<'_>, sink: &mut dyn FnMut(Piece<'_>)) {
        let n = frame.counts.len() as u64;
        self.samples_in += n;
        let Some(tick_rate_hz) = self.tick_rate_hz else {
            self.drop("before-identity", n);
            return;
        };
        let tick_rate = f64::from(tick_rate_hz);
        if tick_rate / f64::from(frame.ticks_per_sample) > RATE_MAX_HZ {
            self.drop("rate", n);
            return;
        }
        if self.rate_hz.is_some() && frame.ticks_per_sample != self.ticks_per_sample {
            self.forget();
            sink(Piece::Break);
        }
        match self.follower.place(frame, tick_rate) {
            Place::Next => {}
            Place::After { missing } => sink(Piece::Gap { missing }),
            Place::Repeated => {
                self.drop("repeated", n);
                let detail = format!("frame {} was there before or comes too late", frame.sequence);
                sink(Piece::Fault { kind: "repeated", detail });
                return;
            }
            Place::Restarted => {
                self.forget();
                sink(Piece::Break);
                self.follower.place(frame, tick_rate);
            }
        }
        if self.rate_hz.is_none() {
            self.ticks_per_sample = frame.ticks_per_sample;
            let rate_hz = tick_rate / f64::from(frame.ticks_per_sample);
            self.rate_hz = Some(rate_hz);
            sink(Piece::Rate { rate_hz, clock: Clock::Device });
        }
        let (counts, fault) = self.bounds.take(frame.counts);
        fault.into_iter().for_each(&mut *sink);
        sink(Piece::Counts { counts: &counts, saturated: frame.saturated });
    }

    fn reading(
        &mut self,
        at: MonoNs,
        tick: Option<u64>,
        count: i32,
        may_refine: bool,
        sink: &mut dyn FnMut(Piece<'_>),
    ) {
        self.samples_in += 1;
        self.readings_seen += 1;
        if !std::mem::replace(&mut self.range_told, true)
            && let (Some(count_min), Some(count_max)) = (self.settings.count_min, self.settings.count_max)
        {
            self.bounds.set(count_min, count_max);
            sink(Piece::Range { count_min, count_max });
        }
        let (within, fault) = self.bounds.take(std::slice::from_ref(&count));
        let count = within.first().copied().unwrap_or(count);
        fault.into_iter().for_each(&mut *sink);
        match self.readings.push(at, tick, count) {
            Step::Held => {}
            Step::Learned { rate_hz, counts } => {
                self.rate_hz = Some(rate_hz);
                sink(Piece::Rate { rate_hz, clock: self.readings.clock() });
                sink(Piece::Counts { counts: &counts, saturated: false });
            }
            Step::Corrected { rate_hz } => {
                self.rate_hz = Some(rate_hz);
                sink(Piece::Rate { rate_hz, clock: self.readings.clock() });
                sink(Piece::Counts { counts: &[count], saturated: false });
            }
            Step::Sample { missing } => {
                if missing > 0 {
                    sink(Piece::Gap { missing });
                }
                sink(Piece::Counts { counts: &[count], saturated: false });
                if may_refine && self.readings_seen.is_multiple_of(REFINE_EVERY) {
                    self.refine(sink);
                }
            }
            Step::Repeated => self.drop("repeated", 1),
            Step::Restarted => {
                self.forget();
                sink(Piece::Break);
                self.readings.push(at, tick, count);
            }
        }
    }

    fn refine(&mut self, sink: &mut dyn FnMut(Piece<'_>)) {
        let (Some(now), Some(better)) = (self.rate_hz, self.readings.refined_hz()) else {
            return;
        };
        if (better / now - 1.0).abs() > REFINE_BY {
            self.rate_hz = Some(better);
            self.readings.adopt(better);
            sink(Piece::Rate { rate_hz: better, clock: Clock::Host });
        }
    }
}
