//! Medians and the median absolute deviation, exact and without sorting everything.
//!
//! Must not know what the values measure.

/// Median of the values; the slice is reordered. None when it is empty.
pub fn median(values: &mut [f64]) -> Option<f64> {
    let n = values.len();
    if n == 0 {
        return None;
    }
    let (below, mid, _) = values.select_nth_unstable_by(n / 2, f64::total_cmp);
    let upper = *mid;
    if n % 2 == 1 {
        return Some(upper);
    }
    let lower = below.iter().copied().max_by(f64::total_cmp)?;
    Some(0.5 * (lower + upper))
}

/// Median of single-precision values, in double precision; the slice is reordered.
pub fn median_f32(values: &mut [f32]) -> Option<f64> {
    let n = values.len();
    if n == 0 {
        return None;
    }
    let (below, mid, _) = values.select_nth_unstable_by(n / 2, f32::total_cmp);
    let upper = f64::from(*mid);
    if n % 2 == 1 {
        return Some(upper);
    }
    let lower = below.iter().copied().max_by(f32::total_cmp)?;
    Some(0.5 * (f64::from(lower) + upper))
}

/// 1.4826 × the median absolute deviation from `centre`: the SD of gaussian noise, blind to outliers.
pub fn scaled_mad(values: &mut [f64], centre: f64) -> Option<f64> {
    for v in values.iter_mut() {
        *v = (*v - centre).abs();
    }
    median(values).map(|m| 1.4826 * m)
}

/// The SD of noise about `centre` that also holds for coarsely quantised values: the larger of the scaled
/// MAD and the 90 % quantile of the absolute deviation over 1.6449 (both equal the SD of gaussian noise).
///
/// Half of all deviations of a quiet converter are exactly zero, so the MAD alone would say "no noise".
pub fn robust_sd(values: &mut [f64], centre: f64) -> Option<f64> {
    let mad = scaled_mad(values, centre)?;
    // The values are absolute deviations now.
    let (_, q90, _) = values.select_nth_unstable_by(values.len() * 9 / 10, f64::total_cmp);
    Some(mad.max(*q90 / 1.644_853_627))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn median_of_even_and_odd_counts() {
        assert_eq!(median(&mut []), None);
        assert_eq!(median(&mut [3.0, 1.0, 2.0]), Some(2.0));
        assert_eq!(median(&mut [4.0, 1.0, 2.0, 3.0]), Some(2.5));
        assert_eq!(median_f32(&mut [4.0, 1.0, 2.0, 3.0]), Some(2.5));
    }

    #[test]
    fn quantised_noise_is_not_taken_for_none() {
        // Seven of ten readings agree, the others are one step off.
        let mut v = [0.0, 0.0, 0.0, 1.0, 0.0, 0.0, -1.0, 0.0, 0.0, 1.0];
        assert_eq!(scaled_mad(&mut v.clone(), 0.0), Some(0.0));
        assert!(robust_sd(&mut v, 0.0).unwrap() > 0.5);
    }

    #[test]
    fn one_outlier_does_not_move_the_mad() {
        let mut calm = [1.0, 2.0, 3.0, 4.0, 5.0];
        let mut wild = [1.0, 2.0, 3.0, 4.0, 5e9];
        assert_eq!(scaled_mad(&mut calm, 3.0), scaled_mad(&mut wild, 3.0));
    }
}
