//! One reading at a time from an ASCII board: finds the spacing, sees what is missing.
//!
//! With ticks the spacing is measured on the board's clock; without, on arrival at the host, which is
//! late by a varying delay, so that the spacing comes from the least-delay line over many readings.

use super::piece::Clock;
use super::settings::RATE_MAX_HZ;
use boltscribe_model::time::{LowerEnvelope, MonoNs, Unwrapper};

/// The spacing is first measured over this long, seconds, and at least this many readings.
const LEARN_S: f64 = 2.0;
const LEARN_MIN: usize = 16;
/// A given rate is believed at first where two seconds of arrivals differ from it by less than this share.
const GIVEN_BY: f64 = 0.015;
/// After a restart the spacing from before is taken up where this long, seconds, and this many readings agree.
const KNOWN_S: f64 = 0.25;
const KNOWN_MIN: usize = 4;
/// By this share on the board's clock: a millisecond of 0.25 s is 0.4 %, at either end.
const KNOWN_DEVICE_BY: f64 = 0.02;
/// By this share on arrival, as bursts of a USB adapter's 16 ms are 6 % of 0.25 s.
const KNOWN_HOST_BY: f64 = 0.1;
/// And the spacing is measured afresh where `LEARN_S` then differ by more than this share on the board's clock, ten
/// times what a millisecond is of them; on arrival by more than `GIVEN_BY`.
const CONFIRM_DEVICE_BY: f64 = 0.005;
/// Held back at most while learning.
const HELD_MAX: usize = 65_536;

/// What to do with a reading.
#[derive(Clone, Debug, PartialEq)]
pub enum Step {
    /// Held back until the spacing is known.
    Held,
    /// The spacing is known: these are the readings so far.
    Learned {
        /// Samples a second.
        rate_hz: f64,
        /// The readings held back.
        counts: Vec<i32>,
    },
    /// The next sample, after so many missing.
    Sample {
        /// Missing before it.
        missing: u64,
    },
    /// The spacing is another than the one before a restart, which was taken up; this is the first sample at it.
    Corrected {
        /// Samples a second.
        rate_hz: f64,
    },
    /// A tick that does not fit: the board restarted. The reading was not taken.
    Restarted,
    /// The same tick again.
    Repeated,
}

/// Follows the readings of one board.
#[derive(Clone, Debug)]
pub struct Readings {
    clock: Clock,
    /// x per second: the tick rate, or 1 for host seconds.
    x_per_s: f64,
    unwrapper: Unwrapper,
    held: Vec<(f64, i32)>,
    spacing: Option<f64>,
    /// The spacing before a restart.
    known: Option<f64>,
    /// The spacing is the one from before a restart, and not confirmed yet.
    unconfirmed: bool,
    last: f64,
    count: u64,
    line: LowerEnvelope,
    origin: Option<f64>,
    given_hz: Option<f64>,
}

impl Readings {
    /// With ticks of `tick_hz` and `tick_bits`, or by arrival; `given_hz` is the configured rate.
    #[must_use]
    pub fn new(tick_hz: Option<f64>, tick_bits: u8, given_hz: Option<f64>) -> Self {
        Self {
            clock: if tick_hz.is_some() { Clock::Device } else { Clock::Host },
            x_per_s: tick_hz.unwrap_or(1.0),
            unwrapper: Unwrapper::new(tick_bits),
            held: Vec::new(),
            spacing: None,
            known: None,
            unconfirmed: false,
            last: 0.0,
            count: 0,
            line: LowerEnvelope::new(given_hz.unwrap_or(80.0), 1.0 / given_hz.unwrap_or(80.0)),
            origin: None,
            given_hz,
        }
    }

    /// Which clock spaces the samples.
    #[must_use]
    pub fn clock(&self) -> Clock {
        self.clock
    }

    /// Readings held back while the spacing is learned.
    #[must_use]
    pub fn held(&self) -> u64 {
        self.held.len() as u64
    }

    /// Forgets the past but for the spacing, which the same board very likely keeps.
    pub fn restart(&mut self) {
        let known = self.spacing.or(self.known);
        *self = Self::new(
            (self.clock == Clock::Device).then_some(self.x_per_s),
            self.unwrapper.bits(),
            self.given_hz,
        );
        self.known = known;
    }

    /// Takes a reading that arrived at `at` with `tick`.
    pub fn push(&mut self, at: MonoNs, tick: Option<u64>, count: i32) -> Step {
        let x = match (self.clock, tick) {
            (Clock::Device, Some(tick)) => self.unwrapper.unwrap(tick).0 as f64,
            _ => at.seconds(),
        };
        match self.spacing {
            None => self.learn(x, count),
            Some(spacing) => self.follow(x, spacing),
        }
    }

    /// The rate as known by now from the least-delay line of arrivals; none while unsure.
    #[must_use]
    pub fn refined_hz(&self) -> Option<f64> {
        (self.clock == Clock::Host && self.line.len() >= 5)
            .then(|| self.line.line())
            .flatten()
            .map(|l| 1.0 / l.s_per_x)
            .filter(|hz| hz.is_finite() && *hz > 0.0)
    }

    /// Takes a refined rate over.
    pub fn adopt(&mut self, rate_hz: f64) {
        self.spacing = Some(self.x_per_s / rate_hz);
    }

    fn learn(&mut self, x: f64, count: i32) -> Step {
        // What is held back belongs to the time before; whoever counts samples drops it.
        if self.held.last().is_some_and(|l| x < l.0) {
            return Step::Restarted;
        }
        self.held.push((x, count));
        let (n, first) = (self.held.len(), self.held[0].0);
        let span = x - first;
        if let Some(known) = self.known.filter(|_| n >= KNOWN_MIN && span >= KNOWN_S * self.x_per_s) {
            let by = if self.clock == Clock::Device { KNOWN_DEVICE_BY } else { KNOWN_HOST_BY };
            self.known = None;
            if (span / (n - 1) as f64 / known - 1.0).abs() < by {
                self.unconfirmed = true;
                return self.learned(x, known);
            }
        }
        if span < LEARN_S * self.x_per_s && n < HELD_MAX || n < LEARN_MIN {
            return Step::Held;
        }
        let spacing = span / (n - 1) as f64;
        // Ticks that stand still, or a backlog read in one go, tell nothing of the spacing.
        if self.x_per_s / spacing > RATE_MAX_HZ {
            self.held.pop();
            return Step::Restarted;
        }
        // Arrivals over two seconds are less sure than a rate somebody gave that agrees with them.
        let given =
            self.given_hz.filter(|g| self.clock == Clock::Host && (g * spacing - 1.0).abs() < GIVEN_BY);
        self.learned(x, given.map_or(spacing, |g| 1.0 / g))
    }

    /// Hands out what was held back, up to the reading at `x`.
    fn learned(&mut self, x: f64, spacing: f64) -> Step {
        let first = self.held.first().map_or(x, |h| h.0);
        for (i, (x, _)) in self.held.iter().enumerate() {
            self.line.push(i as f64, (x - first) / self.x_per_s);
        }
        self.origin = Some(first);
        self.count = self.held.len() as u64;
        self.last = x;
        self.spacing = Some(spacing);
        let counts = std::mem::take(&mut self.held).into_iter().map(|h| h.1).collect();
        Step::Learned { rate_hz: self.x_per_s / spacing, counts }
    }

    /// A spacing taken up from before a restart that the first seconds do not bear out: the one they have.
    fn corrected(&mut self, spacing: f64) -> Option<f64> {
        let span = self.last - self.origin?;
        if !self.unconfirmed || span < LEARN_S * self.x_per_s || self.count < LEARN_MIN as u64 {
            return None;
        }
        self.unconfirmed = false;
        let measured = span / (self.count - 1) as f64;
        let by = if self.clock == Clock::Device { CONFIRM_DEVICE_BY } else { GIVEN_BY };
        ((measured / spacing - 1.0).abs() > by).then_some(measured)
    }

    fn follow(&mut self, x: f64, spacing: f64) -> Step {
        let step = x - self.last;
        let missing = match self.clock {
            Clock::Device if step < 0.0 => return Step::Restarted,
            Clock::Device if step < 0.25 * spacing => return Step::Repeated,
            Clock::Device if step > 3600.0 * self.x_per_s => return Step::Restarted,
            Clock::Device => (step / spacing).round().max(1.0) as u64 - 1,
            // Arrivals come in bursts: only a long silence is a gap.
            Clock::Host if step > (8.0 * spacing).max(0.3) => (step / spacing).floor() as u64 - 1,
            Clock::Host => 0,
        };
        self.last = x;
        self.count += 1 + missing;
        if let Some(origin) = self.origin {
            self.line.push((self.count - 1) as f64, (x - origin) / self.x_per_s);
        }
        if let Some(spacing) = self.corrected(spacing) {
            self.spacing = Some(spacing);
            return Step::Corrected { rate_hz: self.x_per_s / spacing };
        }
        Step::Sample { missing }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_of_a_millisecond_clock_give_the_rate_and_the_gap() {
        let mut r = Readings::new(Some(1000.0), 32, None);
        let mut rate = 0.0;
        let mut missing = 0;
        for i in 0..400_u64 {
            if (300..310).contains(&i) {
                continue;
            }
            match r.push(MonoNs(0), Some((i as f64 * 12.5) as u64), 5) {
                Step::Learned { rate_hz, .. } => rate = rate_hz,
                Step::Sample { missing: m } => missing += m,
                other => assert_eq!(other, Step::Held),
            }
        }
        assert!((rate - 80.0).abs() < 0.05, "{rate}");
        assert_eq!(missing, 10);
    }

    #[test]
    fn arrivals_in_bursts_of_16_ms_give_the_rate_within_a_tenth_of_a_percent_after_a_minute() {
        let mut r = Readings::new(None, 32, Some(80.0));
        let mut missing = 0;
        for i in 0..80 * 60_u64 {
            let sampled_ns = (i as f64 / 81.7 * 1e9) as u64;
            let at = sampled_ns.div_ceil(16_000_000) * 16_000_000 + (i * 7919) % 1_000_000;
            if let Step::Sample { missing: m } = r.push(MonoNs(at), None, 0) {
                missing += m;
            }
        }
        let hz = r.refined_hz().unwrap();
        assert!((hz / 81.7 - 1.0).abs() < 1e-3, "{hz}");
        assert_eq!(missing, 0);
    }

    #[test]
    fn ticks_that_fall_or_stand_still_while_learning_are_a_restart_and_keep_their_account() {
        let mut falling = Readings::new(Some(1e6), 32, None);
        assert_eq!(falling.push(MonoNs(0), Some(1000), 5), Step::Held);
        assert_eq!(falling.push(MonoNs(0), Some(400), 5), Step::Restarted);
        assert_eq!(falling.held(), 1);
        let mut still = Readings::new(Some(1e6), 32, None);
        for _ in 1..HELD_MAX {
            assert_eq!(still.push(MonoNs(0), Some(7), 5), Step::Held);
        }
        assert_eq!(still.push(MonoNs(0), Some(7), 5), Step::Restarted);
        assert_eq!(still.held(), HELD_MAX as u64 - 1);
    }

    /// Seconds until the spacing is known again after a restart, and all the rates said within 4 s.
    fn relearned(r: &mut Readings, tick_hz: Option<f64>, rate_hz: f64) -> (f64, Vec<f64>) {
        let (mut after_s, mut rates) = (f64::INFINITY, Vec::new());
        for i in 0..(4.0 * rate_hz) as u64 {
            let t = i as f64 / rate_hz;
            let at = MonoNs(((t * 1e9) as u64).div_ceil(16_000_000) * 16_000_000 + 90_000_000_000);
            match r.push(at, tick_hz.map(|hz| (t * hz) as u64), 0) {
                Step::Learned { rate_hz, .. } | Step::Corrected { rate_hz } => {
                    after_s = after_s.min(t);
                    rates.push(rate_hz);
                }
                _ => {}
            }
        }
        (after_s, rates)
    }

    #[test]
    fn after_a_restart_the_spacing_is_known_within_0_35_s_and_another_one_is_found_out() {
        for (tick_hz, rate_hz) in [(None, 80.0), (None, 10.0), (Some(1000.0), 80.0), (Some(1e6), 320.0)] {
            let mut r = Readings::new(tick_hz, 32, None);
            let first = relearned(&mut r, tick_hz, rate_hz);
            assert!(first.0 >= 1.5, "learned at first over two seconds: {first:?}");
            r.restart();
            let again = relearned(&mut r, tick_hz, rate_hz);
            assert!(again.0 <= 0.35, "{tick_hz:?} {rate_hz}: {again:?}");
            assert_eq!(again.1, [first.1[0]], "the same rate, said once");
            for other in [1.05 * rate_hz, 1.6 * rate_hz, 8.0 * rate_hz] {
                let mut r = r.clone();
                r.restart();
                let last = relearned(&mut r, tick_hz, other).1.pop().unwrap();
                // 16 ms of two seconds at either end; a given rate is believed within 1.5 %.
                assert!((last / other - 1.0).abs() < 0.016, "{tick_hz:?}: {last} for {other}");
            }
        }
    }
}
