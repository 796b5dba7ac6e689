//! Energy sources: batteries, air supplies and mains outlets, and what was read at them before a run.
//!
//! A source is a named thing on the shelf; its reading (rested volts, dynamic pressure) changes from run
//! to run and is entered with it. Limits catch slips of the unit. This file must not know tools.

use super::name::{NameError, check_text};
use crate::control::SourceState;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What drives a tool.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum SourceKind {
    /// Battery.
    Battery,
    /// Compressed air.
    Air,
    /// Mains.
    Mains,
}

impl std::fmt::Display for SourceKind {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Battery => "battery",
            Self::Air => "air",
            Self::Mains => "mains",
        })
    }
}

/// One energy source.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Source {
    /// Its name, unique among sources.
    pub name: String,
    /// What it is.
    pub kind: SourceKind,
    /// Serial number or other mark on it.
    #[serde(default)]
    pub serial: Option<String>,
}

/// What was read at a source; only the fields of its kind may be given.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Reading {
    /// Battery: volts after rest, without load, 1 to 1,000.
    pub rested_v: Option<f64>,
    /// Battery: freshly charged and rested.
    pub fresh: Option<bool>,
    /// Air: pressure above the surrounding at the tool's inlet while it runs, kilopascals, 50 to 2,000.
    #[serde(rename = "dynamic_kPa")]
    pub dynamic_kpa: Option<f64>,
    /// Mains: volts at the outlet, 50 to 1,000.
    pub voltage_v: Option<f64>,
}

/// Why a source or its reading was not taken.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SourceError {
    /// A name or serial number.
    #[error(transparent)]
    Text(#[from] NameError),
    /// A reading of another kind of source.
    #[error("source '{name}' is {kind}: expected no {key}")]
    Foreign {
        /// The source.
        name: String,
        /// What it is.
        kind: SourceKind,
        /// The field that does not belong.
        key: &'static str,
    },
    /// A reading out of range.
    #[error("source '{name}': expected {key} from {min} to {max}, found {found}")]
    Range {
        /// The source.
        name: String,
        /// The field.
        key: &'static str,
        /// Least.
        min: f64,
        /// Most.
        max: f64,
        /// What was given.
        found: f64,
    },
}

impl Source {
    /// Checks name and serial number.
    ///
    /// # Errors
    /// A name or serial number that breaks the rule for texts.
    pub fn check(&self) -> Result<(), SourceError> {
        check_text("source name", &self.name)?;
        super::name::check_optional("source serial", self.serial.as_deref())?;
        Ok(())
    }

    /// This source with what was read at it, as a run remembers it.
    ///
    /// # Errors
    /// A source that fails its check, a reading of another kind, a reading out of range.
    pub fn state(&self, reading: Reading) -> Result<SourceState, SourceError> {
        self.check()?;
        let battery = self.kind == SourceKind::Battery;
        self.own(battery, "rested_v", reading.rested_v.is_some())?;
        self.own(battery, "fresh", reading.fresh.is_some())?;
        self.own(self.kind == SourceKind::Air, "dynamic_kPa", reading.dynamic_kpa.is_some())?;
        self.own(self.kind == SourceKind::Mains, "voltage_v", reading.voltage_v.is_some())?;
        self.range("rested_v", reading.rested_v, 1.0, 1000.0)?;
        self.range("dynamic_kPa", reading.dynamic_kpa, 50.0, 2000.0)?;
        self.range("voltage_v", reading.voltage_v, 50.0, 1000.0)?;
        Ok(match self.kind {
            SourceKind::Battery => SourceState::Battery {
                id: self.name.clone(),
                rested_v: reading.rested_v,
                fresh: reading.fresh,
            },
            SourceKind::Air => SourceState::Air { dynamic_kpa: reading.dynamic_kpa },
            SourceKind::Mains => SourceState::Mains { voltage_v: reading.voltage_v },
        })
    }

    fn own(&self, belongs: bool, key: &'static str, given: bool) -> Result<(), SourceError> {
        if given && !belongs {
            return Err(SourceError::Foreign { name: self.name.clone(), kind: self.kind, key });
        }
        Ok(())
    }

    fn range(&self, key: &'static str, value: Option<f64>, min: f64, max: f64) -> Result<(), SourceError> {
        match value {
            Some(found) if !(min..=max).contains(&found) => {
                Err(SourceError::Range { name: self.name.clone(), key, min, max, found })
            }
            _ => Ok(()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn source(kind: SourceKind) -> Source {
        Source { name: "B1".into(), kind, serial: None }
    }

    #[test]
    fn a_battery_carries_its_name_and_rested_voltage_into_the_run() {
        let reading = Reading { rested_v: Some(20.4), fresh: Some(true), ..Reading::default() };
        assert_eq!(
            source(SourceKind::Battery).state(reading),
            Ok(SourceState::Battery { id: "B1".into(), rested_v: Some(20.4), fresh: Some(true) })
        );
        assert_eq!(
            source(SourceKind::Mains).state(Reading::default()),
            Ok(SourceState::Mains { voltage_v: None })
        );
    }

    #[test]
    fn a_reading_of_another_kind_is_refused() {
        let reading = Reading { fresh: Some(true), ..Reading::default() };
        assert_eq!(
            source(SourceKind::Air).state(reading).unwrap_err().to_string(),
            "source 'B1' is air: expected no fresh"
        );
    }

    #[test]
    fn a_pressure_in_bar_typed_as_kilopascals_is_out_of_range() {
        for bad in [6.3, f64::NAN, 2000.5] {
            let reading = Reading { dynamic_kpa: Some(bad), ..Reading::default() };
            assert!(matches!(
                source(SourceKind::Air).state(reading),
                Err(SourceError::Range { key: "dynamic_kPa", .. })
            ));
        }
    }
}
