//! Finds runs in a stream of evenly spaced tension: idle, candidate, driving, announced, waiting.
//!
//! All decisions fall on a grid of samples counted from the start of the stream, so the way samples are handed
//! over changes nothing. What it says while a tool drives is provisional; the record comes from `measure` once.

mod breaks;
mod decide;
mod found;
mod glitch;
#[cfg(test)]
mod played;
mod rest;
mod resume;
mod upon;

use super::after::After;
use super::idle::Idle;
use super::kept::{Kept, thinned};
use super::lowpass::{Smooth, corner_hz, forgets};
use super::measure::{Outcome, measure};
use super::record::{Basis, CloseReason, Closing, RunFlag, Settings, Timing};
use super::watch::Watch;
use boltscribe_model::units::Newtons;
use boltscribe_numerics::median;

pub use breaks::RELEASE_MAX_S;
use decide::Seat;
pub use found::Found;
pub use rest::{REST_MAX_S, Rest};
pub use resume::Opening;

/// Kept before a crossing, seconds: the idle half second and the look-back of a soft start.
const BEFORE_S: f64 = 2.1;
/// The grid of decisions, seconds.
const GRID_S: f64 = 0.05;
/// A blow this long after the one before may begin another pull, seconds.
const PAUSE_S: f64 = 0.35;
/// A run is at most this long, seconds.
pub const RUN_MAX_S: f64 = 300.0;
/// Manual, start threshold: at least this many times the noise.
const START_NOISE: f64 = 8.0;
/// The present level is the median over so long, seconds.
const LEVEL_S: f64 = 0.1;
/// Most samples it is made of, evenly spread over that time; more would change it by less than decisions need.
const LEVEL_SAMPLES: usize = 256;

enum State {
    Idle {
        armed: bool,
    },
    Candidate {
        crossing: u64,
        seated: Option<(f64, u64)>,
    },
    Driving {
        crossing: u64,
        watch: Box<Watch>,
        best: f64,
        active: u64,
        struck: u64,
        ask_from: u64,
        paused: Option<u64>,
    },
    Seated {
        level: f64,
        crossing: u64,
    },
    Announced {
        watch: Box<Watch>,
        after: After,
    },
    Waiting {
        below: f64,
    },
}

/// Finds runs in one stream at one rate.
pub struct Finder {
    settings: Settings,
    rate_hz: f64,
    timing: Timing,
    rig_zero: Option<Newtons>,
    smooth: Smooth,
    /// Samples before this one went through it: only while idle or seated is it needed.
    smooth_until: u64,
    /// Samples after which it knows nothing of what it had before.
    smooth_forgets: u64,
    idle: Idle,
    zero: f64,
    noise: f64,
    threshold: f64,
    kept: Vec<f32>,
    kept_first: u64,
    idle_from: u64,
    missing: Vec<(u64, usize)>,
    clipped: Vec<u64>,
    next: u64,
    grid: u64,
    state: State,
    runs: u32,
    tail: Option<(u32, u64)>,
    /// Sample by which the reading last jumped.
    jumped: Option<u64>,
    /// Nothing idle has been seen yet: what stands may be a bolt that is loaded or a tool that drives.
    fresh: bool,
    /// The zero was read before any release: a bolt may have been loaded then.
    unproven: bool,
    /// The rig's zero is the finder's own reading, not given.
    own_zero: bool,
    /// What the run under way may stand on.
    seat: Option<Seat>,
    /// From here on samples before the run under way were idle.
    run_idle_from: u64,
    rest: (Rest, u64),
}

impl Finder {
    /// A finder for `rate_hz` samples a second whose next sample is number `first_sample` of the stream;
    /// `runs` runs were found before in this stream.
    #[must_use]
    pub fn new(settings: Settings, rate_hz: f64, timing: Timing, first_sample: u64, runs: u32) -> Self {
        let threshold = settings.start_threshold().get();
        Self {
            smooth: Smooth::new(corner_hz(settings.lowpass_hz, rate_hz), rate_hz),
            smooth_until: first_sample,
            smooth_forgets: forgets(corner_hz(settings.lowpass_hz, rate_hz), rate_hz) as u64,
            idle: Idle::new(rate_hz),
            zero: 0.0,
            noise: 0.0,
            threshold,
            kept: Vec::new(),
            kept_first: first_sample,
            idle_from: first_sample,
            missing: Vec::new(),
            clipped: Vec::new(),
            next: first_sample,
            grid: ((GRID_S * rate_hz).round() as u64).max(1),
            state: State::Idle { armed: false },
            runs,
            tail: None,
            jumped: None,
            fresh: true,
            unproven: true,
            own_zero: false,
            seat: None,
            run_idle_from: first_sample,
            rest: (Rest::Seen, first_sample),
            rig_zero: None,
            settings,
            rate_hz,
            timing,
        }
    }

    /// What counts as the rig's zero from now on; until told, the first idle reading does.
    pub fn set_rig_zero(&mut self, zero: Newtons) {
        self.rig_zero = Some(zero);
        self.own_zero = false;
    }

    /// What counts as the rig's zero.
    #[must_use]
    pub fn rig_zero(&self) -> Option<Newtons> {
        self.rig_zero
    }

    /// A run is open: it has begun and not closed.
    #[must_use]
    pub fn open(&self) -> bool {
        !matches!(self.state, State::Idle { .. } | State::Waiting { .. })
    }

    /// Idle reading and noise of the last half second, newtons; none inside a run or before there is one.
    #[must_use]
    pub fn idle_reading(&self) -> Option<(Newtons, Newtons)> {
        let (zero, noise) = self.idle.estimate().filter(|_| matches!(self.state, State::Idle { .. }))?;
        Some((Newtons(zero), Newtons(noise)))
    }

    /// The idle reading where it stands still enough to be taken as the rig's zero: over one second it moves by
    /// at most an eighth of the start threshold, which is at least the noise.
    ///
    /// # Errors
    /// Why not, with what was expected and found.
    pub fn steady_reading(&self) -> Result<Newtons, String> {
        let Some((zero, noise)) = self.idle_reading() else {
            return Err("expected an idle rig, found a run or no samples".to_owned());
        };
        let Some(moved) = self.idle.moved() else {
            return Err("expected one and a half seconds of idle, found less".to_owned());
        };
        let most = self.settings.start_threshold().get().max(START_NOISE * noise.get()) / START_NOISE;
        if moved.abs() > most {
            return Err(format!(
                "expected a steady reading (at most {:.3} kN in a second), found it moving by {:.3} kN",
                most / 1000.0,
                moved / 1000.0
            ));
        }
        Ok(zero)
    }

    /// Runs found so far.
    #[must_use]
    pub fn runs(&self) -> u32 {
        self.runs
    }

    /// Samples before this one are decided on: no later `KeptUntil` names an earlier one.
    #[must_use]
    pub fn settled(&self) -> u64 {
        self.next - self.next % self.grid
    }

    /// Takes tension in newtons; `clipped` are offsets into `tension` at the end of the converter's range.
    pub fn push(&mut self, tension: &[f32], clipped: &[usize], found: &mut Vec<Found>) {
        if !clipped.is_empty() {
            let base = self.next;
            self.clipped.extend(clipped.iter().map(|o| base + *o as u64));
        }
        let mut rest = tension;
        while !rest.is_empty() {
            let to_grid = (self.grid - self.next % self.grid) as usize;
            let (piece, later) = rest.split_at(to_grid.min(rest.len()));
            self.piece(piece, found);
            if self.next.is_multiple_of(self.grid) {
                self.decide(found);
            }
            rest = later;
        }
    }

    /// A piece that ends at or before the next point of the grid.
    fn piece(&mut self, piece: &[f32], found: &mut Vec<Found>) {
        let first = self.next;
        let crossing = match self.state {
            State::Idle { armed } => self.smoothed(piece, self.zero, armed, true),
            State::Seated { level, .. } => self.smoothed(piece, level, true, false),
            _ => None,
        };
        let seated =
            if let State::Seated { level, crossing } = self.state { Some((level, crossing)) } else { None };
        self.kept.extend_from_slice(piece);
        self.next += piece.len() as u64;
        let (pause, mut ignored) = ((PAUSE_S * self.rate_hz) as u64, None);
        let watched = match &mut self.state {
            State::Driving { watch, active, struck, paused, .. } => {
                Some((watch, Some(active), struck, paused))
            }
            State::Announced { watch, after } => Some((watch, None, &mut after.last_blow, &mut ignored)),
            _ => None,
        };
        if let Some((watch, mut active, struck, paused)) = watched {
            let lag = watch.lag() as u64;
            watch.push_all(piece, |i| {
                let sample = (first + i as u64).saturating_sub(lag);
                if sample > *struck + pause {
                    *paused = Some(sample);
                }
                *struck = (*struck).max(sample);
                if let Some(active) = &mut active {
                    **active = (**active).max(sample);
                }
                found.push(Found::Blow { run: self.runs, sample });
            });
        }
        if let Some(crossing) = crossing {
            self.state = State::Candidate { crossing, seated };
        }
    }

    /// Low-passes a piece up to where it crosses the threshold above `base`, if `armed`: that sample. What is `idle`
    /// is noted.
    fn smoothed(&mut self, piece: &[f32], base: f64, armed: bool, idle: bool) -> Option<u64> {
        self.smooth_later();
        let level = base + self.threshold;
        let (mut smooth, first) = (self.smooth, self.next);
        let mut crossing = None;
        for (x, sample) in piece.iter().zip(first..) {
            let y = smooth.push(*x);
            if idle {
                self.idle.push(*x, y);
            }
            if armed && f64::from(y) > level {
                crossing = Some(sample);
                break;
            }
        }
        self.smooth = smooth;
        self.smooth_until = crossing.map_or(first + piece.len() as u64, |sample| sample + 1);
        crossing
    }

    /// Low-passes what was kept while nobody asked for it, as far back as the filter remembers.
    fn smooth_later(&mut self) {
        let lag = self.next - self.smooth_until;
        if lag == 0 {
            return;
        }
        let mut from = self.smooth_until;
        if lag > self.smooth_forgets || from < self.kept_first {
            self.smooth.clear();
            from = (self.next - lag.min(self.smooth_forgets)).max(self.kept_first);
        }
        for x in &self.kept[(from - self.kept_first) as usize..] {
            self.smooth.push(*x);
        }
        self.smooth_until = self.next;
    }

    fn close(
        &mut self,
        reason: CloseReason,
        re_pulled: bool,
        level: Option<Newtons>,
        mut flags: Vec<RunFlag>,
        found: &mut Vec<Found>,
    ) {
        let blows_seen = !matches!(&self.state, State::Announced { after, .. } if !after.blows_seen());
        if re_pulled && !blows_seen {
            // Where blows are not seen nobody can say whether it was a second pull or the first went on.
            flags.push(RunFlag::EndUnsure);
        }
        let closing = Closing {
            closed_s: self.next as f64 / self.rate_hz,
            reason,
            re_pulled,
            re_pulled_level: level,
            flags,
        };
        found.push(Found::Closed { run: self.runs, closing });
        let reference = match &self.state {
            State::Announced { after, .. } => after.reference(),
            State::Driving { best, .. } => *best - self.zero,
            State::Seated { level, .. } => *level - self.zero,
            _ => 0.0,
        };
        self.tail = self.tail.or(Some((self.runs, self.next)));
        self.state = State::Waiting { below: self.zero + (0.5 * reference).max(self.threshold) };
    }

    fn measure(&self, crossing: u64, ended: bool, interrupted: bool) -> Outcome {
        let offset = |sample: u64| sample.saturating_sub(self.kept_first) as usize;
        let missing: Vec<(usize, usize)> = self.missing.iter().map(|(at, n)| (offset(*at), *n)).collect();
        let clipped: Vec<usize> =
            self.clipped.iter().filter(|c| **c >= self.kept_first).map(|c| offset(*c)).collect();
        let kept = Kept {
            samples: &self.kept,
            first_sample: self.kept_first,
            rate_hz: self.rate_hz,
            crossing: offset(crossing),
            idle_from: offset(self.idle_from),
            missing: &missing,
            clipped: &clipped,
            timing: self.timing,
            rig_zero: self.rig_zero,
            ended,
            interrupted: interrupted || self.rest_missed(),
        };
        measure(&kept, &self.settings)
    }

    /// What a measuring at this moment starts from. The range is not known here.
    fn basis(&self, crossing: u64, ended: bool, interrupted: bool) -> Basis {
        Basis {
            crossing,
            idle_from: self.idle_from,
            until: self.next,
            rig_zero: self.rig_zero,
            ended,
            interrupted: interrupted || self.rest_missed(),
            range: None,
        }
    }

    /// Median of the last 0.1 s, newtons in the calibration's terms.
    fn level_now(&self) -> f64 {
        let n = ((LEVEL_S * self.rate_hz) as usize).max(3).min(self.kept.len());
        let mut some: Vec<f64> = thinned(&self.kept[self.kept.len() - n..], LEVEL_SAMPLES).collect();
        median(&mut some).unwrap_or(self.zero)
    }

    /// Outside a run only the stretch before a possible crossing is kept.
    fn forget(&mut self) {
        let want = (BEFORE_S * self.rate_hz) as usize;
        if self.kept.len() > 2 * want {
            let drop = self.kept.len() - want;
            self.kept.drain(..drop);
            self.kept_first += drop as u64;
            self.missing.retain(|(at, n)| at + *n as u64 > self.kept_first);
            self.clipped.retain(|c| *c >= self.kept_first);
        }
    }

    fn end_tail(&mut self, sample: u64, found: &mut Vec<Found>) {
        if let Some((run, until)) = self.tail.take() {
            found.push(Found::KeptUntil { run, sample: until.min(sample) });
        }
    }
}
