//! What the finder decides at each point of its grid: armed, confirmed, quiet, announced, closed, waiting.
//!
//! One method a state. Must not know how samples are handed over: it looks at what is kept only.

use super::super::after::After;
use super::super::measure::Outcome;
use super::super::record::{Basis, CloseReason, Record};
use super::super::spikes::FAST_FROM_HZ;
use super::super::watch::Watch;
use super::{Finder, Found, PAUSE_S, RUN_MAX_S, State};
use crate::units::Newtons;

/// A candidate must carry tension this long, seconds.
const CONFIRM_S: f64 = 0.1;
/// Tension below this many start thresholds, standing still and without blows, may be a nut seated by hand.
const SEATED_BELOW: f64 = 10.0;
/// What counts as idle before the tool drives a seated nut, seconds.
const SEATED_IDLE_S: f64 = 0.4;
/// A seated nut waits for the tool this long, seconds.
const SEATED_MAX_S: f64 = 60.0;
/// Quiet for this long: ask whether the run is over, seconds.
const QUIET_S: f64 = 0.7;

impl Finder {
    /// At a point of the grid: what the finder makes of what it has seen.
    pub(super) fn decide(&mut self, found: &mut Vec<Found>) {
        match self.state {
            State::Idle { .. } => self.decide_idle(),
            State::Candidate { crossing, seated } => self.decide_candidate(crossing, seated, found),
            State::Seated { level, crossing } => self.decide_seated(level, crossing, found),
            State::Driving { .. } => self.decide_driving(found),
            State::Announced { .. } => self.decide_announced(found),
            State::Waiting { below } => {
                if self.level_now() < below {
                    self.idle.clear();
                    self.idle_from = self.next;
                    self.state = State::Idle { armed: false };
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
            let threshold = self.settings.start_threshold().get().max(8.0 * noise);
            let below = self.level_now() < self.zero + self.threshold;
            // After a release the old zero stands until tension is below it again or half a second is known.
            if self.idle.full() || below {
                (self.zero, self.noise, self.threshold) = (zero, noise, threshold);
                if self.idle.full() && self.rig_zero.is_none() {
                    self.rig_zero = Some(Newtons(zero));
                }
                self.state =
                    State::Idle { armed: self.idle.full() || self.kept.len() as f64 >= 0.1 * self.rate_hz };
            }
        }
        self.forget();
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
        if let Some((level, _)) = seated {
            self.zero = level;
        } else {
            self.runs += 1;
            self.end_tail(self.next, found);
            let opening = self.opening(crossing);
            found.push(Found::Opened { run: self.runs, keep_from: self.kept_first, crossing, opening });
        }
        let guard = (0.02 * self.rate_hz) as u64;
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
        let released = self.level_now() < self.zero + 0.5 * (level - self.zero);
        let late = (self.next - crossing) as f64 > SEATED_MAX_S * self.rate_hz;
        if (released || late)
            && let Outcome::Done(record) = self.measure(crossing, true, false)
        {
            let basis = self.basis(crossing, true, false);
            self.announce((record, basis), released, false, found);
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
            if level - *best > (0.001 * (*best - zero)).max(noise) {
                *active = now;
            }
            *best = level;
        }
        let released = level < zero + 0.5 * (*best - zero);
        let overlong = (now - self.kept_first) as f64 > RUN_MAX_S * self.rate_hz;
        // A blow after a pause: the pull before it may be over, whatever comes now.
        let quiet = now.saturating_sub(*active) as f64 >= QUIET_S * self.rate_hz || paused.is_some();
        if !(released || overlong || (quiet && now >= *ask_from)) {
            return;
        }
        *paused = None;
        match self.measure(crossing, released || overlong, overlong) {
            Outcome::Wait { blows_seen: false, .. } if self.may_be_seated(level) => {
                self.idle_from = now - (SEATED_IDLE_S * self.rate_hz) as u64;
                self.state = State::Seated { level, crossing };
            }
            Outcome::Wait { until, .. } => {
                let until = self.kept_first + until as u64;
                if let State::Driving { ask_from, .. } = &mut self.state {
                    *ask_from = until;
                }
            }
            Outcome::Done(record) => {
                let basis = self.basis(crossing, released || overlong, overlong);
                self.announce((record, basis), released, overlong, found);
            }
        }
    }

    /// Tension that stands still at a small height, sampled fast enough to see blows and without any.
    fn may_be_seated(&self, level: f64) -> bool {
        let threshold = self.settings.start_threshold().get();
        self.rate_hz >= FAST_FROM_HZ && level - self.zero < SEATED_BELOW * threshold
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
        let after = After::new(&record, pull_over, struck, self.rate_hz);
        found.push(Found::Announced { run: self.runs, record, basis });
        let until = last_blow + (2.0 * self.rate_hz) as u64;
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
            self.close(CloseReason::Released, false, None, found);
        } else if overlong {
            self.close(CloseReason::Interrupted, false, None, found);
        }
    }

    fn decide_announced(&mut self, found: &mut Vec<Found>) {
        let (level, now) = (self.level_now() - self.zero, self.next);
        let noise = self.noise;
        let State::Announced { after, .. } = &mut self.state else {
            return;
        };
        let verdict = after.look(level, noise, now);
        if let Some((_, until)) = &mut self.tail {
            *until = (*until).max(after.last_blow + (2.0 * self.rate_hz) as u64);
        }
        let (re_pulled, re_level) = after.re_pulled();
        if let Some(reason) = verdict {
            self.close(reason, re_pulled, re_level, found);
        }
        self.forget();
    }
}
