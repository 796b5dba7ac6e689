//! `accept` and `history`: whether a tool meets a limit, and how it has been.
//!
//! The API judges; here its answer becomes a sheet and a chart. A tool that does not conform, or of which nothing
//! can be said, is the answer no.

use super::caution;
use super::context::Context;
use super::door::{query, segment};
use super::error::CliError;
use super::measure::Measure;
use super::output::{Cell, Format, Rows, print, say};
use super::report;
use clap::{ArgGroup, Args};
use serde_json::Value;
use std::path::PathBuf;

/// Options of `accept`.
#[derive(Debug, Args)]
#[command(
    before_help = "Examples:
  boltscribe accept wrench-7 --runs 5 --limit-kN 80
  boltscribe accept wrench-7 --runs 5 --reference wrench-1 --percent 95
  boltscribe accept wrench-7 --runs 3      (by the limit of its class in the settings)
",
    group = ArgGroup::new("limit").args(["limit_kn", "limit_nm", "reference"])
)]
pub struct Accept {
    /// The tool.
    pub tool: String,
    /// How many of its latest runs that count (default: 5, or the first look).
    #[arg(long, value_name = "N")]
    pub runs: Option<u32>,
    /// Only runs with this setup (default: that of its latest run).
    #[arg(long)]
    pub setup: Option<String>,
    /// The figure (default: gate, or that of the class's limit).
    #[arg(long, value_enum)]
    pub measure: Option<Measure>,
    /// At least this tension.
    #[arg(long = "limit-kN", value_name = "KN")]
    pub limit_kn: Option<f64>,
    /// At least this equivalent torque.
    #[arg(long = "limit-Nm", value_name = "NM")]
    pub limit_nm: Option<f64>,
    /// A tool that was run on the same day.
    #[arg(long, value_name = "TOOL", requires = "percent")]
    pub reference: Option<String>,
    /// At least so much of it.
    #[arg(long, value_name = "PERCENT", requires = "reference")]
    pub percent: Option<f64>,
    /// The limit is an upper one: at most.
    #[arg(long)]
    pub upper: bool,
    /// After how many runs you may judge, fixed before the first of them; --runs says which look this is.
    #[arg(long, value_name = "N,N")]
    pub looks: Option<String>,
    /// Probability that "conforms" is right.
    #[arg(long, value_name = "P", default_value_t = 0.95)]
    pub probability: f64,
}

/// Options of `history`.
#[derive(Debug, Args)]
#[command(before_help = "Example:\n  boltscribe history wrench-7 --setup direct --measure gate")]
pub struct History {
    /// The tool.
    pub tool: String,
    /// Only runs with this setup (default: that of its latest run).
    #[arg(long)]
    pub setup: Option<String>,
    /// Only runs at this rig (default: of all).
    #[arg(long)]
    pub rig: Option<String>,
    /// The figure.
    #[arg(long, value_enum, default_value_t = Measure::Gate)]
    pub measure: Measure,
    /// Take the limits from the first so many runs (default: all).
    #[arg(long, value_name = "N")]
    pub base: Option<usize>,
    /// Capability against a lower limit.
    #[arg(long = "least-kN", value_name = "KN")]
    pub least_kn: Option<f64>,
    /// Capability against an upper limit.
    #[arg(long = "most-kN", value_name = "KN")]
    pub most_kn: Option<f64>,
    /// Also draw the chart into this file (SVG).
    #[arg(long, value_name = "FILE")]
    pub svg: Option<PathBuf>,
    /// Replace the file if it is there.
    #[arg(long, requires = "svg")]
    pub force: bool,
}

/// Judges a tool.
///
/// # Errors
/// No runs, a limit that cannot be judged; the tool does not conform, or nothing can be said.
pub async fn accept(args: &Accept, context: &Context) -> Result<(), CliError> {
    let number = |value: Option<f64>| value.map(|v| v.to_string());
    let query = query(&[
        ("runs", args.runs.map(|runs| runs.to_string())),
        ("setup", args.setup.clone()),
        ("measure", args.measure.map(|measure| measure.name().to_owned())),
        ("limit_kN", number(args.limit_kn)),
        ("limit_Nm", number(args.limit_nm)),
        ("reference", args.reference.clone()),
        ("percent", number(args.percent)),
        ("looks", args.looks.clone()),
        ("upper", Some(args.upper.to_string())),
        ("probability", Some(args.probability.to_string())),
    ]);
    let document = context.door.get(&format!("tools/{}/acceptance?{query}", segment(&args.tool))).await?;
    let mut rows = Rows::new(&[
        "tool",
        "setup",
        "measure",
        "runs",
        "value",
        "unit",
        "limit",
        "decision",
        "probability_of_conformity",
        "guard",
    ]);
    let runs = document["runs"].as_array().map_or(0, Vec::len);
    let side = document["side"].as_str().unwrap_or_default();
    rows.rows.push(vec![
        Cell::text_of(&document, "tool"),
        Cell::text_of(&document, "setup"),
        Cell::text_of(&document, "measure"),
        Cell::Text(runs.to_string()),
        Cell::number_of(&document, "value", 2),
        Cell::text_of(&document, "unit"),
        Cell::Text(format!("{side} {}", document["limit"])),
        Cell::text_of(&document, "decision"),
        Cell::number_of(&document, "probability_of_conformity", 4),
        Cell::number_of(&document, "guard", 3),
    ]);
    print(context.format, &document, &rows)?;
    caution::mark(context.format, &document);
    if context.format == Format::Table {
        for note in document["notes"].as_array().into_iter().flatten().filter_map(Value::as_str) {
            say(note);
        }
        caution::show(context.format);
    }
    match document["decision"].as_str() {
        Some("conforms") => Ok(()),
        decision => Err(CliError::No {
            what: format!("tool '{}': {}", args.tool, decision.unwrap_or("no decision")),
            hint: None,
        }),
    }
}

/// Charts a tool.
///
/// # Errors
/// No runs.
pub async fn history(args: &History, context: &Context) -> Result<(), CliError> {
    let query = query(&[
        ("setup", args.setup.clone()),
        ("rig", args.rig.clone()),
        ("measure", Some(args.measure.name().to_owned())),
        ("base", args.base.map(|n| n.to_string())),
        ("least_kN", args.least_kn.map(|v| v.to_string())),
        ("most_kN", args.most_kn.map(|v| v.to_string())),
    ]);
    let document = context.door.get(&format!("tools/{}/history?{query}", segment(&args.tool))).await?;
    if let Some(file) = &args.svg {
        let path = format!("tools/{}/history/chart?{query}", segment(&args.tool));
        report::write(file, args.force, &report::fetched(&path, context).await?)?;
    }
    let limits = document["low_kN"].as_f64().zip(document["high_kN"].as_f64());
    let mut rows = Rows::new(&["run", "utc", "value_kN", "remarks"]);
    rows.columns.push("drawn");
    for point in document["points"].as_array().into_iter().flatten() {
        let remarks: Vec<&str> =
            point["remarks"].as_array().into_iter().flatten().filter_map(Value::as_str).collect();
        let drawn = limits.zip(point["value_kN"].as_f64()).map(|(limits, value)| place(limits, value));
        rows.rows.push(vec![
            Cell::number_of(point, "run", 0),
            Cell::text_of(point, "utc"),
            Cell::number_of(point, "value_kN", 2),
            Cell::text(Some(remarks.join(", ")).filter(|text| !text.is_empty()).as_deref()),
            Cell::text(drawn.as_deref()),
        ]);
    }
    print(context.format, &document, &rows)?;
    caution::mark(context.format, &document);
    if context.format == Format::Table {
        match (limits, document["centre_kN"].as_f64()) {
            (Some((low, high)), Some(centre)) => {
                say(&format!(
                    "{} of {}: centre {centre:.2} kN, limits {low:.2} to {high:.2} kN (drawn as | : |)",
                    args.measure.name(),
                    args.tool
                ));
            }
            _ => say("fewer than three runs: no limits yet"),
        }
        capability(&document["capability"]);
        for note in document["notes"].as_array().into_iter().flatten().filter_map(Value::as_str) {
            say(&format!("note: {note}"));
        }
        say(document["note"].as_str().unwrap_or_default());
    }
    Ok(())
}

/// Says how the spread fits what is demanded, if anything was.
fn capability(found: &Value) {
    let number = |key: &str| found[key].as_f64();
    let Some(ppk) = number("ppk") else { return };
    let by_range =
        number("cpk").map_or_else(String::new, |cpk| format!("; Cpk {cpk:.2} by the spread from run to run"));
    say(&format!(
        "Ppk (of one short series: Cmk) {ppk:.2} by the spread of all runs (95 %: {:.2} to {:.2}){by_range}",
        number("ppk_low").unwrap_or(f64::NAN),
        number("ppk_high").unwrap_or(f64::NAN)
    ));
}

/// A value between its limits: `|`, `:` in the middle, `|`, and `o` where it stands.
fn place((low, high): (f64, f64), value: f64) -> String {
    const LOW: f64 = 5.0;
    const HIGH: f64 = 25.0;
    const WIDTH: usize = 31;
    let mut line = vec![' '; WIDTH];
    line[LOW as usize] = '|';
    line[HIGH as usize] = '|';
    line[(LOW + HIGH) as usize / 2] = ':';
    let share = if high > low { (value - low) / (high - low) } else { 0.5 };
    let at = libm::round(LOW + share * (HIGH - LOW)).clamp(0.0, (WIDTH - 1) as f64);
    line[at as usize] = 'o';
    line.into_iter().collect::<String>().trim_end().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_value_stands_between_its_limits_or_at_the_edge() {
        assert_eq!(place((70.0, 90.0), 80.0), "     |         o         |");
        assert_eq!(place((70.0, 90.0), 70.0), "     o         :         |");
        assert_eq!(place((70.0, 90.0), 500.0).chars().last(), Some('o'));
        assert_eq!(place((70.0, 90.0), 500.0).chars().count(), 31);
    }
}
