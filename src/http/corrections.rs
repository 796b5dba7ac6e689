//! What people say about stored runs: tags, exclusions, restores. Always a new row, with who and why.
//!
//! Setups and tools named afterwards must stand on the shelf, so that a slip of the pen makes no new one.

use super::body::{Body, check_who, check_why};
use super::openapi::Refused;
use super::problem::Problem;
use super::rigs::News;
use super::runs::{no_run, run_id};
use super::state::State;
use super::tags::{chain_named, on_shelf, pieces};
use axum::Json;
use axum::extract::{Path, State as Shared};
use boltscribe_model::setups::{Tool, fit};
use boltscribe_store::{Correction, NewTags, Reader, RunLine, ShelfKind, Write};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Other tags for a run.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TagBody {
    /// Who says so: 1 to 64 printable characters.
    who: String,
    /// Why: 1 to 500 printable characters.
    why: String,
    /// A setup on the shelf; absent or null leaves it as it is.
    setup: Option<String>,
    /// A tool on the shelf; absent or null leaves it as it is.
    tool: Option<String>,
}

/// Who leaves a run out or takes it back in, and why.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WordBody {
    /// Who says so: 1 to 64 printable characters.
    who: String,
    /// Why: 1 to 500 printable characters.
    why: String,
}

/// A run as it counts now.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = CorrectedRun)]
pub struct Corrected {
    /// Its line, this correction applied.
    run: RunLine,
}

/// Corrects the tags of a run.
///
/// # Errors
/// No such run, no tag at all, a name that is not on the shelf.
#[utoipa::path(
    post, path = "/runs/{id}/tag", operation_id = "tag_run", tag = "runs",
    params(("id" = i64, Path, description = "Number of the run in the store")),
    request_body = TagBody,
    responses((status = 200, description = "The run as it counts now", body = Corrected), Refused)
)]
pub async fn tag(
    Shared(state): Shared<State>,
    Path(id): Path<String>,
    Body(body): Body<TagBody>,
) -> Result<Json<Corrected>, Problem> {
    if body.setup.is_none() && body.tool.is_none() {
        return Err(Problem::unprocessable("cannot tag a run: expected a setup or a tool, found neither"));
    }
    let (setup, tool) = (body.setup, body.tool);
    let tags = state.read(move |reader| new_tags(reader, setup, tool)).await?;
    store(&state, &id, (body.who, body.why), Correction::Tag(tags)).await
}

/// Leaves a run out of results.
///
/// # Errors
/// No such run.
#[utoipa::path(
    post, path = "/runs/{id}/exclude", operation_id = "exclude_run", tag = "runs",
    params(("id" = i64, Path, description = "Number of the run in the store")),
    request_body = WordBody,
    responses((status = 200, description = "The run as it counts now", body = Corrected), Refused)
)]
pub async fn exclude(
    Shared(state): Shared<State>,
    Path(id): Path<String>,
    Body(body): Body<WordBody>,
) -> Result<Json<Corrected>, Problem> {
    store(&state, &id, (body.who, body.why), Correction::Exclude).await
}

/// Takes a run back in: undoes the exclusion in force; where there is none, lifts the flags.
///
/// # Errors
/// No such run, or it is not left out.
#[utoipa::path(
    post, path = "/runs/{id}/restore", operation_id = "restore_run", tag = "runs",
    params(("id" = i64, Path, description = "Number of the run in the store")),
    request_body = WordBody,
    responses((status = 200, description = "The run as it counts now", body = Corrected), Refused)
)]
pub async fn restore(
    Shared(state): Shared<State>,
    Path(id): Path<String>,
    Body(body): Body<WordBody>,
) -> Result<Json<Corrected>, Problem> {
    store(&state, &id, (body.who, body.why), Correction::Restore).await
}

fn new_tags(reader: &Reader, setup: Option<String>, tool: Option<String>) -> Result<NewTags, Problem> {
    let shelf = Some(reader.shelf_newest()?);
    let tool_known: Option<Tool> =
        tool.as_deref().map(|name| on_shelf(reader, ShelfKind::Tools, name)).transpose()?;
    let mut contacts = None;
    if let Some(name) = &setup {
        let chain = chain_named(reader, name)?;
        let pieces = pieces(reader)?;
        // The pieces may have been taken apart since: then only the count of contacts is unknown.
        contacts =
            fit(&chain, |piece| pieces.get(piece), tool_known.as_ref()).ok().map(|fitted| fitted.contacts);
    }
    Ok(NewTags { setup, contacts, tool, shelf })
}

async fn store(
    state: &State,
    id: &str,
    (who, why): (String, String),
    correction: Correction,
) -> Result<Json<Corrected>, Problem> {
    check_who(&who)?;
    check_why(&why)?;
    let run = run_id(id)?;
    let utc_ns = state.now();
    let write = Write::Correct { run, utc_ns, who, why, correction };
    state.write("", write).await?;
    let line = state.read(move |reader| reader.run(run)).await?;
    let line = line.ok_or_else(|| no_run(run))?.line;
    state.rigs.tell(&line.rig, utc_ns, News::Changed { id: run });
    Ok(Json(Corrected { run: line }))
}
