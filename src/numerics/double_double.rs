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

/// Most significant digits that are taken from a text; what follows is below 32 digits anyway.
const DIGITS_MAX: u32 = 34;

impl std::str::FromStr for DoubleDouble {
    type Err = std::num::ParseFloatError;

    /// Reads a decimal number to all its digits: 0.1 is a tenth here, not the nearest `f64` to it.
    fn from_str(text: &str) -> Result<Self, Self::Err> {
        // The standard library judges the form, and speaks for NaN, infinity and the ends of the range.
        let plain: f64 = text.parse()?;
        if plain == 0.0 || !plain.is_finite() || !(1e-200..1e200).contains(&plain.abs()) {
            return Ok(Self::from(plain));
        }
        let (mantissa, exponent) = text.split_once(['e', 'E']).unwrap_or((text, "0"));
        let mut power: i32 = exponent.parse().unwrap_or(0);
        let (mut digits, mut number, mut after_point) = (0, Self::ZERO, false);
        for c in mantissa.chars() {
            match c.to_digit(10) {
                Some(digit) if digits < DIGITS_MAX => {
                    number = number * Self::from(10.0) + Self::from(f64::from(digit));
                    digits += u32::from(digits > 0 || digit > 0);
                    power -= i32::from(after_point);
                }
                Some(_) => power += i32::from(!after_point),
                None => after_point |= c == '.',
            }
        }
        let ten = Self::from(10.0).powi(power.unsigned_abs() as usize);
        let number = if power < 0 { number / ten } else { number * ten };
        Ok(if plain < 0.0 { -number } else { number })
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
    fn a_decimal_is_read_to_all_its_digits() {
        let read = |text: &str| text.parse::<DoubleDouble>().unwrap();
        let tenth = DoubleDouble::ONE / DoubleDouble::from(10.0);
        for text in ["0.1", "1e-1", "+.1", "100E-3", "0.1000000000000000000000000000000000000000"] {
            assert!((read(text) - tenth).abs().to_f64() < 1e-32, "{text}");
        }
        let far = read("-1000000000000.4") + DoubleDouble::from(1e12);
        assert!((far.to_f64() + 0.4).abs() < 1e-16);
        assert_eq!(
            read("12345678901234567890123456789012345678").to_f64(),
            12345678901234567890123456789012345678.0
        );
        assert_eq!(
            (read("0").to_f64(), read("-2.5e3").to_f64(), read("1e300").to_f64()),
            (0.0, -2500.0, 1e300)
        );
        assert!("1,5".parse::<DoubleDouble>().is_err() && "".parse::<DoubleDouble>().is_err());
        assert!(!read("NaN").is_finite() && !read("inf").is_finite());
    }

    #[test]
    fn what_a_large_number_would_swallow_is_kept() {
        let sum = DoubleDouble::from(1e16) + DoubleDouble::from(1.0) - DoubleDouble::from(1e16);
        assert_eq!(sum, DoubleDouble::ONE);
        assert_eq!(DoubleDouble::sum_of(1e20, 1.0) - DoubleDouble::from(1e20), DoubleDouble::ONE);
    }
}
