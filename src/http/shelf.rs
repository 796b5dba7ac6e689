//! The shelf: pieces, setups, tools, sources and bolts, read and written as documents.
//!
//! A document is checked by the rules of its kind before it is stored; a new version leaves the old ones
//! in the store.

use super::body::{Asked, Body, check_who, check_why};
use super::openapi::Refused;
use super::problem::Problem;
use super::shelf_shown::{Removed, ShelfDocument, ShelfList};
use super::state::State;
use super::tags::pieces;
use axum::Json;
use axum::extract::{Path, State as Shared};
use boltscribe_model::setups::{Chain, Piece, Source, TestBolt, Tool, fit};
use boltscribe_store::{Reader, ShelfKind, Write};
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use utoipa::{IntoParams, ToSchema};

/// A document to put on the shelf.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PutBody {
    /// Who says so: 1 to 64 printable characters.
    who: String,
    /// Why: 1 to 500 printable characters.
    why: Option<String>,
    /// A piece, setup, tool, source or bolt; `name` is the one in the path.
    #[schema(value_type = Object)]
    document: Value,
}

/// Who takes something off, and why.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RemoveBody {
    /// Who says so: 1 to 64 printable characters.
    who: String,
    /// Why: 1 to 500 printable characters.
    why: String,
}

fn kind_of(word: &str) -> Result<ShelfKind, Problem> {
    ShelfKind::from_name(word).ok_or_else(|| {
        let known: Vec<&str> = ShelfKind::ALL.iter().map(|kind| kind.name()).collect();
        Problem::not_found(format!("cannot find the shelf '{word}': expected {}", known.join(", ")))
    })
}

/// How a shelf is listed.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct ListQuery {
    /// Each document has a member `uses` too: how often it was used, and when for the first and the last time.
    uses: Option<bool>,
}

/// What stands on a shelf: `{"pieces": [...]}`, by name.
///
/// # Errors
/// An unknown kind; the store's.
#[utoipa::path(
    get, path = "/shelf/{kind}", operation_id = "list_shelf", tag = "shelf",
    params(
        ("kind" = String, Path, description = "`pieces`, `setups`, `tools`, `sources` or `bolts`"),
        ListQuery,
    ),
    responses(
        (status = 200, description = "The documents, under the name of their kind", body = ShelfList),
        Refused
    )
)]
pub async fn list(
    Shared(state): Shared<State>,
    Path(kind): Path<String>,
    Asked(query): Asked<ListQuery>,
) -> Result<Json<Value>, Problem> {
    let kind = kind_of(&kind)?;
    let wanted = query.uses.unwrap_or(false);
    let documents = state
        .read(move |reader| {
            let rows = reader.shelf(kind)?;
            let mut uses = if wanted { reader.uses(kind)? } else { Default::default() };
            let with_uses = |mut row: boltscribe_store::ShelfRow| {
                if wanted {
                    row.document["uses"] = json!(uses.remove(&row.name).unwrap_or_default());
                }
                row.document
            };
            Ok::<Vec<Value>, boltscribe_store::StoreError>(rows.into_iter().map(with_uses).collect())
        })
        .await?;
    Ok(Json(json!({ kind.name(): documents })))
}

/// A document of the shelf.
///
/// # Errors
/// Nothing of this name; the store's.
#[utoipa::path(
    get, path = "/shelf/{kind}/{name}", operation_id = "show_on_shelf", tag = "shelf",
    params(
        ("kind" = String, Path, description = "`pieces`, `setups`, `tools`, `sources` or `bolts`"),
        ("name" = String, Path, description = "Name of the document"),
    ),
    responses((status = 200, description = "The document", body = ShelfDocument), Refused)
)]
pub async fn show(
    Shared(state): Shared<State>,
    Path((kind, name)): Path<(String, String)>,
) -> Result<Json<Value>, Problem> {
    let kind = kind_of(&kind)?;
    let wanted = name.clone();
    let row = state.read(move |reader| reader.shelf_entry(kind, &wanted)).await?;
    row.map(|row| Json(row.document)).ok_or_else(|| absent(kind, &name))
}

fn absent(kind: ShelfKind, name: &str) -> Problem {
    Problem::not_found(format!("cannot find '{name}' among the {}", kind.name()))
}

/// Puts a new version of a document on the shelf; answered with the document as stored.
///
/// # Errors
/// A document that breaks the rules of its kind, or another name in it.
#[utoipa::path(
    put, path = "/shelf/{kind}/{name}", operation_id = "put_on_shelf", tag = "shelf",
    params(
        ("kind" = String, Path, description = "`pieces`, `setups`, `tools`, `sources` or `bolts`"),
        ("name" = String, Path, description = "Name of the document"),
    ),
    request_body = PutBody,
    responses((status = 200, description = "The document as stored", body = ShelfDocument), Refused)
)]
pub async fn put(
    Shared(state): Shared<State>,
    Path((kind, name)): Path<(String, String)>,
    Body(body): Body<PutBody>,
) -> Result<Json<Value>, Problem> {
    let kind = kind_of(&kind)?;
    check_who(&body.who)?;
    if let Some(why) = &body.why {
        check_why(why)?;
    }
    if body.document["name"] != name.as_str() {
        return Err(Problem::unprocessable(format!(
            "cannot put '{name}' on the shelf: expected the same name in the document, found {}",
            body.document["name"]
        )));
    }
    let document = body.document;
    let document = state.read(move |reader| checked(reader, kind, document)).await?;
    let write = Write::Shelf {
        utc_ns: state.now(),
        who: body.who,
        why: body.why,
        kind,
        name,
        document: Some(document.clone()),
    };
    state.write("", write).await?;
    Ok(Json(document))
}

/// Takes a document off the shelf; what is stored of it stays.
///
/// # Errors
/// Nothing of this name, or a piece that a setup is made of.
#[utoipa::path(
    delete, path = "/shelf/{kind}/{name}", operation_id = "remove_from_shelf", tag = "shelf",
    params(
        ("kind" = String, Path, description = "`pieces`, `setups`, `tools`, `sources` or `bolts`"),
        ("name" = String, Path, description = "Name of the document"),
    ),
    request_body = RemoveBody,
    responses((status = 200, description = "What was removed", body = Removed), Refused)
)]
pub async fn remove(
    Shared(state): Shared<State>,
    Path((kind, name)): Path<(String, String)>,
    Body(body): Body<RemoveBody>,
) -> Result<Json<Removed>, Problem> {
    let kind = kind_of(&kind)?;
    check_who(&body.who)?;
    check_why(&body.why)?;
    let wanted = name.clone();
    state.read(move |reader| removable(reader, kind, &wanted)).await?;
    let write = Write::Shelf {
        utc_ns: state.now(),
        who: body.who,
        why: Some(body.why),
        kind,
        name: name.clone(),
        document: None,
    };
    state.write("", write).await?;
    Ok(Json(Removed { removed: name }))
}

fn removable(reader: &Reader, kind: ShelfKind, name: &str) -> Result<(), Problem> {
    if reader.shelf_entry(kind, name)?.is_none() {
        return Err(absent(kind, name));
    }
    if kind != ShelfKind::Pieces {
        return Ok(());
    }
    let uses = |row: &boltscribe_store::ShelfRow| {
        row.document["pieces"].as_array().is_some_and(|pieces| pieces.iter().any(|piece| piece == name))
    };
    let setups = reader.shelf(ShelfKind::Setups)?;
    match setups.iter().find(|row| uses(row)) {
        None => Ok(()),
        Some(setup) => Err(Problem::conflict(format!(
            "cannot take the piece '{name}' off the shelf: setup '{}' is made of it",
            setup.name
        ))
        .hint("take that setup off first")),
    }
}

fn typed<T: DeserializeOwned>(kind: ShelfKind, document: Value) -> Result<T, Problem> {
    serde_json::from_value(document).map_err(|error| {
        Problem::unprocessable(format!("cannot read a document of the {}: {error}", kind.name()))
    })
}

fn accept<T: Serialize, E: std::fmt::Display>(thing: &T, check: Result<(), E>) -> Result<Value, Problem> {
    check.map_err(|error| Problem::unprocessable(error.to_string()))?;
    serde_json::to_value(thing).map_err(|error| Problem::unprocessable(error.to_string()))
}

fn checked(reader: &Reader, kind: ShelfKind, document: Value) -> Result<Value, Problem> {
    match kind {
        ShelfKind::Pieces => {
            let piece: Piece = typed(kind, document)?;
            accept(&piece, piece.check())
        }
        ShelfKind::Tools => {
            let tool: Tool = typed(kind, document)?;
            accept(&tool, tool.check())
        }
        ShelfKind::Sources => {
            let source: Source = typed(kind, document)?;
            accept(&source, source.check())
        }
        ShelfKind::Bolts => {
            let bolt: TestBolt = typed(kind, document)?;
            accept(&bolt, bolt.check())
        }
        ShelfKind::Setups => {
            let chain: Chain = typed(kind, document)?;
            let pieces = pieces(reader)?;
            match fit(&chain, |name| pieces.get(name), None) {
                Ok(_) => accept(&chain, Ok::<(), String>(())),
                Err(error) => {
                    let problem = Problem::unprocessable(error.to_string());
                    Err(match error.hint() {
                        Some(hint) => problem.hint(hint),
                        None => problem,
                    })
                }
            }
        }
    }
}
