//! Numbers of twice the precision: an unevaluated sum of two `f64`, about 32 decimal digits.
//!
//! Fits of high degree lose up to 15 digits on the way; with 32 to start from, the answer still has
//! all that the data hold. Sums and products are the error-free transformations of Dekker (1971) and
//! Knuth (The Art of Computer Programming, 4.2.2). Ranges are those of `f64`; NaN and infinity go
//! through, but their low part means nothing. Must not know what is computed.

use std::ops::{Add, AddAssign, Div, Mul, Neg, Sub, SubAssign};

/// An unevaluated sum `hi + lo` with |lo| at most half a unit in the last place of hi.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct DoubleDouble {
    hi: f64,
    lo: f64,
}

/// a + b exactly, as sum and error.
fn two_sum(a: f64, b: f64) -> (f64, f64) {
    let s = a + b;
    let t = s - a;
    (s, (a - (s - t)) + (b - t))
}

/// The same where |a| ≥ |b|.
fn quick_two_sum(a: f64, b: f64) -> (f64, f64) {
    let s = a + b;
    (s, b - (s - a))
}

/// a · b exactly, as product and error.
fn two_product(a: f64, b: f64) -> (f64, f64) {
    let p = a * b;
    (p, a.mul_add(b, -p))
}

impl DoubleDouble {
    /// Zero.
    pub const ZERO: Self = Self { hi: 0.0, lo: 0.0 };
    /// One.
    pub const ONE: Self = Self { hi: 1.0, lo: 0.0 };

    /// The exact sum of two numbers.
    #[must_use]
    pub fn sum_of(a: f64, b: f64) -> Self {
        let (hi, lo) = two_sum(a, b);
        Self { hi, lo }
    }

    /// The nearest `f64`.
    #[must_use]
    pub const fn to_f64(self) -> f64 {
        self.hi
    }

    /// Magnitude.
    #[must_use]
    pub fn abs(self) -> Self {
        if self.hi < 0.0 { -self } else { self }
    }

    /// Square root; NaN below zero.
    #[must_use]
    pub fn sqrt(self) -> Self {
        if self.hi == 0.0 {
            return Self::ZERO;
        }
        // One step of Newton's method doubles the digits of the root in single precision.
        let root = self.hi.sqrt();
        let (square, error) = two_product(root, root);
        let rest = self - Self { hi: square, lo: error };
        Self::sum_of(root, rest.hi / (2.0 * root))
    }

    /// Times a power of two: exact.
    #[must_use]
    pub fn times_power_of_two(self, factor: f64) -> Self {
        Self { hi: self.hi * factor, lo: self.lo * factor }
    }

    /// A whole power.
    #[must_use]
    pub fn powi(self, exponent: usize) -> Self {
        (0..exponent).fold(Self::ONE, |power, _| power * self)
    }

    /// Finite.
    #[must_use]
    pub fn is_finite(self) -> bool {
        self.hi.is_finite() && self.lo.is_finite()
    }
}

impl From<f64> for DoubleDouble {
    fn from(hi: f64) -> Self {
        Self { hi, lo: 0.0 }
    }
}

impl Add for DoubleDouble {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        let (s, e) = two_sum(self.hi, other.hi);
        let (t, f) = two_sum(self.lo, other.lo);
        let (s, e) = quick_two_sum(s, e + t);
        let (hi, lo) = quick_two_sum(s, e + f);
        Self { hi, lo }
    }
}

impl Neg for DoubleDouble {
    type Output = Self;
    fn neg(self) -> Self {
        Self { hi: -self.hi, lo: -self.lo }
    }
}

impl Sub for DoubleDouble {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        self + -other
    }
}

impl Mul for DoubleDouble {
    type Output = Self;
    fn mul(self, other: Self) -> Self {
        let (p, e) = two_product(self.hi, other.hi);
        let (hi, lo) = quick_two_sum(p, e + (self.hi * other.lo + self.lo * other.hi));
        Self { hi, lo }
    }
}

impl Div for DoubleDouble {
    type Output = Self;
    fn div(self, other: Self) -> Self {
        // Long division by three partial quotients.
        let first = self.hi / other.hi;
        let rest = self - other * Self::from(first);
        let second = rest.hi / other.hi;
        let rest = rest - other * Self::from(second);
        let third = rest.hi / other.hi;
        Self::sum_of(first, second) + Self::from(third)
    }
}

impl AddAssign for DoubleDouble {
    fn add_assign(&mut self, other: Self) {
        *self = *self + other;
    }
}

impl SubAssign for DoubleDouble {
    fn sub_assign(&mut self, other: Self) {
        *self = *self - other;
    }
}

impl std::iter::Sum for DoubleDouble {
    fn sum<I: Iterator<Item = Self>>(numbers: I) -> Self {
        numbers.fold(Self::ZERO, Add::add)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_third_times_three_is_one_to_thirty_digits() {
        let third = DoubleDouble::ONE / DoubleDouble::from(3.0);
        assert!((third * DoubleDouble::from(3.0) - DoubleDouble::ONE).abs().to_f64() < 1e-31);
        assert!(third.lo != 0.0);
    }

    #[test]
    fn the_root_of_two_squared_is_two_to_thirty_digits() {
        let root = DoubleDouble::from(2.0).sqrt();
        assert!((root * root - DoubleDouble::from(2.0)).abs().to_f64() < 1e-30);
    }

    #[test]
    fn what_a_large_number_would_swallow_is_kept() {
        let sum = DoubleDouble::from(1e16) + DoubleDouble::from(1.0) - DoubleDouble::from(1e16);
        assert_eq!(sum, DoubleDouble::ONE);
        assert_eq!(DoubleDouble::sum_of(1e20, 1.0) - DoubleDouble::from(1e20), DoubleDouble::ONE);
    }
}
