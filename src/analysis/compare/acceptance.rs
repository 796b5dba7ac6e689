//! Whether a value meets a limit, with the uncertainty counted.
//!
//! Guarded decisions as in JCGM 106 and ISO 14253-1, with Student's t for the guard: g = t(p, ν)·u. Conforms
//! only where the value is inside by g; does not conform only where it is outside by g. Must not know how the
//! value or its uncertainty came about.

use boltscribe_numerics::distributions::{t_cdf, t_quantile};
use serde::Serialize;
use utoipa::ToSchema;

/// A limit, in the unit of the value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Limit {
    /// At least so much.
    Lower(f64),
    /// At most so much.
    Upper(f64),
}

/// The decision.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub enum Decision {
    /// Meets the limit beyond doubt.
    #[serde(rename = "conforms")]
    Conforms,
    /// Misses it beyond doubt.
    #[serde(rename = "does not conform")]
    DoesNotConform,
    /// The uncertainty is too great to say.
    #[serde(rename = "undecided")]
    Undecided,
}

impl Decision {
    /// The words for it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Conforms => "conforms",
            Self::DoesNotConform => "does not conform",
            Self::Undecided => "undecided",
        }
    }
}

/// What is judged.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured {
    /// The value.
    pub value: f64,
    /// Its standard uncertainty without what repeats vary by (calibration, factor), at least 0.
    pub u_common: f64,
    /// Effective degrees of freedom of that; infinite where it is well known.
    pub common_freedom: f64,
    /// SD of one run; 0 with a single value of known uncertainty.
    pub sd: f64,
    /// Runs of which the value is the mean, at least 1.
    pub runs: usize,
}

/// The judgement.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Acceptance {
    /// The decision.
    pub decision: Decision,
    /// Standard uncertainty of the value.
    pub u: f64,
    /// Its effective degrees of freedom (Welch and Satterthwaite).
    pub freedom: f64,
    /// The guard.
    pub guard: f64,
    /// Probability that the true value meets the limit.
    pub probability: f64,
    /// Runs that another test, of new runs by themselves, would need to decide if value and spread are these; none where
    /// it is decided, or where the common uncertainty alone is too great. They must not be added to these: a second
    /// look that nobody planned errs more often than `probability` says.
    pub runs_of_a_new_test: Option<usize>,
    /// The standard uncertainty that would decide at these degrees of freedom; none where it is decided.
    pub u_to_decide: Option<f64>,
}

/// Most runs that are ever advised.
pub const RUNS_MAX: usize = 1000;

impl Measured {
    /// Standard uncertainty and degrees of freedom as the mean of `runs`.
    fn uncertainty(&self, runs: usize) -> (f64, f64) {
        let n = runs as f64;
        let of_mean = self.sd * self.sd / n;
        let common = self.u_common * self.u_common;
        let variance = of_mean + common;
        if variance <= 0.0 {
            return (0.0, f64::INFINITY);
        }
        let part = |v: f64, freedom: f64| if v > 0.0 { v * v / freedom } else { 0.0 };
        let parts = part(of_mean, n - 1.0) + part(common, self.common_freedom);
        (variance.sqrt(), if parts > 0.0 { variance * variance / parts } else { f64::INFINITY })
    }
}

/// Judges a value against a limit; `probability` is that of a right "conforms" (0.95).
///
/// None for figures out of range: a spread from one run, an uncertainty that is negative or not finite.
#[must_use]
pub fn accept(measured: &Measured, limit: Limit, probability: f64) -> Option<Acceptance> {
    let Measured { value, u_common, common_freedom, sd, runs } = *measured;
    let sound = value.is_finite() && u_common >= 0.0 && u_common.is_finite() && sd >= 0.0 && sd.is_finite();
    let spread_known = sd == 0.0 || runs > 1;
    if !sound || runs == 0 || !spread_known || common_freedom.is_nan() || common_freedom <= 0.0 {
        return None;
    }
    if !(probability > 0.5 && probability < 1.0) {
        return None;
    }
    // How far the value lies inside.
    let inside = match limit {
        Limit::Lower(least) => value - least,
        Limit::Upper(most) => most - value,
    };
    let (u, freedom) = measured.uncertainty(runs);
    let factor = t_quantile(probability, freedom);
    let guard = factor * u;
    let decision = if inside >= guard {
        Decision::Conforms
    } else if inside + guard < 0.0 {
        Decision::DoesNotConform
    } else {
        Decision::Undecided
    };
    let undecided = decision == Decision::Undecided;
    let decides = |n: usize| {
        let (u, freedom) = measured.uncertainty(n);
        t_quantile(probability, freedom) * u < inside.abs()
    };
    let more = undecided && sd > 0.0 && decides(RUNS_MAX);
    Some(Acceptance {
        decision,
        u,
        freedom,
        guard,
        probability: if u > 0.0 { t_cdf(inside / u, freedom) } else { f64::from(u8::from(inside >= 0.0)) },
        runs_of_a_new_test: more.then(|| fewest(runs, decides)),
        u_to_decide: undecided.then(|| inside.abs() / factor),
    })
}

/// The fewest runs, above those there are, that decide; more runs decide as well, and [`RUNS_MAX`] do.
fn fewest(runs: usize, decides: impl Fn(usize) -> bool) -> usize {
    let (mut low, mut high) = (runs, RUNS_MAX.max(runs + 1));
    while high - low > 1 {
        let middle = usize::midpoint(low, high);
        if decides(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    high
}

/// Probability that a value lies within limits, the uncertainty being normal (JCGM 106, 7.2 to 7.4).
#[must_use]
pub fn conformance_probability(value: f64, u: f64, least: Option<f64>, most: Option<f64>) -> f64 {
    use boltscribe_numerics::distributions::normal_cdf;
    let above = most.map_or(1.0, |most| normal_cdf((most - value) / u));
    let below = least.map_or(0.0, |least| normal_cdf((least - value) / u));
    above - below
}
