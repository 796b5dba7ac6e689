//! Options from which a nominal calibration is made: data-sheet figures, or a slope that is known.
//!
//! The arithmetic belongs to `metrology`; a call with neither is no mistake here, because a rig may start
//! with counts alone.

use super::error::CliError;
use boltscribe_analysis::metrology::{Nominal, nominal};
use boltscribe_model::constants::Calibration;

/// Figures of the cell and its converter, as typed.
#[derive(Clone, Debug, Default, clap::Args)]
pub struct Figures {
    /// Load at the rated output, kN.
    #[arg(long = "rated-kN", value_name = "KN")]
    pub rated_kn: Option<f64>,
    /// Output at the rated load, mV per V of excitation; negative where pulling lowers the reading.
    #[arg(long = "rated-mV-V", value_name = "MV_V", allow_negative_numbers = true)]
    pub rated_mv_per_v: Option<f64>,
    /// Excitation of the bridge, V.
    #[arg(long = "excitation-V", value_name = "V")]
    pub excitation_v: Option<f64>,
    /// Gain ahead of the converter.
    #[arg(long)]
    pub gain: Option<f64>,
    /// Input at which the converter reaches its largest code, V at gain 1.
    #[arg(long = "full-scale-V", value_name = "V")]
    pub full_scale_v: Option<f64>,
    /// Bits of a signed code.
    #[arg(long)]
    pub bits: Option<u8>,
    /// The slope itself, kN per count, instead of all the figures above.
    #[arg(long = "kN-per-count", value_name = "KN", allow_negative_numbers = true)]
    pub kn_per_count: Option<f64>,
}

impl Figures {
    /// kN per count; none where nothing was given.
    ///
    /// # Errors
    /// Some figures and not all, figures beside a slope, a figure out of range.
    pub fn slope(&self) -> Result<Option<f64>, CliError> {
        let given = [
            ("--rated-kN", self.rated_kn.is_some()),
            ("--rated-mV-V", self.rated_mv_per_v.is_some()),
            ("--excitation-V", self.excitation_v.is_some()),
            ("--gain", self.gain.is_some()),
            ("--full-scale-V", self.full_scale_v.is_some()),
            ("--bits", self.bits.is_some()),
        ];
        let some = given.iter().any(|(_, given)| *given);
        match self.kn_per_count {
            Some(_) if some => {
                return Err(CliError::usage("expected --kN-per-count or data-sheet figures, found both"));
            }
            Some(slope) if slope == 0.0 || !slope.is_finite() => {
                return Err(CliError::usage(format!(
                    "--kN-per-count: expected a number other than 0, found {slope}"
                )));
            }
            Some(slope) => return Ok(Some(slope)),
            None if !some => return Ok(None),
            None => {}
        }
        let (
            Some(rated_kn),
            Some(rated_mv_per_v),
            Some(excitation_v),
            Some(gain),
            Some(full_scale_v),
            Some(bits),
        ) = (self.rated_kn, self.rated_mv_per_v, self.excitation_v, self.gain, self.full_scale_v, self.bits)
        else {
            let missing: Vec<&str> =
                given.iter().filter(|(_, given)| !given).map(|(name, _)| *name).collect();
            return Err(CliError::usage(format!(
                "a nominal calibration: expected all data-sheet figures, found none for {}",
                missing.join(", ")
            )));
        };
        Nominal { rated_kn, rated_mv_per_v, excitation_v, gain, full_scale_v, bits }
            .kn_per_count()
            .map(Some)
            .map_err(|error| CliError::usage(error.to_string()))
    }

    /// The calibration under a name; none where nothing was given.
    ///
    /// # Errors
    /// As [`Self::slope`].
    pub fn calibration(&self, id: &str, range_kn: Option<f64>) -> Result<Option<Calibration>, CliError> {
        Ok(self.slope()?.map(|slope| nominal::line(id, slope, range_kn)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_are_all_or_none_and_exclude_a_slope() {
        assert_eq!(Figures::default().slope().unwrap(), None);
        let slope = Figures { kn_per_count: Some(-2e-5), ..Figures::default() };
        assert_eq!(slope.slope().unwrap(), Some(-2e-5));
        let both = Figures { gain: Some(128.0), ..slope };
        assert!(both.slope().unwrap_err().to_string().contains("found both"));
        let some = Figures { rated_kn: Some(200.0), bits: Some(24), ..Figures::default() };
        let words = some.slope().unwrap_err().to_string();
        assert!(words.contains("--rated-mV-V, --excitation-V, --gain, --full-scale-V"), "{words}");
    }
}
