//! The verb: options, their checks, and the order of work.
//! Must not work anything out, nor word what is said beside the table.

use super::super::caution;
use super::super::context::Context;
use super::super::error::CliError;
use super::super::output::{Format, print};
use super::{document, pieces, read, rows, talk, trial};
use crate::compare::{Drift, Question, compare};
use crate::files::Readings;
use clap::ValueEnum;
use serde_json::{Value, json};
use std::path::PathBuf;

const EXAMPLES: &str = "Examples:
  boltscribe compare runs.csv --baseline direct
  boltscribe compare runs.csv --baseline direct --drift bracket --format json
  boltscribe compare runs.csv --baseline direct --difference 2
  boltscribe compare runs.csv --baseline direct --by piece --predict \"ext 75 + joint + socket 30\"";

/// Options of `compare`.
#[derive(Clone, Debug, clap::Args)]
#[command(before_help = EXAMPLES)]
pub struct Args {
    /// A trial by its name; or CSV or CSV.gz with the columns run, time_s, setup, perhaps tool, and one of tension_kN, tension_lbf,
    /// torque_Nm, torque_lbf_ft. A column excluded holds reasons, a column pieces chains such as ext+socket.
    #[arg(value_name = "FILE|TRIAL")]
    pub file: PathBuf,
    /// The setup that counts as 100 %; a trial has its own.
    #[arg(long, value_name = "NAME")]
    pub baseline: Option<String>,
    /// How the rig's drift is taken out (default: linear where the first and the last run are the
    /// baseline's, else none).
    #[arg(long, value_enum)]
    pub drift: Option<DriftWord>,
    /// Which measure of a run the values are; it is named in the answer.
    #[arg(long, value_enum)]
    pub measure: Option<Measure>,
    /// The gate of the values, seconds after the first blow; goes with --measure gate.
    #[arg(long = "gate-s", value_name = "S")]
    pub gate_s: Option<f64>,
    /// Risk of a wrong verdict, over all setups of a tool.
    #[arg(long, value_name = "P", default_value_t = 0.05)]
    pub alpha: f64,
    /// A difference in percent that is to be shown: says how many runs of each setup that takes.
    #[arg(long, value_name = "PERCENT")]
    pub difference: Option<f64>,
    /// SD of one run in percent, for --difference, where the file has too few repeats.
    #[arg(long = "expected-sd", value_name = "PERCENT")]
    pub expected_sd: Option<f64>,
    /// What each piece costs, instead of what each setup gives. Needs the column pieces.
    #[arg(long, value_enum)]
    pub by: Option<By>,
    /// A chain that was not tried, such as ext+socket; goes with --by piece.
    #[arg(long, value_name = "PIECES")]
    pub predict: Option<String>,
}

/// Words for the ways to take drift out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum DriftWord {
    /// Not at all.
    None,
    /// A straight line in time, one for the rig.
    Linear,
    /// Each run against the baseline runs before and after it.
    Bracket,
}

/// Measures of a run.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Measure {
    /// Tension a fixed time after the first blow.
    Gate,
    /// Settled tension after the last blow.
    Held,
    /// Highest tension.
    Peak,
    /// Fitted limit.
    Plateau,
}

impl Measure {
    /// The measure of a word.
    #[must_use]
    pub fn of(word: &str) -> Option<Self> {
        Self::value_variants().iter().copied().find(|measure| measure.name() == word)
    }

    /// The word for it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Gate => "gate",
            Self::Held => "held",
            Self::Peak => "peak",
            Self::Plateau => "plateau",
        }
    }
}

/// What the answer is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum By {
    /// Whole setups.
    Setup,
    /// Pieces.
    Piece,
}

impl From<DriftWord> for Drift {
    fn from(word: DriftWord) -> Self {
        match word {
            DriftWord::None => Self::None,
            DriftWord::Linear => Self::Linear,
            DriftWord::Bracket => Self::Bracket,
        }
    }
}

/// Compares the setups, or the pieces, of a file.
///
/// # Errors
/// A file that cannot be read or compared, with line and column; options that do not fit together.
pub fn run(args: &Args, format: Format) -> Result<(), CliError> {
    check(args)?;
    if args.gate_s.is_some() != (args.measure == Some(Measure::Gate)) {
        return Err(CliError::usage_with(
            "--measure gate and --gate-s: expected both or neither, found one of them",
            "the gate is the time after the first blow at which tension was read, such as `--gate-s 3`",
        ));
    }
    let table = read::table(&args.file)?;
    answer(args, format, &table, &[], None)
}

/// Compares the runs of a stored trial; beside the gate the plateau, because a coupling may change both.
///
/// # Errors
/// No such trial, runs that cannot be compared, options that do not fit together.
pub async fn run_trial(args: &Args, context: &Context) -> Result<(), CliError> {
    check(args)?;
    if args.gate_s.is_some() {
        return Err(CliError::usage("--gate-s: expected a file, found a trial, whose runs know their gates"));
    }
    let found = trial::of(args, args.measure, context).await?;
    let beside = match (args.measure, found.args.measure, args.by) {
        (None, Some(Measure::Gate), None | Some(By::Setup)) => {
            trial::of(args, Some(Measure::Plateau), context).await.ok()
        }
        _ => None,
    };
    let also = beside.as_ref().and_then(|found| setups(&found.args, &found.table).ok());
    answer(&found.args, context.format, &found.table, &found.without, also)
}

fn question(args: &Args) -> Result<Question, CliError> {
    let Some(baseline) = args.baseline.clone() else {
        return Err(CliError::usage("--baseline: expected the setup that counts as 100 %, found none"));
    };
    Ok(Question { baseline, drift: args.drift.map(Drift::from), alpha: args.alpha })
}

fn setups(args: &Args, table: &Readings) -> Result<Value, CliError> {
    let found = compare(&read::observations(table), &question(args)?)
        .map_err(|error| read::wrong(&args.file, table, &error))?;
    Ok(document::of(args, table, &found))
}

fn answer(
    args: &Args,
    format: Format,
    table: &Readings,
    without: &[Value],
    also: Option<Value>,
) -> Result<(), CliError> {
    let (question, observations) = (question(args)?, read::observations(table));
    if args.by == Some(By::Piece) {
        return pieces::run(args, format, table, &observations, &question);
    }
    let mut document = setups(args, table)?;
    if let Some(excluded) = document["excluded"].as_array_mut() {
        excluded.extend(without.iter().cloned());
    }
    if let Some(also) = also {
        document["beside"] = json!({ "measure": also["measure"], "setups": also["setups"] });
    }
    print(format, &document, &rows::of(&document, format))?;
    if format == Format::Table {
        talk::of_setups(args, &document);
        caution::show(format);
    }
    Ok(())
}

fn check(args: &Args) -> Result<(), CliError> {
    let percent = |name: &str, value: Option<f64>| match value {
        Some(v) if !(v.is_finite() && v > 0.0 && v < 100.0) => {
            Err(CliError::usage(format!("{name}: expected percent above 0 and below 100, found {v}")))
        }
        _ => Ok(()),
    };
    percent("--difference", args.difference)?;
    percent("--expected-sd", args.expected_sd)?;
    if !(args.alpha > 0.0 && args.alpha < 0.5) {
        return Err(CliError::usage(format!(
            "--alpha: expected a risk between 0 and 0.5, found {}",
            args.alpha
        )));
    }
    if let Some(gate) = args.gate_s.filter(|g| !(g.is_finite() && *g > 0.0 && *g <= 300.0)) {
        return Err(CliError::usage(format!(
            "--gate-s: expected seconds above 0 and at most 300, found {gate}"
        )));
    }
    if args.expected_sd.is_some() && args.difference.is_none() {
        return Err(CliError::usage("--expected-sd: expected with --difference, found alone"));
    }
    if args.predict.is_some() && args.by != Some(By::Piece) {
        return Err(CliError::usage("--predict: expected with --by piece, found without it"));
    }
    Ok(())
}
