//! Mean, standard deviation and lag-1 correlation of a series.
//!
//! Two passes with sums of twice the precision, so that ten equal leading digits cost nothing. Held by the
//! NIST StRD univariate sets. Must not know what the values measure.

use super::double_double::DoubleDouble;

/// Mean of the values; none when there are none.
#[must_use]
pub fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| exact_mean(values).to_f64())
}

/// Standard deviation (n − 1); none below two values.
#[must_use]
pub fn sd(values: &[f64]) -> Option<f64> {
    let df = values.len().checked_sub(1).filter(|df| *df > 0)?;
    Some((sum_of_squares(values, exact_mean(values)).to_f64() / df as f64).sqrt())
}

/// Correlation of each value with the next about the common mean; none below two values or without spread.
#[must_use]
pub fn lag_1_correlation(values: &[f64]) -> Option<f64> {
    let centre = exact_mean(values);
    let spread = sum_of_squares(values, centre);
    if values.len() < 2 || spread.to_f64() <= 0.0 {
        return None;
    }
    let off = |v: f64| DoubleDouble::from(v) - centre;
    let along: DoubleDouble = values.windows(2).map(|w| off(w[0]) * off(w[1])).sum();
    Some((along / spread).to_f64())
}

/// Sum of the squares of the deviations from `centre`.
pub(super) fn sum_of_squares(values: &[f64], centre: DoubleDouble) -> DoubleDouble {
    values.iter().map(|v| DoubleDouble::from(*v) - centre).map(|d| d * d).sum()
}

/// The mean in twice the precision; NaN without values.
pub(super) fn exact_mean(values: &[f64]) -> DoubleDouble {
    let sum: DoubleDouble = values.iter().map(|v| DoubleDouble::from(*v)).sum();
    sum / DoubleDouble::from(values.len() as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_large_common_part_does_not_drown_the_spread() {
        let values = [1e9 + 0.25, 1e9 + 0.5, 1e9 + 0.75];
        assert_eq!((mean(&values), sd(&values)), (Some(1e9 + 0.5), Some(0.25)));
        assert_eq!((mean(&[]), sd(&[1.0])), (None, None));
        assert_eq!(lag_1_correlation(&[2.0, 2.0]), None);
    }
}
