//! Where a run begins and where its first pull ends: first blow, last blow, loosening.
//!
//! README "What is measured": first blow, last blow, drive time. Must not know torque or setups.

use super::band::BandSignal;
use super::blows::{Series, look_for};
use super::kept::Wave;
use crate::stats::median;
use std::ops::Range;

/// Farther back than this the first blows of a soft start are not looked for, seconds.
pub const LOOK_BACK_S: f64 = 1.5;
/// A blow that lowers the level by more than this share loosens.
const LOOSENED: f64 = 0.02;

/// First blow where blows are seen: the series that carries tension over the threshold, followed back.
///
/// `crossing` is the offset at which the low-passed tension crossed; offsets in samples. Returns the
/// index of the first blow in `series.onsets`, which may gain weak onsets at its front.
pub fn first_seen(
    wave: Wave<'_>,
    band: &BandSignal,
    series: &mut Series,
    crossing: usize,
    earliest: usize,
) -> Option<usize> {
    let rate = band.design().rate_hz;
    let usual = series.interval_s * rate;
    let slack = (0.003 * rate) as usize + 1;
    // Tension may cross before the hammer starts (run-down): then the first blow after that begins the series.
    let before = series.onsets.iter().rposition(|o| o.index <= crossing + slack);
    let after = || series.onsets.iter().position(|o| o.index > crossing).filter(|_| series.strong());
    let mut first = before.or_else(after)?;
    while first > 0 {
        let step = (series.onsets[first].index - series.onsets[first - 1].index) as f64;
        if step > 2.5 * usual {
            break;
        }
        first -= 1;
    }
    while first + 1 < series.onsets.len() && is_knock(wave, series, first) {
        first += 1;
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

/// An impact that left no tension behind, before one that did: the tool was set down, say.
fn is_knock(wave: Wave<'_>, series: &Series, at: usize) -> bool {
    let index = |i: usize| series.onsets[i].index;
    let before = index(at).saturating_sub(index(at + 1) - index(at))..index(at);
    let between = index(at) + (index(at + 1) - index(at)) / 3..index(at + 1);
    let end = series.onsets.get(at + 2).map_or(2 * index(at + 1) - index(at), |o| o.index);
    let after = index(at + 1) + (end - index(at + 1)) / 3..end.min(wave.x.len());
    let samples = between.len() as f64;
    let noise = wave.sample_noise(before.clone());
    match (wave.median(before), wave.median(between), wave.median(after)) {
        (Some(a), Some(b), Some(c)) => {
            let (own, next) = (b - a, c - b);
            let doubt = 4.0 * 1.25 * noise / samples.sqrt();
            next > 0.0 && own < 0.08 * next && doubt < 0.08 * next
        }
        _ => false,
    }
}

/// Whether tension went up by a step at `departure_s`, about an interval before the first onset: nearly all of
/// it was there at once.
#[must_use]
pub fn steps_up(wave: Wave<'_>, series: &Series, first: usize, departure_s: f64, zero: f64) -> bool {
    let (from, to) = (wave.offset(departure_s) + 1, series.onsets[first].index);
    let usual = series.interval_s * wave.rate_hz;
    let gap = to.saturating_sub(from);
    if gap < 6 || gap as f64 > 1.35 * usual || (gap as f64) < 0.7 * usual {
        return false;
    }
    let third = gap / 3;
    match (wave.median(from + third / 2..from + third), wave.median(to - third..to)) {
        (Some(early), Some(late)) => early - zero > 0.6 * (late - zero),
        _ => false,
    }
}

/// Adds blows fainter than the rest behind the last one, within the pause of six intervals that would end
/// the pull, as long as the band rises sharply there.
pub fn extend_end(band: &BandSignal, series: &mut Series, last: usize, limit: usize) -> usize {
    let usual = series.interval_s * band.design().rate_hz;
    let usual_rise = median(&mut series.onsets.iter().map(|o| o.rise).collect::<Vec<_>>()).unwrap_or(0.0);
    let least = if band.design().rate_hz < 1980.0 { 0.012 } else { 0.004 };
    let mut last = last;
    'next: loop {
        let at = series.onsets[last].index as f64;
        let bound = series.onsets.get(last + 1).map_or(limit, |o| o.index);
        let bound = bound.saturating_sub((0.62 * usual) as usize);
        for step in 1..=5 {
            let from = (at + (f64::from(step) - 0.3) * usual) as usize;
            let to = ((at + (f64::from(step) + 0.4) * usual) as usize).min(bound);
            let found = if from < to { look_for(band, series.noise, from..to, 4.5) } else { None };
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
    let to = ((at + 1.4 * usual) as usize).min(band.len());
    let found = look_for(band, series.noise, ((at + 0.62 * usual) as usize).min(to)..to, 4.5);
    found.is_some_and(|f| f.rise > 0.003 * usual_rise)
}

/// Onset of the first blow, samples: back from the greatest rise to where the band first stands out.
#[must_use]
pub fn onset_of_first(band: &BandSignal, series: &Series, first: usize) -> usize {
    let index = series.onsets[first].index;
    let least = index.saturating_sub(band.design().window);
    let stands_out = |i: usize| band.excursion(i..i + 1) > 5.0 * series.noise;
    (least..index).rev().take_while(|i| stands_out(*i)).last().unwrap_or(index)
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
    let (mut sum, mut best, mut start) = (0.0, 2.0 * noise, first);
    for i in (earliest.max(first.saturating_sub(quiet))..first).rev() {
        sum += above(i) - 1.5 * noise;
        if sum > best {
            (best, start) = (sum, i);
        }
    }
    // A point sample shows an onset up to one spacing late, an averaged one up to half a spacing early.
    (start as f64 - 0.25).max(0.0) / wave.rate_hz
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
    /// The band tells when the tool stopped.
    pub by_unrest: bool,
    /// Nothing told yet when the tool stopped: tension has stayed at its greatest up to the end.
    pub flat: bool,
    /// Tension rose again after a pause: another pull begins here (offset).
    pub next: Option<usize>,
}

/// A pause between pulls where blows are not seen: six intervals of 0.1 s, seconds.
const PAUSE_UNSEEN_S: f64 = 0.6;
/// A second pull raises tension within this, seconds.
const JUMP_S: f64 = 0.2;

/// Tension was flat for the pause and then rose within the jump: another pull. `step_s` between medians.
fn pulled_again(medians: &[f64], step_s: f64, height: f64, spread: f64) -> bool {
    let back = |seconds: f64| medians.len().checked_sub(1 + (seconds / step_s).round() as usize);
    let (Some(before), Some(long_before)) = (back(JUMP_S), back(JUMP_S + PAUSE_UNSEEN_S)) else {
        return false;
    };
    let (now, then) = (medians[medians.len() - 1], medians[before]);
    now - then > (0.005 * height).max(8.0 * spread)
        && then - medians[long_before] < 0.0015 * height + 4.0 * spread
}

/// Last blow where blows are not seen: the last time the 0.1 s median stood within noise of its greatest,
/// if it fell from there; the middle of the greatest median if it stayed; or the end of the unrest in the
/// band that began with the run, where that lies later.
///
/// `loaded` are offsets: from where tension crossed the threshold to where the search ends. `noise` is the
/// band's; `zero` and `raw_noise` (of single samples) are in newtons.
#[must_use]
pub fn last_unseen(
    wave: Wave<'_>,
    band: &BandSignal,
    noise: f64,
    (zero, raw_noise): (f64, f64),
    first_s: f64,
    loaded: Range<usize>,
) -> Unseen {
    let width = ((0.1 * wave.rate_hz).round() as usize).max(3);
    let hop = ((0.01 * wave.rate_hz) as usize).max(1);
    let (start, end) = (wave.offset(first_s), loaded.end.min(wave.x.len()));
    let spread = 1.25 * raw_noise / (width as f64).sqrt();
    let (mut medians, mut greatest, mut stop, mut next) = (Vec::new(), f64::MIN, end, None);
    let mut at = start;
    while at + width <= end {
        let m = wave.median(at..at + width).unwrap_or(f64::MIN);
        medians.push(m);
        greatest = m.max(greatest);
        let height = greatest - zero;
        // Before the crossing tension is flat because it is idle.
        let flat_since = at.saturating_sub(((JUMP_S + PAUSE_UNSEEN_S) * wave.rate_hz) as usize);
        if flat_since > loaded.start && pulled_again(&medians, hop as f64 / wave.rate_hz, height, spread) {
            stop = at.saturating_sub((JUMP_S * wave.rate_hz) as usize);
            next = Some(stop + width);
            break;
        }
        let low = greatest - 0.02 * height - 4.0 * spread;
        // Early in a run 2 % is next to nothing: only a fall that lasts ends it.
        let later = at + width..at + 2 * width;
        if m < low && (later.end > end || wave.median(later).is_some_and(|m| m < low)) {
            stop = at;
            break;
        }
        at += hop;
    }
    medians.truncate((stop.saturating_sub(start) / hop).max(1));
    let offset = |i: usize| start + i * hop + width / 2;
    greatest = medians.iter().copied().fold(f64::MIN, f64::max);
    let reached = offset(medians.iter().position(|m| *m > greatest - 4.0 * spread).unwrap_or(0));
    let middle = offset(medians.iter().position(|m| *m >= greatest).unwrap_or(0));
    let near = offset(medians.iter().rposition(|m| *m > greatest - 7.0 * spread).unwrap_or(0));
    let flat = near + width >= stop;
    let by_level = if flat { middle } else { near };
    // The tool stopped before what ends the stretch (a release, another pull): a held window fits between.
    let room = stop.saturating_sub((0.75 * wave.rate_hz) as usize);
    let by_level = if stop < end { by_level.min(room).max(reached) } else { by_level };
    // What ends the stretch (a release, another pull) is restless itself, so unrest right before it tells
    // nothing of the tool.
    let telling = if stop < end { room } else { stop };
    let unrest = unrest_end(band, noise, start, stop, width).filter(|u| *u <= telling);
    let last = unrest.map_or(by_level, |u| u.max(by_level));
    Unseen {
        last_s: last as f64 / wave.rate_hz,
        greatest,
        by_unrest: unrest.is_some_and(|u| u >= by_level),
        flat: flat && stop == end && unrest.is_none_or(|u| u < by_level),
        next,
    }
}

/// Blocks of 0.1 s whose band stands out of its noise.
#[must_use]
pub fn restless_blocks(band: &BandSignal, noise: f64, range: Range<usize>) -> usize {
    let width = ((0.1 * band.design().rate_hz).round() as usize).max(3);
    let loud = noise * noise * super::band::chi_square_mean(width, 4.0);
    let starts = range.clone().step_by(width).filter(|at| at + width <= range.end);
    starts.filter(|at| band.mean_square(*at..at + width) > loud).count()
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
