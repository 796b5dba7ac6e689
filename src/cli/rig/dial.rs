//! A rig without an amplifier: what stands on its dial, as options or asked at a terminal.
//!
//! psi on a dial may mean a force or the oil pressure under a piston, and its face does not say; so it is asked.
//! Which keys belong together is checked by the daemon.

use super::super::ask::{Asker, number, tell};
use super::super::error::CliError;
use boltscribe_analysis::results::DialUnit;
use clap::ValueEnum;
use serde_json::{Value, json};

/// What a dial marked psi reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Psi {
    /// Force: its figures are lbf.
    Force,
    /// Oil pressure under a piston.
    OilPressure,
}

/// A dial as typed.
#[derive(Clone, Debug, Default, clap::Args)]
pub struct DialArgs {
    /// Dial: what stands on it: kN, N, lbf, psi, bar or MPa.
    #[arg(long, value_name = "UNIT")]
    pub dial_unit: Option<String>,
    /// Dial: the smallest step that can be read, in that unit.
    #[arg(long, value_name = "STEP")]
    pub dial_resolution: Option<f64>,
    /// Dial marked psi: what it reads.
    #[arg(long, value_enum)]
    pub dial_psi: Option<Psi>,
    /// Dial of oil pressure: area of the piston, mm².
    #[arg(long, value_name = "MM2")]
    pub piston_area_mm2: Option<f64>,
    /// Dial of oil pressure: area of the piston, in².
    #[arg(long, value_name = "IN2")]
    pub piston_area_in2: Option<f64>,
}

impl DialArgs {
    /// Keys of a `[[rig]]` with their values, null where not given.
    #[must_use]
    pub fn keys(&self) -> [(&'static str, Value); 5] {
        let psi = self.dial_psi.map(|reads| match reads {
            Psi::Force => "force",
            Psi::OilPressure => "oil-pressure",
        });
        [
            ("dial_unit", json!(self.dial_unit)),
            ("dial_resolution", json!(self.dial_resolution)),
            ("dial_psi", json!(psi)),
            ("piston_area_mm2", json!(self.piston_area_mm2)),
            ("piston_area_in2", json!(self.piston_area_in2)),
        ]
    }

    /// Asks for what is missing.
    ///
    /// # Errors
    /// The input ends.
    pub async fn ask(&mut self, asker: &mut Asker) -> Result<(), CliError> {
        tell("\nDial. You read it after each run and type what it shows: `boltscribe runs enter 81.5`.\n")?;
        let names = DialUnit::NAMES.join(", ");
        if self.dial_unit.is_none() {
            let question = format!("what stands on it: {names}");
            self.dial_unit = Some(asker.ask(&question, Some("kN"), known_unit).await?);
        }
        let unit = self.dial_unit.clone().unwrap_or_default();
        if unit == "psi" && self.dial_psi.is_none() {
            tell("  psi may be a force (then its figures are lbf), or oil pressure under a piston.\n")?;
            self.dial_psi = Some(asker.ask("it reads: force or oil-pressure", None, psi).await?);
        }
        let shows_pressure =
            matches!(unit.as_str(), "bar" | "MPa") || self.dial_psi == Some(Psi::OilPressure);
        if shows_pressure && self.piston_area_mm2.is_none() && self.piston_area_in2.is_none() {
            self.piston_area_mm2 = Some(asker.ask("area of the piston, mm²", None, above_zero).await?);
        }
        if self.dial_resolution.is_none() {
            let question = format!("smallest step that you can read, {unit}");
            self.dial_resolution = Some(asker.ask(&question, None, above_zero).await?);
        }
        Ok(())
    }
}

fn known_unit(answer: &str) -> Result<String, String> {
    if DialUnit::NAMES.contains(&answer) {
        return Ok(answer.to_owned());
    }
    Err(format!("expected one of {}, found '{answer}'", DialUnit::NAMES.join(", ")))
}

fn psi(answer: &str) -> Result<Psi, String> {
    Psi::from_str(answer, false).map_err(|_| format!("expected force or oil-pressure, found '{answer}'"))
}

fn above_zero(answer: &str) -> Result<f64, String> {
    number(answer).and_then(|v| if v > 0.0 { Ok(v) } else { Err("expected more than 0".into()) })
}
