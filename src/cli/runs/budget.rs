//! `runs budget`: what is uncertain about a figure of runs, line by line, and which line dominates.
//!
//! The API finds calibration and bolt factor; here the answer becomes tables.

use crate::caution;
use crate::context::Context;
use crate::error::CliError;
use crate::measure::Measure;
use crate::output::{Cell, Format, Rows, print, print_text, say};
use clap::Args;
use serde_json::Value;

/// Options of `runs budget`.
#[derive(Debug, Args)]
#[command(before_help = "Examples:
  boltscribe runs budget 42                          of one run
  boltscribe runs budget 42 43 44 --measure held     of their mean
  boltscribe runs budget 42 43 --against 40,41       of a ratio: what cancels
")]
pub struct Budget {
    /// Numbers of the runs; of several, the budget is that of their mean.
    #[arg(required = true, value_name = "RUN")]
    pub runs: Vec<u64>,
    /// Runs that count as 100 %.
    #[arg(long, value_name = "RUN,RUN", value_delimiter = ',')]
    pub against: Vec<u64>,
    /// The figure.
    #[arg(long, value_enum, default_value_t = Measure::Gate)]
    pub measure: Measure,
    /// Propagate distributions as well, by so many trials.
    #[arg(long, value_name = "N")]
    pub monte_carlo: Option<u32>,
    /// Seed of these trials.
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
}

/// Asks and shows.
///
/// # Errors
/// No such run, no such figure.
pub async fn run(args: &Budget, context: &Context) -> Result<(), CliError> {
    let list = |ids: &[u64]| ids.iter().map(u64::to_string).collect::<Vec<_>>().join(",");
    let measure = args.measure.name();
    let mut path = format!("budget?runs={}&measure={measure}&seed={}", list(&args.runs), args.seed);
    if !args.against.is_empty() {
        path.push_str(&format!("&against={}", list(&args.against)));
    }
    if let Some(trials) = args.monte_carlo {
        path.push_str(&format!("&monte_carlo={trials}"));
    }
    let document = context.door.get(&path).await?;
    let mut rows = Rows::new(&["of", "line", "contribution", "unit", "share_percent", "degrees_of_freedom"]);
    for (of, unit) in OF {
        for line in document[of]["lines"].as_array().into_iter().flatten() {
            rows.rows.push(vec![
                Cell::Text(of.to_owned()),
                Cell::text_of(line, "line"),
                Cell::number_of(line, &format!("contribution_{unit}"), 5),
                Cell::Text(unit.to_owned()),
                Cell::number_of(line, "share_percent", 1),
                Cell::number_of(line, "degrees_of_freedom", 1),
            ]);
        }
    }
    print(context.format, &document, &rows)?;
    caution::mark(context.format, &document);
    if context.format == Format::Table {
        print_text(&sums(&document))?;
        for note in document["notes"].as_array().into_iter().flatten().filter_map(Value::as_str) {
            say(note);
        }
    }
    Ok(())
}

/// What can have a budget, and its unit.
const OF: [(&str, &str); 3] = [("tension", "kN"), ("torque", "Nm"), ("ratio", "percent")];

fn sums(document: &Value) -> String {
    let mut text = String::new();
    for (of, unit) in OF {
        let found = &document[of];
        let number = |key: &str| found[format!("{key}_{unit}")].as_f64();
        let (Some(value), Some(expanded)) = (number("value"), number("expanded_uncertainty")) else {
            continue;
        };
        let sign = if unit == "percent" { "%" } else { unit };
        text.push_str(&format!(
            "{of:<8} {value:.3} {sign} ± {expanded:.3} {sign} (95 %, k = {:.2}); most of it: {}\n",
            found["coverage_factor"].as_f64().unwrap_or(f64::NAN),
            found["dominating"].as_str().unwrap_or("nothing"),
        ));
        if let Some(apart) = found["calibration_line_if_nothing_cancelled_percent"].as_f64() {
            let words: Vec<&str> =
                found["cancels"].as_array().into_iter().flatten().filter_map(Value::as_str).collect();
            text.push_str(&format!(
                "         cancelled: {}; the line alone would have brought {apart:.3} % if nothing did\n",
                words.join(", ")
            ));
        }
    }
    for (of, unit) in [("tension_kN", "kN"), ("torque_Nm", "Nm")] {
        let found = &document["monte_carlo"][of];
        if let (Some(low), Some(high)) = (found["low"].as_f64(), found["high"].as_f64()) {
            let trials = &document["monte_carlo"]["trials"];
            text.push_str(&format!("by {trials} trials: {low:.3} to {high:.3} {unit} (95 %)\n"));
        }
    }
    text
}
