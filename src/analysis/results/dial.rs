//! A dial that an operator reads after a run: what its figures mean, and whether a figure can be one.
//!
//! A dial reads tension, or the oil pressure under a piston that carries it. Factors are exact: 1 lbf =
//! 4.4482216152605 N, 1 in = 25.4 mm (see `boltscribe_model::units`), 1 bar = 0.1 N/mm², 1 MPa = 1 N/mm² (SI
//! Brochure, 9th edition). Must not know who reads it, nor when.

use boltscribe_model::constants::Calibration;
use boltscribe_model::units::Newtons;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Square millimetres in a square inch, exact.
const MM2_PER_IN2: f64 = 25.4 * 25.4;
/// Share of a step by which a figure may miss the dial's marks: what decimals leave in a double.
const STEP_SHARE: f64 = 1e-6;

/// The unit on a dial's face.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub enum DialUnit {
    /// Kilonewtons.
    #[serde(rename = "kN")]
    Kn,
    /// Newtons.
    #[serde(rename = "N")]
    N,
    /// Pounds-force.
    #[serde(rename = "lbf")]
    Lbf,
    /// A mark, not yet a quantity: pounds-force on some dials, oil pressure on others.
    #[serde(rename = "psi")]
    Psi,
    /// Oil pressure.
    #[serde(rename = "bar")]
    Bar,
    /// Oil pressure.
    #[serde(rename = "MPa")]
    Mpa,
}

impl DialUnit {
    /// All units.
    pub const ALL: [Self; 6] = [Self::Kn, Self::N, Self::Lbf, Self::Psi, Self::Bar, Self::Mpa];
    /// Their words, in the same order.
    pub const NAMES: &'static [&'static str] = &["kN", "N", "lbf", "psi", "bar", "MPa"];

    /// The word on the dial.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Kn => "kN",
            Self::N => "N",
            Self::Lbf => "lbf",
            Self::Psi => "psi",
            Self::Bar => "bar",
            Self::Mpa => "MPa",
        }
    }

    /// The unit of this word.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|unit| unit.name() == name)
    }
}

/// Area of the piston whose oil pressure a dial shows, above zero.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub enum PistonArea {
    /// Square millimetres.
    #[serde(rename = "mm2")]
    Mm2(f64),
    /// Square inches.
    #[serde(rename = "in2")]
    In2(f64),
}

impl PistonArea {
    fn mm2(self) -> f64 {
        match self {
            Self::Mm2(area) => area,
            Self::In2(area) => area * MM2_PER_IN2,
        }
    }

    fn in2(self) -> f64 {
        match self {
            Self::Mm2(area) => area / MM2_PER_IN2,
            Self::In2(area) => area,
        }
    }
}

/// A dial as set.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Dial {
    /// What stands on its face.
    pub unit: DialUnit,
    /// The piston, where it shows oil pressure; a dial marked psi without one reads pounds-force.
    pub piston_area: Option<PistonArea>,
    /// Smallest step that can be read, in its unit, above zero.
    pub resolution: f64,
    /// Tension at full scale, kN, where known.
    #[serde(rename = "range_kN")]
    pub range_kn: Option<f64>,
    /// kN of tension as a polynomial in kN as read; none: the reading is taken as it stands.
    pub correction: Option<Calibration>,
}

/// What a figure on a dial means.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Meaning {
    /// The tension, corrected.
    pub tension: Newtons,
    /// What the smallest step of the dial is there, in tension; its standard uncertainty is this over √12.
    pub resolution: Newtons,
    /// The figure lies between two steps of the dial.
    pub between_steps: bool,
}

/// Why a figure is no reading.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ReadingError {
    /// With a comma in it.
    #[error("cannot read '{0}': expected a number with a decimal point such as 81.5, found a comma")]
    Comma(String),
    /// No number, or not a finite one.
    #[error("cannot read '{0}': expected a number such as 81.5")]
    NotANumber(String),
    /// Under zero.
    #[error("cannot take a reading of {0}: expected zero or more")]
    Negative(f64),
    /// A unit that is none.
    #[error("cannot take a reading in '{0}': expected one of kN, N, lbf, psi, bar, MPa")]
    UnknownUnit(String),
    /// A unit that this dial gives no meaning to.
    #[error("cannot take a reading in {unit}: expected a dial {expected}, found one marked {dial}")]
    NotOnThisDial {
        /// As typed.
        unit: &'static str,
        /// What the dial would have to be.
        expected: &'static str,
        /// What is on its face.
        dial: &'static str,
    },
    /// More than full scale.
    #[error(
        "cannot take a reading of {value} {unit}, which is {kn} kN: expected at most the dial's range of {range_kn} kN"
    )]
    OverRange {
        /// As typed.
        value: f64,
        /// Its unit.
        unit: &'static str,
        /// In kN.
        kn: f64,
        /// Full scale.
        range_kn: f64,
    },
}

impl ReadingError {
    /// What to do about it.
    #[must_use]
    pub fn hint(&self) -> Option<String> {
        match self {
            Self::Comma(text) => {
                let point = text.replacen(',', ".", 1);
                let whole = text.replace(',', "");
                let thousands = text.matches(',').count() > 1 || text.rsplit(',').next()?.trim().len() == 3;
                Some(match (text.matches(',').count(), thousands) {
                    (1, false) => format!("if {point} was meant, type {point}"),
                    (1, true) => {
                        format!("if {point} was meant, type {point}; if {whole} was meant, type {whole}")
                    }
                    _ => "type the number without separators of thousands".to_owned(),
                })
            }
            Self::NotANumber(_) => {
                Some("type the number alone; its unit, where it is not the dial's, goes to --unit".into())
            }
            Self::Negative(_) => {
                Some("a dial that stands under zero at rest needs its own zero set first".into())
            }
            Self::NotOnThisDial { .. } | Self::UnknownUnit(_) => {
                Some("leave the unit out where it is the one on the dial".into())
            }
            Self::OverRange { .. } => Some(
                "read the dial again; is it in another unit? --unit takes kN, N, lbf, psi, bar, MPa".into(),
            ),
        }
    }
}

/// Reads a number as a person types it: with a decimal point, without a unit.
///
/// # Errors
/// A comma; no number; not a finite one.
pub fn parse_reading(text: &str) -> Result<f64, ReadingError> {
    let text = text.trim();
    if text.contains(',') {
        return Err(ReadingError::Comma(text.to_owned()));
    }
    let value: Option<f64> = text.parse().ok().filter(|value: &f64| value.is_finite());
    value.ok_or_else(|| ReadingError::NotANumber(text.to_owned()))
}

impl Dial {
    /// What `value` on this dial means; `unit` where it is not the dial's own.
    ///
    /// # Errors
    /// Under zero; not finite; over the range; a unit this dial gives no meaning to.
    pub fn read(&self, value: f64, unit: Option<DialUnit>) -> Result<Meaning, ReadingError> {
        if !value.is_finite() {
            return Err(ReadingError::NotANumber(value.to_string()));
        }
        if value < 0.0 {
            return Err(ReadingError::Negative(value));
        }
        let typed_in = unit.unwrap_or(self.unit);
        let read_kn = self.newtons(value, typed_in)?.kn();
        if let Some(range_kn) = self.range_kn.filter(|range_kn| read_kn > *range_kn) {
            return Err(ReadingError::OverRange { value, unit: typed_in.name(), kn: read_kn, range_kn });
        }
        let (tension, slope) = self.corrected(read_kn, self.newtons(value, typed_in)?);
        let steps = value / self.resolution;
        let off = (steps - steps.round()).abs();
        Ok(Meaning {
            tension,
            resolution: self.newtons(self.resolution, self.unit)? * slope.abs(),
            between_steps: typed_in == self.unit && off > STEP_SHARE * steps.max(1.0),
        })
    }

    /// Absolute figures are approximate: nothing corrects it, or only data sheets do.
    #[must_use]
    pub fn is_nominal(&self) -> bool {
        self.correction.as_ref().is_none_or(|correction| correction.nominal)
    }

    /// A figure as a force, without correction.
    ///
    /// # Errors
    /// A unit this dial gives no meaning to.
    pub fn newtons(&self, value: f64, unit: DialUnit) -> Result<Newtons, ReadingError> {
        let elsewhere =
            |expected| ReadingError::NotOnThisDial { unit: unit.name(), expected, dial: self.unit.name() };
        let area =
            || self.piston_area.ok_or_else(|| elsewhere("that shows oil pressure, with its piston area"));
        match unit {
            DialUnit::Kn => Ok(Newtons::from_kn(value)),
            DialUnit::N => Ok(Newtons(value)),
            DialUnit::Lbf => Ok(Newtons::from_lbf(value)),
            DialUnit::Psi => match self.piston_area {
                Some(area) => Ok(Newtons::from_lbf(value * area.in2())),
                None if self.unit == DialUnit::Psi => Ok(Newtons::from_lbf(value)),
                None => Err(elsewhere("whose psi are known")),
            },
            DialUnit::Bar => Ok(Newtons(value * area()?.mm2() / 10.0)),
            DialUnit::Mpa => Ok(Newtons(value * area()?.mm2())),
        }
    }

    /// The tension and how fast it grows with the reading.
    fn corrected(&self, read_kn: f64, read: Newtons) -> (Newtons, f64) {
        let Some(correction) = &self.correction else {
            return (read, 1.0);
        };
        // Horner's rule for the polynomial and its derivative together.
        let (mut kn, mut slope) = (0.0, 0.0);
        for coefficient in correction.coefficients_kn.iter().rev() {
            slope = slope * read_kn + kn;
            kn = kn * read_kn + coefficient;
        }
        (Newtons::from_kn(kn), slope)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn dial(unit: DialUnit) -> Dial {
        Dial { unit, piston_area: None, resolution: 0.5, range_kn: Some(250.0), correction: None }
    }

    #[test]
    fn each_unit_becomes_newtons_by_its_definition() {
        let read = |dial: &Dial, value: f64| dial.read(value, None).map(|m| m.tension.0);
        assert_eq!(read(&dial(DialUnit::Kn), 81.5), Ok(81_500.0));
        assert_eq!(read(&dial(DialUnit::N), 81.5), Ok(81.5));
        assert_eq!(read(&dial(DialUnit::Lbf), 10_000.0), Ok(44_482.216_152_605));
        // Marked psi, scaled in force: the figures are pounds-force.
        assert_eq!(read(&dial(DialUnit::Psi), 10_000.0), Ok(44_482.216_152_605));
        // 2,500 psi on 4 in² are 10,000 lbf; the same piston in mm² is 4 × 645.16.
        for area in [PistonArea::In2(4.0), PistonArea::Mm2(2580.64)] {
            let oil = Dial { piston_area: Some(area), ..dial(DialUnit::Psi) };
            assert!((read(&oil, 2500.0).unwrap() - 44_482.216_152_605).abs() < 1e-7);
        }
        // 200 bar are 20 N/mm²; on 5,000 mm² they are 100 kN.
        let oil = |unit| Dial { piston_area: Some(PistonArea::Mm2(5000.0)), ..dial(unit) };
        assert_eq!(read(&oil(DialUnit::Bar), 200.0), Ok(100_000.0));
        assert_eq!(read(&oil(DialUnit::Mpa), 20.0), Ok(100_000.0));
    }

    #[test]
    fn a_unit_without_a_meaning_on_this_dial_is_refused() {
        for unit in [DialUnit::Psi, DialUnit::Bar, DialUnit::Mpa] {
            let told = dial(DialUnit::Kn).read(10.0, Some(unit));
            assert!(matches!(told, Err(ReadingError::NotOnThisDial { .. })), "{told:?}");
        }
        assert_eq!(
            dial(DialUnit::Kn).read(10_000.0, Some(DialUnit::Lbf)).unwrap().tension.0,
            44_482.216_152_605
        );
    }

    #[test]
    fn full_scale_is_taken_and_more_is_refused() {
        assert_eq!(dial(DialUnit::Kn).read(250.0, None).unwrap().tension, Newtons(250_000.0));
        assert_eq!(dial(DialUnit::Kn).read(0.0, None).unwrap().tension, Newtons(0.0));
        assert!(matches!(dial(DialUnit::Kn).read(250.5, None), Err(ReadingError::OverRange { .. })));
        assert!(matches!(dial(DialUnit::Kn).read(-0.5, None), Err(ReadingError::Negative(_))));
        assert!(matches!(dial(DialUnit::Kn).read(f64::NAN, None), Err(ReadingError::NotANumber(_))));
    }

    #[test]
    fn a_correction_moves_the_tension_and_scales_the_resolution() {
        let correction = Calibration {
            id: "c".into(),
            coefficients_kn: vec![0.5, 0.98, 1e-4],
            nominal: false,
            range_kn: None,
        };
        let dial = Dial { correction: Some(correction), ..dial(DialUnit::Kn) };
        let read = dial.read(100.0, None).unwrap();
        // 0.5 + 98 + 1 kN; the slope there is 0.98 + 2 × 1e-4 × 100 = 1.
        assert!((read.tension.kn() - 99.5).abs() < 1e-12);
        assert!((read.resolution.kn() - 0.5).abs() < 1e-12);
        assert!(!dial.is_nominal());
    }

    #[test]
    fn a_figure_between_two_steps_is_told() {
        let between = |value| dial(DialUnit::Kn).read(value, None).unwrap().between_steps;
        assert!(!between(81.5) && between(81.3) && !between(0.0));
        let fine = Dial { resolution: 0.1, ..dial(DialUnit::Kn) };
        assert!((0..2500).all(|k| !fine.read(f64::from(k) / 10.0, None).unwrap().between_steps));
    }

    #[test]
    fn a_comma_is_never_guessed_at() {
        assert_eq!(parse_reading(" 81.5 "), Ok(81.5));
        for text in ["81,5", "12,345", "1,234.5", "1,234,567"] {
            assert_eq!(parse_reading(text), Err(ReadingError::Comma(text.into())));
        }
        let hint = |text: &str| parse_reading(text).unwrap_err().hint().unwrap();
        assert_eq!(hint("81,5"), "if 81.5 was meant, type 81.5");
        assert_eq!(hint("12,345"), "if 12.345 was meant, type 12.345; if 12345 was meant, type 12345");
        for text in ["", "kN", "81.5kN", "nan", "inf", "1e999", "0x10", "8 1"] {
            assert_eq!(parse_reading(text), Err(ReadingError::NotANumber(text.into())));
        }
    }
}
