//! Where the first pull ends where blows are seen: last blow, loosening, blow rate.
//!
//! the manual, "What is measured": last blow, drive time. Must not know torque or setups, nor how the first blow is found.

use super::band::BandSignal;
use super::blows::{CLOSE_SHARE, SURE_Z, Series, WHOLE, look_for};
use super::kept::Wave;
use boltscribe_numerics::median;

/// A blow that lowers the level by more than this share loosens.
const LOOSENED: f64 = 0.02;
/// Manual, last blow: the shortest pause that ends a pull, seconds.
pub const PAUSE_S: f64 = 0.35;
/// And in intervals, for slow tools.
pub const PAUSE_INTERVALS: f64 = 6.0;
/// Rates from which the windows of the band hold six samples: a nominal 2,000 a second whose clock may be off by 1 %.
const FINE_FROM_HZ: f64 = 1980.0;
/// Rise of a blow behind the last sure one, in usual rises, below that rate (a ninth of the usual excursion) and from
/// it on (a sixteenth). Found on the virtual rig.
const FAINT_RISE: (f64, f64) = (0.012, 0.004);
/// Such a blow is looked for from this part of an interval before its place to this one behind it. Found on the
/// virtual rig.
const STEP_REACH: (f64, f64) = (0.3, 0.4);
/// Steps from the last blow in which it is looked for: one fewer than the intervals of a pause.
const FAINT_STEPS: i32 = 5;
/// A rise that makes an end ambiguous is looked for so many intervals behind the last blow: the first of those steps.
const AMBIGUOUS_TO: f64 = 1.4;
/// Rise, in usual ones, that is not surely none: less than the smaller one that makes a blow. Found on the virtual rig.
const AMBIGUOUS_RISE: f64 = 0.003;
/// Part of an interval over which its median is taken at least: near the two thirds of `levels`.
const MEDIAN_PART: f64 = 0.6;
/// SD of the median of n normal values over that of their mean: sqrt(pi/2), rounded.
pub const MEDIAN_SD: f64 = 1.25;
/// A fall stands out when it is this many standard deviations of such a median: by chance once in a
/// billion.
const FALL_Z: f64 = 6.0;
/// And this many of the low-passed signal's noise. Found on the virtual rig.
const FALL_NOISE: f64 = 2.0;

/// Adds blows fainter than the rest behind the last one, within the pause of six intervals that would end
/// the pull, as long as the band rises sharply there.
pub fn extend_end(band: &BandSignal, series: &mut Series, last: usize, limit: usize) -> usize {
    let usual = series.interval_s * band.design().rate_hz;
    let usual_rise = median(&mut series.onsets.iter().map(|o| o.rise).collect::<Vec<_>>()).unwrap_or(0.0);
    let least = if band.design().rate_hz < FINE_FROM_HZ { FAINT_RISE.0 } else { FAINT_RISE.1 };
    let mut last = last;
    'next: loop {
        let at = series.onsets[last].index as f64;
        let bound = series.onsets.get(last + 1).map_or(limit, |o| o.index);
        let bound = bound.saturating_sub((CLOSE_SHARE * usual) as usize);
        for step in 1..=FAINT_STEPS {
            let from = (at + (f64::from(step) - STEP_REACH.0) * usual) as usize;
            let to = ((at + (f64::from(step) + STEP_REACH.1) * usual) as usize).min(bound);
            let found = if from < to { look_for(band, series.noise, from..to, SURE_Z) } else { None };
            if let Some(found) = found.filter(|f| band.sharp(f.index) && f.rise > least * usual_rise) {
                series.onsets.insert(last + 1, found);
                last += 1;
                continue 'next;
            }
        }
        return last;
    }
}

/// A rise behind the last blow that is neither surely a blow nor surely none: where samples are few the
/// last blow cannot be told then.
#[must_use]
pub fn ambiguous_end(band: &BandSignal, series: &Series, last: usize) -> bool {
    let usual = series.interval_s * band.design().rate_hz;
    let usual_rise = median(&mut series.onsets.iter().map(|o| o.rise).collect::<Vec<_>>()).unwrap_or(0.0);
    let at = series.onsets[last].index as f64;
    let to = ((at + AMBIGUOUS_TO * usual) as usize).min(band.len());
    let from = ((at + CLOSE_SHARE * usual) as usize).min(to);
    let found = look_for(band, series.noise, from..to, SURE_Z);
    found.is_some_and(|f| f.rise > AMBIGUOUS_RISE * usual_rise)
}

/// The end of the first pull where blows are seen.
#[derive(Clone, Debug, PartialEq)]
pub struct Pull {
    /// Onsets of the pull: first..=last in the series.
    pub last: usize,
    /// Median tension between each onset and the next, newtons in the calibration's terms.
    pub levels: Vec<f64>,
    /// Onset of the next blow after the pull, where there is one.
    pub next: Option<usize>,
    /// That next blow loosens.
    pub loosened: bool,
}

/// Follows the series from `first` to its last blow: a pause of max(0.35 s, 6 p), or a loosening blow.
#[must_use]
///
/// `noise` is that of the low-passed signal, `raw_noise` that of single samples, newtons.
pub fn last_seen(
    wave: Wave<'_>,
    series: &Series,
    first: usize,
    zero: f64,
    noise: f64,
    raw_noise: f64,
) -> Pull {
    let pause = PAUSE_S.max(PAUSE_INTERVALS * series.interval_s) * wave.rate_hz;
    let onsets = &series.onsets[first..];
    let paused = onsets.windows(2).position(|w| (w[1].index - w[0].index) as f64 > pause);
    let end = paused.unwrap_or(onsets.len() - 1);
    let mut levels = levels(wave, series, first, first + end);
    // A fall must stand well above the SD of a median.
    let samples = (MEDIAN_PART * series.interval_s * wave.rate_hz).max(1.0);
    let doubt = (FALL_NOISE * noise).max(FALL_Z * MEDIAN_SD * raw_noise / samples.sqrt());
    let falls = |i: usize| {
        let (before, after) = (levels[i - 1] - zero, levels[i] - zero);
        before - after > LOOSENED * before && before - after > doubt
    };
    // A fall counts when what follows stays low; one odd median does not end a run.
    let stays = |i: usize| {
        levels.get(i + 1).is_none_or(|next| *next - zero < (1.0 - LOOSENED) * (levels[i - 1] - zero))
    };
    let loosening = (1..levels.len()).find(|i| falls(*i) && stays(*i));
    let last = loosening.map_or(end, |i| i - 1);
    let next = onsets.get(last + 1).map(|o| o.index);
    levels.truncate(last + 1);
    Pull { last: first + last, levels, next, loosened: loosening.is_some() }
}

/// Median between each onset and the next, the first third (ringing) left out; after the last onset over
/// one interval, or over what there is.
fn levels(wave: Wave<'_>, series: &Series, first: usize, last: usize) -> Vec<f64> {
    let usual = (series.interval_s * wave.rate_hz) as usize;
    (first..=last)
        .map(|i| {
            let start = series.onsets[i].index;
            let next = series.onsets.get(i + 1).map_or(wave.x.len(), |o| o.index);
            let end = next.min(start + usual.max(2) * 2);
            let from = start + (end - start) / 3;
            wave.median(from..end.max(from + 1).min(wave.x.len())).unwrap_or(0.0)
        })
        .collect()
}

/// Blows a second: intervals of at most 1.6 medians, their number over their sum; none below two blows.
#[must_use]
pub fn blow_rate_hz(series: &Series, first: usize, last: usize, rate_hz: f64) -> Option<f64> {
    let steps: Vec<f64> =
        series.onsets[first..=last].windows(2).map(|w| (w[1].index - w[0].index) as f64 / rate_hz).collect();
    let usual = median(&mut steps.clone())?;
    let kept: Vec<f64> = steps.into_iter().filter(|s| *s <= WHOLE.1 * usual).collect();
    let sum: f64 = kept.iter().sum();
    (sum > 0.0).then(|| kept.len() as f64 / sum)
}

/// Every second onset leaves less than this share of the growth that the others leave: an echo of a blow.
const ECHO_SHARE: f64 = 0.06;
/// So many onsets at the front of a pull tell, where tension still grows at each blow.
const ECHO_ONSETS: usize = 16;

/// Whether every second onset is an echo of the blow before it: a mode that beats with another, or a hammer's
/// rebound. `levels` are the medians behind each onset, `zero` what stood before; newtons.
#[must_use]
pub fn echoes(levels: &[f64], zero: f64) -> bool {
    let mut steps = [0.0; 2];
    let mut before = zero;
    for (i, level) in levels.iter().take(ECHO_ONSETS).enumerate() {
        steps[i % 2] += level - before;
        before = *level;
    }
    let (more, less) = (steps[0].max(steps[1]), steps[0].min(steps[1]));
    levels.len() >= ECHO_ONSETS / 2 && more > 0.0 && less.abs() < ECHO_SHARE * more
}

/// A step alone shows in the band with at most about its own height; ringing shows with more.
const STEP_SHOWS: f64 = 1.2;
/// A blow that is seen by its step alone is missed once steps come down to this many times the band's noise.
const STEP_FADES: f64 = 8.0;
/// Blows at the end of a pull that tell how small its steps have become.
const LAST_STEPS: usize = 6;

/// Whether blows are seen by the steps they leave and not by ringing, and the steps have become so small that blows
/// which do not move the nut would not be seen: then nobody can count them. Tensions in newtons.
#[must_use]
pub fn only_steps(series: &Series, levels: &[f64], zero: f64) -> bool {
    let steps: Vec<f64> =
        levels.iter().scan(zero, |before, level| Some(level - std::mem::replace(before, *level))).collect();
    let mut shown: Vec<f64> = series
        .onsets
        .iter()
        .zip(&steps)
        .filter(|(_, step)| **step > 0.0)
        .map(|(onset, step)| onset.excursion / step)
        .collect();
    let last = steps.len().saturating_sub(LAST_STEPS);
    let late = steps[last..].iter().sum::<f64>() / (steps.len() - last).max(1) as f64;
    median(&mut shown).is_some_and(|shown| shown < STEP_SHOWS) && late < STEP_FADES * series.noise
}
