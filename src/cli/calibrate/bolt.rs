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
use boltscribe_model::setups::bolt::NUT_FACTOR_RANGE;
use boltscribe_model::setups::{GivenFactor, TestBolt};
use boltscribe_model::units::{NewtonMetres, Newtons};
use boltscribe_tables::files::Columns;
use serde_json::json;
use std::path::PathBuf;
use std::time::Duration;

/// A p below this says that the ratio hangs on the torque at which it was taken.
const INTERCEPT_P: f64 = 0.05;
/// A scatter between tightenings above this share is asked about, and refused of a file: torque and tension by hand wrench
/// scatter by about a tenth (common practice, no source).
const SCATTER_MAX: f64 = 0.25;
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
    /// Take a factor whose tightenings scatter by more than 25 %.
    #[arg(long)]
    pub in_spite: bool,
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
    // One for all questions, since it reads ahead; none where a file answers them.
    let mut asker = None;
    let tightenings = match &args.file {
        Some(file) => of_file(file)?,
        None => guided((args, &by), &bolt, asker.insert(Asker::new()), context).await?,
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
    let doubt = doubt(&found);
    if let (Some(doubt), Some(file), false) = (&doubt, &args.file, args.in_spite || args.dry_run) {
        let what = format!("{}: {doubt}", file.display());
        return Err(CliError::usage_with(
            what,
            "look at the readings and their units; `--in-spite` takes it as it is",
        ));
    }
    let agreed = match &mut asker {
        Some(asker) if !args.dry_run => agreed(&found, &bolt, doubt.as_deref(), asker).await?,
        _ => true,
    };
    let stored = !args.dry_run && agreed;
    if stored {
        let body = json!({ "who": by, "why": "bolt factor measured", "document": bolt });
        context.door.change(Method::PUT, &path, &body).await?;
    }
    show(&found, &bolt, stored, context)?;
    if stored { in_use(&bolt, found.factor.0, context).await } else { Ok(()) }
}

/// What speaks against a factor; none where nothing does. A nut factor that no thread has is refused by the bolt itself.
fn doubt(found: &MeasuredFactor) -> Option<String> {
    let share = found.sd / found.factor.0;
    (share > SCATTER_MAX).then(|| {
        let (percent, at_most) = (100.0 * share, 100.0 * SCATTER_MAX);
        format!("the tightenings scatter by {percent:.0} % (SD): expected at most {at_most:.0} %")
    })
}

/// Shows the factor to the person at the rig, and asks.
async fn agreed(
    found: &MeasuredFactor,
    bolt: &TestBolt,
    doubt: Option<&str>,
    asker: &mut Asker,
) -> Result<bool, CliError> {
    tell(&format!(
        "\n{} tightenings: {:.2} N per N·m, SD {:.1} %, nut factor {:.3}.\n",
        found.tightenings,
        found.factor.0,
        100.0 * found.sd / found.factor.0,
        found.factor.nut_factor(bolt.diameter_mm / 1000.0)
    ))?;
    if let Some(doubt) = doubt {
        tell(&format!("  {doubt}.\n"))?;
    }
    asker.yes(&format!("put it on the shelf for '{}'", bolt.name), doubt.is_none()).await
}

/// Which rigs still go by the factor of before: a rig takes a bolt's figures when it is put to use.
async fn in_use(bolt: &TestBolt, n_per_nm: f64, context: &Context) -> Result<(), CliError> {
    if context.format != Format::Table {
        return Ok(());
    }
    let (_, rigs) = context.list("rigs", "rigs").await?;
    for rig in &rigs {
        let now = &rig["in_force"]["bolt"];
        if now["name"] == bolt.name.as_str() && now["factor_N_per_Nm"].as_f64() != Some(n_per_nm) {
            let name = rig["rig"].as_str().unwrap_or_default();
            say(&format!(
                "rig '{name}' still goes by the factor of before: `boltscribe setup use SETUP --rig {name} --bolt {}` takes \
                 the new one",
                bolt.name
            ));
        }
    }
    Ok(())
}

fn show(found: &MeasuredFactor, bolt: &TestBolt, stored: bool, context: &Context) -> Result<(), CliError> {
    let (factor, share) = (found.factor, found.sd / found.factor.0);
    let document = json!({
        "bolt": bolt.name, "factor_N_per_Nm": factor.0, "factor_lbf_per_lbf_ft": factor.lbf_per_lbf_ft(),
        "nut_factor": factor.nut_factor(bolt.diameter_mm / 1000.0), "sd_N_per_Nm": found.sd,
        "sd_percent": 100.0 * share, "standard_error_N_per_Nm": found.standard_error,
        "tightenings": found.tightenings, "degrees_of_freedom": found.degrees_of_freedom,
        "intercept_kN": found.intercept.map(|i| i.tension.kn()),
        "intercept_se_kN": found.intercept.map(|i| i.standard_error.kn()),
        "intercept_p": found.intercept.map(|i| i.p_value),
        "stored": stored,
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
    (args, by): (&Bolt, &str),
    bolt: &TestBolt,
    asker: &mut Asker,
    context: &Context,
) -> Result<Vec<Vec<Reading>>, CliError> {
    let rig = context.rig_or_only(args.rig.as_deref()).await?;
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
        let reading = Reading { torque, tension };
        let (words, keep) = looked_at(reading, bolt.diameter_mm);
        tell(&words)?;
        if let Some(plausible) = keep
            && asker.yes("keep it", plausible).await?
        {
            all.push(vec![reading]);
        }
        if all.len() >= TIGHTENINGS_MIN && !asker.yes("another tightening", all.len() < 5).await? {
            uncoupled.end(context).await?;
            return Ok(all);
        }
        tell("  Loosen the bolt fully.\n")?;
    }
}

/// What a reading looks like, and whether keeping it is what one would do; none where it cannot be kept.
fn looked_at(Reading { torque, tension }: Reading, diameter_mm: f64) -> (String, Option<bool>) {
    if tension.get() <= 0.0 {
        return ("  no tension: the bolt must be pulled when the torque is typed\n".to_owned(), None);
    }
    let ratio = tension.get() / torque.get();
    let nut_factor = 1000.0 / (ratio * diameter_mm);
    let plausible = NUT_FACTOR_RANGE.contains(&nut_factor);
    let doubt =
        if plausible { "" } else { ", which no thread has: is that the torque, was the bolt still pulled?" };
    let words = format!(
        "  tension {:.3} kN at {:.1} N·m: {ratio:.1} N per N·m, nut factor {nut_factor:.3}{doubt}\n",
        tension.kn(),
        torque.get()
    );
    (words, Some(plausible))
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tightening_without_tension_is_not_kept_and_one_that_no_thread_has_is_kept_on_demand_only() {
        let of = |nm: f64, kn: f64| {
            looked_at(Reading { torque: NewtonMetres(nm), tension: Newtons::from_kn(kn) }, 20.0)
        };
        // T = K·F·d (Shigley, eq. 8-27): 200 N·m = 0.16 × 62.5 kN × 0.02 m.
        assert!(of(200.0, 62.5).0.contains("nut factor 0.160\n") && of(200.0, 62.5).1 == Some(true));
        for nothing in [0.0, -0.02] {
            assert!(of(200.0, nothing).1.is_none() && of(200.0, nothing).0.contains("no tension"));
        }
        // Enter kept it before: the bolt was loose, or the torque was typed in lbf in.
        for (nm, kn) in [(200.0, 0.003), (1770.0, 62.5)] {
            assert!(of(nm, kn).1 == Some(false) && of(nm, kn).0.contains("which no thread has"));
        }
    }
}
