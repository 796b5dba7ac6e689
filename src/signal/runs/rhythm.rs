//! The rhythm of a series of blows: its period as a whole and from place to place, by correlation with itself.
//!
//! Must not know what the loudness was made of.

use std::ops::Range;

/// Fastest and slowest tool whose rhythm is looked for, blows a second.
const RHYTHM_HZ: (f64, f64) = (90.0, 4.0);
/// Grid on which the rhythm is looked for, hertz: a tenth of the shortest period.
const RHYTHM_GRID_HZ: f64 = 900.0;
/// The local period is worked out so often, seconds.
const LOCAL_EVERY_S: f64 = 0.25;
/// From so many periods to each side.
const LOCAL_PERIODS: f64 = 6.0;
/// The local period lies between these parts of the whole run's. Found on both models of the virtual rig.
const LOCAL_SPAN: (f64, f64) = (0.55, 1.8);
/// The first peak of the correlation that has this part of the greatest is the period: later ones are its multiples.
/// Found on both models of the virtual rig.
const FIRST_PEAK: f64 = 0.7;
/// Lags whose sums are made in one pass over the samples.
pub(super) const LANES: usize = 16;

/// Sums of products of `x` with itself `lags` later. Several lags go in one pass, each in the order of time, so that
/// the sums are those of one lag after the other.
pub(super) fn products<T>(x: &[T], lags: Range<usize>) -> Vec<T>
where
    T: Copy + Default + std::ops::Mul<Output = T> + std::ops::AddAssign,
{
    let mut sums = Vec::with_capacity(lags.len());
    let mut first = lags.start;
    while first < lags.end {
        let count = LANES.min(lags.end - first);
        let mut sum = [T::default(); LANES];
        let whole = (x.len() + 1).saturating_sub(first + LANES);
        for (a, later) in x.iter().zip(x.get(first..).unwrap_or(&[]).windows(LANES)) {
            // A length known beforehand lets them go side by side.
            let Some(later) = later.first_chunk::<LANES>() else { break };
            for (s, b) in sum.iter_mut().zip(later) {
                *s += *a * *b;
            }
        }
        for (lane, s) in sum[..count].iter_mut().enumerate() {
            let lag = first + lane;
            for i in whole..x.len().saturating_sub(lag) {
                *s += x[i] * x[i + lag];
            }
        }
        sums.extend_from_slice(&sum[..count]);
        first += count;
    }
    sums
}

/// The usual period of the loudness and how clear it is.
pub(super) struct Rhythm {
    /// The loudness on a grid just fine enough.
    pooled: Vec<f32>,
    pool: usize,
    grid_hz: f64,
    /// In points of the grid.
    whole: f64,
    /// The greatest correlation over that at no lag.
    pub(super) contrast: f64,
}

impl Rhythm {
    /// None without a rhythm.
    pub(super) fn new(loud: &[f64], hz: f64) -> Option<Self> {
        // The rhythm needs no finer grid than this; the greatest of each piece keeps short excitations.
        let pool = ((hz / RHYTHM_GRID_HZ) as usize).max(1);
        let pooled: Vec<f32> =
            loud.chunks(pool).map(|c| c.iter().copied().fold(0.0, f64::max) as f32).collect();
        let grid_hz = hz / pool as f64;
        let (shortest, longest) = ((grid_hz / RHYTHM_HZ.0) as usize, (grid_hz / RHYTHM_HZ.1) as usize);
        let (whole, contrast) = period(&pooled, shortest.max(2)..longest)?;
        Some(Self { pooled, pool, grid_hz, whole, contrast })
    }

    pub(super) fn periods(&self) -> Periods {
        let (pooled, whole) = (&self.pooled, self.whole);
        let every = ((LOCAL_EVERY_S * self.grid_hz) as usize).max(1);
        let half = (LOCAL_PERIODS * whole).max(0.5 * self.grid_hz) as usize;
        let near = (LOCAL_SPAN.0 * whole) as usize..(LOCAL_SPAN.1 * whole) as usize;
        let periods = (0..=pooled.len() / every)
            .map(|k| {
                let middle = k * every;
                let part = middle.saturating_sub(half).min(pooled.len())..(middle + half).min(pooled.len());
                self.pool as f64 * period(&pooled[part], near.clone()).map_or(whole, |p| p.0)
            })
            .collect();
        Periods { every: every * self.pool, periods }
    }
}

/// The local period of the loudness, in samples, at points a quarter of a second apart.
pub(super) struct Periods {
    every: usize,
    periods: Vec<f64>,
}

impl Periods {
    pub(super) fn at(&self, place: usize) -> f64 {
        let last = self.periods.len() - 1;
        self.periods[(place / self.every).min(last)]
    }
}

/// The period of a stretch: the shortest lag whose correlation is nearly as great as the greatest.
fn period(loud: &[f32], lags: Range<usize>) -> Option<(f64, f64)> {
    let mean = loud.iter().sum::<f32>() / loud.len().max(1) as f32;
    let centred: Vec<f32> = loud.iter().map(|l| l - mean).collect();
    let end = lags.end.min(loud.len() / 2);
    if lags.start + 2 >= end {
        return None;
    }
    let correlation: Vec<f64> = products(&centred, lags.start..end)
        .into_iter()
        .zip(lags.start..)
        .map(|(sum, k)| f64::from(sum) / (loud.len() - k) as f64)
        .collect();
    let greatest = correlation.iter().copied().fold(f64::MIN, f64::max);
    if greatest <= 0.0 {
        return None;
    }
    let peak = |i: usize| {
        correlation[i] >= correlation[i.saturating_sub(1)]
            && correlation[i] >= *correlation.get(i + 1).unwrap_or(&f64::MIN)
    };
    let first = (0..correlation.len()).find(|i| correlation[*i] >= FIRST_PEAK * greatest && peak(*i))?;
    let power = f64::from(centred.iter().map(|a| a * a).sum::<f32>()) / loud.len() as f64;
    Some(((lags.start + first) as f64, greatest / power))
}
