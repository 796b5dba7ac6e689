//! Nothing begins before rest was seen: what a finder does whose stream may have begun inside a tightening.
//!
//! A program that starts again hears the rig in the middle of whatever goes on. What stands there then is no
//! zero, and what rises from there is no run. Must not know why a stream began.

use super::super::kept::Wave;
use super::super::record::Settings;
use super::{Finder, State};
use boltscribe_model::units::Newtons;

/// Rest is half a second, as long as a zero is taken over, seconds.
const REST_S: f64 = 0.5;
/// In so many parts; their medians say whether it stands still.
const REST_PARTS: usize = 4;
/// A reading at rest moves by at most this share of the start threshold, as a zero that is taken by command.
const REST_SHARE: f64 = 0.125;
/// Nobody may wait without an end: after this long runs are found, and left out until a release, seconds.
pub const REST_MAX_S: f64 = 60.0;

/// What is waited for before zero and runs can be believed.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Rest {
    /// Nothing.
    #[default]
    Seen,
    /// Neither zero nor run begins before the reading stands still below `below`.
    Awaited {
        /// Where the rig last rested, newtons in the calibration's terms.
        at: Newtons,
        /// As far above it as the rig's zero may be.
        below: Newtons,
    },
    /// That took too long. Runs are found; they are parts of a tightening, and marked so, until tension falls
    /// below `below`.
    Missed {
        /// As above.
        below: Newtons,
    },
}

impl Rest {
    /// Waits for a rest near `at`: as far above it as zeros may shift without a flag, and the start threshold.
    #[must_use]
    pub fn near(at: Newtons, settings: &Settings) -> Self {
        let above = settings.zero_shift_limit().get() + settings.start_threshold().get();
        Self::Awaited { at, below: Newtons(at.get() + above) }
    }

    /// Below which tension must fall; none where nothing is waited for.
    #[must_use]
    pub const fn below(&self) -> Option<Newtons> {
        match self {
            Self::Seen => None,
            Self::Awaited { below, .. } | Self::Missed { below } => Some(*below),
        }
    }
}

impl Finder {
    /// From the next sample on: what is waited for.
    pub fn set_rest(&mut self, rest: Rest) {
        self.rest = (rest, self.next);
    }

    /// What is waited for, and for how long by now, seconds.
    #[must_use]
    pub fn awaited_rest(&self) -> (Rest, f64) {
        (self.rest.0, (self.next - self.rest.1) as f64 / self.rate_hz)
    }

    /// The idle reading, where nothing is open and nothing is waited for.
    #[must_use]
    pub fn resting_at(&self) -> Option<Newtons> {
        let rests = self.rest.0 == Rest::Seen && matches!(self.state, State::Idle { armed: true });
        rests.then_some(Newtons(self.zero))
    }

    /// Runs that begin now are parts of a tightening.
    pub(super) const fn rest_missed(&self) -> bool {
        matches!(self.rest.0, Rest::Missed { .. })
    }

    /// While idle: true where neither zero nor run may begin yet.
    pub(super) fn rest_is_awaited(&mut self) -> bool {
        match self.rest.0 {
            Rest::Seen => false,
            Rest::Awaited { at, below } => {
                if self.stands_still_below(below.get()) {
                    self.rest.0 = Rest::Seen;
                    self.idle_from = self.next - (REST_S * self.rate_hz) as u64;
                    return false;
                }
                let late = self.awaited_rest().1 >= REST_MAX_S;
                if late {
                    // What stands there is idle, but it is not the rig's zero.
                    self.rig_zero = self.rig_zero.or(Some(at));
                    self.rest.0 = Rest::Missed { below };
                }
                !late
            }
            Rest::Missed { below } => {
                if self.level_now() < below.get() {
                    self.rest.0 = Rest::Seen;
                    self.idle.clear();
                    self.idle_from = self.next;
                    self.state = State::Idle { armed: false };
                }
                false
            }
        }
    }

    fn stands_still_below(&self, below: f64) -> bool {
        let n = (REST_S * self.rate_hz) as usize;
        let part = n / REST_PARTS;
        let Some((_, noise)) = self.idle.estimate().filter(|_| part > 0 && self.kept.len() >= n) else {
            return false;
        };
        let wave = Wave { x: &self.kept, rate_hz: self.rate_hz };
        let (mut least, mut most) = (f64::INFINITY, f64::NEG_INFINITY);
        for k in 1..=REST_PARTS {
            let end = self.kept.len() - (REST_PARTS - k) * part;
            let Some(median) = wave.median(end - part..end) else { return false };
            (least, most) = (least.min(median), most.max(median));
        }
        let moves = (REST_SHARE * self.settings.start_threshold().get()).max(noise);
        most < below && most - least <= moves
    }
}

#[cfg(test)]
mod tests {
    use super::super::played::{self, RATE_HZ, drive, opened, stand};
    use super::*;
    use crate::runs::{Found, RunFlag};

    /// A finder of a rig that rested at 500 N, in a stream that just began.
    fn finder() -> Finder {
        let mut finder = played::finder();
        finder.set_rest(Rest::near(Newtons(500.0), &Settings::default()));
        finder
    }

    fn announced(found: &[Found]) -> Option<&crate::runs::Record> {
        found.iter().find_map(|f| match f {
            Found::Announced { record, .. } => Some(&**record),
            _ => None,
        })
    }

    fn marked(record: &crate::runs::Record) -> bool {
        record.flags.contains(&RunFlag::Interrupted)
    }

    #[test]
    fn a_stream_that_begins_inside_a_tightening_has_no_zero_and_no_run_before_the_release() {
        for from in [600.0, 1_500.0, 30_000.0] {
            let mut finder = finder();
            assert_eq!(opened(&drive(&mut finder, from, 2.0)), 0, "from {from} N");
            assert_eq!(opened(&stand(&mut finder, from + 60_000.0, 20.0)), 0);
            assert_eq!(opened(&drive(&mut finder, from + 60_000.0, 0.5)), 0, "pulled again");
            assert_eq!(finder.rig_zero(), None, "what stands there is no zero");
            assert!(finder.resting_at().is_none());
            stand(&mut finder, 510.0, 1.0);
            let zero = finder.rig_zero().unwrap().get();
            assert!((zero - 510.0).abs() < 3.0, "{zero}");
            let found = [drive(&mut finder, 510.0, 2.0), stand(&mut finder, 60_510.0, 1.5)].concat();
            assert_eq!(opened(&found), 1, "the next tightening is one");
            let record = announced(&found).unwrap();
            assert!(!marked(record), "{:?}", record.flags);
            assert!((record.zero.get() - 510.0).abs() < 10.0, "{:?}", record.zero);
        }
    }

    #[test]
    fn a_rig_at_rest_is_ready_after_half_a_second() {
        let mut finder = finder();
        stand(&mut finder, 800.0, 0.55);
        assert_eq!(finder.awaited_rest().0, Rest::Seen);
        assert_eq!(opened(&drive(&mut finder, 800.0, 2.0)), 1);
    }

    #[test]
    fn noise_far_above_the_start_threshold_is_no_tightening() {
        let mut finder = finder();
        // 1,200 N to either side of 500 N, at 50 Hz.
        let x: Vec<f32> = (0..1000)
            .map(|i| {
                (500.0 + 1200.0 * libm::sin(100.0 * core::f64::consts::PI * f64::from(i) / RATE_HZ)) as f32
            })
            .collect();
        finder.push(&x, &[], &mut Vec::new());
        assert_eq!(finder.awaited_rest().0, Rest::Seen);
    }

    #[test]
    fn what_is_driven_upon_a_tension_that_nobody_released_is_found_and_marked() {
        let mut finder = finder();
        stand(&mut finder, 20_000.0, REST_MAX_S + 3.0);
        let found = [drive(&mut finder, 20_000.0, 2.0), stand(&mut finder, 80_000.0, 1.5)].concat();
        assert_eq!(opened(&found), 1, "nobody waits without an end");
        let record = announced(&found).unwrap();
        assert!(marked(record) && record.flags.contains(&RunFlag::ZeroShift), "{:?}", record.flags);
        assert!((record.zero_shift.get() - 19_500.0).abs() < 20.0, "{:?}", record.zero_shift);
        stand(&mut finder, 500.0, 3.0);
        let found = [drive(&mut finder, 500.0, 2.0), stand(&mut finder, 60_500.0, 1.5)].concat();
        assert!(!marked(announced(&found).unwrap()), "after the release runs are runs");
    }
}
