//! What a comparison can show: its chance to find a difference, and the difference it finds with a given chance.
//!
//! By the noncentral t (Cohen, Statistical Power Analysis; Owen 1968). Must not know what is compared.

use super::distributions::noncentral_t_cdf;

/// The chance that |t| passes `critical` when the true difference is `shift` standard errors.
#[must_use]
pub fn power(shift: f64, freedom: f64, critical: f64) -> f64 {
    let shift = shift.abs();
    1.0 - noncentral_t_cdf(critical, freedom, shift) + noncentral_t_cdf(-critical, freedom, shift)
}

/// The true difference, in standard errors, that passes `critical` with the chance `wanted`.
///
/// None where `wanted` is not between 0 and 1, or is below what no difference at all would give.
#[must_use]
pub fn detectable_shift(freedom: f64, critical: f64, wanted: f64) -> Option<f64> {
    if !(wanted > 0.0 && wanted < 1.0 && critical.is_finite()) || power(0.0, freedom, critical) >= wanted {
        return None;
    }
    let (mut low, mut high) = (0.0, critical + 1.0);
    while power(high, freedom, critical) < wanted {
        low = high;
        high *= 2.0;
        if high > 1e6 {
            return None;
        }
    }
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if power(middle, freedom, critical) < wanted {
            low = middle;
        } else {
            high = middle;
        }
        if high - low < 1e-10 * high {
            break;
        }
    }
    Some(0.5 * (low + high))
}
