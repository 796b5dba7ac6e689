//! Whether the device's clock agrees with the host's over a run.
//!
//! Sample numbers are the device's time, the moments of reads the host's. Bytes arrive late, never early, so
//! only the least delayed arrival of each quarter of a second is compared. Must not know any clock: it rests
//! on the recorded moments of reads alone.

use std::collections::VecDeque;

/// Of so much device time the least delayed arrival is kept, seconds.
const STRETCH_S: f64 = 0.25;
/// Device time looked back at most, seconds: as long as the line of least delay does.
const LOOK_BACK_S: f64 = 300.0;
/// The first part of a look-back of which the least delayed arrival is taken, seconds.
const BEFORE_S: f64 = 2.0;
/// The last part of a run of which the least delayed arrival is taken, seconds.
const AFTER_S: f64 = 0.5;
/// Least delays may differ by this, seconds: a converter of USB to serial that hands over every 16 ms (common
/// practice, no source), and as much for the program that reads.
const DELAY_S: f64 = 0.03;
/// The clocks may differ by this share: twenty times what a crystal may. Our own choice, no source.
const SHARE_MAX: f64 = 0.002;

/// Frames that follow one another in less than this share of their device time had waited: only the last of
/// them came in time. A read of what waited is hundreds of times faster than the line.
const WAITED_SHARE: f64 = 0.02;

/// An arrival: device time, and how far the host's time was ahead of it, seconds.
#[derive(Clone, Copy, Debug)]
struct Arrival {
    device_s: f64,
    ahead_s: f64,
}

/// The least delayed arrivals of a stretch of samples.
#[derive(Debug, Default)]
pub(super) struct Pace {
    /// None: the device has no clock, so there is nothing to compare.
    rate_hz: Option<f64>,
    /// The device says that its seconds are not those here.
    scaled: bool,
    /// The newest arrival, of which is not known yet whether it had waited.
    newest: Option<Arrival>,
    /// Start of the newest part, and the arrivals in order.
    part_s: f64,
    arrivals: VecDeque<Arrival>,
}

impl Pace {
    /// Samples are spaced in device time from here on; none: in the host's.
    pub(super) fn begin(&mut self, rate_hz: Option<f64>) {
        self.rate_hz = rate_hz;
        self.forget();
    }

    /// The device's seconds in a second here.
    pub(super) const fn scale(&mut self, time_scale: u16) {
        self.scaled = time_scale != 1;
    }

    /// Compares only what comes from here on: a hole ends whatever run there was.
    pub(super) fn forget(&mut self) {
        self.newest = None;
        self.arrivals.clear();
    }

    /// The samples before number `next` had arrived at `host_s`.
    pub(super) fn push(&mut self, next: u64, host_s: f64) {
        let Some(rate_hz) = self.rate_hz else { return };
        let device_s = next as f64 / rate_hz;
        let arrival = Arrival { device_s, ahead_s: host_s - device_s };
        if let Some(before) = self.newest.replace(arrival) {
            let lasted_s = device_s - before.device_s;
            if lasted_s + arrival.ahead_s - before.ahead_s > WAITED_SHARE * lasted_s {
                self.keep(before);
            }
        }
    }

    fn keep(&mut self, arrival: Arrival) {
        let device_s = arrival.device_s;
        match self.arrivals.back_mut() {
            Some(last) if device_s < self.part_s + STRETCH_S => {
                if arrival.ahead_s < last.ahead_s {
                    *last = arrival;
                }
            }
            _ => {
                self.part_s = device_s;
                self.arrivals.push_back(arrival);
            }
        }
        while self.arrivals.front().is_some_and(|first| device_s - first.device_s > LOOK_BACK_S) {
            self.arrivals.pop_front();
        }
    }

    /// The clocks differ by more than they may over a run with this first blow, up to the last bytes that
    /// were read in time: by a step inside it, or by their rates.
    pub(super) fn differs(&self, first_blow_s: f64) -> bool {
        let Some((first, last)) = self.arrivals.front().zip(self.arrivals.back()) else { return false };
        if self.scaled {
            return false;
        }
        let least = |from_s: f64, to_s: f64| {
            let inside = |a: &&Arrival| a.device_s >= from_s && a.device_s <= to_s;
            self.arrivals.iter().filter(inside).min_by(|a, b| a.ahead_s.total_cmp(&b.ahead_s))
        };
        let Some(after) = least(last.device_s - AFTER_S, last.device_s) else { return false };
        let at_first = least(first.device_s, (first.device_s + BEFORE_S).min(first_blow_s));
        let at_run = least(first_blow_s - BEFORE_S, first_blow_s);
        [at_first, at_run].into_iter().flatten().any(|before| {
            let allowed = DELAY_S + SHARE_MAX * (after.device_s - before.device_s);
            (after.ahead_s - before.ahead_s).abs() > allowed
        })
    }
}

#[cfg(test)]
#[path = "pace_tests.rs"]
mod tests;
