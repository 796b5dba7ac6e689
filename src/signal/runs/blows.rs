//! Finds the blows of a run in its unfiltered band, and says whether they can be trusted.
//!
//! Works on all samples of a run at once: sure onsets first, then the usual interval, then weaker ones
//! where the series has a hole. Nothing is placed where the band shows no rise. Where sampling cannot
//! show blows the answer is none, never a wrong number.

use super::band::BandSignal;
use super::spikes::FAST_FROM_HZ;
use boltscribe_numerics::median;
use std::ops::Range;

/// One impact.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Onset {
    /// Sample at which the rise is greatest.
    pub index: usize,
    /// Rise of the band there, newtons squared.
    pub rise: f64,
    /// Greatest departure in the band that follows, newtons.
    pub excursion: f64,
}

/// The impacts of a stretch and how well they stand out.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Series {
    /// In order of time.
    pub onsets: Vec<Onset>,
    /// Median interval, seconds; 0.1 where fewer than two onsets.
    pub interval_s: f64,
    /// Median excursion, newtons.
    pub ringing: f64,
    /// Noise of the band, newtons.
    pub noise: f64,
    /// Share of neighbours whose interval is 0.6 to 1.6 medians.
    pub regular: f64,
    /// The same before weaker onsets were looked for.
    pub regular_sure: f64,
    /// Excursion that nine of ten blows exceed, newtons.
    pub faint: f64,
}

/// Interval taken where blows are not seen, seconds.
pub const INTERVAL_UNSEEN_S: f64 = 0.1;
/// Ringing over band noise below which blows are weak.
pub const STRONG: f64 = 6.0;
/// No tool strikes faster than about 60 times a second: onsets closer than this are one, seconds.
pub const CLOSEST_S: f64 = 0.008;
/// Below a nominal 250 samples/s blows are never believed, samples a second.
const SLOWEST_HZ: f64 = 247.0;
/// Intervals on either side that tell what is usual.
const NEIGHBOURS: usize = 6;
/// Samples an interval must have for blows to be seen.
const SAMPLES_PER_INTERVAL: f64 = 8.0;
/// A rise is surely an onset when noise reaches it as rarely as this many standard deviations: once in 300,000 samples.
pub const SURE_Z: f64 = 4.5;
/// The same where a series says that an onset should be: once in 160.
const EXPECTED_Z: f64 = 2.5;
/// Noise before an onset lowers its rise by 1 variance on average; so much is counted on. Found on the virtual rig:
/// less than the mean, because noise before may by chance be less.
pub const NOISE_BEFORE: f64 = 0.5;
/// Onsets under this share of the upper quartile of rises are no blows at first. Found on the virtual rig: a seventh
/// of the excursion (a rise is a square); weaker blows are looked for afterwards where the series has holes.
const FAINT_SHARE: f64 = 0.02;
/// Regular intervals that a series of strong blows needs, as a share: 3 in 20 may be odd. Found on the virtual rig.
const REGULAR: f64 = 0.85;
/// Onsets that such a series needs: fewer have no interval to be compared with another.
const ONSETS_MIN: usize = 3;
/// The share that weak ringing or slow sampling needs, because noise gives any interval. Found on the virtual rig.
const REGULAR_DOUBTFUL: f64 = 0.95;
/// And what it needs before weaker onsets were looked for at the regular places. Found on the virtual rig.
const REGULAR_DOUBTFUL_SURE: f64 = 0.85;
/// Onsets that such a series needs. Found on the virtual rig.
const ONSETS_MIN_DOUBTFUL: usize = 8;
/// Shortest and longest regular interval, in usual ones. The longest: the manual, "What is measured", blow rate. The
/// shortest: found on the virtual rig, near its reciprocal.
pub const WHOLE: (f64, f64) = (0.6, 1.6);
/// Two onsets closer than this part of the usual interval are one blow: just above the shortest regular interval, so
/// that what stays is regular.
pub const CLOSE_SHARE: f64 = 0.62;
/// In a hole of more than this many intervals no blow is looked for: the tool paused (manual, last blow: 6 intervals).
const HOLE_MAX: f64 = 6.0;
/// How far from its place a blow is looked for, usual intervals: half way to where another's place is nearer.
const HOLE_REACH: f64 = 0.25;

impl Series {
    /// Finds the onsets inside `range`; `noise` is the band's noise in newtons.
    #[must_use]
    pub fn find(band: &BandSignal, noise: f64, range: Range<usize>) -> Self {
        let sure = noise * noise * (band.design().noise_factor(SURE_Z) - NOISE_BEFORE);
        let mut onsets = peaks(band, range.clone(), sure);
        drop_faint(&mut onsets, FAINT_SHARE);
        drop_close(&mut onsets, band.design().rate_hz);
        let rate_hz = band.design().rate_hz;
        let regular_sure = Self::describe(onsets.clone(), noise, rate_hz).regular;
        fill_holes(band, &mut onsets, noise);
        Self { regular_sure, ..Self::describe(onsets, noise, rate_hz) }
    }

    fn describe(onsets: Vec<Onset>, noise: f64, rate_hz: f64) -> Self {
        let intervals: Vec<f64> = intervals(&onsets).map(|n| n as f64 / rate_hz).collect();
        let interval_s = median(&mut intervals.clone()).unwrap_or(INTERVAL_UNSEEN_S);
        // Weak or slow series must be regular against the one median of all.
        let mut excursions: Vec<f64> = onsets.iter().map(|o| o.excursion).collect();
        excursions.sort_unstable_by(f64::total_cmp);
        let faint = excursions.get(excursions.len() / 10).copied().unwrap_or(0.0);
        let ringing = median(&mut excursions).unwrap_or(0.0);
        let doubtful = rate_hz < FAST_FROM_HZ || ringing < STRONG * noise;
        let regular = regular(&intervals, doubtful);
        Self { onsets, interval_s, ringing, noise, regular, regular_sure: regular, faint }
    }

    /// Keeps only the onsets inside `range` and describes those.
    #[must_use]
    pub fn within(&self, range: Range<usize>, rate_hz: f64) -> Self {
        let kept = self.onsets.iter().copied().filter(|o| range.contains(&o.index)).collect();
        Self { regular_sure: self.regular_sure, ..Self::describe(kept, self.noise, rate_hz) }
    }

    /// Whether sampling shows the blows at all.
    ///
    /// Below 250 samples/s a fast tool can look like a slow one (aliasing), so blows are never believed;
    /// below 1,000 nearly all of them must stand out. Weak ringing is believed only of a regular series.
    #[must_use]
    pub fn seen(&self, rate_hz: f64) -> bool {
        let slow = rate_hz < FAST_FROM_HZ;
        let doubtful = slow || !self.strong();
        let (needed, needed_sure, enough) = if doubtful {
            (REGULAR_DOUBTFUL, REGULAR_DOUBTFUL_SURE, ONSETS_MIN_DOUBTFUL)
        } else {
            (REGULAR, 0.0, ONSETS_MIN)
        };
        rate_hz >= SLOWEST_HZ
            && self.onsets.len() >= enough
            && self.interval_s * rate_hz >= SAMPLES_PER_INTERVAL
            && self.regular >= needed
            && self.regular_sure >= needed_sure
            && (!slow || self.faint >= STRONG * self.noise)
    }

    /// Blows that seem to be missing between the onsets, from intervals of several medians.
    #[must_use]
    pub fn missing(&self) -> f64 {
        let steps: Vec<f64> = intervals(&self.onsets).map(|n| n as f64).collect();
        let lost = |i: usize| (steps[i] / usual_around(&steps, i, !self.strong())).round() - 1.0;
        (0..steps.len()).map(lost).filter(|m| *m > 0.0).sum()
    }

    /// Whether the count can be off by at most `share` of itself, or by one.
    #[must_use]
    pub fn whole(&self, share: f64) -> bool {
        self.missing() <= (share * self.onsets.len() as f64).max(1.0)
    }

    /// Whether ringing stands at least 6 times above the noise of the band.
    #[must_use]
    pub fn strong(&self) -> bool {
        self.ringing >= STRONG * self.noise
    }
}

fn intervals(onsets: &[Onset]) -> impl Iterator<Item = usize> + '_ {
    onsets.windows(2).map(|w| w[1].index - w[0].index)
}

/// Local maxima of the rise above `threshold`, at least the closest spacing apart.
fn peaks(band: &BandSignal, range: Range<usize>, threshold: f64) -> Vec<Onset> {
    let closest = ((CLOSEST_S * band.design().rate_hz) as usize).max(2);
    let mut found: Vec<Onset> = Vec::new();
    let end = range.end.min(band.len());
    for (i, rise) in band.rises_above(range.start..end, threshold) {
        match found.last_mut() {
            Some(last) if i - last.index < closest => {
                if rise > last.rise {
                    *last = Onset { index: i, rise, excursion: 0.0 };
                }
            }
            _ => found.push(Onset { index: i, rise, excursion: 0.0 }),
        }
    }
    for o in &mut found {
        o.excursion = band.excursion(o.index..o.index + closest);
    }
    found
}

/// Drops onsets whose rise is under `share` of the upper quartile of all rises.
fn drop_faint(onsets: &mut Vec<Onset>, share: f64) {
    let mut rises: Vec<f64> = onsets.iter().map(|o| o.rise).collect();
    if rises.is_empty() {
        return;
    }
    rises.sort_unstable_by(f64::total_cmp);
    let least = share * rises[rises.len() * 3 / 4];
    onsets.retain(|o| o.rise >= least);
}

/// The usual interval around interval `i`: the median of its neighbours, since a tool may change its pace. Where
/// samples are few (`slow`) the median of all, because a local one makes any pattern look regular.
fn usual_around(all: &[f64], i: usize, slow: bool) -> f64 {
    if slow {
        return median(&mut all.to_vec()).unwrap_or(all[i]);
    }
    let from = i.saturating_sub(NEIGHBOURS);
    let to = (i + NEIGHBOURS + 1).min(all.len());
    let mut near: Vec<f64> = (from..to).filter(|k| *k != i).map(|k| all[k]).collect();
    median(&mut near).unwrap_or(all[i])
}

/// Share of intervals that are 0.6 to 1.6 usual ones.
fn regular(all: &[f64], slow: bool) -> f64 {
    let fits = |i: &usize| {
        let usual = usual_around(all, *i, slow);
        (WHOLE.0 * usual..=WHOLE.1 * usual).contains(&all[*i])
    };
    if all.is_empty() { 0.0 } else { (0..all.len()).filter(fits).count() as f64 / all.len() as f64 }
}

/// Of two onsets closer than 0.62 of the usual interval the weaker one goes.
fn drop_close(onsets: &mut Vec<Onset>, rate_hz: f64) {
    loop {
        let all: Vec<f64> = intervals(onsets).map(|n| n as f64).collect();
        let slow = rate_hz < FAST_FROM_HZ;
        let least = |i: usize| (CLOSE_SHARE * usual_around(&all, i, slow)).max(CLOSEST_S * rate_hz);
        let weaker = onsets
            .windows(2)
            .enumerate()
            .filter(|(i, _)| all[*i] < least(*i))
            .map(|(i, w)| if w[0].rise < w[1].rise { (i, w[0].rise) } else { (i + 1, w[1].rise) })
            .min_by(|a, b| a.1.total_cmp(&b.1));
        match weaker {
            Some((i, _)) => onsets.remove(i),
            None => return,
        };
    }
}

/// Looks for weaker onsets where the series has a hole of a few intervals.
fn fill_holes(band: &BandSignal, onsets: &mut Vec<Onset>, noise: f64) {
    let slow = band.design().rate_hz < FAST_FROM_HZ;
    let Some(overall) = median(&mut intervals(onsets).map(|n| n as f64).collect::<Vec<_>>()) else { return };
    let mut i = 0;
    while i + 1 < onsets.len() {
        let near = intervals(&onsets[i.saturating_sub(NEIGHBOURS)..]).take(2 * NEIGHBOURS + 1);
        let near: Vec<f64> = near.map(|n| n as f64).collect();
        let usual = if slow { overall } else { usual_around(&near, i.min(NEIGHBOURS), false) };
        let hole = (onsets[i + 1].index - onsets[i].index) as f64;
        let steps = (hole / usual).round();
        if hole > WHOLE.1 * usual && steps <= HOLE_MAX {
            let middle = onsets[i].index as f64 + hole / steps;
            let reach = HOLE_REACH * usual;
            let from = (middle - reach) as usize;
            let to = ((middle + reach) as usize).min(band.len());
            if let Some(found) = look_for(band, noise, from..to, EXPECTED_Z) {
                onsets.insert(i + 1, found);
            }
        }
        i += 1;
    }
}

/// Greatest rise inside `range` if it stands `z` above noise: an onset looked for, not stumbled upon.
#[must_use]
pub fn look_for(band: &BandSignal, noise: f64, range: Range<usize>, z: f64) -> Option<Onset> {
    let threshold = noise * noise * (band.design().noise_factor(z) - NOISE_BEFORE);
    let best = range.map(|k| (k, band.rise(k))).max_by(|a, b| a.1.total_cmp(&b.1));
    best.filter(|b| b.1 > threshold).map(|(index, rise)| Onset {
        index,
        rise,
        excursion: band.excursion(index..index + band.design().window * 2),
    })
}
