//! How much one median of a run's tension stands above the one before it, in squares of tension.
//!
//! A blow of energy E moves a nut from F₁ to F₂² = (E + a·F₁²)/(a + b), and not at all where E ≤ b·F₁². So the
//! step of F² is a straight line in F₁², E/(a + b) − b/(a + b)·F₁², that is cut off at zero: near the limit only
//! the stronger blows move the nut. A line through the steps that were seen alone would be too flat and its
//! limit too high; here a step within the noise counts as one that was at most so large
//! (`stats::censored`). Scatter of the energy is scatter about the line, each blow's own, so that these
//! residuals do not follow each other as those of tension over time do. Must not know samples.

use boltscribe_numerics::censored::{Censored, Seen, fit_censored};
use boltscribe_numerics::distributions::chi_squared_sf;

/// Steps that must stand above the noise: below eight a curved growth cannot be distinguished from a straight one.
const KNOWN_MIN: usize = 8;
/// A step counts as seen above this many SD of the difference of two medians: chance alone makes one in 30,000.
const SEEN_SD: f64 = 4.0;
/// A step counts as seen above so many times the root mean square of the falls, which are noise or creep alone.
const SEEN_FALLS: f64 = 3.0;
/// The steps are not those of blows of one mean energy where a parabola fits them better at this level.
const BENT_P: f64 = 0.001;

/// The line through the steps of F²; tensions in newtons, and all as they stand above the rig's zero.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Steps {
    /// Step from F = 0, N²: E/(a + b).
    pub gain: f64,
    /// Its standard error.
    pub gain_se: f64,
    /// What they lose as F² grows; none where they do not fall.
    pub fall: Option<Fall>,
    /// SD of the steps about the line over the gain.
    pub scatter: f64,
    /// Its standard error.
    pub scatter_se: f64,
    /// Steps that stood above the noise.
    pub known: usize,
    /// SD of the steps about the line that the noise of the medians alone would give, over the gain.
    pub scatter_of_noise: f64,
}

/// Most steps that a soft start may take.
const SOFT_MAX: usize = 10;
/// Steps left out besides those that show: the last ones of a soft start are nearly full.
const SOFT_GUARD: usize = 2;
/// And at most one in this many of all.
const SOFT_PART: usize = 4;
/// A first step this many SD below the line is one of a soft start: chance takes one in 160 for it, which only
/// widens the errors a little.
const SOFT_SD: f64 = 2.5;

/// How steps fall as F² grows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fall {
    /// Part of F² by which a step falls short of the gain: b/(a + b), above 0, below 1.
    pub loss: f64,
    /// Its standard error.
    pub loss_se: f64,
    /// F² at which the mean step is none, N²: E/b.
    pub limit: f64,
    /// Its standard error.
    pub limit_se: f64,
}

/// What the steps say.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Growth {
    /// They lie on a line.
    Line(Steps),
    /// They do not: F² does not near its limit exponentially.
    Bent,
}

/// One step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step {
    /// Tension before, newtons.
    pub from_n: f64,
    /// Tension after, newtons.
    pub to_n: f64,
    /// Place of the median it leads to.
    pub to: usize,
}

/// What the steps say, and how many of them at the begin were left out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Said {
    /// Line, or none.
    pub growth: Growth,
    /// Steps of a soft start: the first ones, weaker than those after them.
    pub soft: usize,
}

/// Fits the steps; `noise_n` is the SD of one median, newtons.
///
/// A tool whose trigger is feathered begins with weaker blows. So the line is begun after the first quarter (at most
/// ten steps), and goes on backwards as long as the next step does not lie below it.
///
/// None where fewer than eight steps are seen, where a soft start does not end in the first quarter, or where the fit
/// does not converge.
#[must_use]
pub fn fit(steps: &[Step], noise_n: f64) -> Option<Said> {
    let hidden = Hidden::of(steps, noise_n);
    let mut most = SOFT_MAX.min(steps.len() / SOFT_PART);
    if seen_of(&hidden, &steps[most..]) < KNOWN_MIN {
        most = 0;
    }
    let mut soft = most;
    let mut line = straight(&hidden, &steps[soft..])?;
    while soft > 0 && !lies_below(&hidden, &line, &steps[soft - 1]) {
        soft -= 1;
        line = straight(&hidden, &steps[soft..])?;
    }
    // Weak up to the last of them: a soft start that goes on, or growth of another kind.
    let endless = most > 0 && soft == most;
    if soft > 0 && !endless {
        soft = most.min(soft + SOFT_GUARD);
        line = straight(&hidden, &steps[soft..])?;
    }
    let rest = &steps[soft..];
    let bent = bent(&hidden, &line, rest);
    if endless && !bent {
        return None;
    }
    if bent {
        return Some(Said { growth: Growth::Bent, soft });
    }
    let known = seen_of(&hidden, rest);
    let mean = rest.iter().map(|s| s.to_n * s.to_n).sum::<f64>() / rest.len() as f64;
    let growth = Growth::Line(found(&line, known, 2.0 * (2.0 * mean).sqrt() * noise_n)?);
    Some(Said { growth, soft })
}

/// What noise hides: a step of F that is no greater.
struct Hidden {
    bound_n: f64,
}

impl Hidden {
    fn of(steps: &[Step], noise_n: f64) -> Self {
        let falls: Vec<f64> = steps.iter().map(|s| s.to_n - s.from_n).filter(|d| *d < 0.0).collect();
        let fall_n = (falls.iter().map(|d| d * d).sum::<f64>() / falls.len().max(1) as f64).sqrt();
        Self { bound_n: (SEEN_SD * core::f64::consts::SQRT_2 * noise_n).max(SEEN_FALLS * fall_n) }
    }

    fn seen(&self, step: &Step) -> Seen {
        // A small step of F is one of 2F in F².
        let bound = 2.0 * step.from_n.max(step.to_n).max(0.0) * self.bound_n;
        let value = step.to_n * step.to_n.abs() - square(step);
        if value > bound { Seen::Value(value) } else { Seen::AtMost(bound) }
    }
}

/// F² before a step; below zero where noise put F there.
fn square(step: &Step) -> f64 {
    step.from_n * step.from_n.abs()
}

fn seen_of(hidden: &Hidden, steps: &[Step]) -> usize {
    steps.iter().filter(|s| matches!(hidden.seen(s), Seen::Value(_))).count()
}

fn straight(hidden: &Hidden, steps: &[Step]) -> Option<Censored> {
    if seen_of(hidden, steps) < KNOWN_MIN {
        return None;
    }
    let seen: Vec<Seen> = steps.iter().map(|s| hidden.seen(s)).collect();
    let line: Vec<Vec<f64>> = steps.iter().map(|s| vec![1.0, square(s)]).collect();
    fit_censored(&line, &seen)
}

/// A step is weaker than the line through those after it lets expect.
fn lies_below(hidden: &Hidden, line: &Censored, step: &Step) -> bool {
    let (Seen::Value(value) | Seen::AtMost(value)) = hidden.seen(step);
    let expected = line.coefficients[0] + line.coefficients[1] * square(step);
    value - expected < -SOFT_SD * line.sd.hypot(line.se(&[1.0, square(step), 0.0]))
}

/// A parabola fits the steps better than the line, by the ratio of likelihoods (Wilks 1938, Ann. Math. Stat. 9:60).
fn bent(hidden: &Hidden, line: &Censored, steps: &[Step]) -> bool {
    let seen: Vec<Seen> = steps.iter().map(|s| hidden.seen(s)).collect();
    let bow: Vec<Vec<f64>> = steps.iter().map(|s| vec![1.0, square(s), square(s) * square(s)]).collect();
    let better =
        fit_censored(&bow, &seen).map_or(0.0, |bow| 2.0 * (bow.log_likelihood - line.log_likelihood));
    better > 0.0 && chi_squared_sf(better, 1.0) < BENT_P
}

fn found(fit: &Censored, known: usize, noise_of_step: f64) -> Option<Steps> {
    let (gain, loss) = (fit.coefficients[0], -fit.coefficients[1]);
    if gain <= 0.0 || loss >= 1.0 {
        return None;
    }
    let fall = (loss > 0.0).then(|| Fall {
        loss,
        loss_se: fit.se(&[0.0, 1.0, 0.0]),
        limit: gain / loss,
        limit_se: fit.se(&[1.0 / loss, gain / (loss * loss), 0.0]),
    });
    // The greatest likelihood divides by the number of values, not by what two parameters leave of it.
    let sd = fit.sd * (known as f64 / (known as f64 - 2.0)).sqrt();
    Some(Steps {
        gain,
        gain_se: fit.se(&[1.0, 0.0, 0.0]),
        fall,
        scatter: sd / gain,
        scatter_se: fit.se(&[-sd / (gain * gain), 0.0, 1.0 / gain]),
        known,
        scatter_of_noise: noise_of_step / gain,
    })
}
