//! Whether a series has become steady: the 90 % interval of its slope lies within a limit a step.
//!
//! An equivalence test (Schuirmann 1987): noise too great to tell is "not yet", never "steady". Must not know
//! what the values measure.

use super::distributions::t_quantile;
use super::moments::mean;
use super::trend::{slope, von_neumann_ratio};

/// Fewest values looked at.
pub const VALUES_MIN: usize = 8;
/// Most of the latest values looked at.
pub const VALUES_MAX: usize = 20;
/// After so many values one goes on, with a flag.
pub const PATIENCE: usize = 25;
/// Steady within this share of the mean a step.
pub const SLOPE_MAX_PERCENT: f64 = 0.5;

/// What the latest values say.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Steadiness {
    /// Fewer than [`VALUES_MIN`].
    TooFew,
    /// Not shown to be steady.
    NotYet,
    /// Shown to be steady.
    Steady,
    /// Not shown within [`PATIENCE`] values: go on with the flag, the drift term carries it.
    GoOn,
}

/// A look at a series.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Look {
    /// The verdict.
    pub steadiness: Steadiness,
    /// How many of the latest values it rests on.
    pub values: usize,
    /// 90 % limits of the slope, percent of the mean a step.
    pub slope_percent: Option<(f64, f64)>,
    /// Greatest less least of those values, percent of their mean.
    pub range_percent: Option<f64>,
    /// Of those values: about 2 when steady.
    pub von_neumann_ratio: Option<f64>,
}

/// Looks at the latest values of a series whose mean is above zero, 8 of them up to 20 as they come.
///
/// The interval is of one look: each further look is a further chance to be taken for steady by luck.
#[must_use]
pub fn steadiness(series: &[f64]) -> Look {
    let latest = &series[series.len().saturating_sub(VALUES_MAX)..];
    let centre = mean(latest).filter(|m| *m > 0.0);
    let percent = |v: f64| centre.map(|c| 100.0 * v / c);
    let fold = |f: fn(f64, f64) -> f64, start: f64| latest.iter().copied().fold(start, f);
    let range = fold(f64::max, f64::MIN) - fold(f64::min, f64::MAX);
    let mut look = Look {
        steadiness: Steadiness::TooFew,
        values: latest.len(),
        slope_percent: None,
        range_percent: if latest.len() > 1 { percent(range) } else { None },
        von_neumann_ratio: von_neumann_ratio(latest),
    };
    if latest.len() < VALUES_MIN {
        return look;
    }
    look.slope_percent = slope(latest).and_then(|line| {
        let half = t_quantile(0.95, line.degrees_of_freedom as f64) * line.se;
        Some((percent(line.per_step - half)?, percent(line.per_step + half)?))
    });
    let within = |(low, high): (f64, f64)| low > -SLOPE_MAX_PERCENT && high < SLOPE_MAX_PERCENT;
    look.steadiness = match look.slope_percent {
        Some(limits) if within(limits) => Steadiness::Steady,
        _ if series.len() >= PATIENCE => Steadiness::GoOn,
        _ => Steadiness::NotYet,
    };
    look
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_warm_up_is_not_steady_and_its_end_is() {
        let warm: Vec<f64> = (0..8).map(|i| 60.0 - 5.0 * (-f64::from(i) / 2.5).exp()).collect();
        assert_eq!(steadiness(&warm).steadiness, Steadiness::NotYet);
        assert_eq!(steadiness(&warm[..7]).steadiness, Steadiness::TooFew);
        let end: Vec<f64> = (0..12).map(|i| 60.0 + 0.1 * f64::from((i * 7) % 5 - 2)).collect();
        let look = steadiness(&end);
        assert_eq!((look.steadiness, look.values), (Steadiness::Steady, 12));
        assert!(look.range_percent.unwrap() < 1.0);
    }

    #[test]
    fn noise_that_hides_the_slope_is_not_taken_for_steady_and_patience_ends() {
        let noise = |n: i32| (0..n).map(|i| 60.0 + 9.0 * f64::from((i * 7) % 5 - 2)).collect::<Vec<f64>>();
        assert_eq!(steadiness(&noise(10)).steadiness, Steadiness::NotYet);
        assert_eq!(steadiness(&noise(25)).steadiness, Steadiness::GoOn);
    }
}
