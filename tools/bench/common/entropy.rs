//! The fewest bits in which quantised noise can be written: the entropy of a rounded normal variable.
//!
//! Shannon, A Mathematical Theory of Communication (1948), section 6: H = -sum p log2 p.

/// Bits a sample of a normal variable of standard deviation `sd` > 0 counts, rounded to whole counts; its
/// mean lies 0.3 counts beside a whole one, so that no count is favoured for small `sd`.
pub fn bits(sd: f64) -> f64 {
    const MEAN: f64 = 0.3;
    let below = |x: f64| 0.5 * libm::erfc((MEAN - x) / (sd * std::f64::consts::SQRT_2));
    let most = (9.0 * sd).ceil() as i64 + 1;
    let each = (-most..=most).map(|k| below(k as f64 + 0.5) - below(k as f64 - 0.5));
    each.filter(|p| *p > 0.0).map(|p| -p * p.log2()).sum()
}
