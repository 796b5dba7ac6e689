//! The runs of a stored trial as a table of readings, so that a trial and a file are compared by the same code.
//!
//! Which runs count, and why one does not, is the API's word.

use super::super::context::Context;
use super::super::door::segment;
use super::super::error::CliError;
use super::verb::{Args, Measure};
use crate::files::{Quantity, Reading, Readings};
use serde::Deserialize;
use serde_json::{Value, json};

/// A run as the API gives it.
#[derive(Deserialize)]
struct Row {
    run: u64,
    time_s: f64,
    setup: Option<String>,
    tool: Option<String>,
    #[serde(rename = "value_kN")]
    value_kn: Option<f64>,
    pieces: Option<Vec<String>>,
    excluded: Option<String>,
}

#[derive(Deserialize)]
struct Answer {
    measure: String,
    baseline: String,
    gate_s: Option<f64>,
    rows: Vec<Row>,
}

/// A trial's table, and what of the options follows from its plan.
pub struct Found {
    /// The options, filled from the plan where nothing was said.
    pub args: Args,
    /// The table.
    pub table: Readings,
    /// Runs without the figure, with why they took no step.
    pub without: Vec<Value>,
}

/// Asks for the runs of the trial that `args.file` names.
///
/// # Errors
/// No such trial, or an answer that cannot be read.
pub async fn of(args: &Args, measure: Option<Measure>, context: &Context) -> Result<Found, CliError> {
    let name = args.file.to_string_lossy();
    let measured = measure.map_or_else(String::new, |m| format!("?measure={}", m.name()));
    let path = format!("trials/{}/readings{measured}", segment(&name));
    let document = context.door.get(&path).await?;
    let answer: Answer = serde_json::from_value(document).map_err(|error| CliError::Answer {
        request: format!("GET {path}"),
        expected: "runs of a trial",
        found: error.to_string(),
    })?;
    let mut args = args.clone();
    args.baseline = args.baseline.or(Some(answer.baseline));
    args.measure = Measure::of(&answer.measure);
    args.gate_s = answer.gate_s;
    let (mut rows, mut without) = (Vec::new(), Vec::new());
    for (line, row) in (1..).zip(answer.rows) {
        match (row.value_kn, row.setup) {
            (Some(value), Some(setup)) => rows.push(Reading {
                line,
                run: row.run,
                time_s: row.time_s,
                setup,
                tool: row.tool,
                value,
                pieces: row.pieces.unwrap_or_default(),
                excluded: row.excluded,
            }),
            _ => without.push(json!({ "run": row.run, "why": row.excluded })),
        }
    }
    if rows.is_empty() {
        return Err(CliError::No {
            what: format!("trial '{name}': expected runs with a figure '{}', found none", answer.measure),
            hint: Some("`boltscribe trial show` tells how far it is".to_owned()),
        });
    }
    let table = Readings { quantity: Quantity::Tension, column: "tension_kN", has_pieces: true, rows };
    Ok(Found { args, table, without })
}
