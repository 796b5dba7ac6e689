//! `calibrate bolt`: the bolt factor of a test bolt from tightenings with a calibrated hand wrench.
//!
//! From a file, or guided at a rig: the operator tightens, types the torque, and the tension is read live. The
//! bolt on the shelf gets a new version with the factor and its scatter.

use super::super::ask::{Asker, number, tell};
use super::super::caution;
use super::super::context::{Context, who};
use super::super::door::segment;
use super::super::error::CliError;
use super::super::output::{Cell, Format, Rows, print, say};
use super::fit::{bad, read};
use super::uncoupled;
use axum::http::Method;
use boltscribe_analysis::metrology::bolt_factor::{MeasuredFactor, Reading, TIGHTENINGS_MIN, measure};
use boltscribe_model::setups::{GivenFactor, TestBolt};
use boltscribe_model::units::{NewtonMetres, Newtons};
use boltscribe_tables::files::Columns;
use serde_json::json;
use std::path::PathBuf;
use std::time::Duration;

/// A p below this says that the ratio hangs on the torque at which it was taken.
const INTERCEPT_P: f64 = 0.05;
/// Live readings averaged into one, and the time between them.
const READINGS: usize = 10;
const BETWEEN: Duration = Duration::from_millis(100);

/// Options of `calibrate bolt`.
#[derive(Clone, Debug, clap::Args)]
#[command(before_help = "Examples:
  boltscribe calibrate bolt m20-a --rig bench-1 --wrench \"hand wrench 3, certificate W-12\" --wrench-uncertainty-percent 3
  boltscribe calibrate bolt m20-a --file m20-a.csv --wrench \"hand wrench 3\" --wrench-uncertainty-percent 3
FILE has tightening,torque_Nm (or torque_lbf_ft),tension_kN (or tension_lbf): each tightening with one or more readings.
")]
pub struct Bolt {
    /// The test bolt, as it stands on the shelf.
    pub name: String,
    /// CSV of tightenings; without it you are guided at the rig.
    #[arg(long, value_name = "FILE")]
    pub file: Option<PathBuf>,
    /// The rig whose tension is read; may be left out where there is only one.
    #[arg(long, conflicts_with = "file")]
    pub rig: Option<String>,
    /// The hand wrench and its certificate.
    #[arg(long)]
    pub wrench: String,
    /// Expanded uncertainty (k = 2) of its torque, percent.
    #[arg(long, value_name = "PERCENT")]
    pub wrench_uncertainty_percent: f64,
    /// Show the factor and leave the shelf as it is.
    #[arg(long)]
    pub dry_run: bool,
    /// Who does it (default: the login name).
    #[arg(long)]
    pub who: Option<String>,
}

/// Measures the factor and puts the bolt's new version on the shelf.
///
/// # Errors
/// No such bolt, readings that give no factor, a rig that shows no tension.
pub async fn run(args: &Bolt, context: &Context) -> Result<(), CliError> {
    let by = who(args.who.as_deref())?;
    let path = format!("shelf/bolts/{}", segment(&args.name));
    let document = context.door.get(&path).await?;
    let mut bolt: TestBolt = serde_json::from_value(document).map_err(|error| CliError::Answer {
        request: format!("GET {path}"),
        expected: "a test bolt",
        found: error.to_string(),
    })?;
    let tightenings = match &args.file {
        Some(file) => of_file(file)?,
        None => guided(args, &bolt, &by, context).await?,
    };
    let found = measure(&tightenings).map_err(|error| match &args.file {
        Some(file) => bad(file, error),
        None => CliError::usage(error.to_string()),
    })?;
    bolt.factor = Some(GivenFactor::Measured {
        n_per_nm: found.factor.0,
        sd_n_per_nm: found.sd,
        tightenings: found.tightenings as u32,
        wrench_uncertainty_percent: args.wrench_uncertainty_percent,
    });
    bolt.factor_source = Some(args.wrench.clone());
    bolt.check().map_err(|error| CliError::usage(error.to_string()))?;
    if !args.dry_run {
        let body = json!({ "who": by, "why": "bolt factor measured", "document": bolt });
        context.door.change(Method::PUT, &path, &body).await?;
    }
    show(&found, &bolt, args, context)
}

fn show(found: &MeasuredFactor, bolt: &TestBolt, args: &Bolt, context: &Context) -> Result<(), CliError> {
    let (factor, share) = (found.factor, found.sd / found.factor.0);
    let document = json!({
        "bolt": bolt.name, "factor_N_per_Nm": factor.0, "factor_lbf_per_lbf_ft": factor.lbf_per_lbf_ft(),
        "nut_factor": factor.nut_factor(bolt.diameter_mm / 1000.0), "sd_N_per_Nm": found.sd,
        "sd_percent": 100.0 * share, "standard_error_N_per_Nm": found.standard_error,
        "tightenings": found.tightenings, "degrees_of_freedom": found.degrees_of_freedom,
        "intercept_kN": found.intercept.map(|i| i.tension.kn()),
        "intercept_se_kN": found.intercept.map(|i| i.standard_error.kn()),
        "intercept_p": found.intercept.map(|i| i.p_value),
        "stored": !args.dry_run,
    });
    let columns = [
        ("bolt", 0),
        ("factor_N_per_Nm", 2),
        ("factor_lbf_per_lbf_ft", 2),
        ("nut_factor", 4),
        ("sd_percent", 2),
        ("tightenings", 0),
        ("intercept_kN", 3),
        ("intercept_p", 3),
    ];
    let names: Vec<&'static str> = columns.iter().map(|(name, _)| *name).collect();
    let mut rows = Rows::new(&names);
    let cell = |(name, decimals): &(&'static str, usize)| match *name {
        "bolt" => Cell::text_of(&document, name),
        _ => Cell::number_of(&document, name, *decimals),
    };
    rows.rows.push(columns.iter().map(cell).collect());
    print(context.format, &document, &rows)?;
    if context.format == Format::Table {
        if found.intercept.is_some_and(|i| i.p_value < INTERCEPT_P) {
            say(
                "tension and torque do not go through zero together: the factor holds near the torques it was taken at \
                 (is the wrench, the zero or the friction at fault?)",
            );
        }
        say(
            "it holds for this bolt, this lubricant and this number of tightenings: friction moves as parts are used",
        );
        caution::show(context.format);
    }
    Ok(())
}

/// Tightenings of a file, in the order in which their names first come.
fn of_file(path: &std::path::Path) -> Result<Vec<Vec<Reading>>, CliError> {
    let failed = |error| bad(path, error);
    let table = Columns::read(&read(path)?).map_err(failed)?;
    let one_of = |a: &'static str, b: &'static str| match (table.has(a), table.has(b)) {
        (true, false) => Ok((a, false)),
        (false, true) => Ok((b, true)),
        (both, _) => {
            let found = if both { "both: two units in one file" } else { "neither" };
            let line = table.header_line;
            Err(bad(path, format!("line {line}: expected one of the columns '{a}' and '{b}', found {found}")))
        }
    };
    let name = table.place("tightening").map_err(failed)?;
    let ((torque, feet), (tension, pounds)) =
        (one_of("torque_Nm", "torque_lbf_ft")?, one_of("tension_kN", "tension_lbf")?);
    let (torques, tensions) =
        (table.numbers(torque).map_err(failed)?, table.numbers(tension).map_err(failed)?);
    let mut names: Vec<String> = Vec::new();
    let mut all: Vec<Vec<Reading>> = Vec::new();
    for (row, (torque, tension)) in torques.iter().zip(&tensions).enumerate() {
        let reading = Reading {
            torque: torque_of(torque.to_f64(), feet),
            tension: if pounds {
                Newtons::from_lbf(tension.to_f64())
            } else {
                Newtons::from_kn(tension.to_f64())
            },
        };
        let own = table.text(row, name).to_owned();
        match names.iter().position(|known| *known == own) {
            Some(at) => all[at].push(reading),
            None => {
                names.push(own);
                all.push(vec![reading]);
            }
        }
    }
    Ok(all)
}

fn torque_of(value: f64, feet: bool) -> NewtonMetres {
    if feet { NewtonMetres::from_lbf_ft(value) } else { NewtonMetres(value) }
}

async fn guided(
    args: &Bolt,
    bolt: &TestBolt,
    by: &str,
    context: &Context,
) -> Result<Vec<Vec<Reading>>, CliError> {
    let rig = context.rig_or_only(args.rig.as_deref()).await?;
    let mut asker = Asker::new();
    tell(&format!(
        "Bolt factor of '{}' at rig '{rig}'. Tighten with the hand wrench in one smooth pull, read the torque, type \
         it here while the wrench still pulls or right after it: the tension is read then. At least {TIGHTENINGS_MIN} \
         tightenings, the bolt loosened fully between them. Stay below the allowed tension ({}). Stay out of the \
         bolt's line, wear eye protection.\n",
        bolt.name,
        bolt.allowed_kn.map_or("no limit set".to_owned(), |kn| format!("{kn} kN")),
    ))?;
    let uncoupled = uncoupled::begin(&rig, by, context).await?;
    let mut all: Vec<Vec<Reading>> = Vec::new();
    loop {
        tell(&format!("\nTightening {}.\n", all.len() + 1))?;
        let torque = asker.ask("torque in N·m, or lbf ft such as '150 lbf ft'", None, torque_typed).await?;
        let tension = settled(&rig, context).await?;
        let ratio = tension.get() / torque.get();
        tell(&format!(
            "  tension {:.3} kN at {:.1} N·m: {ratio:.1} N per N·m\n",
            tension.kn(),
            torque.get()
        ))?;
        if asker.yes("keep it", true).await? {
            all.push(vec![Reading { torque, tension }]);
        }
        if all.len() >= TIGHTENINGS_MIN && !asker.yes("another tightening", all.len() < 5).await? {
            uncoupled.end(context).await?;
            return Ok(all);
        }
        tell("  Loosen the bolt fully.\n")?;
    }
}

fn torque_typed(text: &str) -> Result<NewtonMetres, String> {
    let (text, feet) = match text.strip_suffix("lbf ft").or_else(|| text.strip_suffix("lbf·ft")) {
        Some(rest) => (rest.trim(), true),
        None => (text.trim_end_matches("Nm").trim_end_matches("N·m").trim(), false),
    };
    let value = number(text)?;
    if value > 0.0 { Ok(torque_of(value, feet)) } else { Err("expected more than 0".to_owned()) }
}

/// The mean of some live readings.
async fn settled(rig: &str, context: &Context) -> Result<Newtons, CliError> {
    let mut sum = 0.0;
    for _ in 0..READINGS {
        let (_, rigs) = context.list("rigs", "rigs").await?;
        let rig_now = rigs.iter().find(|known| known["rig"] == rig);
        let Some(kn) = rig_now.and_then(|known| known["tension_kN"].as_f64()) else {
            return Err(CliError::No {
                what: format!("cannot read the tension of rig '{rig}': expected a live reading, found none"),
                hint: Some("`boltscribe rig list` says what is wrong; a line needs a calibration".into()),
            });
        };
        // The zero is taken off already.
        sum += kn;
        tokio::time::sleep(BETWEEN).await;
    }
    Ok(Newtons::from_kn(sum / READINGS as f64))
}
