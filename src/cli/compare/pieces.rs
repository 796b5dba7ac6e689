//! `compare --by piece`: what each piece costs, and what an untried chain would give.
//! The figures come from `compare::pieces`; must not work any out.

use super::super::caution;
use super::super::error::CliError;
use super::super::output::{Cell, Format, Rows, print, say};
use super::rows::small_p;
use super::verb::Args;
use super::{read, talk};
use boltscribe_analysis::compare::{Asked, Observation, PieceModel, Question, of_pieces, piece_effects_by};
use boltscribe_tables::files::{Readings, readings};
use serde_json::{Value, json};

/// Works out what the pieces of a table do.
///
/// # Errors
/// A file without pieces, or that cannot be compared; a chain that cannot be read.
pub fn of(
    args: &Args,
    table: &Readings,
    observations: &[Observation],
    question: &Question,
    asked: &Asked<'_>,
) -> Result<Value, CliError> {
    if !table.has_pieces {
        return Err(CliError::usage_with(
            format!("{}: expected a column 'pieces' for --by piece, found none", args.file.display()),
            "a column `pieces` names the chain of each run, such as ext+socket",
        ));
    }
    let untried = untried(args)?;
    let model = args.model.map(PieceModel::from).unwrap_or_default();
    let found = piece_effects_by(observations, question, untried.as_deref(), model)
        .map_err(|error| read::wrong(&args.file, table, &error))?;
    Ok(json!(of_pieces(asked, &found, untried.as_deref())))
}

/// The chain that is to be predicted, as typed.
///
/// # Errors
/// A piece without a name.
pub fn untried(args: &Args) -> Result<Option<Vec<String>>, CliError> {
    let Some(chain) = &args.predict else { return Ok(None) };
    let pieces = readings::pieces(chain).ok_or_else(|| {
        CliError::usage(format!("--predict: expected pieces joined by '+', found '{chain}'"))
    })?;
    Ok(Some(pieces))
}

/// Shows what pieces do.
///
/// # Errors
/// Standard output takes nothing.
pub fn show(args: &Args, format: Format, document: &Value) -> Result<(), CliError> {
    print(format, document, &rows(document, format))?;
    caution::mark(format, document);
    if format == Format::Table {
        talk(args, document);
        caution::show(format);
    }
    Ok(())
}

fn rows(document: &Value, format: Format) -> Rows {
    let columns = ["piece", "percent", "low", "high", "p_value", "p_adjusted"];
    let mut rows = Rows::new(&columns);
    for piece in document["pieces"].as_array().map_or(&[][..], Vec::as_slice) {
        let number = |key: &str, decimals| Cell::number_of(piece, key, decimals);
        let p = |key: &str| {
            if format == Format::Table { small_p(&piece[key]) } else { number(key, 4) }
        };
        rows.rows.push(vec![
            Cell::text_of(piece, "piece"),
            number("percent", 2),
            number("low", 2),
            number("high", 2),
            p("p_value"),
            p("p_adjusted"),
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
    let compliance = document["model"] == "compliance";
    if compliance {
        say("compliances: each piece adds to 1/F²; percent is what one more of it leaves on the baseline");
    }
    let (own, law) = if compliance {
        ("compliances do not simply add", "compliances that add")
    } else {
        ("losses do not simply multiply", "losses that multiply")
    };
    match document["lack_of_fit"]["p_value"].as_f64() {
        Some(p) if p < args.alpha => {
            say(&format!(
                "{own} (lack of fit, p {}): trust the setups, not the pieces",
                small_p(&document["lack_of_fit"]["p_value"]).words()
            ));
        }
        Some(p) => say(&format!("nothing speaks against {law} (lack of fit, p {p:.3})")),
        None => say(&format!("{law}: cannot be tested with these runs")),
    }
    let other = &document["other_model"];
    if let Some(p) = other["lack_of_fit"]["p_value"].as_f64() {
        say(&format!(
            "by the other model, {}: lack of fit, p {} (`--model {0}`); choose before you look",
            other["model"].as_str().unwrap_or_default(),
            small_p(&json!(p)).words()
        ));
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
        document["baseline"].as_str().unwrap_or_default(),
        figure("low"),
        figure("high"),
        figure("low_one_run"),
        figure("high_one_run")
    ));
    if let Some(note) = found["note"].as_str() {
        say(&format!("note: {note}"));
    }
}
