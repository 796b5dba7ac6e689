//! `setup bolt add`: a test bolt with its factor and its allowed tension.
//!
//! The factor is given as a measured ratio or as nut factor K with the diameter; the allowed tension
//! in kN, lbf or as read from a dial. "No limit set" is a state that is said aloud, never silence.

use super::shelf::{By, Kind, put};
use crate::cli::caution;
use crate::cli::context::Context;
use crate::cli::error::CliError;
use crate::cli::output::{Format, say};
use crate::cli::tension_entry::{PsiArgs, positive, read};
use crate::constants::BoltFactor;
use clap::{ArgGroup, Args, Subcommand};
use serde_json::{Value, json};

/// What can be done with test bolts.
#[derive(Debug, Subcommand)]
pub enum Verb {
    /// Put a test bolt on the shelf, or a new version of it.
    Add(Add),
}

/// Options of `setup bolt add`.
#[derive(Debug, Args)]
#[command(
    before_help = "Examples:
  boltscribe setup bolt add m20-a --thread M20x2.5 --diameter-mm 20 --nut-factor 0.16 --allowed-kN 120
  boltscribe setup bolt add in125 --thread \"1 1/4-7\" --diameter-mm 31.75 --factor-lbf-per-lbf-ft 70 --allowed '27000 lbf'
  boltscribe setup bolt add dial --thread M20x2.5 --diameter-mm 20 --allowed '2500 psi' --psi-is oil --piston-area-in2 4
",
    group = ArgGroup::new("factor").args(["nut_factor", "factor_n_per_nm", "factor_lbf_per_lbf_ft"]),
    group = ArgGroup::new("limit").args(["allowed_kn", "allowed"])
)]
pub struct Add {
    /// Its name.
    pub name: String,
    /// Thread, as marked.
    #[arg(long)]
    pub thread: String,
    /// Nominal diameter in millimetres.
    #[arg(long, value_name = "MM", value_parser = positive)]
    pub diameter_mm: f64,
    /// Nut factor K of T = K·d·F.
    #[arg(long, value_name = "K", value_parser = positive)]
    pub nut_factor: Option<f64>,
    /// Measured ratio of tension to equivalent torque, N per N·m.
    #[arg(long = "factor-N-per-Nm", value_name = "RATIO", value_parser = positive)]
    pub factor_n_per_nm: Option<f64>,
    /// Measured ratio of tension to equivalent torque, lbf per lbf·ft.
    #[arg(long, value_name = "RATIO", value_parser = positive)]
    pub factor_lbf_per_lbf_ft: Option<f64>,
    /// Tension that must not be passed, kN.
    #[arg(long = "allowed-kN", value_name = "KN", value_parser = positive)]
    pub allowed_kn: Option<f64>,
    /// The same with its unit: '120 kN', '27000 lbf', or '2500 psi' from a dial.
    #[arg(long, value_name = "TENSION")]
    pub allowed: Option<String>,
    #[command(flatten)]
    #[allow(missing_docs)]
    pub psi: PsiArgs,
    /// Lubricant on thread and washer.
    #[arg(long)]
    pub lubricant: Option<String>,
    #[command(flatten)]
    #[allow(missing_docs)]
    pub by: By,
}

/// Puts it on the shelf.
///
/// # Errors
/// A tension that cannot be read, or a refusal of the API.
pub async fn add(add: &Add, context: &Context) -> Result<(), CliError> {
    let allowed_kn = match &add.allowed {
        Some(entry) => Some(read(entry, &add.psi)?.kn()),
        None => add.allowed_kn,
    };
    let document = json!({
        "thread": add.thread,
        "diameter_mm": add.diameter_mm,
        "factor": factor(add),
        "allowed_kN": allowed_kn,
        "lubricant": add.lubricant,
    });
    put(Kind::Bolt, &add.name, document, &add.by, context).await?;
    if context.format == Format::Table {
        if allowed_kn.is_none() {
            say("no limit set: no run on this bolt can be checked against its allowed tension");
        }
        caution::show(context.format);
    }
    Ok(())
}

/// The factor as it was given, so that the entry can be read back as typed.
fn factor(add: &Add) -> Value {
    if let Some(k) = add.nut_factor {
        json!({ "given": "nut-factor", "nut_factor": k })
    } else if let Some(ratio) = add.factor_n_per_nm {
        json!({ "given": "ratio", "factor_N_per_Nm": ratio })
    } else if let Some(ratio) = add.factor_lbf_per_lbf_ft {
        json!({ "given": "ratio-lbf", "factor_lbf_per_lbf_ft": ratio })
    } else {
        Value::Null
    }
}

/// The factor of a bolt's document in N per N·m; none where it has none.
#[must_use]
pub fn factor_of(document: &Value) -> Option<f64> {
    let factor = &document["factor"];
    if let Some(k) = factor["nut_factor"].as_f64() {
        let diameter_mm = document["diameter_mm"].as_f64()?;
        return Some(BoltFactor::from_nut_factor(k, diameter_mm / 1000.0).0);
    }
    if let Some(ratio) = factor["factor_lbf_per_lbf_ft"].as_f64() {
        return Some(BoltFactor::from_lbf_per_lbf_ft(ratio).0);
    }
    factor["factor_N_per_Nm"].as_f64()
}
