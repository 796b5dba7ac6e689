//! Trials for people: the order, how far one is, what comes next.
//!
//! Everything shown comes from the API's document.

use crate::output::{Cell, Rows};
use serde_json::Value;

/// All trials.
pub fn list(trials: &[Value]) -> Rows {
    let mut rows = Rows::new(&["trial", "rig", "standing", "done", "of", "planned_by"]);
    for trial in trials {
        rows.rows.push(vec![
            Cell::text_of(trial, "trial"),
            Cell::text_of(trial, "rig"),
            Cell::text_of(trial, "standing"),
            Cell::number_of(trial, "steps_done", 0),
            Cell::number_of(trial, "steps_total", 0),
            Cell::text_of(trial, "planned_by"),
        ]);
    }
    rows
}

/// The steps of one.
pub fn steps(steps: &Value) -> Rows {
    let mut rows = Rows::new(&["step", "phase", "block", "tool", "setup", "run", "value_kN"]);
    for step in steps.as_array().into_iter().flatten() {
        let skipped = step["skipped"] == true;
        rows.rows.push(vec![
            Cell::number_of(step, "number", 0),
            Cell::text_of(step, "phase"),
            Cell::number_of(step, "block", 0),
            Cell::text_of(step, "tool"),
            Cell::text_of(step, "setup"),
            if skipped { Cell::Text("left out".to_owned()) } else { Cell::number_of(step, "run", 0) },
            Cell::number_of(step, "value_kN", 2),
        ]);
    }
    rows
}

/// What comes next, in words.
pub fn next(document: &Value) -> String {
    let name = document["trial"].as_str().unwrap_or_default();
    let (done, total) = (&document["steps_done"], &document["steps_total"]);
    let mut text =
        format!("{name}: {done} of {total} steps; {}\n", document["standing"].as_str().unwrap_or_default());
    if let Some(words) = document["warm_up"]["words"].as_str() {
        text.push_str(&format!("warm-up: {words}\n"));
    }
    let step = &document["next"];
    if step.is_null() {
        return text;
    }
    let word = |key: &str| step[key].as_str().unwrap_or("none").to_owned();
    let pieces: Vec<&str> =
        step["pieces"].as_array().into_iter().flatten().filter_map(Value::as_str).collect();
    text.push_str(&format!(
        "next: go {}, {} with tool {}, setup {}: {} > {} > nut\n",
        step["go"],
        word("phase"),
        word("tool"),
        word("setup"),
        word("tool"),
        pieces.join(" > ")
    ));
    if step["remount_due"] == true {
        text.push_str("take the coupling off and put it on again first: each run is a mounting of its own\n");
    }
    if step["fresh_source_due"] == true {
        let band = step["air_kPa"][0].as_f64().zip(step["air_kPa"][1].as_f64());
        let band = band.filter(|_| step["source"] == "air");
        let band = band.map_or_else(String::new, |(low, high)| format!(", {low} to {high} kPa"));
        text.push_str(&format!("a fresh source is due ({}{band})\n", word("source")));
    }
    if let Some(rest) = step["rest_s"].as_f64().filter(|rest| *rest > 0.0) {
        text.push_str(&format!("rest {rest} s before it\n"));
    }
    for run in document["not_counted"].as_array().into_iter().flatten() {
        text.push_str(&format!(
            "run {} took no step: {}\n",
            run["run"],
            run["why"].as_str().unwrap_or_default()
        ));
    }
    text
}
