//! A calibration as it is kept: its loads, the line through them, against which standard, by whom and when.
//!
//! The loads are kept, so the line with its whole covariance can be made again at any time: it is the same to
//! the last bit. Days are civil dates in the workshop. Must not know storage, nor what day it is.

use super::tension_fit::{TensionFit, TensionFitError, fit_tension};
use boltscribe_model::constants::Calibration;
use boltscribe_numerics::DoubleDouble;
use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Most loads that are kept.
pub const LOADS_MAX: usize = 500;
/// Largest expanded uncertainty of a reference standard, percent: more is a slip.
pub const UNCERTAINTY_PERCENT_MAX: f64 = 10.0;

/// One load with what the instrument showed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct KeptLoad {
    /// Name of its series.
    pub series: String,
    /// Applied from below.
    pub up: bool,
    /// Force by the reference standard, kN.
    #[serde(rename = "reference_kN")]
    pub reference_kn: f64,
    /// What the instrument showed.
    pub counts: f64,
    /// Angle of the mounting, degrees.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(nullable = false)]
    pub position_deg: Option<f64>,
}

/// What the loads were measured with.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = ReferenceStandard)]
pub struct Reference {
    /// The standard: kind and serial number.
    pub standard: String,
    /// Number of its certificate.
    pub certificate: String,
    /// Expanded uncertainty of its force, percent of the load.
    pub uncertainty_percent: f64,
    /// Coverage factor of that.
    #[serde(default = "two")]
    #[schema(required)]
    pub coverage_factor: f64,
    /// Last day on which its certificate holds.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(value_type = String, nullable = false)]
    pub valid_until: Option<Date>,
}

const fn two() -> f64 {
    2.0
}

impl Reference {
    /// Standard uncertainty as a share of the load.
    #[must_use]
    pub fn standard_share(&self) -> f64 {
        self.uncertainty_percent / 100.0 / self.coverage_factor
    }
}

/// A calibration as a person hands it in.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = TakenCalibration)]
pub struct Taken {
    /// Its name: it means this line for ever.
    pub name: String,
    /// Degree of the line, 1 to 3.
    pub degree: usize,
    /// The loads in the order in which they were applied.
    pub loads: Vec<KeptLoad>,
    /// Against what.
    pub reference: Reference,
    /// The day.
    #[schema(value_type = String)]
    pub performed_on: Date,
    /// Who did it.
    pub performed_by: String,
    /// Last day on which it holds; none: nobody has said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(value_type = String, nullable = false)]
    pub valid_until: Option<Date>,
    /// What was calibrated: serial numbers of cell and amplifier.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(nullable = false)]
    pub item: Option<String>,
    /// Air temperature, °C.
    #[serde(default, rename = "temperature_C", skip_serializing_if = "Option::is_none")]
    #[schema(nullable = false)]
    pub temperature_c: Option<f64>,
    /// Relative humidity, percent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(nullable = false)]
    pub humidity_percent: Option<f64>,
    /// Anything else.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(nullable = false)]
    pub note: Option<String>,
}

/// The same with its line.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct KeptCalibration {
    /// As handed in.
    pub taken: Taken,
    /// Its line, as rigs convert with.
    pub line: Calibration,
    /// Residual standard deviation, kN.
    #[serde(rename = "residual_sd_kN")]
    pub residual_sd_kn: f64,
    /// Points less coefficients.
    pub degrees_of_freedom: usize,
    /// Lower limit factor: 2.4 residual SDs (ASTM E74), kN.
    #[serde(rename = "llf_kN")]
    pub llf_kn: f64,
}

/// Why a calibration is not kept.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum KeptError {
    /// A figure or text that cannot be.
    #[error("{field}: expected {expected}, found {found}")]
    Field {
        /// Which, as in the document.
        field: &'static str,
        /// What would do.
        expected: String,
        /// What is there.
        found: String,
    },
    /// A load that cannot be.
    #[error("load {load}, {field}: expected {expected}, found {found}")]
    Load {
        /// Counted from 1.
        load: usize,
        /// Which, as in the document.
        field: &'static str,
        /// What would do.
        expected: &'static str,
        /// What is there.
        found: f64,
    },
    /// See there.
    #[error(transparent)]
    Fit(#[from] TensionFitError),
}

impl Taken {
    /// Checks it and makes its line.
    ///
    /// # Errors
    /// The first thing that cannot be: texts that are empty, a missing or expired reference, days out of order,
    /// loads below zero or fewer than two different ones, points that give no line.
    pub fn keep(self) -> Result<KeptCalibration, KeptError> {
        self.check()?;
        let fit = self.fit()?;
        let range_kn = self.loads.iter().map(|load| load.reference_kn).fold(0.0, f64::max);
        let line = Calibration {
            id: self.name.clone(),
            coefficients_kn: fit.polynomial.coefficients.clone(),
            nominal: false,
            range_kn: Some(range_kn),
        };
        Ok(KeptCalibration {
            line,
            residual_sd_kn: fit.residual_sd_kn,
            degrees_of_freedom: fit.polynomial.centred.degrees_of_freedom,
            llf_kn: fit.llf_kn,
            taken: self,
        })
    }

    /// The line through the loads.
    ///
    /// # Errors
    /// They give none.
    pub fn fit(&self) -> Result<TensionFit, TensionFitError> {
        let exact = |of: fn(&KeptLoad) -> f64| {
            self.loads.iter().map(|l| DoubleDouble::from(of(l))).collect::<Vec<_>>()
        };
        fit_tension(&exact(|l| l.counts), &exact(|l| l.reference_kn), self.degree)
    }

    fn check(&self) -> Result<(), KeptError> {
        for (field, text) in [
            ("name", &self.name),
            ("reference.standard", &self.reference.standard),
            ("reference.certificate", &self.reference.certificate),
            ("performed_by", &self.performed_by),
        ] {
            if text.trim().is_empty() {
                return Err(wrong(field, "a text", "none"));
            }
        }
        let within = |field, value: Option<f64>, low: f64, high: f64| match value {
            Some(v) if !(low..=high).contains(&v) => Err(wrong(field, format!("{low} to {high}"), v)),
            _ => Ok(()),
        };
        let reference = &self.reference;
        let field = "reference.uncertainty_percent";
        let percent = reference.uncertainty_percent;
        if !(percent > 0.0 && percent <= UNCERTAINTY_PERCENT_MAX) {
            return Err(wrong(field, format!("above 0 and at most {UNCERTAINTY_PERCENT_MAX}"), percent));
        }
        within("reference.coverage_factor", Some(reference.coverage_factor), 1.0, 4.0)?;
        within("temperature_C", self.temperature_c, -40.0, 80.0)?;
        within("humidity_percent", self.humidity_percent, 0.0, 100.0)?;
        if let Some(until) = reference.valid_until.filter(|until| *until < self.performed_on) {
            let expected = format!("a certificate that held on {}", self.performed_on);
            return Err(wrong("reference.valid_until", expected, format!("one that expired on {until}")));
        }
        if let Some(until) = self.valid_until.filter(|until| *until < self.performed_on) {
            return Err(wrong("valid_until", format!("a day from {} on", self.performed_on), until));
        }
        self.check_loads()
    }

    fn check_loads(&self) -> Result<(), KeptError> {
        if self.loads.len() > LOADS_MAX {
            return Err(wrong("loads", format!("at most {LOADS_MAX}"), self.loads.len()));
        }
        for (at, load) in self.loads.iter().enumerate() {
            let bad = |field, expected, found| KeptError::Load { load: at + 1, field, expected, found };
            if !(load.reference_kn.is_finite() && load.reference_kn >= 0.0) {
                return Err(bad("reference_kN", "a load of at least 0", load.reference_kn));
            }
            if !load.counts.is_finite() {
                return Err(bad("counts", "a finite number", load.counts));
            }
        }
        let first = self.loads.first().map(|load| load.reference_kn);
        if self.loads.iter().all(|load| Some(load.reference_kn) == first) {
            let found = first.map_or("none".to_owned(), |kn| format!("{kn} kN throughout"));
            return Err(wrong("loads", "at least two different ones", found));
        }
        Ok(())
    }
}

fn wrong(field: &'static str, expected: impl ToString, found: impl ToString) -> KeptError {
    KeptError::Field { field, expected: expected.to_string(), found: found.to_string() }
}

impl KeptCalibration {
    /// Whether it holds no longer on this day.
    #[must_use]
    pub fn expired_on(&self, day: Date) -> bool {
        self.taken.valid_until.is_some_and(|until| until < day)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixtures::taken;
    use jiff::civil::date;

    #[test]
    fn a_kept_calibration_gives_its_line_again_to_the_last_bit() {
        let kept = taken("cell-1").keep().unwrap();
        assert_eq!(
            (kept.line.id.as_str(), kept.line.nominal, kept.line.range_kn),
            ("cell-1", false, Some(100.0))
        );
        let text = serde_json::to_string(&kept).unwrap();
        let back: KeptCalibration = serde_json::from_str(&text).unwrap();
        assert_eq!(back, kept);
        let fit = back.taken.fit().unwrap();
        assert_eq!(fit.polynomial.coefficients, kept.line.coefficients_kn);
        assert_eq!((fit.residual_sd_kn, fit.llf_kn), (kept.residual_sd_kn, kept.llf_kn));
    }

    #[test]
    fn it_expires_after_its_last_day_and_without_one_never() {
        let mut kept = taken("cell-1").keep().unwrap();
        assert!(!kept.expired_on(date(2027, 5, 3)) && kept.expired_on(date(2027, 5, 4)));
        kept.taken.valid_until = None;
        assert!(!kept.expired_on(date(2099, 1, 1)));
    }

    #[test]
    fn what_cannot_be_is_refused_by_its_field() {
        let error = |change: &dyn Fn(&mut Taken)| {
            let mut taken = taken("c");
            change(&mut taken);
            taken.keep().unwrap_err().to_string()
        };
        assert!(
            error(&|t| t.reference.certificate = " ".into()).starts_with("reference.certificate: expected")
        );
        assert!(
            error(&|t| t.reference.valid_until = Some(date(2026, 1, 1))).contains("expired on 2026-01-01")
        );
        assert!(
            error(&|t| t.valid_until = Some(date(2025, 1, 1)))
                .starts_with("valid_until: expected a day from")
        );
        assert!(error(&|t| t.reference.uncertainty_percent = 0.0).contains("above 0"));
        assert!(error(&|t| t.humidity_percent = Some(f64::NAN)).starts_with("humidity_percent"));
        assert!(error(&|t| t.loads[2].reference_kn = -1.0).starts_with("load 3, reference_kN"));
        assert!(error(&|t| t.loads[2].counts = f64::NAN).starts_with("load 3, counts"));
        assert!(error(&|t| t.loads.truncate(1)).contains("two different"));
        assert!(error(&|t| t.degree = 4).contains("degree"));
    }
}
