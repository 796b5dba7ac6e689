//! A second, independent counter of blows: excitations of a linear prediction, tracked by their rhythm.
//!
//! `blows` looks for rises of energy; a slow or long ring defeats it. Here the ringing is described by an
//! all-pole predictor fitted to the run itself, so that whatever still rings is predicted and only what newly
//! excites it is left (Makhoul 1975, "Linear prediction: a tutorial review"; used on speech for the closing of
//! the glottis, which is the same problem). The excitations are then joined to a chain whose steps are close to
//! the local period (dynamic programming after Ellis 2007, "Beat tracking by dynamic programming"). Must not
//! know what `blows` found: where the two counters differ, the count is not given.

use super::lowpass::Butterworth;
use super::rhythm::{LANES, Periods, Rhythm, products};
use boltscribe_numerics::{median, value_at};
use std::ops::Range;

/// Rate the samples are averaged down to before the prediction, hertz. A blow excites the slow modes of a rig with the
/// fast ones; those above half of this rate would take poles and time, and tell no more blows (counts of the virtual
/// rig's models, whose cells ring at up to 3 kHz, are the same at twice this rate).
const WORK_HZ: f64 = 3000.0;
/// Poles of the predictor: two for each of up to eight modes, less where the record is coarse.
const POLES: usize = 16;
/// White noise added to the zero lag of the correlation, as a share: keeps the recursion well conditioned.
const CONDITION: f64 = 1e-5;
/// An excitation lasts about as long as a blow's rise, seconds.
const EXCITED_S: f64 = 0.002;
/// A peak of the excitation must stand this far (natural logarithm of energy) above its floor to be a candidate:
/// chance peaks of a mean of squares over the window stay below a factor of 4.
const CANDIDATE: f64 = 1.4;
/// What a candidate must be worth to stand without the help of rhythm: a factor of 8 in energy.
const ALONE: f64 = 2.1;
/// Weight of a step's departure from the local period (squared logarithm of the ratio).
const RHYTHM: f64 = 6.0;
/// The most a single departure costs: a pause of any length is possible.
const PAUSE_COST: f64 = 3.0;
/// Windows of the two energies that are compared where a prediction does not help, seconds: the shorter for tools
/// that strike fast, the longer for slow rings.
const RISE_S: (f64, f64) = (0.003, 0.009);
/// Share of the run's places that are quieter than a blow: a blow's excitation fills about a tenth of a period.
const BLOWS_SHARE: f64 = 0.92;
/// Means that are looked at for a quantile in each length of their window.
const A_WINDOW: usize = 4;
/// What is fainter than this share of a usual blow's energy is no blow.
const FAINT: f64 = 0.01;
/// Loudness above the floor that counts at most, so that one loud blow does not buy a false one beside it.
const LOUD: f64 = 5.0;
/// Corner of the high-pass, hertz, and the part of the rate that it is at most.
const HIGHPASS: (f64, f64) = (40.0, 0.1);
/// The quantile of a run's energies that is its floor: blows fill about a tenth of a period. Found on both models of
/// the virtual rig.
const BETWEEN_BLOWS: f64 = 0.25;
/// The same of the means behind a place, which windows of up to 9 ms make wider. Found on both models of the virtual
/// rig.
const BETWEEN_RISES: f64 = 0.1;
/// The variance of the logarithm of the ratio of two means of n squares of noise is this over n.
const RATIO_VARIANCE: f64 = 4.0;
/// Candidates are at least this far apart, seconds: about half of the shortest period.
const CANDIDATES_APART_S: f64 = 0.006;

/// The chain of excitations.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Epochs {
    /// Offsets of the excitations in the samples given, ascending.
    pub at: Vec<usize>,
    /// Median period, samples.
    pub period: f64,
}

impl Epochs {
    /// Excitations inside `range`; `idle` is the stretch whose noise nothing may be smaller than.
    ///
    /// None where the stretch is too short for a predictor.
    #[must_use]
    pub fn find(x: &[f32], rate_hz: f64, idle: Range<usize>, range: Range<usize>) -> Option<Self> {
        let step = ((rate_hz / WORK_HZ) as usize).max(1);
        let hz = rate_hz / step as f64;
        let slow = averaged(&x[range.clone()], step);
        let rest = averaged(&x[idle], step);
        let poles = POLES.min(slow.len() / 8);
        if poles < 2 {
            return None;
        }
        let (band, quiet) = (highpassed(&slow, hz), highpassed(&rest, hz));
        let predictor = fit(&band, poles)?;
        let excited = loudness(&excitation(&band, &predictor), &excitation(&quiet, &predictor), hz);
        let ways = [excited, rises(&band, &quiet, RISE_S.0, hz), rises(&band, &quiet, RISE_S.1, hz)];
        let (loud, rhythm) = ways
            .into_iter()
            .filter_map(|loud| Rhythm::new(&loud, hz).map(|rhythm| (loud, rhythm)))
            .max_by(|a, b| a.1.contrast.total_cmp(&b.1.contrast))?;
        let periods = rhythm.periods();
        let candidates = candidates(&loud, hz);
        let chain = chain(&candidates, &periods);
        let at: Vec<usize> = chain.iter().map(|c| range.start + c.0 * step).collect();
        let mut gaps: Vec<f64> = at.windows(2).map(|w| (w[1] - w[0]) as f64).collect();
        let period = median(&mut gaps)?;
        Some(Self { at, period })
    }
}

/// Means of `step` samples each.
fn averaged(x: &[f32], step: usize) -> Vec<f64> {
    x.chunks_exact(step).map(|c| c.iter().map(|v| f64::from(*v)).sum::<f64>() / step as f64).collect()
}

/// What is left above 40 Hz: level and slow growth drop out, the slowest ring stays.
fn highpassed(x: &[f64], hz: f64) -> Vec<f64> {
    let filter = Butterworth::<1>::highpass(HIGHPASS.0.min(HIGHPASS.1 * hz), hz);
    let mut state = filter.settled_at(x.first().copied().unwrap_or(0.0));
    let mut band = Vec::with_capacity(x.len());
    filter.run(&mut state, x.iter().copied(), |b| band.push(b));
    band
}

/// Coefficients of the predictor by the autocorrelation method (Levinson and Durbin's recursion).
fn fit(x: &[f64], poles: usize) -> Option<Vec<f64>> {
    let r = products(x, 0..poles + 1);
    let mut error = r[0] * (1.0 + CONDITION);
    if error <= 0.0 {
        return None;
    }
    let mut a = vec![0.0; poles];
    for i in 0..poles {
        let predicted: f64 = (0..i).map(|j| a[j] * r[i - j]).sum();
        let reflection = (r[i + 1] - predicted) / error;
        let before = a.clone();
        a[i] = reflection;
        for j in 0..i {
            a[j] = before[j] - reflection * before[i - 1 - j];
        }
        error *= 1.0 - reflection * reflection;
    }
    a.iter().all(|v| v.is_finite()).then_some(a)
}

/// What the predictor did not foresee. Several samples side by side, each summed in the order of the coefficients.
fn excitation(x: &[f64], predictor: &[f64]) -> Vec<f64> {
    let poles = predictor.len().min(x.len());
    let mut left: Vec<f64> =
        (0..poles).map(|i| x[i] - (0..i).map(|k| predictor[k] * x[i - 1 - k]).sum::<f64>()).collect();
    left.reserve(x.len() - poles);
    let mut at = poles;
    while at + LANES <= x.len() {
        let mut known = [0.0; LANES];
        for (k, p) in predictor.iter().enumerate() {
            for (sum, v) in known.iter_mut().zip(&x[at - 1 - k..at - 1 - k + LANES]) {
                *sum += p * v;
            }
        }
        left.extend(x[at..at + LANES].iter().zip(&known).map(|(v, known)| v - known));
        at += LANES;
    }
    left.extend(
        (at..x.len())
            .map(|i| x[i] - predictor.iter().enumerate().map(|(k, p)| p * x[i - 1 - k]).sum::<f64>()),
    );
    left
}

/// Logarithm of the excitation's energy over its floor: the larger of what idle shows and of what stands between
/// the blows of the run, since a motor's brushes make more noise than a rig at rest.
fn loudness(run: &[f64], idle: &[f64], hz: f64) -> Vec<f64> {
    let window = ((EXCITED_S * hz).round() as usize).max(2);
    let energy = |e: &[f64]| -> Vec<f64> {
        let mut sum: f64 = e.iter().take(window).map(|v| v * v).sum();
        (0..e.len())
            .map(|i| {
                let now = sum.max(0.0);
                sum += e.get(i + window).map_or(0.0, |v| v * v) - e[i] * e[i];
                now
            })
            .collect()
    };
    let (run, idle) = (energy(run), energy(idle));
    let usual = quantile(&run, window, BLOWS_SHARE);
    let floor = quantile(&idle, window, 0.5)
        .max(quantile(&run, window, BETWEEN_BLOWS))
        .max(FAINT * usual)
        .max(f64::MIN_POSITIVE);
    let loud = loudest(1.0);
    run.iter().map(|e| if *e > loud * floor { LOUD } else { logarithm(e / floor, 1.0) }).collect()
}

/// So little above the loudest that no rounding of an exponential matters.
const SURELY_ABOVE: f64 = 1.0 + 1e-9;

/// Ratios above this one surely count as the loudest.
fn loudest(unit: f64) -> f64 {
    libm::exp(LOUD * unit) * SURELY_ABOVE
}

/// Natural logarithm of a ratio over `unit`, held between zero and the loudest that counts. Most places lie outside
/// of that and need no logarithm.
fn logarithm(ratio: f64, unit: f64) -> f64 {
    if ratio <= 1.0 { 0.0 } else { (libm::log(ratio) / unit).min(LOUD) }
}

/// A quantile of means over `window` places each: a few of them a window tell all there is.
fn quantile(means: &[f64], window: usize, share: f64) -> f64 {
    let some: Vec<f64> = means.iter().step_by((window / A_WINDOW).max(1)).copied().collect();
    let at = ((share * some.len() as f64) as usize).min(some.len().saturating_sub(1));
    value_at(&some, at).unwrap_or(0.0)
}

/// Logarithm of the band's energy just after each place over that just before it, both at least the noise.
fn rises(run: &[f64], idle: &[f64], window_s: f64, hz: f64) -> Vec<f64> {
    let window = ((window_s * hz).round() as usize).max(2);
    let sums = |x: &[f64]| {
        let mut sum = 0.0;
        std::iter::once(0.0)
            .chain(x.iter().map(|v| {
                sum += v * v;
                sum
            }))
            .collect::<Vec<f64>>()
    };
    let (run, idle) = (sums(run), sums(idle));
    let n = run.len() - 1;
    let rest = idle[idle.len() - 1] / (idle.len() - 1).max(1) as f64;
    let mut after = Vec::with_capacity(n);
    after.extend(run.iter().zip(run.get(window..).unwrap_or(&[])).map(|(a, b)| (b - a) / window as f64));
    after.truncate(n);
    after.extend((after.len()..n).map(|i| (run[n] - run[i]) / (n - i) as f64));
    let floor = rest
        .max(quantile(&after, window, BETWEEN_RISES))
        .max(FAINT * quantile(&after, window, BLOWS_SHARE))
        .max(f64::MIN_POSITIVE);
    // Of noise alone the ratio of two means of squares scatters by the square root of four over their number.
    let chance = (RATIO_VARIANCE / window as f64).sqrt();
    // What is just before a place is what was just after the one a window earlier.
    let before = std::iter::repeat_n(&floor, window).chain(&after);
    let loud = loudest(chance);
    let rise = |(a, b): (&f64, &f64)| {
        let (a, b) = (a + floor, b + floor);
        if a <= b {
            0.0
        } else if a > loud * b {
            LOUD
        } else {
            logarithm(a / b, chance)
        }
    };
    after.iter().zip(before).map(rise).collect()
}

/// Peaks of the loudness, at least `CANDIDATES_APART_S` apart: (place, loudness).
fn candidates(loud: &[f64], hz: f64) -> Vec<(usize, f64)> {
    let closest = ((CANDIDATES_APART_S * hz) as usize).max(2);
    let mut found: Vec<(usize, f64)> = Vec::new();
    for (i, l) in loud.iter().enumerate() {
        if *l < CANDIDATE {
            continue;
        }
        match found.last_mut() {
            Some(last) if i - last.0 < closest => {
                if *l > last.1 {
                    *last = (i, *l);
                }
            }
            _ => found.push((i, *l)),
        }
    }
    found
}

/// The chain of candidates that is loud and keeps its rhythm.
fn chain(candidates: &[(usize, f64)], periods: &Periods) -> Vec<(usize, f64)> {
    let mut best: Vec<(f64, Option<usize>)> = Vec::with_capacity(candidates.len());
    for (i, (place, loud)) in candidates.iter().enumerate() {
        let own = loud - ALONE;
        let period = periods.at(*place);
        let mut score = (own, None);
        for j in (0..i).rev().take(24) {
            let ratio = (place - candidates[j].0) as f64 / period;
            let off = libm::log(ratio);
            let cost = if ratio < 1.0 { RHYTHM * off * off } else { (RHYTHM * off * off).min(PAUSE_COST) };
            let total = best[j].0 - cost + own;
            if total > score.0 {
                score = (total, Some(j));
            }
        }
        best.push(score);
    }
    let Some(mut at) = (0..best.len()).max_by(|a, b| best[*a].0.total_cmp(&best[*b].0)) else {
        return Vec::new();
    };
    let mut chain = vec![candidates[at]];
    while let Some(before) = best[at].1 {
        chain.push(candidates[before]);
        at = before;
    }
    chain.reverse();
    chain
}
