//! Sees blows as they come, for live news and to know when a tool has stopped; provisional.
//!
//! The blows of the record are found anew by `blows`; must not know the run's state.

use super::band::{self, Band};
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
    /// Squares of the band: two windows, then those that come.
    squares: Vec<f64>,
    energies: Energies,
}

/// What a rise is told by: energies just after and just before a sample, and what was seen so far.
#[derive(Clone, Copy, Debug)]
struct Energies {
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
        // The half second that noise is learned from; of what was before it nothing is left in the band.
        let from = idle_to.saturating_sub(half);
        let begin = from.saturating_sub(band.forgets());
        let mut values = Vec::with_capacity(kept.len() - begin);
        let mut state = band.settled_at(kept.get(begin).copied().map_or(0.0, f64::from));
        band.run(&mut state, &kept[begin..], |b| values.push(b));
        let idle: Vec<f32> = values[from - begin..idle_to - begin].iter().map(|b| *b as f32).collect();
        let noise = band::noise_of(&idle, kept);
        let mut watch = Self {
            state,
            squares: vec![0.0; 2 * band.window],
            energies: Energies {
                after: 0.0,
                before: 0.0,
                threshold: noise * noise * (band.noise_factor(NEWS_Z) - NOISE_BEFORE) * band.window as f64,
                typical: 0.0,
                // A spike must not hide the blows that follow it for longer than a third of a second.
                fading: 1.0 - 1.0 / (FADING_S * rate_hz).max(2.0),
                armed: true,
                since: 0,
                closest: ((CLOSEST_S * rate_hz) as usize).max(2),
            },
            band,
        };
        let mut seen = Vec::new();
        watch.squares.extend(values[from - begin..].iter().map(|b| b * b));
        watch.step(|i| {
            if from + i >= idle_to {
                seen.push(from + i);
            }
        });
        (watch, seen)
    }

    /// Samples by which an onset lies before the sample that shows it.
    #[must_use]
    pub fn lag(&self) -> usize {
        self.band.window
    }

    /// Takes samples, newtons; `seen` is given the offset of each that shows a new blow.
    pub fn push_all(&mut self, tension: &[f32], seen: impl FnMut(usize)) {
        let squares = &mut self.squares;
        self.band.run(&mut self.state, tension, |b| squares.push(b * b));
        self.step(seen);
    }

    /// Compares the energies at all squares that have come.
    fn step(&mut self, mut seen: impl FnMut(usize)) {
        let w = self.band.window;
        let mut energies = self.energies;
        let (now, middle) = (&self.squares[2 * w..], &self.squares[w..]);
        for (i, ((now, middle), last)) in now.iter().zip(middle).zip(&self.squares).enumerate() {
            if energies.shows(now - middle, middle - last) {
                seen(i);
            }
        }
        self.energies = energies;
        let before = self.squares.len() - 2 * w;
        self.squares.drain(..before);
    }
}

impl Energies {
    /// Takes by how much the energies change; whether they show a new blow.
    #[inline]
    fn shows(&mut self, after: f64, before: f64) -> bool {
        self.after += after;
        self.before += before;
        self.since += 1;
        self.typical *= self.fading;
        let rise = self.after - self.before;
        let least = self.threshold.max(FAINT_SHARE * self.typical);
        if self.armed {
            if rise > least && self.since > self.closest {
                self.armed = false;
                self.since = 0;
                self.typical = rise;
                return true;
            }
        } else if rise < ENDED_SHARE * least {
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
        let later: Vec<f32> = (1900..12_000).map(wave).collect();
        let mut blows = 0;
        later.chunks(37).for_each(|piece| watch.push_all(piece, |_| blows += 1));
        assert_eq!(blows, 50);
    }
}
