//! Sees blows as they come, for live news and to know when a tool has stopped; provisional.
//!
//! The blows of the record are found anew by `blows`; must not know the run's state.

use super::band::{Band, BandSignal};
use super::blows::{CLOSEST_S, NOISE_BEFORE};
use super::lowpass::State;

/// As rarely as this many standard deviations noise makes a blow of the news: more rarely than in the record.
const NEWS_Z: f64 = 5.0;
/// Time in which a loud blow is forgotten, seconds.
const FADING_S: f64 = 0.3;
/// A blow's rise is at least this share of the loudest one not yet forgotten. Found on the virtual rig.
const FAINT_SHARE: f64 = 0.02;
/// A rise has ended when it falls under this share of what makes one.
const ENDED_SHARE: f64 = 0.25;

/// A causal detector of rises in the unfiltered band.
#[derive(Clone, Debug)]
pub struct Watch {
    band: Band,
    state: State<1>,
    squares: Vec<f64>,
    at: usize,
    after: f64,
    before: f64,
    threshold: f64,
    typical: f64,
    fading: f64,
    armed: bool,
    since: usize,
    closest: usize,
}

impl Watch {
    /// Learns noise from `kept` up to `idle_to`, then watches what follows it.
    #[must_use]
    pub fn new(kept: &[f32], idle_to: usize, rate_hz: f64) -> (Self, Vec<usize>) {
        let band = Band::new(rate_hz);
        let half = (0.5 * rate_hz) as usize;
        let signal = BandSignal::new(kept, rate_hz, kept);
        let noise = signal.noise(idle_to.saturating_sub(half)..idle_to);
        let mut watch = Self {
            state: band.settled_at(kept.first().copied().map_or(0.0, f64::from)),
            squares: vec![0.0; 2 * band.window],
            at: 0,
            after: 0.0,
            before: 0.0,
            threshold: noise * noise * (band.noise_factor(NEWS_Z) - NOISE_BEFORE) * band.window as f64,
            typical: 0.0,
            // A spike must not hide the blows that follow it for longer than a third of a second.
            fading: 1.0 - 1.0 / (FADING_S * rate_hz).max(2.0),
            armed: true,
            since: 0,
            closest: ((CLOSEST_S * rate_hz) as usize).max(2),
            band,
        };
        let mut seen = Vec::new();
        for (i, x) in kept.iter().enumerate() {
            if watch.push(f64::from(*x)) && i >= idle_to {
                seen.push(i);
            }
        }
        (watch, seen)
    }

    /// Samples by which an onset lies before the sample that shows it.
    #[must_use]
    pub fn lag(&self) -> usize {
        self.band.window
    }

    /// True when this sample shows a new blow.
    #[inline]
    pub fn push(&mut self, x: f64) -> bool {
        let b = self.band.process(&mut self.state, x);
        let w = self.band.window;
        let square = b * b;
        let middle = if self.at >= w { self.at - w } else { self.at + w };
        let (leaves_after, leaves_before) = (self.squares[middle], self.squares[self.at]);
        self.after += square - leaves_after;
        self.before += leaves_after - leaves_before;
        self.squares[self.at] = square;
        self.at = if self.at + 1 == 2 * w { 0 } else { self.at + 1 };
        self.since += 1;
        let rise = self.after - self.before;
        self.typical *= self.fading;
        let least = self.threshold.max(FAINT_SHARE * self.typical);
        if self.armed && rise > least && self.since > self.closest {
            self.armed = false;
            self.since = 0;
            self.typical = rise;
            return true;
        }
        if !self.armed && rise < ENDED_SHARE * least {
            self.armed = true;
        }
        false
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_burst_is_seen_once() {
        let rate = 4000.0;
        let wave = |n: usize| -> f32 {
            let since = n % 200;
            let t = since as f64 / rate;
            let ring = if n >= 2000 {
                800.0 * (-t / 0.004).exp() * (2.0 * std::f64::consts::PI * 600.0 * t).sin()
            } else {
                0.0
            };
            (ring + ((n * 7919) % 101) as f64 * 0.1) as f32
        };
        let kept: Vec<f32> = (0..1900).map(wave).collect();
        let (mut watch, seen) = Watch::new(&kept, 1900, rate);
        assert!(seen.is_empty());
        let blows = (1900..12_000).filter(|n| watch.push(f64::from(wave(*n)))).count();
        assert_eq!(blows, 50);
    }
}
