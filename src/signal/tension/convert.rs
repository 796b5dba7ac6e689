//! The polynomial from codes to newtons, and which codes stand at the end of the range.
//!
//! Must not know who made the calibration or what the tension is used for.

use boltscribe_model::constants::{Calibration, CalibrationError};
use boltscribe_model::units::{Counts, Newtons};

/// Converts codes of one rig.
#[derive(Clone, Debug, PartialEq)]
pub struct Converter {
    /// Newtons per count to the power of the index; absent powers are zero.
    newtons: [f64; 4],
    count_min: i32,
    count_max: i32,
}

impl Converter {
    /// From a calibration.
    ///
    /// # Errors
    /// What `Calibration::check` finds wrong.
    pub fn new(calibration: &Calibration) -> Result<Self, CalibrationError> {
        calibration.check()?;
        let mut newtons = [0.0; 4];
        for (n, kn) in newtons.iter_mut().zip(&calibration.coefficients_kn) {
            *n = kn * 1000.0;
        }
        Ok(Self { newtons, count_min: i32::MIN, count_max: i32::MAX })
    }

    /// The ends of the converter's range: codes there are clipped.
    pub fn set_range(&mut self, count_min: i32, count_max: i32) {
        (self.count_min, self.count_max) = (count_min, count_max);
    }

    /// One code in newtons (not less any zero).
    #[inline]
    #[must_use]
    pub fn newtons(&self, counts: Counts) -> Newtons {
        let c = f64::from(counts.0);
        let [a, b, q, t] = self.newtons;
        Newtons(a + c * (b + c * (q + c * t)))
    }

    /// As [`Converter::newtons`], of a mean of codes.
    #[must_use]
    pub fn newtons_at(&self, counts: f64) -> Newtons {
        let [a, b, q, t] = self.newtons;
        Newtons(a + counts * (b + counts * (q + counts * t)))
    }

    /// The code at which this tension is read; none where the line has none near its straight part.
    #[must_use]
    pub fn counts_at(&self, tension: Newtons) -> Option<f64> {
        let [a, b, q, t] = self.newtons;
        let mut counts = (tension.get() - a) / b;
        // Newton's method; a calibration's curve is nearly a line, so few steps are plenty.
        for _ in 0..20 {
            let slope = b + counts * (2.0 * q + 3.0 * t * counts);
            counts -= (self.newtons_at(counts).get() - tension.get()) / slope;
        }
        let off = (self.newtons_at(counts).get() - tension.get()).abs();
        (counts.is_finite() && off <= 1e-6 * tension.get().abs().max(1.0)).then_some(counts)
    }

    /// Codes in newtons, single precision (24 bits, as many as the finest converters have); offsets of
    /// codes at the ends of the range go to `clipped`. Both are cleared first.
    pub fn convert(&self, counts: &[i32], tension: &mut Vec<f32>, clipped: &mut Vec<usize>) {
        tension.clear();
        clipped.clear();
        let [a, b, q, t] = self.newtons;
        let curved = q != 0.0 || t != 0.0;
        tension.extend(counts.iter().map(|c| {
            let c = f64::from(*c);
            (if curved { a + c * (b + c * (q + c * t)) } else { a + c * b }) as f32
        }));
        let ends = self.count_min..=self.count_max;
        let inside = counts.iter().all(|c| *c > *ends.start() && *c < *ends.end());
        if !inside {
            let at_end = |c: &i32| *c <= *ends.start() || *c >= *ends.end();
            clipped.extend(counts.iter().enumerate().filter(|(_, c)| at_end(c)).map(|(i, _)| i));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_and_a_cubic_convert_alike_one_by_one_and_all_at_once() {
        for coefficients_kn in [vec![-0.4, 1e-4], vec![0.1, 1.1e-4, 2e-12, -1e-19]] {
            let calibration = Calibration { id: "c".into(), coefficients_kn, nominal: false, range_kn: None };
            let converter = Converter::new(&calibration).unwrap();
            let counts = [-8_388_608, -5, 0, 7, 812_345, 8_388_607];
            let (mut tension, mut clipped) = (Vec::new(), Vec::new());
            converter.convert(&counts, &mut tension, &mut clipped);
            for (c, t) in counts.iter().zip(&tension) {
                assert_eq!(converter.newtons(Counts(*c)).get() as f32, *t);
            }
            assert!(clipped.is_empty());
        }
    }

    #[test]
    fn the_code_of_a_tension_gives_it_again_within_a_millionth() {
        for coefficients_kn in [vec![-0.4, 1e-4], vec![0.1, 1.1e-4, 2e-12, -1e-19], vec![0.0, -5e-5]] {
            let calibration = Calibration { id: "c".into(), coefficients_kn, nominal: false, range_kn: None };
            let converter = Converter::new(&calibration).unwrap();
            for tension in [-1500.0, 0.0, 60.0, 90_000.0] {
                let counts = converter.counts_at(Newtons(tension)).unwrap();
                let again = converter.newtons_at(counts).get();
                assert!((again - tension).abs() <= 1e-6 * tension.abs().max(1.0), "{tension}: {again}");
            }
        }
    }

    #[test]
    fn codes_at_the_ends_of_the_range_are_told() {
        let calibration =
            Calibration { id: "c".into(), coefficients_kn: vec![0.0, 1e-4], nominal: true, range_kn: None };
        let mut converter = Converter::new(&calibration).unwrap();
        converter.set_range(-8_388_608, 8_388_607);
        let (mut tension, mut clipped) = (Vec::new(), Vec::new());
        converter.convert(&[0, 8_388_607, 5, -8_388_608], &mut tension, &mut clipped);
        assert_eq!(clipped, [1, 3]);
    }
}
