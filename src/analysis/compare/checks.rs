//! What the residuals look like: the one that stands out most, a trend left over, neighbours alike.
//!
//! Shown beside the results, never used to drop a run or to choose a model.

use boltscribe_numerics::moments::moments;
use boltscribe_numerics::outlier::{Outlier, most_outlying};
use boltscribe_numerics::trend::{MannKendall, mann_kendall, von_neumann_ratio};

/// The checks; each none where there is too little to tell.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Checks {
    /// The run that stands out most (Grubbs), by place among the runs that count.
    pub outlier: Option<Outlier>,
    /// A trend of the residuals in time (Mann and Kendall).
    pub trend: Option<MannKendall>,
    /// Correlation of each residual with the next.
    pub lag_1_correlation: Option<f64>,
    /// Sum of squared steps over sum of squares: about 2 where neighbours have nothing in common.
    pub von_neumann_ratio: Option<f64>,
}

/// Looks at residuals in time order.
#[must_use]
pub fn look(residuals: &[f64], leverages: &[f64], freedom: usize) -> Checks {
    let spread = residuals.iter().map(|r| r * r).sum::<f64>().sqrt();
    if spread < super::answer::SPREAD_MIN {
        return Checks::default();
    }
    Checks {
        outlier: most_outlying(residuals, leverages, freedom),
        trend: mann_kendall(residuals),
        lag_1_correlation: moments(residuals).and_then(|m| m.lag_1_correlation),
        von_neumann_ratio: von_neumann_ratio(residuals),
    }
}
