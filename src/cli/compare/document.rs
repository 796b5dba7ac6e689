//! The answer as one JSON document; keys carry units, what is absent is null with a note.
//! Must not work anything out that `compare` can.

use super::verb::Args;
use crate::compare::answer::{Judged, SetupRow};
use crate::compare::planning::{POWER, Wanted, detectable_percent, runs_needed};
use crate::compare::{Comparison, Drift};
use crate::files::{Quantity, Readings};
use serde_json::{Value, json};

/// What is said of the limits that no file can give.
const NO_BUDGET: &str =
    "low and high cover repeatability only; low_total and high_total need runs with a calibration's budget";

/// The whole document.
#[must_use]
pub fn of(args: &Args, table: &Readings, found: &Comparison) -> Value {
    let setups: Vec<Value> = found.setups.iter().map(setup).collect();
    let mut document = head(args, table);
    let more = json!({
        "drift": found.drift.name(),
        "drift_percent_per_hour": found.drift_found.map(|d| d.percent_per_hour),
        "drift_se_percent_per_hour": found.drift_found.and_then(|d| d.se_percent_per_hour),
        "drift_p_value": found.drift_found.and_then(|d| d.p_value),
        "residual_sd_percent": found.residual_sd_percent,
        "degrees_of_freedom": found.degrees_of_freedom,
        "excluded": excluded(&found.excluded),
        "setups": setups,
        "checks": checks(table, found),
        "planning": planning(args, found),
        "notes": [NO_BUDGET],
    });
    extend(&mut document, more);
    document
}

/// What every answer opens with.
pub fn head(args: &Args, table: &Readings) -> Value {
    let (quantity, unit) = match table.quantity {
        Quantity::Tension => ("tension", "kN"),
        Quantity::Torque => ("torque", "N·m"),
    };
    json!({
        "measure": args.measure.map_or(quantity, super::verb::Measure::name),
        "quantity": quantity,
        "unit": unit,
        "gate_s": args.gate_s,
        "baseline": args.baseline,
        "alpha": args.alpha,
    })
}

/// Adds the members of one object to another.
pub fn extend(document: &mut Value, more: Value) {
    if let (Some(object), Value::Object(more)) = (document.as_object_mut(), more) {
        object.extend(more);
    }
}

/// Runs left out, with why.
pub fn excluded(runs: &[(u64, String)]) -> Vec<Value> {
    runs.iter().map(|(run, why)| json!({ "run": run, "why": why })).collect()
}

fn setup(row: &SetupRow) -> Value {
    let judged = row.judged.as_ref();
    let of = |f: fn(&Judged) -> f64| judged.map(f);
    let limits = judged.and_then(|j| j.limits);
    let simultaneous = judged.and_then(|j| j.simultaneous);
    json!({
        "setup": row.setup,
        "tool": row.tool,
        "runs": row.runs,
        "percent_of_baseline": row.percent_of_baseline,
        "low": limits.map(|l| l.0),
        "high": limits.map(|l| l.1),
        "low_simultaneous": simultaneous.map(|l| l.0),
        "high_simultaneous": simultaneous.map(|l| l.1),
        "low_total": null,
        "high_total": null,
        "t": of(|j| j.t),
        "degrees_of_freedom": judged.map(|j| j.degrees_of_freedom),
        "p_value": of(|j| j.p_value),
        "p_adjusted": of(|j| j.p_adjusted),
        "detectable_percent": judged.and_then(detectable_percent),
        "verdict": row.verdict.map(crate::compare::Verdict::name),
        "note": row.note,
    })
}

/// What the residuals look like; the runs are named by number.
fn checks(table: &Readings, found: &Comparison) -> Value {
    let counted: Vec<u64> = table.rows.iter().filter(|r| r.excluded.is_none()).map(|r| r.run).collect();
    let outlier = found
        .checks
        .outlier
        .map(|o| json!({ "run": counted.get(o.index), "studentised": o.studentised, "p_value": o.p_value }));
    json!({
        "outlier": outlier,
        "trend_p_value": found.checks.trend.map(|t| t.p_value),
        "lag_1_correlation": found.checks.lag_1_correlation,
        "von_neumann_ratio": found.checks.von_neumann_ratio,
    })
}

/// How many runs would show a difference; null where nobody asked.
fn planning(args: &Args, found: &Comparison) -> Value {
    let Some(difference_percent) = args.difference else { return Value::Null };
    let residual = found.residual_sd_percent.filter(|s| *s > 1e-9);
    // What a person says outweighs what a few repeats say.
    let (sd_percent, from) = match (args.expected_sd, residual) {
        (Some(sd), _) => (Some(sd), "expected"),
        (None, Some(sd)) => (Some(sd), "residuals"),
        (None, None) => (None, "none"),
    };
    let tools: Vec<&Option<String>> = {
        let mut tools: Vec<_> = found.setups.iter().map(|s| &s.tool).collect();
        tools.dedup();
        tools
    };
    let comparisons =
        |tool: &Option<String>| found.setups.iter().filter(|s| s.tool == *tool).count().saturating_sub(1);
    let most = tools.into_iter().map(comparisons).max().unwrap_or(0);
    let runs = sd_percent.and_then(|sd_percent| {
        runs_needed(&Wanted {
            difference_percent,
            sd_percent,
            alpha: args.alpha,
            comparisons: most,
            linear: found.drift == Drift::Linear,
        })
    });
    let still = |row: &SetupRow| {
        let more = runs.map(|n| n.saturating_sub(row.runs));
        json!({ "setup": row.setup, "tool": row.tool, "runs": row.runs, "runs_still_needed": more })
    };
    let note = match (sd_percent, runs) {
        (None, _) => Some("no spread is known: give --expected-sd, or repeat runs"),
        (_, None) => Some("more than 1000 runs of each setup"),
        _ => None,
    };
    json!({
        "difference_percent": difference_percent,
        "power": POWER,
        "sd_percent": sd_percent,
        "sd_from": from,
        "runs_each": runs,
        "setups": found.setups.iter().map(still).collect::<Vec<_>>(),
        "note": note,
    })
}
