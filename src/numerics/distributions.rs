//! Normal, Student t (central and not), F and chi²: distribution, survival, quantile.
//!
//! The incomplete beta and gamma functions come from the crate `statrs`; here are the arguments that
//! lose no digits, the limits beyond which an expansion takes over, and quantiles polished until they
//! meet their distribution. Arguments outside their range give NaN. Degrees of freedom need not be whole.
//! Must not know what is tested.

use statrs::function::{beta::checked_beta_reg, erf::erfc_inv, gamma};

/// Above this many degrees of freedom t follows from the normal by the first terms of its expansion.
const T_FREEDOM_MAX: f64 = 2e4;

/// P(Z ≤ z) of the standard normal.
#[must_use]
pub fn normal_cdf(z: f64) -> f64 {
    0.5 * libm::erfc(-z * std::f64::consts::FRAC_1_SQRT_2)
}

/// P(Z > z), with all digits in the far tail.
#[must_use]
pub fn normal_sf(z: f64) -> f64 {
    normal_cdf(-z)
}

/// The z with P(Z ≤ z) = p.
#[must_use]
pub fn normal_quantile(p: f64) -> f64 {
    if !(0.0..=1.0).contains(&p) {
        return f64::NAN;
    }
    if p > 0.5 {
        // 1 − p is exact here, and the lower tail has the digits.
        return -normal_quantile(1.0 - p);
    }
    let z = -std::f64::consts::SQRT_2 * erfc_inv(2.0 * p);
    if !z.is_finite() {
        return z;
    }
    // One step of Newton's method on the logarithm, which is nearly straight in the tail.
    let (found, density) = (normal_cdf(z), normal_density(z));
    z - found / density * libm::log(found / p)
}

/// Density of the standard normal.
#[must_use]
pub fn normal_density(z: f64) -> f64 {
    libm::exp(-0.5 * z * z) / libm::sqrt(2.0 * std::f64::consts::PI)
}

/// P(T ≤ t) of Student's t.
#[must_use]
pub fn t_cdf(t: f64, freedom: f64) -> f64 {
    t_sf(-t, freedom)
}

/// P(T > t) of Student's t, with all digits in the far tail.
#[must_use]
pub fn t_sf(t: f64, freedom: f64) -> f64 {
    if t.is_nan() || freedom.is_nan() || freedom <= 0.0 {
        return f64::NAN;
    }
    if freedom > T_FREEDOM_MAX {
        return normal_sf(normal_of_t(t, freedom));
    }
    let square = t * t;
    // What lies inside is small near the middle, what lies outside is small in the tails.
    let outside = if square < 1.0 {
        1.0 - beta(0.5, 0.5 * freedom, square / (freedom + square))
    } else {
        beta(0.5 * freedom, 0.5, freedom / (freedom + square))
    };
    if t >= 0.0 { 0.5 * outside } else { 1.0 - 0.5 * outside }
}

/// P(|T| > |t|): the two-sided p of a t.
#[must_use]
pub fn t_two_sided(t: f64, freedom: f64) -> f64 {
    2.0 * t_sf(t.abs(), freedom)
}

/// The t with P(T ≤ t) = p.
#[must_use]
pub fn t_quantile(p: f64, freedom: f64) -> f64 {
    if !(0.0..=1.0).contains(&p) || freedom.is_nan() || freedom <= 0.0 {
        return f64::NAN;
    }
    if p < 0.5 {
        return -t_upper(p, freedom);
    }
    if p == 0.5 { 0.0 } else { t_upper(1.0 - p, freedom) }
}

/// The k with P(|T| ≤ k) = `level`: the factor of a two-sided interval.
#[must_use]
pub fn t_two_sided_quantile(level: f64, freedom: f64) -> f64 {
    t_quantile(0.5 + 0.5 * level, freedom)
}

/// The t ≥ 0 with P(T > t) = q, q at most 1/2.
fn t_upper(q: f64, freedom: f64) -> f64 {
    if q == 0.0 {
        return f64::INFINITY;
    }
    let z = -normal_quantile(q);
    if freedom > T_FREEDOM_MAX {
        return t_of_normal(z, freedom);
    }
    solve_falling(|t| t_sf(t, freedom), q, z.max(1e-3))
}

/// P(χ² ≤ x).
#[must_use]
pub fn chi_squared_cdf(x: f64, freedom: f64) -> f64 {
    if x.is_nan() || freedom.is_nan() || freedom <= 0.0 {
        return f64::NAN;
    }
    if x <= 0.0 { 0.0 } else { gamma::checked_gamma_lr(0.5 * freedom, 0.5 * x).unwrap_or(f64::NAN) }
}

/// P(χ² > x).
#[must_use]
pub fn chi_squared_sf(x: f64, freedom: f64) -> f64 {
    if x.is_nan() || freedom.is_nan() || freedom <= 0.0 {
        return f64::NAN;
    }
    if x <= 0.0 { 1.0 } else { gamma::checked_gamma_ur(0.5 * freedom, 0.5 * x).unwrap_or(f64::NAN) }
}

/// The x with P(χ² ≤ x) = p.
#[must_use]
pub fn chi_squared_quantile(p: f64, freedom: f64) -> f64 {
    quantile(p, freedom, |x| chi_squared_cdf(x, freedom), |x| chi_squared_sf(x, freedom))
}

/// P(F ≤ x) of Fisher's F with `above` and `below` degrees of freedom.
#[must_use]
pub fn f_cdf(x: f64, above: f64, below: f64) -> f64 {
    f_sf_of(x, above, below).1
}

/// P(F > x).
#[must_use]
pub fn f_sf(x: f64, above: f64, below: f64) -> f64 {
    f_sf_of(x, above, below).0
}

/// The x with P(F ≤ x) = p.
#[must_use]
pub fn f_quantile(p: f64, above: f64, below: f64) -> f64 {
    if below.is_nan() || below <= 0.0 {
        return f64::NAN;
    }
    let x = quantile(p, above, |x| f_cdf(x * above, above, below), |x| f_sf(x * above, above, below));
    x * above
}

/// Survival and distribution of F.
fn f_sf_of(x: f64, above: f64, below: f64) -> (f64, f64) {
    if x.is_nan() || above.is_nan() || below.is_nan() || above <= 0.0 || below <= 0.0 {
        return (f64::NAN, f64::NAN);
    }
    if x <= 0.0 {
        return (1.0, 0.0);
    }
    if x.is_infinite() {
        return (0.0, 1.0);
    }
    let (scaled, whole) = (above * x, below + above * x);
    let upper = |share: f64| beta(0.5 * below, 0.5 * above, share);
    let lower = |share: f64| beta(0.5 * above, 0.5 * below, share);
    if x < 1.0 {
        let cdf = lower(scaled / whole);
        (1.0 - cdf, cdf)
    } else {
        let sf = upper(below / whole);
        (sf, 1.0 - sf)
    }
}

/// P(T ≤ t) of the noncentral t: (Z + δ)/√(χ²/ν).
///
/// The integral of Φ(t·s − δ) over the distribution of s = √(χ²/ν), by the trapezoidal rule in ln s, whose
/// error falls off exponentially for such an integrand.
#[must_use]
pub fn noncentral_t_cdf(t: f64, freedom: f64, delta: f64) -> f64 {
    if t.is_nan() || delta.is_nan() || freedom.is_nan() || freedom <= 0.0 {
        return f64::NAN;
    }
    // ln of the density in v = ln s, against its greatest value at v = 0.
    let log_density = |v: f64| 0.5 * freedom * (2.0 * v - libm::expm1(2.0 * v));
    let (mut low, mut high) = (0.0, 0.0);
    while log_density(low) > -40.0 {
        low -= 0.25 / libm::sqrt(freedom);
    }
    while log_density(high) > -40.0 {
        high += 0.25 / libm::sqrt(freedom);
    }
    let steps = 4000;
    let step = (high - low) / f64::from(steps);
    let (mut sum, mut weights) = (0.0, 0.0);
    for i in 0..=steps {
        let v = low + f64::from(i) * step;
        let weight = libm::exp(log_density(v));
        sum += weight * normal_cdf(t * libm::exp(v) - delta);
        weights += weight;
    }
    sum / weights
}

/// The t with P(T ≤ t) = p of the noncentral t.
#[must_use]
pub fn noncentral_t_quantile(p: f64, freedom: f64, delta: f64) -> f64 {
    if !(0.0..=1.0).contains(&p) || delta.is_nan() || freedom.is_nan() || freedom <= 0.0 {
        return f64::NAN;
    }
    let (mut low, mut high) = (delta - 1.0, delta + 1.0);
    let mut width = 1.0;
    while noncentral_t_cdf(low, freedom, delta) > p && width < 1e12 {
        width *= 2.0;
        low = delta - width;
    }
    width = 1.0;
    while noncentral_t_cdf(high, freedom, delta) < p && width < 1e12 {
        width *= 2.0;
        high = delta + width;
    }
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            break;
        }
        if noncentral_t_cdf(middle, freedom, delta) < p {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

/// The regularised incomplete beta function; NaN where `statrs` has none.
fn beta(a: f64, b: f64, x: f64) -> f64 {
    checked_beta_reg(a, b, x).unwrap_or(f64::NAN)
}

/// The z of the standard normal with the survival that t has, for many degrees of freedom.
///
/// Fisher's expansion (Johnson, Kotz and Balakrishnan, Continuous Univariate Distributions 2, chapter 28).
fn normal_of_t(t: f64, freedom: f64) -> f64 {
    if freedom.is_infinite() {
        return t;
    }
    let (r, q) = (1.0 / freedom, t * t);
    let first = (q + 1.0) / 4.0;
    let second = ((13.0 * q + 8.0) * q + 3.0) / 96.0;
    let third = (((35.0 * q + 19.0) * q + 1.0) * q - 15.0) / 384.0;
    t * (1.0 + r * (-first + r * (second - r * third)))
}

/// The t with the survival that z has: the same expansion the other way (Abramowitz and Stegun 26.7.5).
fn t_of_normal(z: f64, freedom: f64) -> f64 {
    if freedom.is_infinite() {
        return z;
    }
    let (r, q) = (1.0 / freedom, z * z);
    let first = (q + 1.0) / 4.0;
    let second = ((5.0 * q + 16.0) * q + 3.0) / 96.0;
    let third = (((3.0 * q + 19.0) * q + 17.0) * q - 15.0) / 384.0;
    z * (1.0 + r * (first + r * (second + r * third)))
}

/// A positive quantile, sought in the tail that has the digits.
fn quantile(p: f64, freedom: f64, cdf: impl Fn(f64) -> f64, sf: impl Fn(f64) -> f64) -> f64 {
    if !(0.0..=1.0).contains(&p) || freedom.is_nan() || freedom <= 0.0 {
        return f64::NAN;
    }
    match p {
        0.0 => 0.0,
        1.0 => f64::INFINITY,
        p if p <= 0.5 => 1.0 / solve_falling(|x| cdf(1.0 / x), p, 1.0 / freedom),
        p => solve_falling(sf, 1.0 - p, freedom),
    }
}

/// The x > 0 at which a falling function meets `target`, sought in ln x from `start`.
///
/// A bracket by doubling, then false position on the logarithms in the form of Illinois, then halving.
fn solve_falling(f: impl Fn(f64) -> f64, target: f64, start: f64) -> f64 {
    let gap = |x: f64| libm::log(f(x)) - libm::log(target);
    let (mut low, mut high) = (start, start);
    for _ in 0..2000 {
        if gap(low) > 0.0 || low <= f64::MIN_POSITIVE {
            break;
        }
        low *= 0.5;
    }
    for _ in 0..2000 {
        if gap(high) < 0.0 || high >= f64::MAX / 4.0 {
            break;
        }
        high *= 2.0;
    }
    let (mut at_low, mut at_high) = (gap(low), gap(high));
    for round in 0..300 {
        let (ln_low, ln_high) = (libm::log(low), libm::log(high));
        let secant = (ln_low * at_high - ln_high * at_low) / (at_high - at_low);
        // Every third step halves, so that a crooked function cannot hold the bracket open.
        let ln_x = if round % 3 == 2 || !secant.is_finite() { 0.5 * (ln_low + ln_high) } else { secant };
        let x = libm::exp(ln_x).clamp(low, high);
        let here = gap(x);
        if here == 0.0 || (high - low) <= 2.0 * f64::EPSILON * low {
            return x;
        }
        if here > 0.0 {
            (low, at_low) = (x, here);
            at_high *= 0.5;
        } else {
            (high, at_high) = (x, here);
            at_low *= 0.5;
        }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_meet_their_distribution() {
        for p in [1e-12, 1e-4, 0.025, 0.3, 0.5, 0.7, 0.975, 0.9999] {
            let tail = |found: f64| (found / p - 1.0).abs() < 1e-11;
            assert!(tail(normal_cdf(normal_quantile(p))), "normal {p}");
            for freedom in [0.7, 1.0, 4.0, 17.3, 300.0, 2e4, 1e5, 1e8] {
                assert!(tail(t_cdf(t_quantile(p, freedom), freedom)), "t {p} {freedom}");
            }
            for freedom in [0.5, 1.0, 4.0, 30.0, 1000.0] {
                assert!(
                    tail(chi_squared_cdf(chi_squared_quantile(p, freedom), freedom)),
                    "chi {p} {freedom}"
                );
                assert!(tail(f_cdf(f_quantile(p, freedom, 7.0), freedom, 7.0)), "F {p} {freedom}");
            }
        }
    }

    #[test]
    fn the_noncentral_t_without_shift_is_students() {
        for (t, freedom) in [(0.3, 1.0), (2.5, 3.0), (-1.2, 9.0), (1.0, 250.0)] {
            assert!((noncentral_t_cdf(t, freedom, 0.0) - t_cdf(t, freedom)).abs() < 1e-13, "{t} {freedom}");
        }
    }

    #[test]
    fn arguments_out_of_range_give_nan_and_never_panic() {
        for found in [
            normal_quantile(1.5),
            t_cdf(1.0, 0.0),
            t_cdf(f64::NAN, 3.0),
            t_quantile(-0.1, 3.0),
            chi_squared_cdf(1.0, -1.0),
            chi_squared_quantile(2.0, 1.0),
            f_sf(1.0, f64::NAN, 2.0),
            f_quantile(0.5, 1.0, 0.0),
            noncentral_t_quantile(0.5, 0.0, 1.0),
        ] {
            assert!(found.is_nan(), "{found}");
        }
        assert_eq!((t_quantile(0.0, 3.0), t_quantile(1.0, 3.0)), (f64::NEG_INFINITY, f64::INFINITY));
        assert_eq!((f_sf(f64::INFINITY, 2.0, 3.0), t_sf(f64::INFINITY, 3.0)), (0.0, 0.0));
    }
}
