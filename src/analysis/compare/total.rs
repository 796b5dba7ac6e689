//! Limits of a percent that count what the calibration brings, beside those that repeats tell.
//!
//! Must not know which calibration it was, nor how its part was worked out (`metrology::ratio`).

use super::answer::SetupRow;
use boltscribe_numerics::distributions::t_two_sided_quantile;

/// What both sides of a percent have in common, and what of it is left in their ratio.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Common {
    /// Standard uncertainty that is left, as a share of the ratio.
    pub share_u: f64,
    /// Its degrees of freedom.
    pub freedom: f64,
}

/// Limits of a percent with repeats and calibration, for all setups of a tool together as verdicts are.
///
/// In ln, each half-width is the root of the sum of squares of that of the repeats and that of the calibration. So
/// they are never inside the limits of the repeats, which one coverage factor from pooled degrees of freedom
/// (Welch and Satterthwaite) would allow where repeats are few. None where repeats give no limits.
#[must_use]
pub fn total(row: &SetupRow, common: Common, alpha: f64) -> Option<(f64, f64)> {
    let (low, high) = row.judged?.simultaneous?;
    let percent = row.percent_of_baseline;
    if common.share_u <= 0.0 || low <= 0.0 {
        return Some((low, high));
    }
    let added = t_two_sided_quantile(1.0 - alpha, common.freedom) * common.share_u;
    let below = libm::hypot(libm::log(percent / low), added);
    let above = libm::hypot(libm::log(high / percent), added);
    // The way through ln and back may round to the inside.
    Some(((percent * libm::exp(-below)).min(low), (percent * libm::exp(above)).max(high)))
}

#[cfg(test)]
mod tests {
    use super::super::answer::{Judged, Verdict};
    use super::*;

    fn row(limits: Option<(f64, f64)>) -> SetupRow {
        let judged = Judged {
            t: -5.0,
            degrees_of_freedom: 12,
            p_value: 0.001,
            p_adjusted: 0.002,
            limits,
            simultaneous: limits,
            se_of_ln: 0.01,
            critical: 2.5,
        };
        SetupRow {
            setup: "ext".into(),
            tool: None,
            runs: 5,
            mountings: None,
            percent_of_baseline: 95.0,
            judged: Some(judged),
            verdict: Some(Verdict::Lower),
            note: None,
        }
    }

    #[test]
    fn what_cancels_adds_nothing_and_what_is_left_widens_both_sides() {
        let limits = Some((94.0, 96.0));
        assert_eq!(total(&row(limits), Common { share_u: 0.0, freedom: 8.0 }, 0.05), limits);
        for at in 0..1000 {
            let tiny = Common { share_u: 1e-17, freedom: 8.0 };
            let own = (92.0 + 0.001 * f64::from(at), 98.0 + 0.001 * f64::from(at));
            let (low, high) = total(&row(Some(own)), tiny, 0.05).unwrap();
            assert!(low <= own.0 && high >= own.1, "{own:?}: {low} to {high}");
        }
        // t of 8 degrees of freedom at 95 %: 2.306004 (any table), so the calibration alone gives ± 0.461 %.
        let (low, high) = total(&row(limits), Common { share_u: 0.002, freedom: 8.0 }, 0.05).unwrap();
        let expected = 95.0 * (-((95.0_f64 / 94.0).ln().powi(2) + 0.004_612_008_f64.powi(2)).sqrt()).exp();
        assert!((low - expected).abs() < 1e-6 && low < 94.0 && high > 96.0, "{low} {high}");
        // Far more than repeats: they no longer matter.
        let (low, _) = total(&row(limits), Common { share_u: 0.2, freedom: 8.0 }, 0.05).unwrap();
        assert!((low / (95.0 * (-0.461_200_8_f64).exp()) - 1.0).abs() < 0.001, "{low}");
    }

    #[test]
    fn without_limits_of_the_repeats_there_are_none() {
        assert_eq!(total(&row(None), Common { share_u: 0.01, freedom: 8.0 }, 0.05), None);
        assert_eq!(
            total(&SetupRow { judged: None, ..row(None) }, Common { share_u: 0.01, freedom: 8.0 }, 0.05),
            None
        );
    }
}
