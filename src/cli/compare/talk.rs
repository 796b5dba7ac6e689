//! What is said beside the table: which measure, which interval, what a verdict means, what stands out.
//! Goes to standard error, for people only; figures come from the document.

use super::super::output::say;
use super::rows::small_p;
use super::verb::Args;
use serde_json::{Value, json};

/// Below this p a check is worth a word.
const REMARKABLE: f64 = 0.05;

/// Says what a table of setups means.
pub fn of_setups(args: &Args, document: &Value) {
    opening(document);
    let alpha = document["alpha"].as_f64().unwrap_or(args.alpha);
    let confidence = 100.0 * (1.0 - alpha);
    say(&format!(
        "low_simultaneous and high_simultaneous: {} % limits that hold for all setups of a tool together, by which the \
         verdict goes, from the spread of repeats only; a \
         common error of the calibration cancels",
        percent(confidence)
    ));
    let risk = if document["arrangement"]["risk_holds"] == true {
        format!(
            "where runs scatter alike and drift in a straight line, at most {} % of such comparisons show a \
             difference that is not there (`--simulate 10000` counts it for this order of runs)",
            percent(100.0 * alpha)
        )
    } else {
        "how often it is wrong is not promised for this order of runs (`--simulate 10000` counts it)"
            .to_owned()
    };
    say(&format!(
        "verdict: from p adjusted, which counts all setups of a tool; {risk}. \"no difference shown\" is no proof of \
         none"
    ));
    for note in document["arrangement"]["notes"].as_array().into_iter().flatten().filter_map(Value::as_str) {
        say(&format!("order: {note}"));
    }
    if document["arrangement"]["in_blocks"].as_array().is_some_and(|blocks| !blocks.is_empty()) {
        say("`boltscribe trial plan` draws an order that is not in blocks");
    }
    mountings(document);
    if document["resolution"]["counts"] == true {
        say(&format!(
            "readings stand in steps of {:.2} % and repeats scatter by less than half of one: a step/√12 is in each limit, \
             however many repeats there are",
            document["resolution"]["step_percent"].as_f64().unwrap_or(f64::NAN)
        ));
    }
    remarks(document);
    total(document);
    beside(document);
    equivalence(document);
    planning(document);
    simulation(document);
}

/// A share in percent with as many digits as it has, at most four decimals.
fn percent(share: f64) -> String {
    let text = format!("{share:.4}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// How mountings scatter, where they are noted.
fn mountings(document: &Value) {
    let found = &document["mountings"];
    let Some(count) = found["mountings"].as_u64() else { return };
    let percent =
        |key: &str| found[key].as_f64().map_or_else(|| "not known".to_owned(), |sd| format!("{sd:.2} %"));
    say(&format!(
        "{count} mountings, each one reading: SD from mounting to mounting {}, of pulls within a mounting {}",
        percent("sd_percent"),
        percent("pull_sd_percent")
    ));
}

/// Limits with the calibration's part, and what is said of them; a file has none.
fn total(document: &Value) {
    if document["trial"].is_null() {
        return;
    }
    let setups = document["setups"].as_array().into_iter().flatten();
    let words: Vec<String> = setups
        .filter_map(|row| {
            let (low, high) = row["low_total"].as_f64().zip(row["high_total"].as_f64())?;
            let tool = row["tool"].as_str().map_or_else(String::new, |tool| format!(" ({tool})"));
            Some(format!("{}{tool} {low:.2} to {high:.2} %", row["setup"].as_str().unwrap_or_default()))
        })
        .collect();
    if !words.is_empty() {
        say(&format!("with what the calibration leaves in a ratio: {}", words.join(", ")));
    }
    for note in document["notes"].as_array().into_iter().flatten().filter_map(Value::as_str) {
        say(&format!("note: {note}"));
    }
}

/// How often this comparison is right, as counted.
fn simulation(document: &Value) {
    let found = &document["simulation"];
    let number = |of: &Value, key: &str| of[key].as_f64().unwrap_or(f64::NAN);
    let Some(trials) = found["trials"].as_u64() else { return };
    say(&format!(
        "{trials} simulated trials of just this order of runs (seed {}, SD of a pull {:.2} %, every setup losing {} % for \
         coverage and power; standard error of a count of {} % is {:.2} %):",
        found["seed"],
        number(found, "sd_percent"),
        number(found, "difference_percent"),
        percent(100.0 * document["alpha"].as_f64().unwrap_or(f64::NAN)),
        number(&found["scenarios"][0], "se_percent")
    ));
    for one in found["scenarios"].as_array().into_iter().flatten() {
        say(&format!(
            "  {}: limits of one percent hold the truth in {:.1} %, all of a tool in {:.1} %; a difference is shown where \
             none is in {:.1} %, where it is in {:.1} %",
            one["scenario"].as_str().unwrap_or_default(),
            number(one, "coverage_percent"),
            number(one, "together_percent"),
            number(one, "false_differences_percent"),
            number(one, "power_percent")
        ));
    }
}

/// Which setups lose no more than was asked.
fn equivalence(document: &Value) {
    let Some(loss) = document["no_loss_above_percent"].as_f64() else { return };
    for row in document["setups"].as_array().into_iter().flatten().filter(|row| row["verdict"] != "baseline")
    {
        let tool = row["tool"].as_str().map_or_else(String::new, |tool| format!(" ({tool})"));
        let found = &row["equivalence"];
        let words = match found["claim"].as_str() {
            Some("equivalent") => format!("neither loses nor gains more than {loss} %"),
            Some("no-such-loss") => format!("loses no more than {loss} %"),
            Some(_) => format!("a loss above {loss} % is not ruled out"),
            None => "nothing can be said".to_owned(),
        };
        let p = if found.is_null() {
            String::new()
        } else {
            format!(" (p of such a loss {})", small_p(&found["p_loss"]).words())
        };
        say(&format!("{}{tool}: {words}{p}", row["setup"].as_str().unwrap_or_default()));
    }
}

/// The other measure of the same runs.
fn beside(document: &Value) {
    let Some(measure) = document["beside"]["measure"].as_str() else { return };
    let setups = document["beside"]["setups"].as_array().into_iter().flatten();
    let words: Vec<String> = setups
        .filter(|row| row["verdict"] != "baseline")
        .filter_map(|row| {
            let percent = row["percent_of_baseline"].as_f64()?;
            let tool = row["tool"].as_str().map_or_else(String::new, |tool| format!(" ({tool})"));
            Some(format!("{}{tool} {percent:.2} %", row["setup"].as_str().unwrap_or_default()))
        })
        .collect();
    say(&format!("by the {measure} of the same runs: {}", words.join(", ")));
}

/// The measure, the drift and the spread.
pub fn opening(document: &Value) {
    let text = |key: &str| document[key].as_str().unwrap_or("").to_owned();
    let gate = document["gate_s"].as_f64().map_or_else(String::new, |s| format!(" at {s} s"));
    let drift = match document["drift"].as_str() {
        Some("linear") => {
            let slope = document["drift_percent_per_hour"].as_f64().unwrap_or(0.0);
            let se = document["drift_se_percent_per_hour"].as_f64();
            let se = se.map_or_else(String::new, |se| format!(" (standard error {se:.2})"));
            format!("drift taken out: a straight line of {slope:.2} % an hour{se}")
        }
        Some("bracket") => "drift taken out: each run against the baseline before and after it".to_owned(),
        _ => "drift: not taken out".to_owned(),
    };
    say(&format!("measure: {}{gate}, in percent of '{}'; {drift}", text("measure"), text("baseline")));
    match (document["residual_sd_percent"].as_f64(), document["degrees_of_freedom"].as_u64()) {
        (Some(sd), Some(df)) => {
            say(&format!("spread of repeats: {sd:.2} % (SD of one run, {df} degrees of freedom)"));
        }
        _ => say("spread of repeats: not known, no run was repeated"),
    }
}

/// Left-out runs, missing numbers, and residuals that stand out.
pub fn remarks(document: &Value) {
    for run in document["excluded"].as_array().map_or(&[][..], Vec::as_slice) {
        say(&format!("left out: run {}, {}", run["run"], run["why"].as_str().unwrap_or("")));
    }
    let rows = ["setups", "pieces"].iter().filter_map(|k| document[*k].as_array()).flatten();
    let mut notes: Vec<&str> = rows.filter_map(|s| s["note"].as_str()).collect();
    notes.dedup();
    for note in notes {
        say(&format!("note: {note}"));
    }
    let setups = document["setups"].as_array().into_iter().flatten();
    for row in setups.filter(|row| row["huber_disagrees"] == true) {
        say(&format!(
            "look at the runs of {}: a fit that outliers pull less gives {:.2} %, more than half an interval off",
            row["setup"].as_str().unwrap_or_default(),
            row["percent_by_huber"].as_f64().unwrap_or(f64::NAN)
        ));
    }
    let checks = &document["checks"];
    let small = |p: &Value| p.as_f64().filter(|p| *p < REMARKABLE);
    if let Some(p) = small(&checks["outlier"]["p_value"]) {
        say(&format!(
            "look at run {}: its residual stands out (p {}). It was not left out; `excluded` in the file does that",
            checks["outlier"]["run"],
            small_p(&json!(p)).words()
        ));
    }
    if let Some(p) = small(&checks["trend_p_value"]) {
        say(&format!(
            "look at the order: the residuals still move in time (p {}); was the rig warm?",
            small_p(&json!(p)).words()
        ));
    }
}

fn planning(document: &Value) {
    let plan = &document["planning"];
    let Some(difference) = plan["difference_percent"].as_f64() else { return };
    match (plan["runs_each"].as_u64(), plan["sd_percent"].as_f64()) {
        (Some(runs), Some(sd)) => say(&format!(
            "to show a true loss of {difference} % in 8 of 10 new trials: {runs} runs of each setup and of the baseline, at \
             a spread of {sd:.2} % a run. Runs added to these and compared again would be a second look, which the risk \
             does not count"
        )),
        _ => say(&format!("runs for {difference} %: {}", plan["note"].as_str().unwrap_or("not known"))),
    }
}
