//! The verb: options, their checks, and the order of work.
//! Must not work anything out, nor word what is said beside the table.

use super::super::caution;
use super::super::context::Context;
use super::super::door::segment;
use super::super::error::CliError;
use super::super::measure::Measure;
use super::super::output::{Format, print};
use super::{pieces, read, rows, talk};
use boltscribe_analysis::compare::simulation::{Simulated, TRIALS, simulate};
use boltscribe_analysis::compare::told_design::SimulationTold;
use boltscribe_analysis::compare::{Asked, Drift, PieceModel, Question, Totals, compare, of_setups};
use boltscribe_model::units::{NewtonMetres, Newtons};
use boltscribe_tables::files::{Quantity, Readings};
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
    /// torque_Nm, torque_lbf_ft. A column excluded holds reasons, a column pieces chains such as ext+socket, a column
    /// mounting a new name for each time that the coupling was put on.
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
    /// The smallest step that could be read, in the unit of the file (default: the coarsest that all its values are multiples of).
    #[arg(long, value_name = "STEP")]
    pub resolution: Option<f64>,
    /// A difference in percent that is to be shown: says how many runs of each setup that takes.
    #[arg(long, value_name = "PERCENT")]
    pub difference: Option<f64>,
    /// SD of one run in percent, for --difference, where the file has too few repeats.
    #[arg(long = "expected-sd", value_name = "PERCENT")]
    pub expected_sd: Option<f64>,
    /// A loss in percent that is to be ruled out: two one-sided tests for all setups of a tool together.
    #[arg(long = "no-loss-above", value_name = "PERCENT")]
    pub no_loss_above: Option<f64>,
    /// Count how often a comparison of just these runs is right, in so many simulated trials with a known truth: coverage,
    /// false differences and power without drift, with two kinds of drift, and where mountings scatter.
    #[arg(long, value_name = "N")]
    pub simulate: Option<u32>,
    /// What --simulate draws from: the same seed, the same counts.
    #[arg(long, value_name = "N", default_value_t = 1, requires = "simulate")]
    pub seed: u64,
    /// What each piece costs, instead of what each setup gives. Needs the column pieces.
    #[arg(long, value_enum)]
    pub by: Option<By>,
    /// How losses of pieces go together, with --by piece: each leaves a share (product), or each adds to 1/F² (compliance).
    #[arg(long, value_enum)]
    pub model: Option<ModelWord>,
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

/// Words for how losses go together.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum ModelWord {
    /// Each piece leaves a share.
    Product,
    /// Each piece adds to 1/F².
    Compliance,
}

impl From<ModelWord> for PieceModel {
    fn from(word: ModelWord) -> Self {
        match word {
            ModelWord::Product => Self::Product,
            ModelWord::Compliance => Self::Compliance,
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
    let document = of_file(args, &table)?;
    show(args, format, &document)
}

/// Compares the runs of a stored trial; beside the gate stands the plateau, because a coupling may change both.
///
/// # Errors
/// No such trial, runs that cannot be compared, options that do not fit together.
pub async fn run_trial(args: &Args, context: &Context) -> Result<(), CliError> {
    check(args)?;
    if args.resolution.is_some() {
        return Err(CliError::usage(
            "--resolution: expected a file, found a trial, whose runs know their dial",
        ));
    }
    if args.gate_s.is_some() {
        return Err(CliError::usage("--gate-s: expected a file, found a trial, whose runs know their gates"));
    }
    // A mistake in it is told under the option's name.
    let untried = pieces::untried(args)?;
    let number = |value: Option<f64>| value.map(|v| v.to_string());
    let by = args.by.map(|by| if by == By::Piece { "piece" } else { "setup" }.to_owned());
    let asked = [
        ("baseline", args.baseline.clone()),
        ("measure", args.measure.map(|measure| measure.name().to_owned())),
        ("drift", args.drift.map(|drift| Drift::from(drift).name().to_owned())),
        ("alpha", Some(args.alpha.to_string())),
        ("difference", number(args.difference)),
        ("expected_sd", number(args.expected_sd)),
        ("no_loss_above", number(args.no_loss_above)),
        ("simulate", args.simulate.map(|trials| trials.to_string())),
        ("seed", args.simulate.map(|_| args.seed.to_string())),
        ("by", by),
        ("model", args.model.map(|model| PieceModel::from(model).name().to_owned())),
        ("predict", untried.map(|chain| chain.join("+"))),
    ];
    let given = asked.iter().filter_map(|(key, value)| Some(format!("{key}={}", segment(value.as_ref()?))));
    let query = given.collect::<Vec<_>>().join("&");
    let name = args.file.to_string_lossy();
    let document = context.door.get(&format!("trials/{}/comparison?{query}", segment(&name))).await?;
    show(args, context.format, &document)
}

fn of_file(args: &Args, table: &Readings) -> Result<Value, CliError> {
    let Some(baseline) = args.baseline.clone() else {
        return Err(CliError::usage("--baseline: expected the setup that counts as 100 %, found none"));
    };
    let observations = read::observations(table, resolution(args, table));
    let (quantity, unit) = match table.quantity {
        Quantity::Tension => ("tension", "kN"),
        Quantity::Torque => ("torque", "N·m"),
    };
    let asked = Asked {
        measure: args.measure.map_or(quantity, Measure::name),
        quantity,
        unit,
        gate_s: args.gate_s,
        baseline: &baseline,
        alpha: args.alpha,
        difference: args.difference,
        expected_sd: args.expected_sd,
        no_loss_above: args.no_loss_above,
    };
    let drift = args.drift.map(Drift::from);
    let question = Question { baseline: baseline.clone(), drift, alpha: args.alpha };
    if args.by == Some(By::Piece) {
        return pieces::of(args, table, &observations, &question, &asked);
    }
    let found = compare(&observations, &question).map_err(|error| read::wrong(&args.file, table, &error))?;
    let mut document = of_setups(&asked, &found, &Totals::none());
    if let Some(trials) = args.simulate {
        let wanted = Simulated::of(&found, (trials, args.seed), args.expected_sd, args.difference)
            .ok_or_else(|| {
                CliError::usage("--simulate: no spread is known, give --expected-sd, or repeat runs")
            })?;
        let counted = simulate(&observations, &question, &wanted)
            .map_err(|error| CliError::usage(format!("--simulate: {error}")))?;
        document.simulation = Some(SimulationTold::of(&wanted, &counted, args.alpha));
    }
    Ok(json!(document))
}

/// The step that could be read, told in the unit of the column, in kN or N·m.
fn resolution(args: &Args, table: &Readings) -> Option<f64> {
    args.resolution.map(|step| match table.column {
        "tension_lbf" => Newtons::from_lbf(step).kn(),
        "torque_lbf_ft" => NewtonMetres::from_lbf_ft(step).get(),
        _ => step,
    })
}

fn show(args: &Args, format: Format, document: &Value) -> Result<(), CliError> {
    if args.by == Some(By::Piece) {
        return pieces::show(args, format, document);
    }
    print(format, document, &rows::of(document, format))?;
    caution::mark(format, document);
    if format == Format::Table {
        talk::of_setups(args, document);
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
    percent("--no-loss-above", args.no_loss_above)?;
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
    if let Some(step) = args.resolution.filter(|step| !(step.is_finite() && *step > 0.0)) {
        return Err(CliError::usage(format!("--resolution: expected a step above 0, found {step}")));
    }
    if let Some(trials) = args.simulate.filter(|n| !(TRIALS.0..=TRIALS.1).contains(n)) {
        let what = format!("--simulate: expected {} to {} trials, found {trials}", TRIALS.0, TRIALS.1);
        return Err(CliError::usage(what));
    }
    if args.simulate.is_some() && args.by == Some(By::Piece) {
        return Err(CliError::usage("--simulate: expected a comparison of setups, found --by piece"));
    }
    if args.expected_sd.is_some() && args.difference.is_none() && args.simulate.is_none() {
        return Err(CliError::usage("--expected-sd: expected with --difference or --simulate, found alone"));
    }
    if args.model.is_some() && args.by != Some(By::Piece) {
        return Err(CliError::usage("--model: expected with --by piece, found without it"));
    }
    if args.predict.is_some() && args.by != Some(By::Piece) {
        return Err(CliError::usage("--predict: expected with --by piece, found without it"));
    }
    Ok(())
}
