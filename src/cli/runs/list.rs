//! `runs list`: runs as rows, newest first.
//!
//! The API gives at most 1,000 runs a page; `--all` follows its cursor. JSON and CSV carry the same
//! figures; the table shows those an operator compares.

use crate::caution;
use crate::context::Context;
use crate::door::segment;
use crate::error::CliError;
use crate::output::{Cell, Format, Rows, print, say};
use crate::shown;
use clap::Args;
use serde_json::{Value, json};

/// Runs shown where nothing is said.
const LAST_DEFAULT: u64 = 20;
/// Runs in one page of the API.
const PAGE: u64 = 1000;

/// Options of `runs list`.
#[derive(Debug, Args)]
#[command(before_help = "Examples:
  boltscribe runs list
  boltscribe runs list --setup ext75 --last 5
  boltscribe --format csv runs list --all > runs.csv
")]
pub struct List {
    /// Only runs of this rig.
    #[arg(long)]
    pub rig: Option<String>,
    /// Only runs with this setup.
    #[arg(long)]
    pub setup: Option<String>,
    /// Only runs with this tool.
    #[arg(long)]
    pub tool: Option<String>,
    /// The last N runs (default 20).
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(1..=1_000_000))]
    pub last: Option<u64>,
    /// Every run.
    #[arg(long, conflicts_with = "last")]
    pub all: bool,
    /// Figures as they were announced, whatever was measured again since.
    #[arg(long)]
    pub original: bool,
}

/// Lists runs.
///
/// # Errors
/// Nobody answers, or standard output cannot take it.
pub async fn run(list: &List, context: &Context) -> Result<(), CliError> {
    let wanted = if list.all { u64::MAX } else { list.last.unwrap_or(LAST_DEFAULT) };
    let mut runs: Vec<Value> = Vec::new();
    let mut next = Value::Null;
    loop {
        let missing = wanted - runs.len() as u64;
        let (page, items) = context.list(&path(list, missing.min(PAGE), &next), "runs").await?;
        let got_some = !items.is_empty();
        runs.extend(items);
        next = page["next"].clone();
        if next.is_null() || !got_some || runs.len() as u64 >= wanted {
            break;
        }
    }
    let rows = match context.format {
        Format::Csv => all_rows_of(&runs),
        Format::Table | Format::Json => rows_of(&runs),
    };
    print(context.format, &json!({ "runs": runs, "next": next }), &rows)?;
    if context.format == Format::Table {
        if runs.is_empty() {
            say("no run is stored that fits");
        }
        say(
            "held: settled tension after the last blow; gate: tension at a fixed time after the first blow; torque: steady equivalent of held, not what the tool delivers blow by blow",
        );
        caution::show(context.format);
    }
    Ok(())
}

fn path(list: &List, limit: u64, before: &Value) -> String {
    let mut path = format!("runs?limit={limit}");
    for (key, value) in [("rig", &list.rig), ("setup", &list.setup), ("tool", &list.tool)] {
        if let Some(value) = value {
            path.push_str(&format!("&{key}={}", segment(value)));
        }
    }
    if list.original {
        path.push_str("&original=true");
    }
    match before {
        Value::Null => {}
        Value::String(cursor) => path.push_str(&format!("&before={}", segment(cursor))),
        other => path.push_str(&format!("&before={other}")),
    }
    path
}

/// The columns people compare.
#[must_use]
pub fn rows_of(runs: &[Value]) -> Rows {
    let mut rows = Rows::new(&[
        "id",
        "utc",
        "rig",
        "setup",
        "tool",
        "held_kN",
        "torque_Nm",
        "gate",
        "plateau_kN",
        "blows",
        "drive_time_s",
        "remarks",
    ]);
    for run in runs {
        rows.rows.push(vec![
            Cell::text_of(run, "id"),
            Cell::Text(short_utc(run)),
            Cell::text_of(run, "rig"),
            Cell::text_of(run, "setup"),
            Cell::text_of(run, "tool"),
            Cell::number_of(run, "held_kN", 2),
            Cell::number_of(run, "equivalent_torque_Nm", 1),
            gate_cell(run),
            Cell::number_of(run, "plateau_kN", 2),
            Cell::number_of(run, "blows", 0),
            Cell::number_of(run, "drive_time_s", 2),
            remarks(run),
        ]);
    }
    rows
}

/// Every plain figure; the first gate in columns of its own, all gates as `after_s:tension_kN` words,
/// because their number is the settings' choice.
fn all_rows_of(runs: &[Value]) -> Rows {
    const PLAIN: [&str; 28] = [
        "id",
        "rig",
        "rig_run",
        "utc",
        "simulated",
        "setup",
        "contacts",
        "tool",
        "bolt",
        "calibration",
        "first_blow_s",
        "last_blow_s",
        "drive_time_s",
        "blows",
        "blow_rate_hz",
        "peak_kN",
        "peak_time_s",
        "peak_is_lower_bound",
        "held_kN",
        "plateau_kN",
        "plateau_se_kN",
        "time_constant_s",
        "equivalent_torque_Nm",
        "excluded",
        "recomputed_utc",
        "resolution_kN",
        "entered_by",
        "note",
    ];
    let mut columns = PLAIN.to_vec();
    columns.extend(["gate_s", "gate_kN", "gate_Nm", "gates_s_kN", "flags", "left_out_because"]);
    let mut rows = Rows::new(&columns);
    for run in runs {
        let mut row: Vec<Cell> = PLAIN
            .iter()
            .map(|key| match &run[*key] {
                Value::Number(n) if *key != "id" => Cell::number(n.as_f64(), 3),
                _ => Cell::text_of(run, key),
            })
            .collect();
        let gate = &run["gates"][0];
        row.extend(["after_s", "tension_kN", "torque_Nm"].map(|key| Cell::number_of(gate, key, 3)));
        row.push(Cell::Text(gates_words(run)));
        row.push(Cell::Text(words(&run["flags"])));
        row.push(Cell::Text(words(&run["left_out_because"])));
        rows.rows.push(row);
    }
    rows
}

/// `3:81.25 5:` for gates at 3 s and 5 s, the second one null.
fn gates_words(run: &Value) -> String {
    let gates = run["gates"].as_array().map_or(&[][..], Vec::as_slice);
    let word = |gate: &Value| {
        let tension = gate["tension_kN"].as_f64().map_or_else(String::new, |t| t.to_string());
        format!("{}:{tension}", gate["after_s"])
    };
    gates.iter().map(word).collect::<Vec<_>>().join(" ")
}

/// The first gate, with its time: `81.2 kN at 3 s`.
fn gate_cell(run: &Value) -> Cell {
    let gate = &run["gates"][0];
    match (gate["after_s"].as_f64(), gate["tension_kN"].as_f64()) {
        (Some(after_s), Some(kn)) => Cell::Text(format!("{} at {after_s} s", shown::tension(kn))),
        (Some(after_s), None) => Cell::Text(format!("– at {after_s} s")),
        _ => Cell::None,
    }
}

fn short_utc(run: &Value) -> String {
    let utc = run["utc"].as_str().unwrap_or_default();
    // The fraction of a second is for machines; JSON and CSV keep it.
    match utc.split_once('.') {
        Some((seconds, _)) => format!("{seconds}Z"),
        None => utc.to_owned(),
    }
}

fn words(list: &Value) -> String {
    let items = list.as_array().map_or(&[][..], Vec::as_slice);
    items.iter().filter_map(Value::as_str).collect::<Vec<_>>().join(" ")
}

/// Simulated data, why a run is left out, and the flags that do not leave it out.
fn remarks(run: &Value) -> Cell {
    let mut remarks = Vec::new();
    if run["simulated"] == true {
        remarks.push(caution::SIMULATED.to_owned());
    }
    // A dial with a drag pointer tells the peak alone, which has no column here.
    if let (true, Some(peak)) = (run["held_kN"].is_null() && run["timing"].is_null(), run["peak_kN"].as_f64())
    {
        remarks.push(format!("peak {}", shown::tension(peak)));
    }
    let because = words(&run["left_out_because"]);
    if run["excluded"] == true {
        remarks.push(format!("left out: {because}"));
    }
    let others: Vec<&str> = run["flags"]
        .as_array()
        .map_or(&[][..], Vec::as_slice)
        .iter()
        .filter_map(Value::as_str)
        .filter(|flag| !because.split(' ').any(|b| b == *flag))
        .collect();
    if !others.is_empty() {
        remarks.push(others.join(" "));
    }
    if run["recomputed_utc"].is_string() {
        remarks.push("measured again".to_owned());
    }
    if remarks.is_empty() { Cell::None } else { Cell::Text(remarks.join("; ")) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run() -> Value {
        json!({
            "id": 7, "rig": "bench", "utc": "2026-01-02T03:04:05.123456Z", "setup": "ext75", "tool": null,
            "held_kN": 81.234_567, "gates": [{"after_s": 3.0, "tension_kN": 80.5}], "flags": ["no-limit", "short"],
            "excluded": true, "left_out_because": ["short"], "simulated": true,
        })
    }

    #[test]
    fn a_run_that_is_left_out_says_why_once() {
        let Cell::Text(words) = remarks(&run()) else { panic!("no remarks") };
        assert_eq!(words, "SIMULATED; left out: short; no-limit");
    }

    #[test]
    fn a_peak_read_by_hand_is_shown_and_what_a_dial_cannot_tell_is_a_dash() {
        let read = json!({
            "id": 8, "rig": "press", "utc": "2026-01-02T03:04:05.000Z", "setup": "ext75", "held_kN": null,
            "peak_kN": 96.5, "timing": null, "gates": [], "blows": null, "drive_time_s": null,
            "flags": ["by-hand"], "excluded": false, "left_out_because": [], "simulated": false,
        });
        let row = rows_of(&[read]).rows.remove(0);
        assert_eq!(row[5..11], vec![Cell::None; 6]);
        assert_eq!(row[11], Cell::Text("peak 96.50 kN; by-hand".into()));
    }

    #[test]
    fn the_gate_is_named_with_its_time() {
        assert_eq!(gate_cell(&run()), Cell::Text("80.50 kN at 3 s".into()));
    }

    #[test]
    fn csv_keeps_every_digit_of_a_figure() {
        let mut text = Vec::new();
        all_rows_of(&[run()]).csv(&mut text).unwrap();
        let text = String::from_utf8(text).unwrap();
        assert!(text.contains("81.234567"), "{text}");
        assert!(text.contains("2026-01-02T03:04:05.123456Z"), "{text}");
    }

    #[test]
    fn a_filter_is_escaped_and_the_cursor_goes_on() {
        let list =
            List { rig: Some("a&b".into()), setup: None, tool: None, last: None, all: true, original: false };
        assert_eq!(path(&list, 1000, &json!(42)), "runs?limit=1000&rig=a%26b&before=42");
    }
}
