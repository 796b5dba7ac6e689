//! Wall time: pairs of the monotonic and the wall clock, and the notice of a stepped wall clock.
//!
//! Durations come from the device's ticks and never from here. The offset wall − monotonic is
//! observed several times a second; slow steering by a time service moves it, a change of more than
//! `STEP_NS` between two looks is a step: runs in flight are flagged, nothing else changes. A moment
//! before a step keeps the offset of its own time.

use boltscribe_model::time::MonoNs;
use std::collections::VecDeque;
use std::sync::{Mutex, PoisonError};

/// A change of the offset that counts as a step, nanoseconds.
pub const STEP_NS: i64 = 500_000_000;
/// Steps remembered; a run lasts minutes, so older ones concern no run.
const STEPS_MAX: usize = 64;

/// One moment on both clocks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pair {
    /// Host monotonic time.
    pub mono: MonoNs,
    /// Nanoseconds since 1970 UTC.
    pub utc_ns: i64,
}

impl Pair {
    const fn offset_ns(self) -> i64 {
        self.utc_ns.saturating_sub(mono_ns(self.mono))
    }
}

const fn mono_ns(at: MonoNs) -> i64 {
    // 2^63 ns are 292 years of uptime.
    at.0.cast_signed()
}

/// The wall clock was stepped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Step {
    /// The last look before it.
    pub after: MonoNs,
    /// The first look behind it.
    pub before: MonoNs,
    /// By how much, nanoseconds; forward is positive.
    pub by_ns: i64,
}

struct State {
    latest: Pair,
    /// Steps, each with the offset that held before it.
    steps: VecDeque<(Step, i64)>,
    count: u64,
}

/// The map from monotonic to wall time, shared by all rigs.
pub struct Wall {
    state: Mutex<State>,
}

impl Wall {
    /// Starts with one look at both clocks.
    #[must_use]
    pub const fn new(first: Pair) -> Self {
        Self { state: Mutex::new(State { latest: first, steps: VecDeque::new(), count: 0 }) }
    }

    /// Takes another look; tells of a step since the last one.
    pub fn observe(&self, pair: Pair) -> Option<Step> {
        let mut state = self.state.lock().unwrap_or_else(PoisonError::into_inner);
        if pair.mono < state.latest.mono {
            // Another thread looked later and was faster here.
            return None;
        }
        let before = std::mem::replace(&mut state.latest, pair);
        let by_ns = pair.offset_ns().saturating_sub(before.offset_ns());
        if by_ns.saturating_abs() <= STEP_NS {
            return None;
        }
        let step = Step { after: before.mono, before: pair.mono, by_ns };
        if state.steps.len() == STEPS_MAX {
            state.steps.pop_front();
        }
        state.steps.push_back((step, before.offset_ns()));
        state.count += 1;
        Some(step)
    }

    /// Wall time of a moment, nanoseconds since 1970 UTC, by the offset that held then.
    #[must_use]
    pub fn utc_ns(&self, at: MonoNs) -> i64 {
        let state = self.state.lock().unwrap_or_else(PoisonError::into_inner);
        let later_step = state.steps.iter().find(|(step, _)| at <= step.after);
        let offset_ns = later_step.map_or_else(|| state.latest.offset_ns(), |(_, offset)| *offset);
        mono_ns(at).saturating_add(offset_ns)
    }

    /// Whether the clock was stepped between two moments.
    #[must_use]
    pub fn stepped_between(&self, from: MonoNs, to: MonoNs) -> bool {
        let state = self.state.lock().unwrap_or_else(PoisonError::into_inner);
        state.steps.iter().any(|(step, _)| step.before > from && step.after < to)
    }

    /// Steps seen since the start.
    #[must_use]
    pub fn steps(&self) -> u64 {
        self.state.lock().unwrap_or_else(PoisonError::into_inner).count
    }
}

/// Looks at both clocks now.
#[must_use]
#[allow(clippy::disallowed_methods, reason = "this is the place where the wall clock is read")]
pub fn look() -> Pair {
    let mono = boltscribe_serial::clock::now();
    let since = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH);
    let utc_ns = match since {
        Ok(after) => i64::try_from(after.as_nanos()).unwrap_or(i64::MAX),
        Err(e) => i64::try_from(e.duration().as_nanos()).map_or(i64::MIN, |ns| -ns),
    };
    Pair { mono, utc_ns }
}

#[cfg(test)]
mod tests {
    use super::*;

    const S: u64 = 1_000_000_000;

    fn pair(mono_s: u64, utc_s: i64) -> Pair {
        Pair { mono: MonoNs(mono_s * S), utc_ns: utc_s * 1_000_000_000 }
    }

    #[test]
    fn a_moment_before_a_step_keeps_the_offset_of_its_own_time() {
        let wall = Wall::new(pair(10, 1000));
        assert_eq!(wall.observe(pair(20, 1010)), None);
        let step = wall.observe(pair(21, 4611)).unwrap();
        assert_eq!(step.by_ns, 3_600_000_000_000);
        assert_eq!(wall.utc_ns(MonoNs(15 * S)), 1_005_000_000_000);
        assert_eq!(wall.utc_ns(MonoNs(22 * S)), 4_612_000_000_000);
        let back = wall.observe(pair(31, 1021)).unwrap();
        assert_eq!(back.by_ns, -3_600_000_000_000);
        assert_eq!(wall.utc_ns(MonoNs(15 * S)), 1_005_000_000_000);
        assert_eq!(wall.utc_ns(MonoNs(21 * S)), 4_611_000_000_000);
        assert_eq!(wall.utc_ns(MonoNs(32 * S)), 1_022_000_000_000);
        assert_eq!(wall.steps(), 2);
    }

    #[test]
    fn only_what_was_going_on_during_a_step_is_suspect() {
        let wall = Wall::new(pair(10, 1000));
        wall.observe(pair(20, 1010));
        wall.observe(pair(21, 1020));
        assert!(wall.stepped_between(MonoNs(15 * S), MonoNs(25 * S)));
        assert!(wall.stepped_between(MonoNs(20 * S), MonoNs(21 * S)));
        assert!(!wall.stepped_between(MonoNs(10 * S), MonoNs(20 * S)));
        assert!(!wall.stepped_between(MonoNs(21 * S), MonoNs(30 * S)));
    }

    #[test]
    fn slow_steering_is_no_step_and_half_a_second_is_the_limit() {
        let wall = Wall::new(pair(0, 0));
        let at = |mono_s: u64, late_ns: i64| Pair {
            mono: MonoNs(mono_s * S),
            utc_ns: mono_s.cast_signed() * 1_000_000_000 + late_ns,
        };
        for k in 1..=10 {
            assert_eq!(wall.observe(at(k, 100_000_000 * k.cast_signed())), None);
        }
        assert_eq!(wall.observe(at(11, 1_500_000_000)), None);
        assert!(wall.observe(at(12, 2_000_000_001)).is_some());
    }

    #[test]
    fn ten_years_back_are_survived_and_memory_is_bounded() {
        let wall = Wall::new(pair(1, 2_000_000_000));
        for k in 2..1000 {
            wall.observe(pair(k, if k % 2 == 0 { 1_700_000_000 } else { 2_000_000_000 }));
        }
        assert_eq!(wall.steps(), 998);
        assert_eq!(wall.state.lock().unwrap().steps.len(), STEPS_MAX);
        assert_eq!(wall.utc_ns(MonoNs(999 * S)), 2_000_000_000 * 1_000_000_000);
    }
}
