//! The shelf as such: put a document on it, list what stands there, take it off.
//!
//! An older version of a name stays in the record; must not know the rules of any kind of thing.

use crate::caution;
use crate::context::{Context, who};
use crate::door::segment;
use crate::error::CliError;
use crate::output::{Cell, Format, Rows, print, say};
use axum::http::Method;
use clap::{Args, ValueEnum};
use serde_json::{Value, json};

/// The kinds of things on the shelf, as typed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Kind {
    /// Sockets, extensions, joints, adapters.
    Piece,
    /// Ordered chains of pieces: setups.
    Chain,
    /// Tools under test.
    Tool,
    /// Batteries, air and mains supplies.
    Source,
    /// Test bolts.
    Bolt,
}

impl Kind {
    const ALL: [Self; 5] = [Self::Piece, Self::Chain, Self::Tool, Self::Source, Self::Bolt];

    /// The word in the API's paths.
    #[must_use]
    pub const fn path(self) -> &'static str {
        match self {
            Self::Piece => "pieces",
            Self::Chain => "setups",
            Self::Tool => "tools",
            Self::Source => "sources",
            Self::Bolt => "bolts",
        }
    }

    /// The word for people.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Piece => "piece",
            Self::Chain => "chain",
            Self::Tool => "tool",
            Self::Source => "source",
            Self::Bolt => "test bolt",
        }
    }
}

/// Who adds something.
#[derive(Clone, Debug, Default, Args)]
pub struct By {
    /// Who does it (default: the login name).
    #[arg(long)]
    pub who: Option<String>,
}

/// Options of `setup list`.
#[derive(Debug, Args)]
#[command(before_help = "Examples:\n  boltscribe setup list\n  boltscribe --format csv setup list piece")]
pub struct List {
    /// Only this kind; CSV needs one, because each kind has its own columns.
    pub kind: Option<Kind>,
}

/// Options of `setup remove`.
#[derive(Debug, Args)]
#[command(before_help = "Examples:\n  boltscribe setup remove piece \"ext 75\" --why \"broken\"")]
pub struct Remove {
    /// What kind of thing.
    pub kind: Kind,
    /// Its name.
    pub name: String,
    /// Why, for the record.
    #[arg(long)]
    pub why: String,
    #[command(flatten)]
    #[allow(missing_docs)]
    pub by: By,
}

/// Puts a document on the shelf and shows it as stored. An older version of the name stays in the
/// record.
///
/// # Errors
/// The API refuses it, in its own words.
pub async fn put(
    kind: Kind,
    name: &str,
    document: &impl serde::Serialize,
    by: &By,
    context: &Context,
) -> Result<(), CliError> {
    let document = serde_json::to_value(document).map_err(|e| CliError::usage(e.to_string()))?;
    let path = format!("shelf/{}/{}", kind.path(), segment(name));
    let body = json!({ "who": who(by.who.as_deref())?, "document": document });
    context.door.change(Method::PUT, &path, &body).await?;
    let stored = context.door.get(&path).await?;
    let (stored, rows) = (stored.clone(), rows_of(kind, std::slice::from_ref(&stored)));
    print(context.format, &stored, &rows)
}

/// Lists the shelf.
///
/// # Errors
/// Nobody answers; CSV of several kinds at once.
pub async fn list(list: &List, context: &Context) -> Result<(), CliError> {
    if let Some(kind) = list.kind {
        let (document, items) =
            context.list(&format!("shelf/{}?uses=true", kind.path()), kind.path()).await?;
        return print(context.format, &document, &rows_of(kind, &items));
    }
    if context.format == Format::Csv {
        return Err(CliError::usage_with(
            "cannot write the whole shelf as CSV: expected one kind, found none",
            "name one: piece, chain, tool, source or bolt",
        ));
    }
    let mut shelf = serde_json::Map::new();
    for kind in Kind::ALL {
        let (_, items) = context.list(&format!("shelf/{}?uses=true", kind.path()), kind.path()).await?;
        if context.format == Format::Table && !items.is_empty() {
            print(context.format, &Value::Null, &rows_of(kind, &items))?;
        }
        shelf.insert(kind.path().to_owned(), Value::Array(items));
    }
    if context.format == Format::Json {
        print(Format::Json, &Value::Object(shelf), &Rows::default())?;
    } else if shelf.values().all(|v| v.as_array().is_some_and(Vec::is_empty)) {
        say("the shelf is empty: `boltscribe setup --help` shows how to fill it");
    } else {
        caution::show(context.format);
    }
    Ok(())
}

/// Takes something off the shelf.
///
/// # Errors
/// It is not there, or the API refuses.
pub async fn remove(remove: &Remove, context: &Context) -> Result<(), CliError> {
    let path = format!("shelf/{}/{}", remove.kind.path(), segment(&remove.name));
    let body = json!({ "who": who(remove.by.who.as_deref())?, "why": remove.why });
    context.door.change(Method::DELETE, &path, &body).await?;
    say(&format!("{} '{}' is off the shelf", remove.kind.word(), remove.name));
    Ok(())
}

fn rows_of(kind: Kind, items: &[Value]) -> Rows {
    let mut rows = Rows::new(columns(kind));
    if items.iter().any(|item| item["uses"].is_object()) {
        rows.columns.extend(uses_columns(kind));
    }
    for item in items {
        rows.rows.push(rows.columns.iter().map(|column| cell(kind, item, column)).collect());
    }
    rows
}

const fn columns(kind: Kind) -> &'static [&'static str] {
    match kind {
        Kind::Piece => &["piece", "kind", "drive_in", "drive_out", "length_mm", "mass_g", "serial"],
        Kind::Chain => &["chain", "pieces"],
        Kind::Tool => &["tool", "anvil", "source", "class", "serial"],
        Kind::Source => &["source", "kind", "details"],
        Kind::Bolt => &[
            "bolt",
            "thread",
            "diameter_mm",
            "factor_N_per_Nm",
            "factor_lbf_per_lbf_ft",
            "allowed_kN",
            "lubricant",
        ],
    }
}

/// What is told of the uses of a kind of thing.
const fn uses_columns(kind: Kind) -> &'static [&'static str] {
    match kind {
        Kind::Piece | Kind::Chain | Kind::Tool => &["runs", "first", "last"],
        Kind::Source => &["runs", "runs_since_fresh", "first", "last"],
        Kind::Bolt => &["runs", "tightenings", "tightenings_since_shelved", "first", "last"],
    }
}

/// The day of a time: the list is for seeing how old and how worn things are.
fn day(uses: &Value, key: &str) -> Cell {
    Cell::text(uses[key].as_str().and_then(|utc| utc.split_once('T')).map(|(day, _)| day))
}

fn cell(kind: Kind, item: &Value, column: &str) -> Cell {
    let uses = &item["uses"];
    match (kind, column) {
        (_, "runs" | "tightenings" | "runs_since_fresh") => Cell::text_of(uses, column),
        (_, "tightenings_since_shelved") => Cell::text_of(uses, "tightenings_since"),
        (_, "first") => day(uses, "first_utc"),
        (_, "last") => day(uses, "last_utc"),
        (_, "piece" | "chain" | "tool" | "bolt") => Cell::text_of(item, "name"),
        (Kind::Source, "source") => Cell::text_of(item, "name"),
        (Kind::Chain, "pieces") => Cell::Text(words(&item["pieces"], " + ")),
        (Kind::Source, "details") => Cell::Text(details(item)),
        (Kind::Bolt, "factor_N_per_Nm") => Cell::number(super::bolt::factor_of(item), 2),
        (Kind::Bolt, "factor_lbf_per_lbf_ft") => Cell::number(
            super::bolt::factor_of(item).map(|f| boltscribe_model::constants::BoltFactor(f).lbf_per_lbf_ft()),
            2,
        ),
        (Kind::Bolt, "allowed_kN") if item[column].is_null() => Cell::Text("no limit set".into()),
        (_, "length_mm" | "mass_g" | "diameter_mm") => Cell::number_of(item, column, 1),
        (_, "allowed_kN") => Cell::number_of(item, column, 1),
        _ => Cell::text_of(item, column),
    }
}

fn words(list: &Value, between: &str) -> String {
    let items = list.as_array().map_or(&[][..], Vec::as_slice);
    let words: Vec<&str> = items.iter().filter_map(Value::as_str).collect();
    words.join(between)
}

/// What is not shown in a column of its own, as `key value`.
fn details(item: &Value) -> String {
    let Some(map) = item.as_object() else {
        return String::new();
    };
    map.iter()
        .filter(|(key, value)| !matches!(key.as_str(), "name" | "kind" | "uses") && !value.is_null())
        .map(|(key, value)| {
            format!("{key} {}", value.as_str().map_or_else(|| value.to_string(), str::to_owned))
        })
        .collect::<Vec<_>>()
        .join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bolt_without_a_limit_says_so_in_words() {
        let rows = rows_of(Kind::Bolt, &[json!({"name": "b", "thread": "M20x2.5"})]);
        assert!(rows.rows[0].contains(&Cell::Text("no limit set".into())));
    }
}
