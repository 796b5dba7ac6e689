//! How small a loss a comparison would have shown, and how many runs would show a stated one.
//!
//! By the noncentral t, with the critical value that counts all of a tool's setups (Dunnett). Must not know
//! where the standard deviation comes from: the residuals, earlier trials, or what a person expects.

use super::answer::Judged;
use boltscribe_numerics::many_to_one::{ManyToOne, Sides};
use boltscribe_numerics::power::{detectable_shift, power};

/// Chance to find what is there that planning aims at.
pub const POWER: f64 = 0.8;
/// Most runs a setup that are ever advised.
pub const RUNS_MAX: usize = 1000;

/// The smallest true loss, in percent of the baseline, that would have been shown with the chance [`POWER`].
#[must_use]
pub fn detectable_percent(judged: &Judged) -> Option<f64> {
    let shift = detectable_shift(judged.degrees_of_freedom as f64, judged.critical, POWER)?;
    Some(-100.0 * libm::expm1(-shift * judged.se_of_ln))
}

/// A difference that is to be shown.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wanted {
    /// True difference from the baseline, percent of it, above 0 and below 100.
    pub difference_percent: f64,
    /// SD of one run, percent.
    pub sd_percent: f64,
    /// Risk of a wrong verdict over one tool's setups.
    pub alpha: f64,
    /// Setups of a tool besides its baseline.
    pub comparisons: usize,
    /// A slope is fitted, which costs a degree of freedom.
    pub linear: bool,
}

/// Runs of each setup, and of the baseline, that show the difference with the chance [`POWER`].
///
/// None for figures out of range, or beyond [`RUNS_MAX`].
#[must_use]
pub fn runs_needed(wanted: &Wanted) -> Option<usize> {
    let Wanted { difference_percent, sd_percent, alpha, comparisons, linear } = *wanted;
    let sound =
        difference_percent > 0.0 && difference_percent < 100.0 && sd_percent > 0.0 && sd_percent.is_finite();
    if !sound || comparisons == 0 || !(alpha > 0.0 && alpha < 0.5) {
        return None;
    }
    let difference = -libm::log1p(-difference_percent / 100.0);
    let enough = |n: usize| {
        let df = ((comparisons + 1) * (n - 1)).checked_sub(usize::from(linear)).filter(|df| *df > 0);
        let Some(df) = df else { return false };
        let Some(family) = ManyToOne::equal(comparisons, df as f64, Sides::Two) else { return false };
        let shift = difference / (sd_percent / 100.0 * (2.0 / n as f64).sqrt());
        power(shift, df as f64, family.critical(alpha)) >= POWER
    };
    let (mut low, mut high) = (1, 2);
    while !enough(high) {
        if high >= RUNS_MAX {
            return None;
        }
        low = high;
        high = (2 * high).min(RUNS_MAX);
    }
    while high - low > 1 {
        let middle = usize::midpoint(low, high);
        if enough(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    Some(high)
}
