//! `runs recompute`: stored runs measured again from their raw codes; each change is a new row.
//!
//! Which runs is said by numbers or by the filters of `runs list`. What is measured, and whether anything
//! differs, is the API's business; here its answers become rows.

use crate::context::{Context, who};
use crate::door::segment;
use crate::error::CliError;
use crate::output::{Cell, Format, Rows, print, say};
use axum::http::Method;
use boltscribe_model::constants::Calibration;
use clap::{ArgGroup, Args};
use serde::Deserialize;
use serde_json::{Value, json};
use std::path::Path;

/// Runs in one question.
const RUNS_A_REQUEST: usize = 50;

/// Options of `runs recompute`.
#[derive(Debug, Args)]
#[command(
    before_help = "Examples:
  boltscribe runs recompute --all --dry-run                       does this program measure as the one before?
  boltscribe runs recompute --rig bench --calibration cell-2 --why \"cell calibrated anew\"
  boltscribe runs recompute 41 42 --calibration cell-2.json --why \"wrong line in the settings\"
  boltscribe runs recompute --all --measure-settings --why \"gates at 2 s and 5 s\"
",
    group = ArgGroup::new("which").args(["runs", "all", "rig", "setup", "tool", "since", "until"])
        .required(true).multiple(true)
)]
pub struct Recompute {
    /// Numbers of runs.
    #[arg(value_name = "RUN")]
    pub runs: Vec<i64>,
    /// Every run.
    #[arg(long, conflicts_with_all = ["runs", "rig", "setup", "tool", "since", "until"])]
    pub all: bool,
    /// Runs of this rig.
    #[arg(long, conflicts_with = "runs")]
    pub rig: Option<String>,
    /// Runs with this setup.
    #[arg(long, conflicts_with = "runs")]
    pub setup: Option<String>,
    /// Runs with this tool.
    #[arg(long, conflicts_with = "runs")]
    pub tool: Option<String>,
    /// Runs at or after this time, such as 2026-01-31T13:00:00Z.
    #[arg(long, value_name = "TIME", conflicts_with = "runs")]
    pub since: Option<String>,
    /// Runs before this time.
    #[arg(long, value_name = "TIME", conflicts_with = "runs")]
    pub until: Option<String>,
    /// Another calibration: its name, `in-use` for the one the rig works with, or a JSON file.
    #[arg(long, value_name = "NAME|FILE")]
    pub calibration: Option<String>,
    /// Gates, low-pass and limits as the rig is set now, not as it was set then.
    #[arg(long)]
    pub measure_settings: bool,
    /// Factor and allowed tension of the run's test bolt as they stand on the shelf now.
    #[arg(long)]
    pub bolt_figures: bool,
    /// Only say what would change.
    #[arg(long)]
    pub dry_run: bool,
    /// Why, for the record.
    #[arg(long, required_unless_present = "dry_run")]
    pub why: Option<String>,
    /// Who does it (default: the login name).
    #[arg(long)]
    pub who: Option<String>,
}

/// Measures again.
///
/// # Errors
/// A calibration that is not found, a run that cannot be measured again (the answer is no; the others are done).
pub async fn run(recompute: &Recompute, context: &Context) -> Result<(), CliError> {
    let mut body = json!({ "who": who(recompute.who.as_deref())?, "dry_run": recompute.dry_run,
        "measure_settings": recompute.measure_settings, "bolt_figures": recompute.bolt_figures });
    if let Some(why) = &recompute.why {
        body["why"] = json!(why);
    }
    if let Some(named) = &recompute.calibration {
        body["calibration"] = line(named)?;
    }
    let runs = match recompute.runs.is_empty() {
        true => found(recompute, context).await?,
        false => recompute.runs.clone(),
    };
    let mut outcomes: Vec<Value> = Vec::new();
    for part in runs.chunks(RUNS_A_REQUEST) {
        body["runs"] = json!(part);
        let answer = context.door.change(Method::POST, "runs/recompute", &body).await?;
        let Some(part) = answer["outcomes"].as_array() else {
            return Err(CliError::Answer {
                request: "POST runs/recompute".into(),
                expected: "a list of outcomes",
                found: answer.to_string().chars().take(120).collect(),
            });
        };
        outcomes.extend(part.iter().cloned());
    }
    let count = |word: &str| outcomes.iter().filter(|o| o["outcome"] == word).count();
    let (changed, would, refused) = (count("recomputed"), count("would-change"), count("refused"));
    print(context.format, &json!({ "outcomes": outcomes }), &rows(&outcomes))?;
    if context.format == Format::Table {
        let unchanged = count("unchanged");
        say(&format!(
            "{} differ, {unchanged} are as they were, {refused} cannot be measured again",
            changed + would
        ));
    }
    match refused {
        0 => Ok(()),
        n => Err(CliError::No {
            what: format!("{n} of {} run(s) cannot be measured again", outcomes.len()),
            hint: Some("their rows above say why".into()),
        }),
    }
}

/// Numbers of the runs that fit, oldest first.
async fn found(recompute: &Recompute, context: &Context) -> Result<Vec<i64>, CliError> {
    let mut filter = String::new();
    for (key, value) in [
        ("rig", &recompute.rig),
        ("setup", &recompute.setup),
        ("tool", &recompute.tool),
        ("since", &recompute.since),
        ("until", &recompute.until),
    ] {
        if let Some(value) = value {
            filter.push_str(&format!("&{key}={}", segment(value)));
        }
    }
    let mut runs = Vec::new();
    let mut before = String::new();
    loop {
        let (page, items) = context.list(&format!("runs?limit=1000{filter}{before}"), "runs").await?;
        runs.extend(items.iter().filter_map(|run| run["id"].as_i64()));
        match page["next"].as_i64() {
            Some(next) => before = format!("&before={next}"),
            None => break,
        }
    }
    runs.reverse();
    Ok(runs)
}

/// A calibration as a file holds it: as in the store, or as `calibrate fit --format json` prints it.
#[derive(Deserialize)]
struct Given {
    id: Option<String>,
    #[serde(rename = "coefficients_kN", alias = "coefficients")]
    coefficients: Vec<f64>,
    #[serde(default)]
    nominal: bool,
    #[serde(rename = "range_kN")]
    range_kn: Option<f64>,
}

/// A file where there is one of this name, else the name of a stored calibration.
fn line(named: &str) -> Result<Value, CliError> {
    let path = Path::new(named);
    if !path.is_file() {
        return Ok(json!(named));
    }
    let text = std::fs::read_to_string(path).map_err(|source| CliError::File {
        tried: "read",
        path: path.to_owned(),
        source,
    })?;
    let given: Given = serde_json::from_str(&text)
        .map_err(|error| CliError::usage(format!("cannot read the calibration {named}: {error}")))?;
    let stem = path.file_stem().map(|stem| stem.to_string_lossy().into_owned());
    let calibration = Calibration {
        id: given.id.or(stem).unwrap_or_default(),
        coefficients_kn: given.coefficients,
        nominal: given.nominal,
        range_kn: given.range_kn,
    };
    calibration.check().map_err(|error| CliError::usage(error.to_string()))?;
    Ok(json!(calibration))
}

/// One row a difference; a run without any has one row that says so.
fn rows(outcomes: &[Value]) -> Rows {
    let mut rows = Rows::new(&["run", "outcome", "figure", "before", "now", "reason"]);
    for outcome in outcomes {
        let differences = outcome["differences"].as_array().map_or(&[][..], Vec::as_slice);
        let first = [Cell::text_of(outcome, "run"), Cell::text_of(outcome, "outcome")];
        if differences.is_empty() {
            let rest = [Cell::None, Cell::None, Cell::None, Cell::text_of(outcome, "reason")];
            rows.rows.push(first.into_iter().chain(rest).collect());
            continue;
        }
        for difference in differences {
            let rest = [
                Cell::text_of(difference, "figure"),
                value(&difference["before"]),
                value(&difference["after"]),
                Cell::None,
            ];
            rows.rows.push(first.iter().cloned().chain(rest).collect());
        }
    }
    rows
}

/// A figure as a cell: numbers to six decimals, lists as words.
pub fn value(value: &Value) -> Cell {
    match value {
        Value::Null => Cell::None,
        Value::Number(number) => Cell::number(number.as_f64(), 6),
        Value::String(text) => Cell::Text(text.clone()),
        Value::Array(items) => {
            let words: Vec<&str> = items.iter().filter_map(Value::as_str).collect();
            Cell::Text(words.join(" "))
        }
        other => Cell::Text(other.to_string()),
    }
}
