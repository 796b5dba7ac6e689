//! Where a run begins and where its first pull ends: first blow, last blow, loosening.

use super::band::BandSignal;
use super::blows::{Series, look_for};
use super::kept::Wave;
use crate::stats::median;

/// Farther back than this the first blows of a soft start are not looked for, seconds.
pub const LOOK_BACK_S: f64 = 1.5;
/// A blow that lowers the level by more than this share loosens.
const LOOSENED: f64 = 0.02;

/// First blow where blows are seen: the series that carries tension over the threshold, followed back.
///
/// `crossing` is the offset at which the low-passed tension crossed; offsets in samples. Returns the
/// index of the first blow in `series.onsets`, which may gain weak onsets at its front.
pub fn first_seen(band: &BandSignal, series: &mut Series, crossing: usize, earliest: usize) -> Option<usize> {
    let rate = band.design().rate_hz;
    let usual = series.interval_s * rate;
    let slack = (0.003 * rate) as usize + 1;
    let mut first = series.onsets.iter().rposition(|o| o.index <= crossing + slack)?;
    while first > 0 {
        let step = (series.onsets[first].index - series.onsets[first - 1].index) as f64;
        if step > 2.5 * usual {
            break;
        }
        first -= 1;
    }
    // Blows of a soft start fainter than the rest: one interval before, as long as the band rises there.
    loop {
        let at = series.onsets[first].index as f64;
        let from = (at - 1.6 * usual).max(earliest as f64) as usize;
        let to = (at - 0.6 * usual).max(0.0) as usize;
        let bound = if first > 0 {
            series.onsets[first - 1].index + 1
        } else {
            0
        };
        let Some(found) = look_for(band, series.noise, from.max(bound)..to, 4.0) else {
            return Some(first);
        };
        series.onsets.insert(first, found);
    }
}

/// First blow where blows are not seen: the last idle sample before the crossing, then half a spacing.
///
/// `zero` and `noise` in newtons. Returns seconds from the first kept sample.
#[must_use]
pub fn first_unseen(wave: Wave<'_>, crossing: usize, earliest: usize, zero: f64, noise: f64) -> f64 {
    let idle_below = zero + 3.0 * noise;
    let last_idle = (earliest..crossing.min(wave.x.len()))
        .rev()
        .find(|i| f64::from(wave.x[*i]) <= idle_below);
    (last_idle.unwrap_or(earliest) as f64 + 0.5) / wave.rate_hz
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
pub fn last_seen(wave: Wave<'_>, series: &Series, first: usize, zero: f64, noise: f64) -> Pull {
    let pause = (0.35_f64).max(6.0 * series.interval_s) * wave.rate_hz;
    let onsets = &series.onsets[first..];
    let paused = onsets
        .windows(2)
        .position(|w| (w[1].index - w[0].index) as f64 > pause);
    let end = paused.unwrap_or(onsets.len() - 1);
    let mut levels = levels(wave, series, first, first + end);
    let falls = |i: usize| {
        let (before, after) = (levels[i - 1] - zero, levels[i] - zero);
        before - after > LOOSENED * before && before - after > 2.0 * noise
    };
    // A fall counts when what follows stays low; one odd median does not end a run.
    let stays = |i: usize| {
        levels
            .get(i + 1)
            .is_none_or(|next| *next - zero < (1.0 - LOOSENED) * (levels[i - 1] - zero))
    };
    let loosening = (1..levels.len()).find(|i| falls(*i) && stays(*i));
    let last = loosening.map_or(end, |i| i - 1);
    let next = onsets.get(last + 1).map(|o| o.index);
    levels.truncate(last + 1);
    Pull {
        last: first + last,
        levels,
        next,
        loosened: loosening.is_some(),
    }
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
            wave.median(from..end.max(from + 1).min(wave.x.len()))
                .unwrap_or(0.0)
        })
        .collect()
}

/// Last blow where blows are not seen: the middle of the greatest 0.1 s median after the first blow.
///
/// Returns seconds from the first kept sample.
#[must_use]
pub fn last_unseen(wave: Wave<'_>, first_s: f64, end: usize) -> f64 {
    let width = ((0.1 * wave.rate_hz).round() as usize).max(3);
    let hop = ((0.01 * wave.rate_hz) as usize).max(1);
    let start = wave.offset(first_s);
    let mut best = (f64::MIN, start);
    let mut at = start;
    while at + width <= end.min(wave.x.len()) {
        let m = wave.median(at..at + width).unwrap_or(f64::MIN);
        if m > best.0 {
            best = (m, at + width / 2);
        }
        at += hop;
    }
    best.1 as f64 / wave.rate_hz
}

/// Blows a second: intervals of at most 1.6 medians, their number over their sum; none below two blows.
#[must_use]
pub fn blow_rate_hz(series: &Series, first: usize, last: usize, rate_hz: f64) -> Option<f64> {
    let steps: Vec<f64> = series.onsets[first..=last]
        .windows(2)
        .map(|w| (w[1].index - w[0].index) as f64 / rate_hz)
        .collect();
    let usual = median(&mut steps.clone())?;
    let kept: Vec<f64> = steps.into_iter().filter(|s| *s <= 1.6 * usual).collect();
    let sum: f64 = kept.iter().sum();
    (sum > 0.0).then(|| kept.len() as f64 / sum)
}
