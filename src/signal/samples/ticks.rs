//! Where a framed device's samples belong: its ticks and sequence numbers against what was expected.
//!
//! Sequence and ticks are those of firmware-protocol/SPEC.md; arrival times play no part here.

use crate::frames::SampleFrame;
use boltscribe_model::time::Unwrapper;

/// A step back by more than this is a restart, not a late frame, seconds.
const RESTART_S: f64 = 5.0;

/// What a frame of samples is, seen from the one before.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// Follows at once, or is the first.
    Next,
    /// Samples are missing before it.
    After {
        /// How many.
        missing: u64,
    },
    /// It was there before, or comes too late.
    Repeated,
    /// The device's counter jumped: it restarted.
    Restarted,
}

/// Follows ticks and sequence numbers.
#[derive(Clone, Debug)]
pub struct Follower {
    unwrapper: Unwrapper,
    expected: Option<u64>,
    sequence: u16,
    /// Frames that did not follow in sequence though their ticks did.
    pub odd_sequences: u64,
}

impl Default for Follower {
    fn default() -> Self {
        Self { unwrapper: Unwrapper::new(32), expected: None, sequence: 0, odd_sequences: 0 }
    }
}

impl Follower {
    /// Forgets the past: the next frame is the first.
    pub fn restart(&mut self) {
        self.unwrapper.restart();
        self.expected = None;
    }

    /// Places a frame; `tick_rate_hz` tells how long a tick is.
    pub fn place(&mut self, frame: &SampleFrame<'_>, tick_rate_hz: f64) -> Place {
        let Some(expected) = self.expected else {
            let first = self.unwrapper.unwrap(u64::from(frame.first_tick)).0;
            self.accept(frame, first);
            return Place::Next;
        };
        let mut trial = self.unwrapper.clone();
        let first = trial.unwrap(u64::from(frame.first_tick)).0;
        let step = u64::from(frame.ticks_per_sample);
        let length = step * frame.counts.len() as u64;
        if first + step / 2 < expected {
            let back_s = (expected - first) as f64 / tick_rate_hz;
            let seen_before = first + length <= expected + step / 2 && back_s < RESTART_S;
            return if seen_before { Place::Repeated } else { Place::Restarted };
        }
        let missing = (first - expected + step / 2) / step;
        if missing as f64 * step as f64 > 3600.0 * tick_rate_hz {
            return Place::Restarted;
        }
        if missing == 0 && frame.sequence != self.sequence.wrapping_add(1) {
            self.odd_sequences += 1;
        }
        self.unwrapper = trial;
        self.accept(frame, first);
        if missing == 0 { Place::Next } else { Place::After { missing } }
    }

    fn accept(&mut self, frame: &SampleFrame<'_>, first: u64) {
        self.sequence = frame.sequence;
        self.expected = Some(first + u64::from(frame.ticks_per_sample) * frame.counts.len() as u64);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn frame(first_tick: u32, sequence: u16) -> SampleFrame<'static> {
        SampleFrame {
            first_tick,
            sequence,
            ticks_per_sample: 500,
            saturated: false,
            overrun: false,
            counts: &[0; 10],
        }
    }

    #[test]
    fn ticks_tell_next_gap_repeat_and_restart() {
        let mut f = Follower::default();
        assert_eq!(f.place(&frame(0xFFFF_FF00, 7), 1e6), Place::Next);
        let next = 0xFFFF_FF00_u32.wrapping_add(5000);
        assert_eq!(f.place(&frame(next, 8), 1e6), Place::Next);
        assert_eq!(f.place(&frame(next, 8), 1e6), Place::Repeated);
        let later = next.wrapping_add(5000 + 20 * 500);
        assert_eq!(f.place(&frame(later, 11), 1e6), Place::After { missing: 20 });
        assert_eq!(f.place(&frame(later.wrapping_sub(20_000_000), 0), 1e6), Place::Restarted);
        f.restart();
        assert_eq!(f.place(&frame(12, 0), 1e6), Place::Next);
    }

    #[test]
    fn a_slow_clock_of_the_device_makes_no_gap() {
        let mut f = Follower::default();
        f.place(&frame(0, 0), 1e6);
        // A quarter of a sample late, as jitter of the sampling may be.
        assert_eq!(f.place(&frame(5125, 1), 1e6), Place::Next);
    }
}
