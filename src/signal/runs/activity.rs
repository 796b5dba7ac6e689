//! When a tool stopped, where its single blows are not seen: from unrest in the band and from growth of the level.
//!
//! Near its limit a nut moves only at the stronger blows, so tension may stand still for seconds while the tool
//! drives on. A flat level therefore tells nothing. Where the band is restless while the tool drives, the end of
//! the unrest is the end of the pull; where it is not, the last growth is the earliest end possible, and a later
//! growth leaves open whether it was the same pull. Must not know single blows.

use super::band::{BandSignal, chi_square_mean};
use super::kept::{Wave, thinned};
use super::starts::MEDIAN_SE;
use boltscribe_numerics::median;
use std::ops::Range;

/// What the level and the band tell of the end of a pull.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unseen {
    /// Seconds from the first kept sample: the last activity of the pull.
    pub last_s: f64,
    /// The tool surely drove up to here: unrest, or growth faster than a drift.
    pub surely_s: f64,
    /// Greatest 0.1 s median, newtons in the calibration's terms.
    pub greatest: f64,
    /// The band tells when the tool stopped.
    pub by_unrest: bool,
    /// Nothing told yet when the tool stopped: tension has stayed where it was up to the end.
    pub flat: bool,
    /// Tension grew after a pause in which nothing told whether the tool drove.
    pub doubtful: bool,
    /// Activity after a pause that ended the pull: another pull begins here (offset).
    pub next: Option<usize>,
}

/// Length of the pieces that are looked at, seconds; at least three samples.
const PIECE_S: f64 = 0.1;
/// Pieces overlap by half.
const OVERLAP: usize = 2;
/// A pause between pulls where blows are not seen: six intervals of 0.1 s, seconds.
const PAUSE_S: f64 = 0.6;
/// Right before a release the shorter pause of the definition ends a pull: what follows belongs to the release.
const PAUSE_RELEASE_S: f64 = 0.3;
/// The release begins at most this long before tension falls, seconds.
const RELEASE_LEAD_S: f64 = 0.75;
/// A median grows when it stands so many standard errors above what was reached.
const GROWS_Z: f64 = 5.0;
/// And by this share of the height.
const GROWS_SHARE: f64 = 0.001;
/// Growth after a pause smaller than this share of the height changes no figure.
const MATTERS_SHARE: f64 = 0.002;
/// Tension falls when a median stands this share of the height below the greatest: more than ringing moves it by.
const FALLS_SHARE: f64 = 0.1;
/// The fall begins where it leaves the greatest by this share.
const EDGE_SHARE: f64 = 0.02;
/// Unrest is what exceeds the band's noise as rarely as so many standard deviations.
const UNREST_Z: f64 = 4.0;
/// A ring that dies away is no unrest: less than this share of the usual energy of the pieces before.
const DYING: f64 = 0.15;
/// A ring that dies away falls by more than this from piece to piece, and in the end to less than half.
const FALLING: f64 = 0.97;
/// See `FALLING`.
const DIED: f64 = 0.5;
/// Pieces that tell what is usual.
const USUAL_PIECES: usize = 8;
/// The band tells the end when this share of the pieces up to it is restless.
const RELIABLE: f64 = 0.7;
/// A knock on the rig lasts at most so many pieces.
const KNOCK_PIECES: usize = 4;
/// Growth that is no drift: by this share of the height within so many pieces (0.3 s).
const SURELY_SHARE: f64 = 0.003;
/// See `SURELY_SHARE`.
const LITTLE_PIECES: usize = 6;
/// Stretches in which a bolt's settling is compared, seconds.
const SETTLE_S: f64 = 0.4;
/// Settling by less than this share of the height is within what held may be off by.
const SETTLE_SHARE: f64 = 0.0008;
/// Pieces before a fall that its edge reaches into.
const EDGE_PIECES: usize = 3;
/// Most samples a median is made of; more tell no more.
const SAMPLES_MAX: usize = 96;
/// SD of normal values over their median absolute deviation.
const MAD_SD: f64 = 1.4826;
/// Variance of a second difference of independent values, 1 + 4 + 1, over theirs.
const SECOND_DIFFERENCE: f64 = 6.0;
/// Medians differ when they do by this many of their spreads.
const SETTLE_Z: f64 = 3.0;

/// The pieces of the loaded stretch.
struct Pieces {
    start: usize,
    hop: usize,
    width: usize,
    levels: Vec<f64>,
    energies: Vec<f64>,
    /// Standard error of a level, newtons.
    spread: f64,
    /// Energy above which the band is restless.
    loud: f64,
}

impl Pieces {
    fn new(wave: Wave<'_>, band: &BandSignal, noise: f64, raw_noise: f64, range: Range<usize>) -> Self {
        let width = ((PIECE_S * wave.rate_hz).round() as usize).max(3);
        let hop = (width / OVERLAP).max(1);
        let stride = width.div_ceil(SAMPLES_MAX);
        let end = range.end.min(wave.x.len());
        let (mut levels, mut energies, mut spreads) = (Vec::new(), Vec::new(), Vec::new());
        let mut at = range.start;
        while at + width <= end {
            let mut some: Vec<f64> = thinned(&wave.x[at..at + width], SAMPLES_MAX).collect();
            let level = median(&mut some).unwrap_or(0.0);
            some.iter_mut().for_each(|x| *x = (*x - level).abs());
            spreads.push(MAD_SD * median(&mut some).unwrap_or(0.0));
            levels.push(level);
            energies.push(band.mean_square(at..at + width));
            at += hop;
        }
        let count = width.div_ceil(stride) as f64;
        let single = median(&mut spreads).unwrap_or(0.0).max(raw_noise);
        // Ringing averages out better than noise of the same size: what medians really scatter by shows in their
        // second differences (of pieces that do not overlap), whose variance is six times theirs.
        let mut seconds: Vec<f64> = levels
            .windows(2 * OVERLAP + 1)
            .map(|w| (w[0] - 2.0 * w[OVERLAP] + w[2 * OVERLAP]).abs())
            .collect();
        let shown = median(&mut seconds).map_or(f64::MAX, |m| MAD_SD * m / SECOND_DIFFERENCE.sqrt());
        let theory = |sd: f64| MEDIAN_SE * sd / count.sqrt();
        Self {
            start: range.start,
            hop,
            width,
            levels,
            energies,
            spread: theory(single).min(shown.max(theory(raw_noise))),
            loud: noise * noise * chi_square_mean(width, UNREST_Z),
        }
    }

    /// Offset of the middle of a piece.
    fn middle(&self, i: usize) -> usize {
        self.start + i * self.hop + self.width / 2
    }

    fn count(&self, seconds: f64, rate_hz: f64) -> usize {
        (seconds * rate_hz / self.hop as f64).ceil() as usize
    }

    /// The piece in which tension falls for good, or how many there are: it falls by a tenth and stays there; where
    /// it began to is looked up behind.
    fn fall(&self, zero: f64, crossing: usize) -> usize {
        let mut greatest = f64::MIN;
        for (i, level) in self.levels.iter().enumerate() {
            // Before it crossed the threshold it has nothing to fall from but the release before.
            if self.start + i * self.hop < crossing {
                continue;
            }
            greatest = greatest.max(*level);
            let doubt = GROWS_Z * self.spread;
            let low = greatest - FALLS_SHARE * (greatest - zero) - doubt;
            if *level < low && self.levels.get(i + OVERLAP).is_none_or(|later| *later < low) {
                let edge = greatest - EDGE_SHARE * (greatest - zero) - doubt;
                return (0..i).rev().find(|k| self.levels[*k] >= edge).map_or(i, |k| k + 1);
            }
        }
        self.levels.len()
    }

    /// Pieces in which tension grows.
    fn growing(&self, zero: f64, until: usize) -> Vec<bool> {
        let mut reached = zero;
        self.levels[..until]
            .iter()
            .map(|level| {
                let least = (GROWS_Z * self.spread).max(GROWS_SHARE * (reached - zero));
                let grows = *level > reached + least;
                if grows {
                    reached = *level;
                }
                grows
            })
            .collect()
    }

    /// Pieces in which the band is restless: louder than noise, and no ring that dies away.
    fn restless(&self, until: usize) -> Vec<bool> {
        let mut usual: Vec<f64> = Vec::new();
        self.energies[..until]
            .iter()
            .map(|energy| {
                let from = usual.len().saturating_sub(USUAL_PIECES);
                let least = DYING * median(&mut usual[from..].to_vec()).unwrap_or(0.0);
                let is = *energy > self.loud && *energy > least;
                if is {
                    usual.push(*energy);
                }
                is
            })
            .collect()
    }
}

/// Finds the last activity of the first pull.
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
    let start = wave.offset(first_s);
    let pieces = Pieces::new(wave, band, noise, raw_noise, start..loaded.end);
    let until = pieces.fall(zero, loaded.start);
    let released = until < pieces.levels.len();
    let (growing, restless) = (pieces.growing(zero, until), pieces.restless(until));
    let knock = pieces.count(PAUSE_RELEASE_S, wave.rate_hz);
    let active: Vec<bool> =
        (0..until).map(|i| growing[i] || (restless[i] && !lone(&restless, &growing, i, knock))).collect();
    let active = without_edge(active, &growing, released);
    let pull = Walk {
        pieces: &pieces,
        growing: &growing,
        restless: &restless,
        active: &active,
        zero,
        crossing: loaded.start,
    };
    let end = pull.end(wave.rate_hz, released);
    let greatest = pieces.levels[..end.search].iter().copied().fold(f64::MIN, f64::max);
    let last = end.last.map_or(start, |i| pieces.middle(i));
    Unseen {
        last_s: last as f64 / wave.rate_hz,
        surely_s: pull.surely(&end).map_or(start, |i| pieces.middle(i)) as f64 / wave.rate_hz,
        greatest: if greatest > f64::MIN { greatest } else { zero },
        by_unrest: end.by_unrest,
        flat: !end.by_unrest && !released && end.next.is_none(),
        doubtful: end.doubtful || (!end.by_unrest && pull.settles_later(&end, wave.rate_hz)),
        next: end.next.map(|i| pieces.middle(i)),
    }
}

/// The edge of a release reaches into the pieces before it: unrest there, after calm, is not the tool's.
fn without_edge(mut active: Vec<bool>, growing: &[bool], released: bool) -> Vec<bool> {
    let n = active.len();
    let from = n.saturating_sub(EDGE_PIECES);
    let calm = (from.saturating_sub(2)..from).all(|i| !active[i]) && from >= 2;
    if released && calm && (from..n).all(|i| !growing[i]) {
        active[from..].fill(false);
    }
    active
}

/// A short group of restless pieces with quiet on both sides and no growth: a knock.
fn lone(restless: &[bool], growing: &[bool], at: usize, quiet: usize) -> bool {
    let from = (0..=at).rev().take_while(|i| restless[*i]).last().unwrap_or(at);
    let to = (at..restless.len()).take_while(|i| restless[*i]).last().unwrap_or(at);
    let calm = |i: usize| !restless[i] && !growing[i];
    let before = (from.saturating_sub(quiet)..from).all(calm) && from >= quiet;
    let after = (to + 1..(to + 1 + quiet).min(restless.len())).all(calm);
    to - from < KNOCK_PIECES && before && after && (from..=to).all(|i| !growing[i])
}

struct Walk<'a> {
    pieces: &'a Pieces,
    growing: &'a [bool],
    restless: &'a [bool],
    active: &'a [bool],
    zero: f64,
    /// Where tension crossed the threshold, offset.
    crossing: usize,
}

struct End {
    last: Option<usize>,
    by_unrest: bool,
    doubtful: bool,
    next: Option<usize>,
    /// Pieces that belong to the pull or its hold.
    search: usize,
}

impl Walk<'_> {
    fn end(&self, rate_hz: f64, released: bool) -> End {
        let n = self.active.len();
        let pause = self.pieces.count(PAUSE_S, rate_hz);
        let short = self.pieces.count(PAUSE_RELEASE_S, rate_hz);
        let lead = n.saturating_sub(self.pieces.count(RELEASE_LEAD_S, rate_hz));
        let mut last: Option<usize> = None;
        let mut doubtful = false;
        for i in (0..n).filter(|i| self.active[*i]) {
            let Some(before) = last else {
                last = Some(i);
                continue;
            };
            // What was restless before tension crossed is no pull of its own.
            let quiet = if self.pieces.middle(before) < self.crossing { 0 } else { i - before };
            let by_unrest = self.reliable(before);
            // What follows a pause right before the release belongs to the release.
            if quiet > short && released && i >= lead && !self.growing[i] {
                return End { last, by_unrest, doubtful, next: None, search: i };
            }
            if quiet > pause {
                if by_unrest && self.restless[i] {
                    return End { last, by_unrest, doubtful, next: Some(i), search: i };
                }
                doubtful |= self.matters(before);
            }
            last = Some(i);
        }
        let by_unrest = last.is_some_and(|l| self.reliable(l));
        let last = last.map(|l| if by_unrest { self.without_dying(l) } else { l });
        End { last, by_unrest, doubtful, next: None, search: n }
    }

    /// The last piece up to the end that is restless, or that stands well above what stood a little before.
    fn surely(&self, end: &End) -> Option<usize> {
        let levels = &self.pieces.levels;
        let rises = |i: usize| {
            let before = levels[i.saturating_sub(LITTLE_PIECES)];
            levels[i] - before > SURELY_SHARE * (levels[i] - self.zero) + GROWS_Z * self.pieces.spread
        };
        (0..=end.last?).rev().find(|i| (end.by_unrest && self.restless[*i]) || rises(*i))
    }

    /// Whether tension behaves later as it does right after a stop, or grows: a bolt settles fastest at first, so a
    /// fall that steepens later tells that the tool stopped later.
    fn settles_later(&self, end: &End, rate_hz: f64) -> bool {
        let Some(last) = end.last else { return false };
        let step = self.pieces.count(SETTLE_S, rate_hz).max(1);
        let levels: Vec<f64> = self.pieces.levels[last..self.active.len()]
            .chunks_exact(step)
            .filter_map(|c| median(&mut c.to_vec()))
            .collect();
        let falls: Vec<f64> = levels.windows(2).map(|w| w[0] - w[1]).collect();
        let Some(first) = falls.first() else { return false };
        let least = SETTLE_SHARE * (levels[0] - self.zero) + SETTLE_Z * self.pieces.spread;
        falls[1..].iter().any(|fall| *fall > first.max(0.0) + least || *fall < -least)
    }

    /// Where a ring that dies away behind the last blow begins: energies that only fall, to less than half.
    fn without_dying(&self, last: usize) -> usize {
        let energies = &self.pieces.energies;
        let falls = |i: usize| i > 0 && energies[i] < FALLING * energies[i - 1] && !self.growing[i];
        let begin = (0..=last).rev().find(|i| !falls(*i)).unwrap_or(last);
        if energies[last] < DIED * energies[begin] { (begin + 1).min(last) } else { last }
    }

    /// The band was restless all the way up to a piece, which is restless itself.
    fn reliable(&self, last: usize) -> bool {
        let from = (0..=last).find(|i| self.active[*i]).unwrap_or(last);
        let restless = (from..=last).filter(|i| self.restless[*i]).count();
        let near = (last.saturating_sub(OVERLAP)..=last).any(|i| self.restless[i]);
        near && restless as f64 >= RELIABLE * (last + 1 - from) as f64 && last + 1 - from >= 3
    }

    /// Tension later stands so far above a piece that it matters whether the tool drove meanwhile.
    fn matters(&self, at: usize) -> bool {
        let later = self.pieces.levels[at..self.active.len()].iter().copied().fold(f64::MIN, f64::max);
        let level = self.pieces.levels[at];
        later - level > MATTERS_SHARE * (level - self.zero) + GROWS_Z * self.pieces.spread
    }
}

/// Blocks of 0.1 s whose band stands out of its noise.
#[must_use]
pub fn restless_blocks(band: &BandSignal, noise: f64, range: Range<usize>) -> usize {
    let width = ((PIECE_S * band.design().rate_hz).round() as usize).max(3);
    let loud = noise * noise * chi_square_mean(width, UNREST_Z);
    let starts = range.clone().step_by(width).filter(|at| at + width <= range.end);
    starts.filter(|at| band.mean_square(*at..at + width) > loud).count()
}
