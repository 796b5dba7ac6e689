//! Mean, standard deviation and lag-1 correlation of a series.
//!
//! Two passes with sums of twice the precision, so that ten equal leading digits cost nothing. Held by the
//! NIST StRD univariate sets. Must not know what the values measure.

use super::double_double::DoubleDouble;

/// Mean, standard deviation and lag-1 correlation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Moments {
    /// How many values.
    pub n: usize,
    /// Their mean.
    pub mean: f64,
    /// Standard deviation (n − 1); none below two values.
    pub sd: Option<f64>,
    /// Correlation of each value with the next about the common mean; none without spread.
    pub lag_1_correlation: Option<f64>,
}

/// Moments of the values; none when there are none.
#[must_use]
pub fn moments(values: &[f64]) -> Option<Moments> {
    moments_exact(&exact(values))
}

/// The same for values of twice the precision, such as decimals read to all their digits.
#[must_use]
pub fn moments_exact(values: &[DoubleDouble]) -> Option<Moments> {
    let n = values.len();
    if n == 0 {
        return None;
    }
    let centre = mean_of(values);
    let spread = sum_of_squares(values, centre);
    let along: DoubleDouble = values.windows(2).map(|w| (w[0] - centre) * (w[1] - centre)).sum();
    Some(Moments {
        n,
        mean: centre.to_f64(),
        sd: (n > 1).then(|| (spread / DoubleDouble::from((n - 1) as f64)).to_f64().sqrt()),
        lag_1_correlation: (spread.to_f64() > 0.0).then(|| (along / spread).to_f64()),
    })
}

/// Mean of the values; none when there are none.
#[must_use]
pub fn mean(values: &[f64]) -> Option<f64> {
    moments(values).map(|m| m.mean)
}

/// Standard deviation (n − 1); none below two values.
#[must_use]
pub fn sd(values: &[f64]) -> Option<f64> {
    moments(values).and_then(|m| m.sd)
}

pub(super) fn exact(values: &[f64]) -> Vec<DoubleDouble> {
    values.iter().map(|v| DoubleDouble::from(*v)).collect()
}

/// Sum of the squares of the deviations from `centre`.
pub(super) fn sum_of_squares(values: &[DoubleDouble], centre: DoubleDouble) -> DoubleDouble {
    values.iter().map(|v| *v - centre).map(|d| d * d).sum()
}

/// The mean; NaN without values.
pub(super) fn mean_of(values: &[DoubleDouble]) -> DoubleDouble {
    values.iter().copied().sum::<DoubleDouble>() / DoubleDouble::from(values.len() as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_large_common_part_does_not_drown_the_spread() {
        let values = [1e9 + 0.25, 1e9 + 0.5, 1e9 + 0.75];
        assert_eq!((mean(&values), sd(&values)), (Some(1e9 + 0.5), Some(0.25)));
        assert_eq!((mean(&[]), sd(&[1.0])), (None, None));
        assert_eq!(moments(&[2.0, 2.0]).unwrap().lag_1_correlation, None);
    }
}
