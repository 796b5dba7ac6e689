//! What a comparison answers: percents of the baseline with limits, p and verdicts, the drift, the checks.
//!
//! Numbers that cannot be had are none, with a note that says why. Must not know how they are shown.

use super::arrangement::Arrangement;
use super::checks::Checks;
use super::observation::Drift;
use super::resolution::ResolutionFound;
use boltscribe_numerics::many_to_one::Contrast;
use serde::Serialize;
use utoipa::ToSchema;

/// What the adjusted p says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// This is the baseline itself.
    Baseline,
    /// Less than the baseline.
    Lower,
    /// More than the baseline.
    Higher,
    /// The data do not show a difference; that is not proof of none.
    #[serde(rename = "no difference shown")]
    NoDifferenceShown,
}

impl Verdict {
    /// The words for it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Baseline => "baseline",
            Self::Lower => "lower",
            Self::Higher => "higher",
            Self::NoDifferenceShown => "no difference shown",
        }
    }

    /// From the adjusted p and the percent.
    #[must_use]
    pub fn of(p_adjusted: f64, percent: f64, alpha: f64) -> Self {
        if p_adjusted >= alpha || p_adjusted.is_nan() {
            Self::NoDifferenceShown
        } else if percent < 100.0 {
            Self::Lower
        } else {
            Self::Higher
        }
    }
}

/// What repeats tell of one percent.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Judged {
    /// Difference over its standard error.
    pub t: f64,
    /// Residual degrees of freedom.
    pub degrees_of_freedom: usize,
    /// Two-sided p of this comparison alone.
    pub p_value: f64,
    /// p for the whole family of this tool's setups.
    pub p_adjusted: f64,
    /// Limits of this percent alone; none where the baseline cannot be told from zero.
    pub limits: Option<(f64, f64)>,
    /// Limits that hold for all of this tool's setups together; none likewise.
    pub simultaneous: Option<(f64, f64)>,
    /// Standard error of ln(percent).
    pub se_of_ln: f64,
    /// The t that the greatest of the family must pass.
    pub critical: f64,
}

/// One setup with one tool.
#[derive(Clone, Debug, PartialEq)]
pub struct SetupRow {
    /// Name of the setup.
    pub setup: String,
    /// Name of the tool.
    pub tool: Option<String>,
    /// Runs that count.
    pub runs: usize,
    /// Mountings that they belong to; none where nobody noted them.
    pub mountings: Option<usize>,
    /// 100 for the baseline.
    pub percent_of_baseline: f64,
    /// None for the baseline, and where repeats are too few.
    pub judged: Option<Judged>,
    /// None where nothing can be said.
    pub verdict: Option<Verdict>,
    /// Why something is missing.
    pub note: Option<&'static str>,
}

/// The drift that was taken out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DriftFound {
    /// 100 × slope of ln(value), per hour.
    pub percent_per_hour: f64,
    /// Its standard error; none without a degree of freedom.
    pub se_percent_per_hour: Option<f64>,
    /// Two-sided p of no drift; shown, never used to choose.
    pub p_value: Option<f64>,
}

/// How mountings scatter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MountingsFound {
    /// How many there are.
    pub mountings: usize,
    /// 100 × the SD between mountings of ln(value), what pulls scatter by taken off; none without a mounting of two
    /// pulls or a degree of freedom.
    pub sd_percent: Option<f64>,
    /// 100 × the SD of ln(value) of pulls within a mounting; none without a mounting of two.
    pub pull_sd_percent: Option<f64>,
}

/// What makes a family of one tool's comparisons: how they hang together.
#[derive(Clone, Debug, PartialEq)]
pub struct Family {
    /// Place of the first of them among the rows; the others follow.
    pub first: usize,
    /// Their variances, own and shared.
    pub contrasts: Vec<Contrast>,
    /// Degrees of freedom.
    pub freedom: f64,
}

impl Comparison {
    /// The percent of a row by a fit that outliers pull less, and whether it is off by more than half of an interval: of
    /// the row's, or of the one that outliers do not widen; none for a baseline and where there is no such fit.
    #[must_use]
    pub fn robust_percent(&self, row: usize) -> Option<(f64, bool)> {
        let (judged, (percent, half)) = (self.setups.get(row)?.judged?, *self.robust.as_ref()?.get(row)?);
        let (low, high) = judged.limits?;
        let off = libm::log(percent / self.setups[row].percent_of_baseline).abs();
        Some((percent, off > half.min(0.5 * libm::log(high / low))))
    }
}

/// A comparison.
#[derive(Clone, Debug)]
pub struct Comparison {
    /// How drift was taken out.
    pub drift: Drift,
    /// Its slope, where a line was fitted.
    pub drift_found: Option<DriftFound>,
    /// 100 × the SD of the residuals of ln(value); none without a degree of freedom.
    pub residual_sd_percent: Option<f64>,
    /// Of that SD.
    pub degrees_of_freedom: usize,
    /// The step of the readings against their scatter; none where no step is known.
    pub resolution: Option<ResolutionFound>,
    /// How mountings scatter; none where nobody noted them.
    pub mountings: Option<MountingsFound>,
    /// Number of each run that counts, of the first run of each mounting where those are noted, in time order.
    pub counted: Vec<u64>,
    /// Runs that do not count, with why.
    pub excluded: Vec<(u64, String)>,
    /// Each tool's baseline, then its other setups.
    pub setups: Vec<SetupRow>,
    /// The families of the rows that are judged.
    pub families: Vec<Family>,
    /// Percents by a fit that outliers pull less, one a row (baselines mean nothing here), with half of the interval by the
    /// scatter that outliers do not widen, in ln; none for brackets, where nothing is judged, and for very many runs.
    pub robust: Option<Vec<(f64, f64)>>,
    /// What the residuals look like.
    pub checks: Checks,
    /// Risk that was asked for.
    pub alpha: f64,
    /// What the order of the runs leaves in the percents.
    pub arrangement: Arrangement,
}

/// Fewest residual degrees of freedom for an interval.
pub const FREEDOM_MIN: usize = 3;
/// What is said where there are fewer.
pub const TOO_FEW: &str =
    "fewer than 3 residual degrees of freedom: repeat runs before intervals and a verdict";
/// What is said where repeats are all equal.
pub const NO_SPREAD: &str = "repeats do not differ at all, so there is no spread to judge by";
/// What is said where the baseline is not told from zero.
pub const UNBOUNDED: &str = "the baseline is not told from zero: no finite interval";
/// A residual SD of ln below this is rounding.
pub const SPREAD_MIN: f64 = 1e-12;
