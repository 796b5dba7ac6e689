//! What the finder decides at each point of its grid: armed, confirmed, quiet, announced, closed, waiting.
//!
//! One method a state. Must not know how samples are handed over: it looks at what is kept only.

use super::super::after::After;
use super::super::kept::Wave;
use super::super::measure::Outcome;
use super::super::record::{Basis, CloseReason, Record, RunFlag};
use super::super::watch::Watch;
use super::{Finder, Found, LEVEL_S, PAUSE_S, RUN_MAX_S, START_NOISE, State};
use boltscribe_model::units::Newtons;

/// A candidate must carry tension this long, seconds.
const CONFIRM_S: f64 = 0.1;
/// Tension below this many start thresholds (a tenth of the range), standing still and without blows, may be a
/// nut seated by hand.
pub(super) const SEATED_BELOW: f64 = 50.0;
/// What counts as idle before the tool drives a seated nut, seconds.
pub(super) const SEATED_IDLE_S: f64 = 0.4;
/// How often it is asked whether what stands still is a seat, seconds.
const SEATED_ASK_S: f64 = 0.5;
/// A seated nut waits for the tool this long, seconds.
const SEATED_MAX_S: f64 = 60.0;
/// A release is over within this, seconds.
const FALL_S: f64 = 2.0;
/// Tension that falls by less than this share of what was reached from one look to the next stands still.
const STANDS: f64 = 0.01;
/// Falling below zero by this share of the run's tension tells that the zero was a loaded bolt's.
const LOADED: f64 = 0.5;
/// Noise of more than this share of the height hides whether tension stands still.
const NOISE_HIDES: f64 = 0.2;
/// Known for this long, an idle rig is armed, seconds: the window of its present level is full.
const KNOWN_S: f64 = 0.1;
/// Manual, zero: the time of rest it is taken from, over which a new stream must be calm, seconds.
const CALM_S: f64 = 0.5;
/// Samples this near before the crossing may belong to the blow that crossed, seconds: nearly ten times the delay of
/// the low-pass at 200 Hz. Found on the virtual rig.
const CROSSING_GUARD_S: f64 = 0.02;
/// Growth by this share of the best level counts as driving. Found on the virtual rig.
const GROWS_SHARE: f64 = 0.001;
/// Manual, release: tension under this share of the level.
const RELEASED: f64 = 0.5;
/// Samples are kept for this long after the last blow of any pull, seconds.
const TAIL_S: f64 = 2.0;
/// Quiet for this long: ask whether the run is over, seconds.
const QUIET_S: f64 = 0.7;

/// Small tension that stood still before the run under way: a nut seated by hand, or a run of its own after all.
#[derive(Clone, Copy)]
pub(super) struct Seat {
    pub(super) zero: f64,
    pub(super) level: f64,
    pub(super) crossing: u64,
    pub(super) idle_from: u64,
}

impl Finder {
    /// At a point of the grid: what the finder makes of what it has seen.
    pub(super) fn decide(&mut self, found: &mut Vec<Found>) {
        if self.glitches() {
            return;
        }
        match self.state {
            State::Idle { .. } => self.decide_idle(),
            State::Candidate { crossing, seated } => self.decide_candidate(crossing, seated, found),
            State::Seated { level, crossing } => self.decide_seated(level, crossing, found),
            State::Driving { .. } => self.decide_driving(found),
            State::Announced { .. } => self.decide_announced(found),
            State::Waiting { below } => {
                let level = self.level_now();
                if level < below {
                    self.idle.clear();
                    self.idle_from = self.below_since(below);
                    self.unproven = false;
                    // Back at the zero it came from: the next tightening may begin at once.
                    self.state = State::Idle { armed: (level - self.zero).abs() < self.threshold };
                }
                self.forget();
            }
        }
        if let Some((_, until)) = self.tail
            && self.next >= until
        {
            self.end_tail(until, found);
        }
    }

    fn decide_idle(&mut self) {
        if self.rest_is_awaited() {
            self.forget();
            return;
        }
        if let Some((zero, noise)) = self.idle.estimate() {
            let noise = noise.max(self.idle.rounding());
            let threshold = self.settings.start_threshold().get().max(START_NOISE * noise);
            let below = self.level_now() < self.zero + self.threshold;
            // After a release the old zero stands until tension is below it again or half a second is known.
            if self.idle.full() || below {
                // Right after a release half a second is not yet filled: the zero of the run before holds so long.
                if self.idle.full() || self.fresh {
                    (self.zero, self.noise, self.threshold) = (zero, noise, threshold);
                }
                let calm = !self.fresh || self.calm();
                self.fresh &= !(calm && self.idle.full());
                if calm && self.idle.full() {
                    self.take_zero(zero);
                }
                let known = self.idle.full() || self.kept.len() as f64 >= KNOWN_S * self.rate_hz;
                self.state = State::Idle { armed: known && calm };
            }
        }
        self.forget();
    }

    /// Since which sample tension has stood below a release: it may be told late, where a reading that jumps away
    /// could still have come back.
    fn below_since(&self, below: f64) -> u64 {
        let above = self.kept.iter().rposition(|x| f64::from(*x) >= below);
        self.kept_first + above.map_or(0, |at| at + 1) as u64
    }

    /// The first idle reading is the rig's zero until one is given. A bolt cannot push, so a later one far below
    /// tells that the first was taken on a loaded bolt.
    fn take_zero(&mut self, zero: f64) {
        let below = |known: Newtons| zero < known.get() - self.settings.zero_shift_limit().get();
        if self.rig_zero.is_none() || (self.own_zero && self.rig_zero.is_some_and(below)) {
            self.rig_zero = Some(Newtons(zero));
            self.own_zero = true;
        }
    }

    /// Where a stream begins nobody knows what hangs on the rig: tension that moves by more than the threshold
    /// within half a second is no idle rig.
    fn calm(&self) -> bool {
        let n = self.kept.len().min((CALM_S * self.rate_hz) as usize);
        let third = n / 3;
        let wave = Wave { x: &self.kept, rate_hz: self.rate_hz };
        let end = self.kept.len();
        let medians: Vec<f64> =
            (0..3).filter_map(|k| wave.median(end - n + k * third..end - n + (k + 1) * third)).collect();
        let spread = medians.iter().copied().fold(f64::MIN, f64::max)
            - medians.iter().copied().fold(f64::MAX, f64::min);
        medians.len() == 3 && spread < self.threshold
    }

    fn decide_candidate(&mut self, crossing: u64, seated: Option<(f64, u64)>, found: &mut Vec<Found>) {
        let confirm = ((CONFIRM_S * self.rate_hz) as u64).max(3);
        if self.next < crossing + confirm {
            return;
        }
        let base = seated.map_or(self.zero, |(level, _)| level);
        if self.level_now() <= base + self.threshold {
            self.state = match seated {
                Some((level, crossing)) => State::Seated { level, crossing },
                None => State::Idle { armed: true },
            };
            return;
        }
        if let Some((level, began)) = seated {
            let first = Seat { zero: self.zero, level, crossing: began, idle_from: self.run_idle_from };
            self.seat = Some(self.seat.map_or(first, |seat| Seat { level, ..seat }));
            self.zero = level;
            self.run_idle_from = self.idle_from;
        } else {
            self.seat = None;
            self.run_idle_from = self.idle_from;
            self.runs += 1;
            self.end_tail(self.next, found);
            let opening = self.opening(crossing);
            found.push(Found::Opened { run: self.runs, keep_from: self.kept_first, crossing, opening });
        }
        let guard = (CROSSING_GUARD_S * self.rate_hz) as u64;
        let idle_to = (crossing.saturating_sub(guard).max(self.kept_first) - self.kept_first) as usize;
        let (watch, seen) = Watch::new(&self.kept, idle_to, self.rate_hz);
        for at in seen {
            let sample = self.kept_first + at.saturating_sub(watch.lag()) as u64;
            found.push(Found::Blow { run: self.runs, sample });
        }
        self.state = State::Driving {
            crossing,
            watch: Box::new(watch),
            best: self.level_now(),
            active: self.next,
            struck: crossing,
            ask_from: 0,
            paused: None,
        };
    }

    /// A nut run down or tightened by hand before the tool: waits for a tightening on top of it; a release or a
    /// minute without one makes it a run of its own.
    fn decide_seated(&mut self, level: f64, crossing: u64, found: &mut Vec<Found>) {
        let released = self.level_now() < self.zero + RELEASED * (level - self.zero);
        let late = (self.next - crossing) as f64 > SEATED_MAX_S * self.rate_hz;
        if !(released || late) {
            return;
        }
        // It was the tightening after all: idle is what stood before it.
        self.idle_from = self.run_idle_from;
        if let Outcome::Done(record) = self.measure(crossing, true, false) {
            let whole = if self.stands_alone(&record) { self.measure_with_seat(false) } else { None };
            let measured = whole.unwrap_or_else(|| (record, self.basis(crossing, true, false)));
            self.announce(measured, released, false, found);
        }
    }

    fn decide_driving(&mut self, found: &mut Vec<Found>) {
        let (level, now) = (self.level_now(), self.next);
        let (zero, noise) = (self.zero, self.noise);
        let State::Driving { crossing, best, active, ask_from, paused, .. } = &mut self.state else {
            return;
        };
        let crossing = *crossing;
        if level > *best {
            if level - *best > (GROWS_SHARE * (*best - zero)).max(noise) {
                *active = now;
            }
            *best = level;
        }
        let released = level < zero + RELEASED * (*best - zero);
        let overlong = (now - self.kept_first) as f64 > RUN_MAX_S * self.rate_hz;
        // A blow after a pause: the pull before it may be over, whatever comes now.
        let quiet = now.saturating_sub(*active) as f64 >= QUIET_S * self.rate_hz || paused.is_some();
        if !(released || overlong || (quiet && now >= *ask_from)) {
            return;
        }
        *paused = None;
        match self.measure(crossing, released || overlong, overlong) {
            Outcome::Wait { still: true, .. } if self.may_be_seated(level) => {
                self.idle_from = now - (SEATED_IDLE_S * self.rate_hz) as u64;
                self.state = State::Seated { level, crossing };
            }
            Outcome::Wait { until, still } => {
                let until = self.kept_first + until as u64;
                // What stands still may yet turn out to be a seat.
                let soon = now + (SEATED_ASK_S * self.rate_hz) as u64;
                let until = if still { until.min(soon) } else { until };
                if let State::Driving { ask_from, .. } = &mut self.state {
                    *ask_from = until;
                }
            }
            Outcome::Done(record) => {
                let ended = released || overlong;
                let whole = if self.stands_alone(&record) { self.measure_with_seat(overlong) } else { None };
                let measured = whole.unwrap_or_else(|| (record, self.basis(crossing, ended, overlong)));
                self.announce(measured, released, overlong, found);
            }
        }
    }

    /// Whether what the run stands on is no seat: it is higher than what the run adds, so it was a run itself.
    pub(super) fn stands_alone(&self, record: &Record) -> bool {
        let added = record.held.or(record.level).unwrap_or(record.peak).get();
        self.seat.is_some_and(|seat| added < seat.level - seat.zero)
    }

    /// Measures from the first tightening on.
    pub(super) fn measure_with_seat(&mut self, overlong: bool) -> Option<(Box<Record>, Basis)> {
        let seat = self.seat.take()?;
        (self.zero, self.idle_from) = (seat.zero, seat.idle_from);
        match self.measure(seat.crossing, true, overlong) {
            Outcome::Done(record) => Some((record, self.basis(seat.crossing, true, overlong))),
            Outcome::Wait { .. } => None,
        }
    }

    /// Tension that stands still at a small height, and no sign of blows.
    fn may_be_seated(&self, level: f64) -> bool {
        let threshold = self.settings.start_threshold().get();
        let wave = Wave { x: &self.kept, rate_hz: self.rate_hz };
        let end = self.kept.len();
        let back = |seconds: f64| end.saturating_sub((seconds * self.rate_hz) as usize);
        let grown = wave.median(back(QUIET_S)..back(QUIET_S - LEVEL_S)).map_or(f64::MAX, |then| level - then);
        let height = level - self.zero;
        // Growth that noise could hide leaves open whether it stands still.
        let most = STANDS * height + self.noise;
        height < SEATED_BELOW * threshold && grown < most && self.noise < NOISE_HIDES * height
    }

    fn announce(
        &mut self,
        (record, basis): (Box<Record>, Basis),
        released: bool,
        overlong: bool,
        found: &mut Vec<Found>,
    ) {
        let last_blow = (record.last_blow_s * self.rate_hz) as u64;
        let struck = if let State::Driving { struck, .. } = &self.state { *struck } else { last_blow };
        let pull_over = last_blow + (PAUSE_S * self.rate_hz) as u64;
        let reached = match &self.state {
            State::Driving { best, .. } => *best - self.zero,
            _ => 0.0,
        };
        let mut after = After::new(&record, pull_over, struck, reached, self.rate_hz);
        self.catch_up(&mut after, pull_over);
        found.push(Found::Announced { run: self.runs, record, basis });
        let until = last_blow + (TAIL_S * self.rate_hz) as u64;
        self.tail = Some((self.runs, until.max(self.next)));
        let waiting = State::Waiting { below: 0.0 };
        self.state = match std::mem::replace(&mut self.state, waiting) {
            State::Driving { watch, .. } => State::Announced { watch, after },
            _ => State::Announced {
                watch: Box::new(Watch::new(&self.kept, self.kept.len(), self.rate_hz).0),
                after,
            },
        };
        if released {
            self.released(found);
        } else if overlong {
            self.close(CloseReason::Interrupted, false, None, Vec::new(), found);
        }
    }

    /// A record may come late: what happened since the pull was over is looked at now.
    fn catch_up(&self, after: &mut After, pull_over: u64) {
        let wave = Wave { x: &self.kept, rate_hz: self.rate_hz };
        let width = ((LEVEL_S * self.rate_hz) as usize).max(3);
        let from = pull_over.saturating_sub(self.kept_first) as usize + width;
        for end in (from..self.kept.len()).step_by(self.grid as usize) {
            let level = wave.median(end - width..end).unwrap_or(self.zero) - self.zero;
            if after.look(level, self.noise, self.kept_first + end as u64).is_some() {
                return;
            }
        }
    }

    fn decide_announced(&mut self, found: &mut Vec<Found>) {
        let (level, now) = (self.level_now() - self.zero, self.next);
        let noise = self.noise;
        if self.driven_upon(level, found) {
            return;
        }
        let State::Announced { after, .. } = &mut self.state else {
            return;
        };
        let verdict = after.look(level, noise, now);
        if let Some((_, until)) = &mut self.tail {
            *until = (*until).max(after.last_blow + (TAIL_S * self.rate_hz) as u64);
        }
        let (re_pulled, re_level) = after.re_pulled(now);
        match verdict {
            Some(CloseReason::Released) => self.released(found),
            Some(reason) => self.close(reason, re_pulled, re_level, Vec::new(), found),
            None => {}
        }
        self.forget();
    }

    /// Tension fell under half. Where the zero was read before any release it must not fall far below that zero:
    /// else the bolt was loaded when the stream began, and the run is the rest of a tightening.
    fn released(&mut self, found: &mut Vec<Found>) {
        let (level, now) = (self.level_now() - self.zero, self.next);
        let State::Announced { after, .. } = &mut self.state else { return };
        let (reference, (re_pulled, re_level)) = (after.reference(), after.re_pulled(now));
        let (since, before) = after.fell.map_or((now, f64::MAX), |fell| fell);
        after.fell = Some((since, level));
        let falls_on = before - level > STANDS * reference && (now - since) as f64 <= FALL_S * self.rate_hz;
        let loaded = level < -LOADED * reference;
        if self.unproven && falls_on && !loaded {
            return;
        }
        let flags = if self.unproven && loaded { vec![RunFlag::Interrupted] } else { Vec::new() };
        self.close(CloseReason::Released, re_pulled, re_level, flags, found);
    }
}
