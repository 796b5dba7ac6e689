//! `runs show ID`: every figure of one run with its unit, and the trace drawn.
//!
//! Keys of the API's document end in their unit, which becomes a column. Must not compute any figure.

use crate::caution;
use crate::context::Context;
use crate::error::CliError;
use crate::output::{Cell, Format, Rows, print, print_text, printable, terminal_width};
use crate::plot::{Look, Mark, Point, draw};
use crate::setup::usage::source_words;
use crate::shown::{chosen, converted};
use clap::Args;
use serde_json::{Value, json};
use std::io::IsTerminal;

/// Rows of the plot.
const PLOT_ROWS: usize = 16;
/// Width where standard output is no terminal.
const WIDTH_DEFAULT: u16 = 80;

/// Options of `runs show`.
#[derive(Debug, Args)]
#[command(before_help = "Examples:\n  boltscribe runs show 42\n  boltscribe --format json runs show 42\n")]
pub struct Show {
    /// Number of the run.
    pub id: u64,
    /// Leave the drawing out.
    #[arg(long)]
    pub no_plot: bool,
}

/// Shows a run.
///
/// # Errors
/// No such run, or nobody answers.
pub async fn run(show: &Show, context: &Context) -> Result<(), CliError> {
    let run = context.door.get(&format!("runs/{}", show.id)).await?;
    print(context.format, &run, &figures(&run))?;
    if context.format != Format::Table {
        return Ok(());
    }
    if !show.no_plot {
        plot(show.id, &run, context).await?;
    }
    if run["simulated"] == true {
        print_text(&format!("{}: this run comes from no hardware", caution::SIMULATED))?;
    }
    caution::show(context.format);
    Ok(())
}

async fn plot(id: u64, run: &Value, context: &Context) -> Result<(), CliError> {
    let width = usize::from(terminal_width().unwrap_or(WIDTH_DEFAULT));
    let trace = match context.door.get(&format!("runs/{id}/trace?points={}", 4 * width)).await {
        Ok(trace) => trace,
        Err(CliError::Refused { status: 404 | 409 | 422, detail, .. }) => {
            return print_text(&format!("no trace: {}", printable(&detail)));
        }
        Err(e) => return Err(e),
    };
    let colour = std::io::stdout().is_terminal() && std::env::var_os("NO_COLOR").is_none_or(|v| v.is_empty());
    let look = Look { width, height: PLOT_ROWS, colour };
    match draw(&points(&trace)?, &marks(run), look) {
        Some(text) => print_text(&text),
        None => print_text("no trace: no sample of this run is kept"),
    }
}

/// Points of a trace document: arrays `time_s`, `min_kN` and `max_kN` of one length.
fn points(trace: &Value) -> Result<Vec<Point>, CliError> {
    let column = |key: &str| trace[key].as_array();
    let (Some(time), Some(min), Some(max)) = (column("time_s"), column("min_kN"), column("max_kN")) else {
        return Err(CliError::Answer {
            request: "GET runs/{id}/trace".into(),
            expected: "columns time_s, min_kN and max_kN",
            found: printable(&trace.to_string().chars().take(120).collect::<String>()),
        });
    };
    // A null (a gap in the samples) becomes a point that is not drawn.
    let number = |v: &Value| v.as_f64().unwrap_or(f64::NAN);
    Ok(time
        .iter()
        .zip(min)
        .zip(max)
        .map(|((t, min), max)| Point { time_s: number(t), min_kn: number(min), max_kn: number(max) })
        .collect())
}

fn marks(run: &Value) -> Vec<Mark> {
    let mut marks = Vec::new();
    let mut add = |time: Option<f64>, letter, words: String| {
        if let Some(time_s) = time {
            marks.push(Mark { time_s, letter, words });
        }
    };
    let first = run["first_blow_s"].as_f64();
    add(first, 'F', "first blow".into());
    add(run["peak_time_s"].as_f64(), 'P', "peak".into());
    for gate in run["gates"].as_array().map_or(&[][..], Vec::as_slice) {
        if let (Some(first), Some(after), false) =
            (first, gate["after_s"].as_f64(), gate["tension_kN"].is_null())
        {
            add(Some(first + after), 'G', format!("gate {after} s after the first blow"));
        }
    }
    add(run["last_blow_s"].as_f64(), 'L', "last blow".into());
    marks.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    marks
}

/// What is shown first, in this order; every other figure follows by name.
const FIRST: [&str; 26] = [
    "id",
    "utc",
    "rig",
    "simulated",
    "setup",
    "contacts",
    "tool",
    "bolt",
    "in_force",
    "calibration",
    "held_kN",
    "equivalent_torque_Nm",
    "gates",
    "growth",
    "reached",
    "plateau_kN",
    "plateau_se_kN",
    "time_constant_s",
    "peak_kN",
    "peak_time_s",
    "peak_is_lower_bound",
    "blows",
    "blow_rate_hz",
    "drive_time_s",
    "excluded",
    "left_out_because",
];

/// Every figure as a row: what it is, its value, its unit. The unit is the last part of the key.
fn figures(run: &Value) -> Rows {
    let mut rows = Rows::new(&["figure", "value", "unit"]);
    let Some(map) = run.as_object() else { return rows };
    let others = map.iter().filter(|(key, _)| !FIRST.contains(&key.as_str()));
    let first = FIRST.iter().filter_map(|key| map.get_key_value(*key));
    for (key, value) in first.chain(others) {
        match (key.as_str(), value) {
            // The same moment stands above as `utc`.
            ("utc_ns", _) => {}
            ("gates", Value::Array(gates)) => gates.iter().for_each(|gate| gate_rows(&mut rows, gate)),
            ("growth", Value::Array(growth)) => growth.iter().for_each(|g| growth_rows(&mut rows, g)),
            ("reached", Value::Array(reached)) => reached.iter().for_each(|r| reached_rows(&mut rows, r)),
            // What was typed, in the words of the dial; a measured run has none.
            ("reading", Value::Null) => {}
            ("reading", reading) => rows.rows.push(typed(reading)),
            ("blow_list", Value::Array(blows)) => {
                rows.rows.push(figure("blow_list", &json!(format!("{} blows, see JSON", blows.len()))));
            }
            ("in_force", in_force) => {
                rows.rows.push(vec![
                    Cell::Text("source".into()),
                    source_words(&in_force["source"]),
                    Cell::None,
                ]);
                rows.rows.push(allowed(&in_force["bolt"]));
                rows.rows.extend(attempt(&in_force["attempt"]));
            }
            ("corrections", Value::Array(corrections)) => {
                corrections.iter().for_each(|c| rows.rows.push(correction(c)));
            }
            ("recomputations", Value::Array(versions)) => {
                versions.iter().for_each(|v| rows.rows.push(version(v)));
            }
            ("since_announcement", changes) => {
                changes.as_array().into_iter().flatten().for_each(|c| rows.rows.push(change(c)));
            }
            ("samples_pruned", Value::Object(_)) => rows.rows.push(pruned(value)),
            _ => rows.rows.push(figure(key, value)),
        }
    }
    rows
}

/// `held, as typed`: 81.5 kN.
fn typed(reading: &Value) -> Vec<Cell> {
    let of = reading["of"].as_str().unwrap_or("tension");
    vec![
        Cell::Text(format!("{of}, as typed")),
        Cell::Text(reading["value"].to_string()),
        Cell::text_of(reading, "unit"),
    ]
}

/// The step of a trial that the run was for, where it was for one.
fn attempt(attempt: &Value) -> Option<Vec<Cell>> {
    let step = match attempt["step"].as_u64()? {
        0 => "warm-up".to_owned(),
        step => format!("step {step}"),
    };
    let words = format!("{}, {step}, attempt {}", attempt["trial"].as_str()?, attempt["attempt"]);
    Some(vec![Cell::Text("trial".into()), Cell::Text(words), Cell::None])
}

fn allowed(bolt: &Value) -> Vec<Cell> {
    let mut row = figure("allowed_kN", &bolt["allowed_kN"]);
    if bolt["allowed_kN"].is_null() {
        row[1] = Cell::Text("no limit set".into());
    }
    row
}

/// What a person said about the run: `exclude by ana: socket slipped`.
fn correction(correction: &Value) -> Vec<Cell> {
    let word = |key: &str| correction[key].as_str().unwrap_or("?").to_owned();
    let text = format!("{} by {}: {}", word("kind"), word("who"), word("why"));
    vec![Cell::Text("correction".into()), Cell::Text(text), Cell::None]
}

/// Who measured the run again: `by ana with cell-2 (program 0.1.0): cell calibrated anew`.
fn version(version: &Value) -> Vec<Cell> {
    let word = |value: &Value| value.as_str().unwrap_or("?").to_owned();
    let text = format!(
        "by {} with {} (program {}): {}",
        word(&version["who"]),
        word(&version["line"]["id"]),
        word(&version["program"]),
        word(&version["why"])
    );
    vec![Cell::Text("measured again".into()), Cell::Text(text), Cell::None]
}

/// A figure of the announcement beside its newest value.
fn change(change: &Value) -> Vec<Cell> {
    let words = |value: &Value| match super::recompute::value(value) {
        Cell::None => "none".to_owned(),
        cell => cell.words(),
    };
    let name = change["figure"].as_str().unwrap_or("?");
    let text = format!("{}, announced as {}", words(&change["after"]), words(&change["before"]));
    vec![Cell::Text(format!("changed: {name}")), Cell::Text(text), Cell::None]
}

/// That the samples are gone, and who pruned them.
fn pruned(stone: &Value) -> Vec<Cell> {
    let word = |key: &str| stone[key].as_str().unwrap_or("?").to_owned();
    let text = format!("{} by {}: {}", stone["samples"], word("who"), word("why"));
    vec![Cell::Text("samples pruned".into()), Cell::Text(text), Cell::None]
}

fn gate_rows(rows: &mut Rows, gate: &Value) {
    let after = gate["after_s"].as_f64().unwrap_or_default();
    for (key, name) in [("tension_kN", "tension"), ("torque_Nm", "equivalent torque")] {
        let mut row = figure(key, &gate[key]);
        row[0] = Cell::Text(format!("gate {after} s: {name}"));
        rows.rows.push(row);
    }
}

fn growth_rows(rows: &mut Rows, growth: &Value) {
    let after = growth["after_s"].as_f64().unwrap_or_default();
    for (key, name) in [("growth_kN_per_s", "growth"), ("growth_se_kN_per_s", "growth se")] {
        let mut row = figure(key, &growth[key]);
        row[0] = Cell::Text(format!("gate {after} s: {name}"));
        rows.rows.push(row);
    }
}

/// `to 50 kN: 1.234 s, 20 blows`, or why not.
fn reached_rows(rows: &mut Rows, reached: &Value) {
    let tension = reached["tension_kN"].as_f64().unwrap_or_default();
    let named = |name: &str, mut row: Vec<Cell>| {
        row[0] = Cell::Text(format!("to {tension} kN: {name}"));
        row
    };
    match reached["state"].as_str() {
        Some("reached") => {
            rows.rows.push(named("time", figure("after_s", &reached["after_s"])));
            rows.rows.push(named("time se", figure("after_se_s", &reached["after_se_s"])));
            rows.rows.push(named("blows", figure("blows", &reached["blows"])));
        }
        Some("never-reached") => rows.rows.push(named("time", figure("state", &json!("never reached")))),
        _ => rows.rows.push(named("time", figure("state", &json!("unknown")))),
    }
}

fn figure(key: &str, value: &Value) -> Vec<Cell> {
    let change = converted(key, chosen());
    let factor = change.as_ref().map_or(1.0, |(_, factor, _)| *factor);
    let decimals = 3 - change.as_ref().map_or(0, |(_, _, fewer)| *fewer);
    let unit = ["kN2_per_blow", "kN2", "kN_per_s", "percent", "kN", "Nm", "s", "hz", "V", "kPa", "mm"]
        .into_iter()
        .find(|unit| key.ends_with(&format!("_{unit}")));
    let name = unit.map_or(key, |unit| &key[..key.len() - unit.len() - 1]).replace('_', " ");
    let name = if key == "equivalent_torque_Nm" { "equivalent torque of held".to_owned() } else { name };
    let cell = match value {
        Value::Null => Cell::None,
        Value::Number(n) if unit.is_some() => Cell::number(n.as_f64().map(|n| n * factor), decimals),
        Value::String(text) => Cell::Text(text.clone()),
        Value::Array(items) => Cell::Text(list_words(items)),
        other => Cell::Text(other.to_string()),
    };
    let unit = unit.map(|unit| match (unit, change.is_some()) {
        ("kN", true) => "lbf",
        ("Nm", true) => "lbf·ft",
        ("Nm", false) => "N·m",
        ("hz", _) => "Hz",
        ("kN2_per_blow", _) => "kN² a blow",
        ("kN2", _) => "kN²",
        ("kN_per_s", _) => "kN/s",
        ("percent", _) => "%",
        (unit, _) => unit,
    });
    vec![Cell::Text(name), cell, Cell::text(unit)]
}

fn list_words(items: &[Value]) -> String {
    if items.is_empty() {
        return "none".to_owned();
    }
    let word = |item: &Value| item.as_str().map_or_else(|| item.to_string(), str::to_owned);
    items.iter().map(word).collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_figure_says_its_unit_apart_from_its_name() {
        let row = figure("plateau_se_kN", &json!(0.5));
        assert_eq!(
            row,
            vec![Cell::Text("plateau se".into()), Cell::number(Some(0.5), 3), Cell::Text("kN".into())]
        );
        assert_eq!(figure("flags", &json!([]))[1], Cell::Text("none".into()));
        assert_eq!(figure("blow_rate_hz", &json!(20.0))[2], Cell::Text("Hz".into()));
    }

    #[test]
    fn a_gate_that_was_not_reached_is_not_marked() {
        let run = json!({"first_blow_s": 1.0, "last_blow_s": 2.0, "gates": [
            {"after_s": 0.5, "tension_kN": 1.0}, {"after_s": 3.0, "tension_kN": null}]});
        let letters: String = marks(&run).iter().map(|m| m.letter).collect();
        assert_eq!(letters, "FGL");
        assert!((marks(&run)[1].time_s - 1.5).abs() < 1e-12);
    }

    #[test]
    fn a_gap_in_the_trace_is_not_drawn_as_zero() {
        let trace = json!({"time_s": [0, 1], "min_kN": [null, 1], "max_kN": [2, 3]});
        let points = points(&trace).unwrap();
        assert!(points[0].min_kn.is_nan() && points[1].min_kn == 1.0);
    }
}
