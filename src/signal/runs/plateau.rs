//! The fitted limit of a run: F∞·√(1 − exp(−(t − t0)/τ)) or F∞·(1 − exp(−(t − t0)/τ)) through its medians.
//!
//! the manual, "What is measured": plateau, time constant. The first is the energy form: F² nears its limit
//! exponentially, blow by blow. Two ways must agree: least squares of tension over time (the value given, of the
//! form with the smaller residuals) and the steps of F² from one median to the next (`steps`: which form it can
//! be, and how well the limit is known where blows scatter). Where they do not, or where the limit lies below the
//! tension held, there is none. Must not know samples, only the medians.

use super::record::{Form, Plateau};
use super::steps::{Fall, Growth};
use boltscribe_model::units::Newtons;
use boltscribe_numerics::autocorrelation::{too_few_runs_p, whitened};
use boltscribe_numerics::saturating::{Approach, Approached, fit_approach};

/// A long run is thinned to at most this many points before the fit.
const POINTS_MAX: usize = 400;
/// Fewer medians do not tell the two forms apart: most wrong limits in simulation came of
/// eight to eleven.
const POINTS_MIN: usize = 12;
/// Greatest standard error of a limit that is given, part of the limit: beyond it the error of the limit is no
/// longer symmetrical and its standard error says too little.
const SE_MAX: f64 = 0.1;
/// Least squares and steps agree within this many standard errors of the limit by steps.
const AGREE_SE: f64 = 3.0;
/// Where the two forms' limits lie closer than this part of the limit (and a standard error) it does not matter
/// which of them is taken.
const SAME_LIMIT: f64 = 0.02;
/// The exponential form is believed from one time constant on: before, its limit is extrapolated from less than
/// 63 % of itself.
const TIME_CONSTANTS_MIN: f64 = 1.0;
/// Level of the test of runs of one sign in the whitened residuals.
const RUNS_P: f64 = 0.001;

/// The medians of a run.
#[derive(Clone, Copy, Debug)]
pub struct Medians<'a> {
    /// Times, seconds, ascending.
    pub times_s: &'a [f64],
    /// Tensions above the run's zero, newtons.
    pub tensions_n: &'a [f64],
    /// Tension that stood on the bolt at the run's zero, newtons, not negative: the energy form counts it in.
    pub preload_n: f64,
    /// Tension held after the run (or the last median), above the run's zero, newtons.
    pub held_n: f64,
}

/// A limit with the form and the errors that belong to it.
struct Found {
    form: Form,
    fit: Approached,
    limit_se: f64,
    rate_se: f64,
}

/// Both forms by least squares over time.
#[derive(Clone, Debug)]
pub struct Fits {
    energy: Option<Approached>,
    exponential: Option<Approached>,
    spacing_s: f64,
    last_s: f64,
}

impl Fits {
    /// None where there are fewer than twelve medians.
    #[must_use]
    pub fn of(medians: &Medians<'_>) -> Option<Self> {
        let n = medians.times_s.len();
        if n < POINTS_MIN {
            return None;
        }
        let stride = n.div_ceil(POINTS_MAX).max(1);
        let t: Vec<f64> = medians.times_s.iter().copied().step_by(stride).collect();
        let f: Vec<f64> = medians.tensions_n.iter().map(|f| f + medians.preload_n).step_by(stride).collect();
        let (first_s, last_s) = (medians.times_s[0], medians.times_s[n - 1]);
        Some(Self {
            energy: fit_approach(&t, &f, Approach::Root),
            exponential: fit_approach(&t, &f, Approach::Exponential),
            spacing_s: (last_s - first_s) / (n - 1) as f64,
            last_s,
        })
    }

    /// The exponential form leaves the smaller residuals: steps on a line in F² are no sign of the energy form then.
    #[must_use]
    pub fn contradict_energy(&self) -> bool {
        let rss = |fit: &Option<Approached>| fit.as_ref().map(|a| a.fit.rss);
        rss(&self.energy).zip(rss(&self.exponential)).is_some_and(|(e, x)| x < e)
    }
}

/// The limit; `growth` is what the steps between the same medians say.
#[must_use]
pub fn fit(medians: &Medians<'_>, fits: Fits, growth: &Growth) -> Option<Plateau> {
    let found = match growth {
        Growth::Line(steps) => {
            by_energy(fits.energy?, fits.exponential.as_ref(), &steps.fall?, fits.spacing_s)?
        }
        Growth::Bent => exponentially(fits.exponential?, fits.energy.as_ref(), fits.last_s)?,
    };
    let fit = &found.fit.fit;
    let limit = fit.limit - medians.preload_n;
    let time_constant_s = 1.0 / fit.rate;
    let sound = found.limit_se <= SE_MAX * fit.limit && limit >= medians.held_n;
    sound.then_some(Plateau {
        limit: Newtons(limit),
        limit_se: Newtons(found.limit_se),
        time_constant_s,
        time_constant_se_s: found.rate_se * time_constant_s * time_constant_s,
        form: found.form,
    })
}

/// The steps lie on a line in F²: the energy form, if its residuals are the smaller ones or it does not matter.
fn by_energy(
    energy: Approached,
    exponential: Option<&Approached>,
    fall: &Fall,
    spacing_s: f64,
) -> Option<Found> {
    let by_steps = fall.limit.sqrt();
    let by_steps_se = 0.5 * fall.limit_se / by_steps;
    let other = exponential.filter(|x| x.fit.rss < energy.fit.rss);
    let far = |limit: f64, doubt: f64| (limit - by_steps).abs() > doubt;
    if other.is_some_and(|x| far(x.fit.limit, SAME_LIMIT * by_steps + by_steps_se))
        || far(energy.fit.limit, AGREE_SE * by_steps_se)
    {
        return None;
    }
    // A step keeps 1 − loss of the distance to the limit: rate = −ln(1 − loss) over the spacing of medians.
    let rate_se = fall.loss_se / (1.0 - fall.loss) / spacing_s;
    let (limit_se, fit_rate_se) = errors(&energy).unwrap_or((0.0, 0.0));
    Some(Found {
        form: Form::Energy,
        fit: energy,
        limit_se: by_steps_se.max(limit_se),
        rate_se: rate_se.max(fit_rate_se),
    })
}

/// The steps do not lie on a line in F²: the exponential form, if its residuals are the smaller ones and show
/// nothing more than errors that fade from median to median.
fn exponentially(exponential: Approached, energy: Option<&Approached>, last_s: f64) -> Option<Found> {
    let fit = exponential.fit;
    if energy.is_some_and(|e| e.fit.rss < fit.rss) || fit.rate * (last_s - fit.start) < TIME_CONSTANTS_MIN {
        return None;
    }
    let rho = exponential.widened.as_ref()?.rho;
    let white = whitened(&exponential.residuals, rho);
    if too_few_runs_p(white.iter().map(|w| *w > 0.0)).is_some_and(|p| p < RUNS_P) {
        return None;
    }
    let (limit_se, rate_se) = errors(&exponential)?;
    Some(Found { form: Form::Exponential, fit: exponential, limit_se, rate_se })
}

/// Standard errors of limit and rate, widened for autocorrelation.
fn errors(fit: &Approached) -> Option<(f64, f64)> {
    let covariance = &fit.widened.as_ref()?.covariance;
    Some((covariance[(0, 0)].sqrt(), covariance[(1, 1)].sqrt()))
}
