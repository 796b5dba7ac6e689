//! Level and held tension after the last blow.
//!
//! Level is the median 0.05–0.2 s after the last blow; held is the median 0.2–0.7 s after it, cut where
//! tension falls under 98 % of level or at a next blow.

use super::kept::Wave;
use super::starts::MEDIAN_SE;

/// The settled part of a run. Tensions in newtons above zero, times in seconds from the first kept sample.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Held {
    /// Median 0.05–0.2 s after the last blow.
    pub level: Option<f64>,
    /// Median of the held window.
    pub held: Option<f64>,
    /// End of the held window.
    pub end_s: f64,
    /// Less than 0.2 s was left.
    pub unsettled: bool,
    /// The window was cut before its end by a fall or a blow.
    pub cut: bool,
    /// Level and held differ by more than any creep.
    pub doubtful: bool,
}

/// Level is read from this long after the last blow, seconds (the manual, "What is measured").
pub const LEVEL_FROM_S: f64 = 0.05;
/// Level is read up to here, and held from here on, seconds.
pub const HELD_FROM_S: f64 = 0.2;
/// End of the held window after the last blow, seconds.
const HELD_TO_S: f64 = 0.7;
/// Under this share of level tension has fallen, and the held window ends.
const FALLEN: f64 = 0.98;
/// Length of the level's window, seconds (0.2 − 0.05): noise and ringing of a level are judged over it.
const LEVEL_LASTS_S: f64 = 0.15;
/// Spacings by which a window may be too short: one is lost to rounding at both ends, half a one is slack.
const ROUNDING_SAMPLES: f64 = 1.5;
/// A fall is looked for in medians of this length: four cycles of the slowest ring (70 Hz), seconds.
const FALL_WINDOW_S: f64 = 0.06;
/// A median over four cycles is moved by at most this part of the ring's spread.
const RINGING_PART: f64 = 0.25;
/// Standard errors by which a fall stands out of noise.
const FALL_Z: f64 = 5.0;
/// Held is less than level by at most this share.
const SAME_SHARE: f64 = 0.02;
/// And more by at most this: what rings may move a median by.
const GROWS_SHARE: f64 = 0.002;
/// Shortest held window that counts as settled, seconds.
const SETTLED_S: f64 = 0.2;

/// Measures level and held. `next_blow_s`: onset of a next blow, if any; `end_s`: where samples end.
#[must_use]
pub fn measure(wave: Wave<'_>, last_s: f64, next_blow_s: Option<f64>, zero: f64, noise: f64) -> Held {
    let samples_end = wave.x.len() as f64 / wave.rate_hz;
    let bound = next_blow_s.unwrap_or(f64::INFINITY).min(samples_end);
    let level = wave.median(wave.range(last_s + LEVEL_FROM_S, (last_s + HELD_FROM_S).min(bound)));
    let Some(level) = level else {
        return Held { end_s: bound, unsettled: true, cut: true, ..Held::default() };
    };
    let planned = last_s + HELD_TO_S;
    let fall = fall_s(wave, last_s + LEVEL_FROM_S, planned.min(bound), level - zero, zero, noise);
    let end_s = planned.min(bound).min(fall.unwrap_or(f64::INFINITY));
    let window = wave.range(last_s + HELD_FROM_S, end_s);
    let left_s = window.len() as f64 / wave.rate_hz;
    let enough = window.len() >= 2;
    let held = if enough { wave.median(window).map(|h| h - zero) } else { None };
    // A bolt creeps by far less, and never up: what differs more is no hold of this pull.
    let doubt = FALL_Z * MEDIAN_SE * noise / ((left_s.min(LEVEL_LASTS_S) * wave.rate_hz).max(1.0)).sqrt();
    let same = held.is_none_or(|held| {
        let (height, change) = ((level - zero).abs(), held - (level - zero));
        change >= -(SAME_SHARE * height + doubt) && change <= GROWS_SHARE * height + doubt
    });
    Held {
        level: Some(level - zero).filter(|_| same),
        held: held.filter(|_| same),
        doubtful: !same,
        end_s: end_s.max(last_s),
        unsettled: left_s < SETTLED_S - ROUNDING_SAMPLES / wave.rate_hz,
        cut: end_s < planned,
    }
}

/// First time at which a short median falls under 98 % of level, by more than noise explains.
fn fall_s(wave: Wave<'_>, from_s: f64, to_s: f64, level: f64, zero: f64, noise: f64) -> Option<f64> {
    let width = ((FALL_WINDOW_S * wave.rate_hz) as usize).max(3);
    let range = wave.range(from_s, to_s);
    // What still rings moves a median over a few cycles by a part of its spread.
    let ringing = RINGING_PART * wave.noise(wave.range(from_s, (from_s + LEVEL_LASTS_S).min(to_s)));
    let slack = (FALL_Z * MEDIAN_SE * noise / (width as f64).sqrt()).max(ringing);
    let floor = zero + (FALLEN * level).min(level - slack);
    let mut at = range.start;
    while at + width <= range.end.max(range.start) {
        if wave.median(at..at + width)? < floor {
            let first = (at..at + width).find(|i| f64::from(wave.x[*i]) < floor).unwrap_or(at);
            return Some(first as f64 / wave.rate_hz);
        }
        at += (width / 2).max(1);
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quick_release_cuts_the_window_and_says_unsettled() {
        let rate = 1000.0;
        let mut x = vec![50_000.0_f32; 2000];
        x[1300..].fill(0.0);
        let wave = Wave { x: &x, rate_hz: rate };
        let h = measure(wave, 1.0, None, 0.0, 1.0);
        assert_eq!(h.level, Some(50_000.0));
        assert_eq!(h.held, Some(50_000.0));
        assert!(h.unsettled && h.cut && (h.end_s - 1.3).abs() < 0.002);
        let whole = measure(wave, 0.4, None, 0.0, 1.0);
        assert!(!whole.unsettled && !whole.cut && (whole.end_s - 1.1).abs() < 1e-9);
    }
}
