//! The fitted limit: F∞·(1 − exp(−(t − t0)/τ)) through the medians between blows.
//!
//! README "What is measured": plateau, time constant. Must not know samples, only the medians.

use super::record::Plateau;
use crate::stats::fit_saturating;
use crate::units::Newtons;

/// A long run is thinned to at most this many points before the fit.
const POINTS_MAX: usize = 400;

/// Fits times (seconds) and tensions (newtons above zero); none where it does not converge, or where the
/// limit is no better known than by half of itself.
#[must_use]
pub fn fit(times_s: &[f64], tensions_n: &[f64]) -> Option<Plateau> {
    let stride = times_s.len().div_ceil(POINTS_MAX).max(1);
    let t: Vec<f64> = times_s.iter().copied().step_by(stride).collect();
    let f: Vec<f64> = tensions_n.iter().copied().step_by(stride).collect();
    let s = fit_saturating(&t, &f, None)?;
    let time_constant_s = 1.0 / s.rate;
    let sound = s.limit_se < 0.5 * s.limit && s.rate_se < s.rate;
    sound.then_some(Plateau {
        limit: Newtons(s.limit),
        limit_se: Newtons(s.limit_se),
        time_constant_s,
        time_constant_se_s: s.rate_se * time_constant_s * time_constant_s,
    })
}
