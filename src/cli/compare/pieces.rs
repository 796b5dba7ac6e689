//! `compare --by piece`: what each piece costs, and what an untried chain would give.
//! The figures come from `compare::pieces`; must not work any out.

use super::super::caution;
use super::super::error::CliError;
use super::super::output::{Cell, Format, Rows, print, say};
use super::verb::Args;
use super::{document, read, talk};
use crate::compare::pieces::{PieceEffects, PieceRow, Prediction, piece_effects};
use crate::compare::{Observation, Question};
use crate::files::{Readings, readings};
use serde_json::{Value, json};

/// Works out and shows what pieces do.
///
/// # Errors
/// A file without pieces, or that cannot be compared; a chain that cannot be read.
pub fn run(
    args: &Args,
    format: Format,
    table: &Readings,
    observations: &[Observation],
    question: &Question,
) -> Result<(), CliError> {
    if !table.has_pieces {
        return Err(CliError::usage_with(
            format!("{}: expected a column 'pieces' for --by piece, found none", args.file.display()),
            "a column `pieces` names the chain of each run, such as ext+socket",
        ));
    }
    let untried = match &args.predict {
        Some(chain) => Some(readings::pieces(chain).ok_or_else(|| {
            CliError::usage(format!("--predict: expected pieces joined by '+', found '{chain}'"))
        })?),
        None => None,
    };
    let found = piece_effects(observations, question, untried.as_deref())
        .map_err(|error| read::wrong(&args.file, table, &error))?;
    let document = of(args, table, &found, untried.as_deref());
    print(format, &document, &rows(&document))?;
    if format == Format::Table {
        talk(args, &document);
        caution::show(format);
    }
    Ok(())
}

fn of(args: &Args, table: &Readings, found: &PieceEffects, untried: Option<&[String]>) -> Value {
    let mut document = document::head(args, table);
    let lack = found
        .lack_of_fit
        .map(|l| json!({ "f": l.f, "df_above": l.above, "df_below": l.below, "p_value": l.p_value }));
    let more = json!({
        "drift": found.drift.name(),
        "drift_percent_per_hour": found.drift_found.map(|d| d.percent_per_hour),
        "drift_se_percent_per_hour": found.drift_found.and_then(|d| d.se_percent_per_hour),
        "drift_p_value": found.drift_found.and_then(|d| d.p_value),
        "residual_sd_percent": found.residual_sd_percent,
        "degrees_of_freedom": found.degrees_of_freedom,
        "excluded": document::excluded(&found.excluded),
        "in_every_chain": found.in_every_chain,
        "pieces": found.pieces.iter().map(piece).collect::<Vec<_>>(),
        "lack_of_fit": lack,
        "prediction": found.prediction.as_ref().map(|p| prediction(p, untried.unwrap_or(&[]))),
    });
    document::extend(&mut document, more);
    document
}

fn piece(row: &PieceRow) -> Value {
    let parts: Vec<Value> =
        row.combination.iter().map(|(piece, count)| json!({ "piece": piece, "count": count })).collect();
    json!({
        "piece": label(&row.combination),
        "combination": parts,
        "percent": row.percent,
        "low": row.limits.map(|l| l.0),
        "high": row.limits.map(|l| l.1),
        "p_value": row.p_value,
        "p_adjusted": row.p_adjusted,
        "note": row.note,
    })
}

/// A combination as a person writes it: `ext`, `ext + joint`, `ext - 2 joint`.
fn label(combination: &[(String, f64)]) -> String {
    let mut text = String::new();
    for (k, (piece, count)) in combination.iter().enumerate() {
        text.push_str(match (k, *count < 0.0) {
            (0, false) => "",
            (0, true) => "- ",
            (_, false) => " + ",
            (_, true) => " - ",
        });
        let size = count.abs();
        if (size - 1.0).abs() > 1e-9 {
            text.push_str(&format!("{size} "));
        }
        text.push_str(piece);
    }
    text
}

fn prediction(found: &Prediction, chain: &[String]) -> Value {
    json!({
        "pieces": chain,
        "percent_of_baseline": found.percent,
        "low": found.limits.map(|l| l.0),
        "high": found.limits.map(|l| l.1),
        "low_one_run": found.one_run.map(|l| l.0),
        "high_one_run": found.one_run.map(|l| l.1),
        "note": found.note,
    })
}

fn rows(document: &Value) -> Rows {
    let columns = ["piece", "percent", "low", "high", "p_value", "p_adjusted"];
    let mut rows = Rows::new(&columns);
    for piece in document["pieces"].as_array().map_or(&[][..], Vec::as_slice) {
        let number = |key: &str, decimals| Cell::number_of(piece, key, decimals);
        rows.rows.push(vec![
            Cell::text_of(piece, "piece"),
            number("percent", 2),
            number("low", 2),
            number("high", 2),
            number("p_value", 4),
            number("p_adjusted", 4),
        ]);
    }
    rows
}

fn talk(args: &Args, document: &Value) {
    talk::opening(document);
    say(
        "percent: what is left when one more of this is in the chain; several names in a row were never apart",
    );
    let always: Vec<&str> =
        document["in_every_chain"].as_array().into_iter().flatten().filter_map(Value::as_str).collect();
    if !always.is_empty() {
        say(&format!("in every chain, so part of the baseline: {}", always.join(", ")));
    }
    match document["lack_of_fit"]["p_value"].as_f64() {
        Some(p) if p < args.alpha => {
            say(&format!(
                "losses do not simply multiply (lack of fit, p {p:.4}): trust the setups, not the pieces"
            ));
        }
        Some(p) => say(&format!("nothing speaks against losses that multiply (lack of fit, p {p:.3})")),
        None => say("whether losses simply multiply cannot be tested with these runs"),
    }
    talk::remarks(document);
    let found = &document["prediction"];
    if found.is_null() {
        return;
    }
    let figure = |key: &str| found[key].as_f64().map_or_else(|| "–".to_owned(), |v| format!("{v:.2}"));
    say(&format!(
        "the untried chain would give {} % of '{}' (mean within {} to {}, one run within {} to {})",
        figure("percent_of_baseline"),
        args.baseline.as_deref().unwrap_or_default(),
        figure("low"),
        figure("high"),
        figure("low_one_run"),
        figure("high_one_run")
    ));
    if let Some(note) = found["note"].as_str() {
        say(&format!("note: {note}"));
    }
}
