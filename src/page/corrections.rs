//! What people say about stored runs: tags, exclusions, restores. Always a new row, with who and why.
//!
//! Setups and tools named afterwards must stand on the shelf, so that a slip of the pen makes no new one.

use super::body::{Body, check_who, check_why};
use super::problem::Problem;
use super::runs::{no_run, run_id};
use super::state::State;
use super::tags::{chain_named, on_shelf, pieces};
use crate::setups::{Tool, fit};
use crate::store::{Correction, NewTags, Reader, ShelfKind, Write};
use axum::Json;
use axum::extract::{Path, State as Shared};
use serde::Deserialize;
use serde_json::{Value, json};

/// Other tags for a run.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TagBody {
    who: String,
    why: String,
    setup: Option<String>,
    tool: Option<String>,
}

/// Who leaves a run out or takes it back in, and why.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct WordBody {
    who: String,
    why: String,
}

/// `POST /runs/{id}/tag`.
///
/// # Errors
/// No such run, no tag at all, a name that is not on the shelf.
pub async fn tag(
    Shared(state): Shared<State>,
    Path(id): Path<String>,
    Body(body): Body<TagBody>,
) -> Result<Json<Value>, Problem> {
    if body.setup.is_none() && body.tool.is_none() {
        return Err(Problem::unprocessable(
            "cannot tag a run: expected a setup or a tool, found neither",
        ));
    }
    let (setup, tool) = (body.setup, body.tool);
    let tags = state.read(move |reader| new_tags(reader, setup, tool)).await?;
    store(&state, &id, (body.who, body.why), Correction::Tag(tags)).await
}

/// `POST /runs/{id}/exclude`.
///
/// # Errors
/// No such run.
pub async fn exclude(
    Shared(state): Shared<State>,
    Path(id): Path<String>,
    Body(body): Body<WordBody>,
) -> Result<Json<Value>, Problem> {
    store(&state, &id, (body.who, body.why), Correction::Exclude).await
}

/// `POST /runs/{id}/restore`: undoes the exclusion in force; where there is none, lifts the flags.
///
/// # Errors
/// No such run, or it is not left out.
pub async fn restore(
    Shared(state): Shared<State>,
    Path(id): Path<String>,
    Body(body): Body<WordBody>,
) -> Result<Json<Value>, Problem> {
    store(&state, &id, (body.who, body.why), Correction::Restore).await
}

fn new_tags(reader: &Reader, setup: Option<String>, tool: Option<String>) -> Result<NewTags, Problem> {
    let tool_known: Option<Tool> = tool
        .as_deref()
        .map(|name| on_shelf(reader, ShelfKind::Tools, name))
        .transpose()?;
    let mut contacts = None;
    if let Some(name) = &setup {
        let chain = chain_named(reader, name)?;
        let pieces = pieces(reader)?;
        // The pieces may have been taken apart since: then only the count of contacts is unknown.
        contacts = fit(&chain, |piece| pieces.get(piece), tool_known.as_ref())
            .ok()
            .map(|fitted| fitted.contacts);
    }
    Ok(NewTags {
        setup,
        contacts,
        tool,
    })
}

async fn store(
    state: &State,
    id: &str,
    (who, why): (String, String),
    correction: Correction,
) -> Result<Json<Value>, Problem> {
    check_who(&who)?;
    check_why(&why)?;
    let run = run_id(id)?;
    let write = Write::Correct {
        run,
        utc_ns: state.now(),
        who,
        why,
        correction,
    };
    state.write("", write).await?;
    let line = state.read(move |reader| reader.run(run)).await?;
    let line = line.ok_or_else(|| no_run(run))?.line;
    Ok(Json(json!({ "run": line })))
}
