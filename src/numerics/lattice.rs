//! Points that stand for several standard normal variables: a fixed lattice.
//!
//! A rank-1 rule of Richtmyer's kind (multiples of roots of primes, Richtmyer 1951) with the triangle
//! transformation: no random number, so equal input gives equal bits. Must not know what is averaged over them.

use super::distributions::normal_quantile;

/// Points of the rule.
const POINTS: u32 = 8191;
/// Roots of these step through the axes.
const PRIMES: [f64; 24] = [
    2.0, 3.0, 5.0, 7.0, 11.0, 13.0, 17.0, 19.0, 23.0, 29.0, 31.0, 37.0, 41.0, 43.0, 47.0, 53.0, 59.0, 61.0,
    67.0, 71.0, 73.0, 79.0, 83.0, 89.0,
];
/// Most variables.
pub const AXES_MAX: usize = PRIMES.len();

/// Points of `axes` independent standard normal variables, at most [`AXES_MAX`] of them, each of equal weight.
pub fn points(axes: usize) -> Vec<Vec<f64>> {
    let point = |k: u32| {
        let place = |prime: &f64| {
            let along = f64::from(k) * libm::sqrt(*prime);
            let share = along - libm::floor(along);
            // The triangle makes the function periodic, which is what such a rule is good at.
            normal_quantile((2.0 * share - 1.0).abs().clamp(1e-12, 1.0 - 1e-12))
        };
        PRIMES.iter().take(axes).map(place).collect()
    };
    (1..=POINTS).map(point).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn moments_of_three_normal_variables_come_out() {
        let z = points(3);
        let mean = |f: &dyn Fn(&[f64]) -> f64| z.iter().map(|z| f(z)).sum::<f64>() / z.len() as f64;
        assert!((mean(&|z| z.iter().map(|z| z * z).sum()) - 3.0).abs() < 2e-3);
        assert!(mean(&|z| z[0] * z[1]).abs() < 2e-3);
        assert!(mean(&|z| z[0] + z[1] + z[2]).abs() < 2e-3);
    }
}
