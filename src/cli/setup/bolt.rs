//! `setup bolt add`: a test bolt with its factor and its allowed tension.
//!
//! The factor is given as a measured ratio or as nut factor K with the diameter; the allowed tension
//! in kN, lbf or as read from a dial. "No limit set" is a state that is said aloud, never silence.

use super::shelf::{By, Kind, put};
use super::thread::{self, Thread};
use crate::caution;
use crate::context::Context;
use crate::error::CliError;
use crate::output::{Format, say};
use crate::tension_entry::{PsiArgs, positive, read};
use boltscribe_analysis::metrology::friction::{Friction, Joint};
use boltscribe_model::setups::{GivenFactor, TestBolt};
use clap::{ArgGroup, Args, Subcommand};
use serde_json::Value;

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
  boltscribe setup bolt add m20-b --thread M20 --class 8.8 --nut-factor 0.16 --due-after 60 --lubricant \"MoS2 paste\"
  boltscribe setup bolt add in125 --thread \"1 1/4-7\" --diameter-mm 31.75 --factor-lbf-per-lbf-ft 70 --allowed '27000 lbf'
  boltscribe setup bolt add dial --thread M20x2.5 --diameter-mm 20 --allowed '2500 psi' --psi-is oil --piston-area-in2 4
",
    group = ArgGroup::new("factor").args(["nut_factor", "factor_n_per_nm", "factor_lbf_per_lbf_ft", "thread_friction"]),
    group = ArgGroup::new("limit").args(["allowed_kn", "allowed"])
)]
pub struct Add {
    /// Its name.
    pub name: String,
    /// Thread, as marked.
    #[arg(long)]
    pub thread: String,
    /// Nominal diameter in millimetres; may be left out where the thread tells it.
    #[arg(long, value_name = "MM", value_parser = positive)]
    pub diameter_mm: Option<f64>,
    /// Property class (ISO 898-1, such as 8.8) or grade (SAE J429: 2, 5, 8) as marked on the head. Proposes the
    /// allowed tension where none is given.
    #[arg(long)]
    pub class: Option<String>,
    /// Tightenings after which the bolt is due; runs are flagged `bolt-due` after them.
    #[arg(long, value_name = "N")]
    pub due_after: Option<u32>,
    /// Nut factor K of T = K·d·F.
    #[arg(long, value_name = "K", value_parser = positive)]
    pub nut_factor: Option<f64>,
    /// Measured ratio of tension to equivalent torque, N per N·m.
    #[arg(long = "factor-N-per-Nm", value_name = "RATIO", value_parser = positive)]
    pub factor_n_per_nm: Option<f64>,
    /// Measured ratio of tension to equivalent torque, lbf per lbf·ft.
    #[arg(long, value_name = "RATIO", value_parser = positive)]
    pub factor_lbf_per_lbf_ft: Option<f64>,
    /// Friction in the thread (ISO 16047); with the three below it makes the factor of a metric thread.
    #[arg(long, value_name = "MU", value_parser = positive, requires_all = ["bearing_friction", "bearing_outer_mm", "hole_mm"])]
    pub thread_friction: Option<f64>,
    /// Friction under head or nut.
    #[arg(long, value_name = "MU", value_parser = positive, requires = "thread_friction")]
    pub bearing_friction: Option<f64>,
    /// Outer diameter of the bearing surface, mm.
    #[arg(long, value_name = "MM", value_parser = positive, requires = "thread_friction")]
    pub bearing_outer_mm: Option<f64>,
    /// Diameter of the hole under it, mm.
    #[arg(long, value_name = "MM", value_parser = positive, requires = "thread_friction")]
    pub hole_mm: Option<f64>,
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
    let given_kn = match &add.allowed {
        Some(entry) => Some(read(entry, &add.psi)?.kn()),
        None => add.allowed_kn,
    };
    let known = thread::of(&add.thread);
    let diameter_mm = add.diameter_mm.or_else(|| known.map(Thread::diameter_mm)).ok_or_else(|| {
        CliError::usage_with(
            format!("cannot tell the diameter of the thread '{}'", add.thread),
            "give it with `--diameter-mm`",
        )
    })?;
    let proposed_kn = match (given_kn, &add.class) {
        (None, Some(class)) => Some(thread::allowed_kn(known, class, &add.thread)?),
        _ => None,
    };
    let allowed_kn = given_kn.or(proposed_kn);
    let rubs = friction(add, known)?;
    let bolt = TestBolt {
        name: add.name.clone(),
        thread: add.thread.clone(),
        diameter_mm,
        factor: rubs.as_ref().map(|rubs| rubs.0).or_else(|| factor(add)),
        allowed_kn,
        lubricant: add.lubricant.clone(),
        class: add.class.clone(),
        due_after: add.due_after,
        factor_source: rubs.map(|rubs| rubs.1),
    };
    put(Kind::Bolt, &add.name, &bolt, &add.by, context).await?;
    if context.format == Format::Table {
        if let Some(kn) = proposed_kn {
            say(&format!(
                "allowed tension proposed: {kn:.1} kN, {:.0} % of the proof load of class {}; give --allowed-kN to set \
                 your own. It is no proof that this bolt holds it",
                100.0 * thread::SHARE_OF_PROOF,
                add.class.as_deref().unwrap_or_default()
            ));
        }
        if allowed_kn.is_none() {
            say("no limit set: no run on this bolt can be checked against its allowed tension");
        }
        caution::show(context.format);
    }
    Ok(())
}

/// The factor of friction and geometry in the form of ISO 16047, and the figures it came from; none where no
/// friction was given.
fn friction(add: &Add, thread: Option<Thread>) -> Result<Option<(GivenFactor, String)>, CliError> {
    let (Some(mu), Some(mu_b), Some(outer), Some(hole)) =
        (add.thread_friction, add.bearing_friction, add.bearing_outer_mm, add.hole_mm)
    else {
        return Ok(None);
    };
    let Some(Thread::Metric(metric)) = thread else {
        return Err(CliError::usage(format!(
            "--thread-friction: expected a metric thread such as M20x2.5, found '{}'",
            add.thread
        )));
    };
    if outer <= hole {
        return Err(CliError::usage(format!(
            "--bearing-outer-mm: expected more than the hole of {hole} mm, found {outer}"
        )));
    }
    let n_per_nm = Joint::new(metric, outer, hole).bolt_factor_per_m(Friction { thread: mu, bearing: mu_b });
    let source = format!("friction (ISO 16047): {mu}/{mu_b}, bearing {outer}/{hole} mm");
    Ok(Some((GivenFactor::Ratio { n_per_nm }, source)))
}

/// The factor as it was given, so that the entry can be read back as typed.
fn factor(add: &Add) -> Option<GivenFactor> {
    let nut_factor = add.nut_factor.map(|nut_factor| GivenFactor::NutFactor { nut_factor });
    let ratio = add.factor_n_per_nm.map(|n_per_nm| GivenFactor::Ratio { n_per_nm });
    let lbf = add.factor_lbf_per_lbf_ft.map(|lbf_per_lbf_ft| GivenFactor::RatioLbf { lbf_per_lbf_ft });
    nut_factor.or(ratio).or(lbf)
}

/// The factor of a bolt's document in N per N·m; none where it has none.
#[must_use]
pub fn factor_of(document: &Value) -> Option<f64> {
    let bolt: TestBolt = serde_json::from_value(document.clone()).ok()?;
    bolt.in_force().ok()?.factor.map(|factor| factor.0)
}
