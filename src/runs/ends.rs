//! Where a run begins and where its first pull ends: first blow, last blow, loosening.

use super::band::BandSignal;
use super::blows::{Onset, Series, look_for};
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
        let bound = if first > 0 { series.onsets[first - 1].index + 1 } else { 0 };
        let found = look_for(band, series.noise, from.max(bound)..to, 4.0);
        match found.filter(|f| band.sharp(f.index)) {
            Some(found) => series.onsets.insert(first, found),
            None => return Some(first),
        }
    }
}

/// Adds blows fainter than the rest behind the last one, an interval apart, as long as the band rises.
pub fn extend_end(band: &BandSignal, series: &mut Series, last: usize, limit: usize) -> usize {
    let usual = series.interval_s * band.design().rate_hz;
    let mut last = last;
    loop {
        let at = series.onsets[last].index as f64;
        let bound = series.onsets.get(last + 1).map_or(limit, |o| o.index);
        let from = (at + 0.7 * usual) as usize;
        let to = ((at + 1.4 * usual) as usize).min(bound.saturating_sub((0.6 * usual) as usize));
        let found = if from < to { look_for(band, series.noise, from..to, 4.0) } else { None };
        let usual_rise = median(&mut series.onsets[..=last].iter().map(|o| o.rise).collect::<Vec<_>>());
        let alike = |f: &Onset| f.rise > 0.2 * usual_rise.unwrap_or(0.0);
        match found.filter(|f| band.sharp(f.index) && alike(f)) {
            Some(found) => series.onsets.insert(last + 1, found),
            None => return last,
        }
        last += 1;
    }
}

/// A stretch without activity that ends the search for an unseen first blow, seconds.
const QUIET_BEFORE_S: f64 = 0.12;

/// First blow where blows are not seen: the first departure from idle of the stretch that leads to the
/// crossing, or where the tension before the crossing first stands above idle on the whole.
///
/// `zero` and `noise` (of single samples) in newtons. Returns seconds from the first kept sample.
#[must_use]
pub fn first_unseen(wave: Wave<'_>, crossing: usize, earliest: usize, zero: f64, noise: f64) -> f64 {
    let crossing = crossing.min(wave.x.len().saturating_sub(1));
    let above = |i: usize| f64::from(wave.x[i]) - zero;
    let quiet = (QUIET_BEFORE_S * wave.rate_hz).ceil() as usize;
    let mut first = crossing;
    for i in (earliest..crossing).rev() {
        if above(i).abs() > 4.0 * noise {
            first = i;
        } else if first - i > quiet {
            break;
        }
    }
    // Page's cumulative sum: the start of the stretch whose excess over 1.5 × noise is greatest.
    let (mut sum, mut best, mut start) = (0.0, 0.0, first);
    for i in (earliest.max(first.saturating_sub(quiet))..first).rev() {
        sum += above(i) - 1.5 * noise;
        if sum > best {
            (best, start) = (sum, i);
        }
    }
    (start as f64 - 0.5).max(0.0) / wave.rate_hz
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
    let pause = (0.35_f64).max(6.0 * series.interval_s) * wave.rate_hz;
    let onsets = &series.onsets[first..];
    let paused = onsets.windows(2).position(|w| (w[1].index - w[0].index) as f64 > pause);
    let end = paused.unwrap_or(onsets.len() - 1);
    let mut levels = levels(wave, series, first, first + end);
    // SD of the median of n gaussian values is 1.25·σ/√n; a fall must stand well above it.
    let samples = (0.6 * series.interval_s * wave.rate_hz).max(1.0);
    let doubt = (2.0 * noise).max(6.0 * 1.25 * raw_noise / samples.sqrt());
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

/// Last blow where blows are not seen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unseen {
    /// Seconds from the first kept sample.
    pub last_s: f64,
    /// Greatest 0.1 s median, newtons in the calibration's terms.
    pub greatest: f64,
    /// The band tells when the tool stopped; if not, only the greatest median does.
    pub by_unrest: bool,
}

/// Last blow where blows are not seen: the middle of the greatest 0.1 s median after the first blow, or the
/// end of the unrest in the band that began with the run where that lies later (at the limit the median no
/// longer tells when the tool stopped).
///
/// `end` bounds the search (offset); `noise` is the band's.
#[must_use]
pub fn last_unseen(wave: Wave<'_>, band: &BandSignal, noise: f64, first_s: f64, end: usize) -> Unseen {
    let width = ((0.1 * wave.rate_hz).round() as usize).max(3);
    let hop = ((0.01 * wave.rate_hz) as usize).max(1);
    let (start, end) = (wave.offset(first_s), end.min(wave.x.len()));
    let (mut greatest, mut middle, mut fallen) = (f64::MIN, start, end);
    let mut at = start;
    while at + width <= end {
        let m = wave.median(at..at + width).unwrap_or(f64::MIN);
        if m > greatest {
            (greatest, middle, fallen) = (m, at + width / 2, end);
        } else if fallen == end && m < 0.98 * greatest - noise {
            fallen = at;
        }
        at += hop;
    }
    let unrest = unrest_end(band, noise, start, fallen.max(middle), width);
    let last = unrest.map_or(middle, |u| u.max(middle));
    Unseen { last_s: last as f64 / wave.rate_hz, greatest, by_unrest: unrest.is_some_and(|u| u >= middle) }
}

/// Where the unrest that begins at `start` ends: the last sample that stands out of the band's noise
/// before a pause of 0.6 s; none where less than half of the stretch is restless.
fn unrest_end(band: &BandSignal, noise: f64, start: usize, end: usize, width: usize) -> Option<usize> {
    let loud = noise * noise * super::band::chi_square_mean(width, 4.0);
    let pause = (0.6 * band.design().rate_hz) as usize;
    let (mut last, mut blocks, mut restless) = (start, 0_usize, 0_usize);
    let (mut blocks_to_last, mut at) = (0, start);
    while at + width <= end.min(band.len()) && at <= last + width + pause {
        blocks += 1;
        if band.mean_square(at..at + width) > loud {
            restless += 1;
            blocks_to_last = blocks;
            last = at;
        }
        at += width;
    }
    if restless == 0 || 2 * restless < blocks_to_last || blocks_to_last < 3 {
        return None;
    }
    let stop = (last + 2 * width).min(end.min(band.len()));
    (last..stop).rev().find(|i| band.excursion(*i..*i + 1) > 4.0 * noise).or(Some(last + width / 2))
}

/// Blows a second: intervals of at most 1.6 medians, their number over their sum; none below two blows.
#[must_use]
pub fn blow_rate_hz(series: &Series, first: usize, last: usize, rate_hz: f64) -> Option<f64> {
    let steps: Vec<f64> =
        series.onsets[first..=last].windows(2).map(|w| (w[1].index - w[0].index) as f64 / rate_hz).collect();
    let usual = median(&mut steps.clone())?;
    let kept: Vec<f64> = steps.into_iter().filter(|s| *s <= 1.6 * usual).collect();
    let sum: f64 = kept.iter().sum();
    (sum > 0.0).then(|| kept.len() as f64 / sum)
}
