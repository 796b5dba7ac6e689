//! A nominal calibration: kN per count from data-sheet figures, before any reference has been near the rig.
//!
//! A strain-gauge cell gives its rated output in mV per V of excitation at its rated load (common practice;
//! no published source). Absolute figures made so are approximate; ratios on one such line are not, because
//! its gain cancels.

use boltscribe_model::constants::Calibration;

/// Data-sheet figures of a cell and its converter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Nominal {
    /// Load at the rated output, kN, above 0.
    pub rated_kn: f64,
    /// Output at the rated load, mV per V of excitation, not 0; negative where pulling lowers the reading.
    pub rated_mv_per_v: f64,
    /// Excitation of the bridge, V, above 0.
    pub excitation_v: f64,
    /// Gain ahead of the converter, above 0.
    pub gain: f64,
    /// Input at which the converter reaches its largest code, V at gain 1, above 0.
    pub full_scale_v: f64,
    /// Bits of a signed code, 2 to 32: the largest is 2^(bits − 1).
    pub bits: u8,
}

/// A figure that cannot be used.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("cannot make a nominal calibration: {figure}: expected {expected}, found {found}")]
pub struct NominalError {
    /// Which.
    pub figure: &'static str,
    /// What was expected.
    pub expected: &'static str,
    /// What was found.
    pub found: f64,
}

impl Nominal {
    /// kN per count: rated load / (rated output × counts per mV/V).
    ///
    /// # Errors
    /// A figure that is not finite or out of its range.
    pub fn kn_per_count(&self) -> Result<f64, NominalError> {
        let positive = |figure, found: f64| {
            if found.is_finite() && found > 0.0 {
                Ok(found)
            } else {
                Err(NominalError { figure, expected: "a number above 0", found })
            }
        };
        let rated_kn = positive("rated load (kN)", self.rated_kn)?;
        let excitation_v = positive("excitation (V)", self.excitation_v)?;
        let full_scale_v = positive("full scale (V)", self.full_scale_v)? / positive("gain", self.gain)?;
        if !self.rated_mv_per_v.is_finite() || self.rated_mv_per_v == 0.0 {
            let found = self.rated_mv_per_v;
            return Err(NominalError {
                figure: "rated output (mV/V)",
                expected: "a number other than 0",
                found,
            });
        }
        if !(2..=32).contains(&self.bits) {
            return Err(NominalError { figure: "bits", expected: "2 to 32", found: f64::from(self.bits) });
        }
        let largest = libm::exp2(f64::from(self.bits - 1));
        let counts_per_mv_per_v = largest * excitation_v / full_scale_v / 1000.0;
        Ok(rated_kn / (self.rated_mv_per_v * counts_per_mv_per_v))
    }

    /// The largest load the converter can show, kN.
    ///
    /// # Errors
    /// As [`Self::kn_per_count`].
    pub fn full_scale_kn(&self) -> Result<f64, NominalError> {
        Ok(self.kn_per_count()?.abs() * libm::exp2(f64::from(self.bits - 1)))
    }
}

/// The line through zero with this slope.
#[must_use]
pub fn line(id: &str, kn_per_count: f64, range_kn: Option<f64>) -> Calibration {
    Calibration { id: id.to_owned(), coefficients_kn: vec![0.0, kn_per_count], nominal: true, range_kn }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Invented figures: 200 kN at 2 mV/V; 24 bits, gain 128, full scale half of 5 V.
    const CELL: Nominal = Nominal {
        rated_kn: 200.0,
        rated_mv_per_v: 2.0,
        excitation_v: 5.0,
        gain: 128.0,
        full_scale_v: 2.5,
        bits: 24,
    };

    #[test]
    fn the_slope_is_as_worked_by_hand() {
        // Rated output 2 mV/V × 5 V = 10 mV; full scale 2.5 V / 128 = 19.53125 mV = 8,388,608 counts;
        // 10 mV are 4,294,967.296 counts; 200 kN / 4,294,967.296 = 4.65661287e-5 kN.
        assert!((CELL.kn_per_count().unwrap() / 4.656_612_873_077_393e-5 - 1.0).abs() < 1e-12);
        assert!((CELL.full_scale_kn().unwrap() - 390.625).abs() < 1e-9);
    }

    #[test]
    fn a_cell_that_falls_when_pulled_has_a_negative_slope() {
        let turned = Nominal { rated_mv_per_v: -2.0, ..CELL };
        assert_eq!(turned.kn_per_count().unwrap(), -CELL.kn_per_count().unwrap());
        assert!(turned.full_scale_kn().unwrap() > 0.0);
    }

    #[test]
    fn each_figure_out_of_range_is_named() {
        for (wrong, name) in [
            (Nominal { rated_kn: 0.0, ..CELL }, "rated load"),
            (Nominal { rated_mv_per_v: 0.0, ..CELL }, "rated output"),
            (Nominal { excitation_v: f64::NAN, ..CELL }, "excitation"),
            (Nominal { gain: -1.0, ..CELL }, "gain"),
            (Nominal { full_scale_v: f64::INFINITY, ..CELL }, "full scale"),
            (Nominal { bits: 33, ..CELL }, "bits"),
        ] {
            let error = wrong.kn_per_count().unwrap_err().to_string();
            assert!(error.contains(name), "{error}");
        }
    }
}
