//! Where a run begins: the first blow of the series that carries tension, and whether it can be told.
//!
//! the manual, "What is measured": first blow. Where blows are seen it is followed back from the crossing and must
//! leave a step or be seen by both counters; where they are not, it is where tension leaves its rest, provided it
//! leaves as steeply there as anywhere later. Must not know where a run ends, torque or setups.

use super::band::BandSignal;
use super::blows::{Series, look_for};
use super::kept::Wave;
use boltscribe_numerics::median;

/// Farther back than this the first blows of a soft start are not looked for, seconds.
pub const LOOK_BACK_S: f64 = 1.5;
/// A run-down may cross the threshold so long before the first blow, seconds.
const RUN_DOWN_S: f64 = 2.5;
/// A pause of more than this many intervals ends a series followed back.
const SERIES_PAUSE: f64 = 2.5;
/// A blow fainter than the rest is looked for so many intervals before the first one seen.
const FAINT_REACH: (f64, f64) = (1.6, 0.6);
/// Standard deviations of noise by which such a blow's rise must stand out.
const FAINT_Z: f64 = 4.0;
/// The ringing of a blow has mostly died away after this part of the interval.
const RINGING_PART: usize = 3;
/// A step stands out when it is this many standard errors of the difference of two medians.
const STEP_Z: f64 = 4.0;
/// The samples this near to an onset belong to neither side of its step, seconds: as long as a blow's
/// rise takes.
const RISE_S: f64 = 0.002;
/// An onset so near behind the crossing may be that of the blow that crossed, intervals. Found on both models of the
/// virtual rig.
const CROSSING_NEAR: f64 = 0.25;
/// A step smaller than this share of what the next blows add carries no tension.
const STEP_SHARE: f64 = 0.03;
/// Blows after the first whose growth a step is compared with.
const STEP_BLOWS: usize = 3;
/// SD of the median of n normal values over that of their mean: sqrt(pi/2).
pub const MEDIAN_SE: f64 = 1.253_314_137_315_500_3;

/// Index of the first blow in `series.onsets`, which may gain weak onsets at its front.
///
/// `crossing` is the offset at which the low-passed tension crossed; `earliest` the first that may belong.
pub fn first_seen(
    wave: Wave<'_>,
    band: &BandSignal,
    series: &mut Series,
    crossing: usize,
    earliest: usize,
) -> Option<usize> {
    let rate = band.design().rate_hz;
    let usual = series.interval_s * rate;
    // A rise is greatest up to a window before the step that crosses.
    let slack = band.design().window + 1;
    // Tension may cross before the hammer starts (run-down): then the first blow after that begins the series.
    let before = series.onsets.iter().rposition(|o| o.index <= crossing + slack);
    let late = crossing + (RUN_DOWN_S * rate) as usize;
    let after = || {
        series.onsets.iter().position(|o| (crossing + 1..late).contains(&o.index)).filter(|_| series.strong())
    };
    let mut first = before.or_else(after)?;
    while first > 0 {
        let step = (series.onsets[first].index - series.onsets[first - 1].index) as f64;
        if step > SERIES_PAUSE * usual {
            break;
        }
        first -= 1;
    }
    // Blows of a soft start fainter than the rest: one interval before, as long as the band rises there and
    // tension with it.
    loop {
        let at = series.onsets[first].index as f64;
        let from = (at - FAINT_REACH.0 * usual).max(earliest as f64) as usize;
        let to = (at - FAINT_REACH.1 * usual).max(0.0) as usize;
        let bound = if first > 0 { series.onsets[first - 1].index + 1 } else { 0 };
        let found = look_for(band, series.noise, from.max(bound)..to, FAINT_Z);
        let Some(found) = found.filter(|f| band.sharp(f.index)) else { return Some(first) };
        series.onsets.insert(first, found);
        if !carries(wave, series, first) {
            series.onsets.remove(first);
            return Some(first);
        }
    }
}

/// Leaves out leading onsets that surely carry no tension, up to the one at the crossing: noise that rises at the
/// press of the trigger, the tool set on the nut, or blows that a nut pulled up by hand withstands.
#[must_use]
pub fn without_idle_blows(wave: Wave<'_>, series: &Series, mut first: usize, crossing: usize) -> usize {
    let near = (CROSSING_NEAR * series.interval_s * wave.rate_hz) as usize;
    while first + 1 < series.onsets.len()
        && series.onsets[first + 1].index <= crossing + near
        && surely_idle(wave, series, first)
    {
        first += 1;
    }
    first
}

/// Median and count of the samples between two offsets.
fn part(wave: Wave<'_>, from: usize, to: usize) -> Option<(f64, f64)> {
    let range = from.min(wave.x.len())..to.min(wave.x.len());
    let n = range.len() as f64;
    (range.len() >= 2).then(|| wave.median(range.clone()).map(|m| (m, n))).flatten()
}

/// Whether tension is higher behind onset `at` than before it: by more than noise explains, and by a real part of
/// what the next blows add.
#[must_use]
pub fn carries(wave: Wave<'_>, series: &Series, at: usize) -> bool {
    let Some((own, doubt, next)) = step(wave, series, at) else { return false };
    own > doubt && own > STEP_SHARE * next
}

/// The step at an onset, how much of it noise explains, and what it and the next few blows add together, newtons.
fn step(wave: Wave<'_>, series: &Series, at: usize) -> Option<(f64, f64, f64)> {
    let usual = (series.interval_s * wave.rate_hz) as usize;
    let index = |i: usize| series.onsets[i].index;
    let here = index(at);
    let behind = series.onsets.get(at + 1).map_or(here + usual, |o| o.index).min(here + 2 * usual);
    // The samples of the rise itself belong to neither side.
    let guard = (RISE_S * wave.rate_hz) as usize + 1;
    let ahead = if at > 0 { index(at - 1) + (here - index(at - 1)) / RINGING_PART } else { 0 };
    let ahead = ahead.max(here.saturating_sub(usual.max(3)));
    let before = (ahead.min(here.saturating_sub(2)), here.saturating_sub(guard).max(ahead + 2).min(here));
    let after = (here + ((behind - here) / RINGING_PART).max(guard), behind.saturating_sub(1));
    let (a, na) = part(wave, before.0, before.1)?;
    let (b, nb) = part(wave, after.0, after.1)?;
    let noise =
        wave.sample_noise(before.0..before.1).max(wave.sample_noise(after.0..after.1.min(wave.x.len())));
    let far = (at + STEP_BLOWS).min(series.onsets.len() - 1);
    let far_end = series.onsets.get(far + 1).map_or(index(far) + usual, |o| o.index);
    let (c, _) = part(wave, index(far) + (far_end - index(far)) / RINGING_PART, far_end)?;
    Some((b - a, STEP_Z * MEDIAN_SE * noise * (1.0 / na + 1.0 / nb).sqrt(), c - a))
}

/// Whether an onset surely leaves no tension behind: far less than the next ones, and noise cannot hide it.
fn surely_idle(wave: Wave<'_>, series: &Series, at: usize) -> bool {
    step(wave, series, at).is_some_and(|(own, doubt, next)| own.max(0.0) + doubt < IDLE_SHARE * next)
}

/// A blow that carries tension leaves at least this share of what it and the next ones add together.
const IDLE_SHARE: f64 = 0.04;

/// A step seen before the first onset lies so many intervals before it, at least and at most, where a blow before
/// it would lie. Found on both models of the virtual rig.
const STEP_BEFORE: (f64, f64) = (0.7, 1.35);
/// Samples between the two below which no step is told from a ramp: three medians of two.
const STEP_GAP_MIN: usize = 6;
/// A step has this share of what stands at the onset in the second sixth of the way, where a ramp has 0.3.
/// Found on both models of the virtual rig.
const STEP_AT_ONCE: f64 = 0.6;

/// Whether tension went up by a step at `departure_s`, about an interval before the first onset: nearly all of
/// it was there at once.
#[must_use]
pub fn steps_up(wave: Wave<'_>, series: &Series, first: usize, departure_s: f64, zero: f64) -> bool {
    let (from, to) = (wave.offset(departure_s) + 1, series.onsets[first].index);
    let usual = series.interval_s * wave.rate_hz;
    let gap = to.saturating_sub(from);
    if gap < STEP_GAP_MIN || gap as f64 > STEP_BEFORE.1 * usual || (gap as f64) < STEP_BEFORE.0 * usual {
        return false;
    }
    let third = gap / 3;
    match (wave.median(from + third / 2..from + third), wave.median(to - third..to)) {
        (Some(early), Some(late)) => early - zero > STEP_AT_ONCE * (late - zero),
        _ => false,
    }
}

/// The band stands out at the onset by so many standard deviations of its noise.
const ONSET_Z: f64 = 5.0;
/// And by this share of the departure that follows.
const ONSET_SHARE: f64 = 0.15;

/// Onset of the first blow, samples: where the band first stands out, no farther from the greatest rise than that
/// compares.
#[must_use]
pub fn onset_of_first(band: &BandSignal, series: &Series, first: usize) -> usize {
    let index = series.onsets[first].index;
    let window = band.design().window;
    // A converter's filter shows a little of a blow before it comes.
    let own = band.excursion(index..index + window);
    let least_n = (ONSET_Z * series.noise).max(ONSET_SHARE * own);
    let stands_out = |i: &usize| band.excursion(*i..*i + 1) > least_n;
    (index.saturating_sub(window)..index + window).find(stands_out).unwrap_or(index)
}

/// A stretch without activity that ends the search for an unseen first blow, seconds.
const QUIET_BEFORE_S: f64 = 0.12;
/// Fast samples are averaged over this, seconds: it bounds how sharply an onset is dated in noise.
const BIN_S: f64 = 0.004;
/// A mean departs from rest when it is so many standard errors off.
const DEPARTS_Z: f64 = 4.0;
/// What Page's cumulative sum takes off each mean, in noises. Found on both models of the virtual rig.
const SUM_SLACK: f64 = 1.5;
/// And what a sum must exceed, in noises. Found on both models of the virtual rig.
const SUM_LEAST: f64 = 2.0;
/// An onset dated by samples is up to half a spacing early or one late: the middle of that, spacings.
const DATED_LATE: f64 = 0.25;
/// The onset is where tension reaches this share of what the first blow leaves.
const ONSET_STEP_SHARE: f64 = 0.15;
/// And noise must be so many times smaller than that for it to be dated there.
const ONSET_STEP_Z: f64 = 3.0;

/// Where tension leaves its rest, and whether noise lets it be dated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Departure {
    /// Seconds from the first kept sample.
    pub at_s: f64,
    /// The first step stands well out of noise.
    pub sharp: bool,
}

/// First blow where blows are not seen: the first departure from idle of the stretch that leads to the
/// crossing, or where the tension before the crossing first stands above idle on the whole.
///
/// `zero` and `noise` (of single samples) in newtons.
#[must_use]
pub fn first_unseen(wave: Wave<'_>, crossing: usize, earliest: usize, zero: f64, noise: f64) -> Departure {
    let bin = ((BIN_S * wave.rate_hz) as usize).max(1);
    let crossing = crossing.min(wave.x.len().saturating_sub(1));
    // Bins count back from just behind the crossing, so that they need no other grid.
    let behind = ((SOON_S * wave.rate_hz) as usize).max(3) / bin + 1;
    let end = (crossing + (behind + 1) * bin).min(wave.x.len());
    let bins: Vec<f64> = wave.x[earliest.min(end)..end]
        .rchunks_exact(bin)
        .map(|c| c.iter().map(|x| f64::from(*x)).sum::<f64>() / bin as f64 - zero)
        .collect();
    if bins.is_empty() {
        return Departure { at_s: crossing as f64 / wave.rate_hz, sharp: false };
    }
    let noise = noise / (bin as f64).sqrt();
    let quiet = ((QUIET_BEFORE_S * wave.rate_hz / bin as f64).ceil() as usize).max(2);
    let at_crossing = (end - 1 - crossing) / bin;
    let mut first = at_crossing.min(bins.len().saturating_sub(1));
    for (i, above) in bins.iter().enumerate().skip(first) {
        if above.abs() > DEPARTS_Z * noise {
            first = i;
        } else if i - first > quiet {
            break;
        }
    }
    // Page's cumulative sum: the start of the stretch whose excess over a part of the noise is greatest.
    let (mut sum, mut best, mut start) = (0.0, SUM_LEAST * noise, first);
    for (i, above) in bins.iter().enumerate().skip(first + 1).take(quiet) {
        sum += above - SUM_SLACK * noise;
        if sum > best {
            (best, start) = (sum, i);
        }
    }
    // What the first blow leaves, some 20 ms behind: the onset is where a part of that is reached for good.
    let mut soon: Vec<f64> =
        bins[start.saturating_sub(behind)..=start.min(bins.len().saturating_sub(1))].to_vec();
    let height = median(&mut soon).unwrap_or(0.0);
    let least = ONSET_STEP_SHARE * height;
    let sharp = least > ONSET_STEP_Z * noise;
    if sharp {
        let lowest = start.saturating_sub(behind);
        start = (lowest..=start).find(|i| bins.get(i + 1).is_none_or(|b| *b < least)).unwrap_or(start);
    }
    let index = (end - (start + 1) * bin) as f64;
    // A point sample shows an onset up to one spacing late, an averaged one up to half a spacing early.
    Departure {
        at_s: (index - DATED_LATE).max(0.0) / wave.rate_hz,
        sharp: sharp || 0.5 * height > DEPARTS_Z * noise,
    }
}

/// Window in which the first growth is compared with later growth, seconds; at least three samples.
const STEEP_S: f64 = 0.06;
/// The first window must grow at least this share of the steepest: the first blow of an energy E on a loose nut
/// makes the greatest step of all (F² grows by equal parts), less what energies scatter.
const STEEP_SHARE: f64 = 0.6;

/// The first blow alone must be seen at once, seconds; at least three samples.
const SOON_S: f64 = 0.02;
/// It makes at least this share of what the first window grows: of five blows (80 a second) the first makes 1/√5.
const SOON_SHARE: f64 = 0.25;

/// Whether tension leaves its rest at `first_s` as steeply as it ever rises before `end_s`. It does at a first blow;
/// a run-down, a nut pulled up by hand, noise, or a trigger pressed softly does not, and then where the first blow
/// lies within is not told by the level.
#[must_use]
pub fn leaves_steeply(wave: Wave<'_>, first_s: f64, end_s: f64, zero: f64, noise: f64) -> bool {
    let width = ((STEEP_S * wave.rate_hz) as usize).max(3);
    let first = wave.offset(first_s);
    let end = wave.offset(end_s).min(wave.x.len());
    let hop = (width / 4).max(1);
    let third = (width / 3).max(1);
    let level = |at: usize| wave.median(at.min(end)..(at + third).min(end));
    let growth = |at: usize| Some(level(at + width)? - level(at)?);
    let Some(early) = level(first + width + 1).map(|m| m - zero) else { return true };
    let soon = ((SOON_S * wave.rate_hz) as usize).max(3);
    let at_once = wave.median((first + 1).min(end)..(first + 1 + soon).min(end)).map_or(early, |m| m - zero);
    let doubt = STEP_Z * MEDIAN_SE * noise / (third as f64).sqrt();
    if at_once + doubt < SOON_SHARE * early {
        return false;
    }
    let mut steepest = early;
    let mut at = first + 1;
    while at + width + third <= end {
        if let Some(grown) = growth(at) {
            steepest = steepest.max(grown);
        }
        at += hop;
    }
    early + doubt >= STEEP_SHARE * steepest
}

/// How tension stands right before the first blow.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Before {
    /// At its zero, within noise and a small part of what the first blows add.
    AtZero,
    /// Risen above it by so many newtons.
    Risen(f64),
}

/// How tension stands before the first blow is read over this part of an interval.
const BEFORE_PART: f64 = 0.5;
/// Tension before the first blow smaller than this share of what the first blows add is at its zero.
const AT_ZERO_SHARE: f64 = 0.02;

/// How tension stands right before onset `first`; none where there are too few samples to say.
#[must_use]
pub fn before_first(wave: Wave<'_>, series: &Series, first: usize, zero: f64) -> Option<Before> {
    let usual = series.interval_s * wave.rate_hz;
    let here = series.onsets[first].index;
    let guard = (RISE_S * wave.rate_hz) as usize + 1;
    let from = here.saturating_sub((BEFORE_PART * usual) as usize + guard + 2);
    let (level, n) = part(wave, from, here.saturating_sub(guard))?;
    let noise = wave.sample_noise(from..here.saturating_sub(guard));
    let (_, _, next) = step(wave, series, first)?;
    let height = level - zero;
    let doubt = (STEP_Z * MEDIAN_SE * noise / n.sqrt()).max(AT_ZERO_SHARE * next.abs());
    Some(if height.abs() <= doubt { Before::AtZero } else { Before::Risen(height) })
}

/// Part of an interval over which it is asked: a step falls into one of three, a run-down spreads over all.
const SMOOTH_PARTS: f64 = 3.0;
/// A smooth rise gains less than this share of itself within a third of an interval.
const SMOOTH_SHARE: f64 = 0.5;

/// Whether tension rose to `height` before the first blow without a step: a run-down, and no blow that was not seen.
#[must_use]
pub fn rose_smoothly(wave: Wave<'_>, series: &Series, first: usize, departure_s: f64, height: f64) -> bool {
    let usual = series.interval_s * wave.rate_hz;
    let (from, to) = (wave.offset(departure_s), series.onsets[first].index);
    if to.saturating_sub(from) as f64 <= FAINT_REACH.0 * usual {
        return false;
    }
    let width = ((usual / SMOOTH_PARTS) as usize).max(3);
    let third = (width / 3).max(1);
    let level = |at: usize| wave.median(at..(at + third).min(wave.x.len()));
    (from.saturating_sub(width)..to.saturating_sub(width + third))
        .step_by(third)
        .all(|at| level(at + width).zip(level(at)).is_none_or(|(b, a)| b - a < SMOOTH_SHARE * height))
}
