//! Whether times are evenly spaced, with what spacing, and where samples are missing.
//!
//! Must not know what was sampled, nor where the times were read.

/// Even spacing with gaps.
#[derive(Clone, Debug, PartialEq)]
pub struct Spacing {
    /// Samples a second.
    pub rate_hz: f64,
    /// Missing samples: (row before which they lack, how many), ascending.
    pub gaps: Vec<(usize, u64)>,
}

/// What is wrong with a time.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SpacingError {
    /// Time does not grow.
    #[error("expected a time after {before} s, found {found} s")]
    NotAfter {
        /// The time above.
        before: f64,
        /// This time.
        found: f64,
    },
    /// A hole no trace has.
    #[error("expected no hole of more than {expected_s} s, found a step of {found_s} s")]
    Gap {
        /// Longest.
        expected_s: f64,
        /// This step.
        found_s: f64,
    },
    /// The step is neither the spacing nor a whole number of spacings.
    #[error(
        "expected even spacing of {expected_s:.6} s (or a whole number of it), found a step of {found_s:.6} s"
    )]
    Uneven {
        /// The usual step.
        expected_s: f64,
        /// This step.
        found_s: f64,
    },
}

/// Longest hole in a trace, seconds.
const GAP_MAX_S: f64 = 86_400.0;
/// A time may stand off its place by this share of the spacing, besides the rounding of the file.
const SLACK: f64 = 0.25;

/// Finds the spacing of `times` (seconds, rounded to ± `resolution_s`).
///
/// # Errors
/// The row and what is wrong with its time.
pub fn even(times: &[f64], resolution_s: f64) -> Result<Spacing, (usize, SpacingError)> {
    let mut steps: Vec<f64> = times.windows(2).map(|w| w[1] - w[0]).collect();
    if let Some(row) = steps.iter().position(|s| *s < 0.0) {
        return Err((row + 1, SpacingError::NotAfter { before: times[row], found: times[row + 1] }));
    }
    steps.sort_unstable_by(f64::total_cmp);
    let median = steps[steps.len() / 2];
    // Rounded times may repeat; the mean of the ordinary steps is free of rounding.
    let ordinary = |s: &f64| *s <= 1.5 * median + 2.0 * resolution_s;
    let (sum, n) = steps.iter().filter(|s| ordinary(s)).fold((0.0, 0.0), |(a, n), s| (a + s, n + 1.0));
    let step_s = sum / n;
    if step_s <= 0.0 || !step_s.is_finite() {
        return Err((1, SpacingError::NotAfter { before: times[0], found: times[1] }));
    }
    let slack_s = SLACK * step_s + 2.0 * resolution_s;
    let mut gaps = Vec::new();
    let mut place = times[0];
    for (row, time) in times.iter().enumerate().skip(1) {
        let off = time - (place + step_s);
        if off.abs() <= slack_s {
            // Following a part of the offset keeps a slightly wrong spacing from adding up.
            place += step_s + 0.1 * off;
            continue;
        }
        let spacings = ((time - place) / step_s).round();
        if spacings < 2.0 || (time - place - spacings * step_s).abs() > slack_s {
            let found_s = time - times[row - 1];
            return Err((row, SpacingError::Uneven { expected_s: step_s, found_s }));
        }
        if spacings * step_s > GAP_MAX_S {
            let found_s = time - times[row - 1];
            return Err((row, SpacingError::Gap { expected_s: GAP_MAX_S, found_s }));
        }
        gaps.push((row, spacings as u64 - 1));
        place = *time;
    }
    Ok(Spacing { rate_hz: plain(1.0 / step_s), gaps })
}

/// A rate as it was meant: the spacing of printed times is known to some six digits only.
fn plain(rate_hz: f64) -> f64 {
    let meant = (rate_hz * 1000.0).round() / 1000.0;
    if (meant / rate_hz - 1.0).abs() < 5e-6 { meant } else { rate_hz }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_rounded_to_the_tenth_of_a_millisecond_at_20_khz_are_even() {
        let times: Vec<f64> = (0..5000).map(|i| (f64::from(i) * 0.5).round() * 1e-4).collect();
        let s = even(&times, 0.5e-4).unwrap();
        assert!((s.rate_hz - 20_000.0).abs() < 20.0, "{}", s.rate_hz);
        assert!(s.gaps.is_empty());
    }

    #[test]
    fn a_hole_of_whole_spacings_is_a_gap() {
        let times: Vec<f64> =
            (0..200).filter(|i| !(100..110).contains(i)).map(|i| f64::from(i) * 0.001).collect();
        assert_eq!(even(&times, 1e-9).unwrap().gaps, [(100, 10)]);
    }

    #[test]
    fn falling_and_uneven_times_are_told() {
        assert!(matches!(even(&[0.0, 0.1, 0.05, 0.2], 1e-9), Err((2, SpacingError::NotAfter { .. }))));
        assert!(matches!(even(&[0.0, 0.1, 0.2, 0.35, 0.4], 1e-9), Err((3, SpacingError::Uneven { .. }))));
    }
}
