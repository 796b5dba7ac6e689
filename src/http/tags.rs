//! Commands to a rig: which setup, tool, source and bolt are in force; taking a zero.
//!
//! Names are resolved here, through the rules of fit, to all the figures a run needs. What a `use` does
//! not speak of stays as it is; but what was read at a battery is not carried over to a later `use`.

use super::body::{Body, check_who};
use super::openapi::Refused;
use super::problem::Problem;
use super::rigs::Reply;
use super::state::State;
use axum::Json;
use axum::extract::{Path, State as Shared};
use boltscribe_model::control::{Command, InForce, SourceState};
use boltscribe_model::setups::{Chain, Piece, Reading, Source, SourceKind, TestBolt, Tool, fit};
use boltscribe_store::{AsOf, Reader, ShelfKind, ShelfRow, Write};
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use std::collections::HashMap;
use utoipa::ToSchema;

/// A zero farther out than this share of the range is told: the cell may carry load or be damaged.
const ZERO_SHARE_MAX: f64 = 0.01;

/// What is to be in force; absent or null leaves it as it is.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct UseBody {
    /// Who says so: 1 to 64 printable characters.
    who: String,
    /// A setup on the shelf.
    setup: Option<String>,
    /// A tool on the shelf.
    tool: Option<String>,
    /// What drives the tool, with what was read at it.
    source: Option<SourceState>,
    /// A test bolt on the shelf.
    bolt: Option<String>,
    /// True: no tool is coupled from now on, whatever setup and tool were; runs are kept and count nowhere. It ends where
    /// a setup or a tool is named, or with false.
    no_tool: Option<bool>,
}

/// Who takes a zero.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ZeroBody {
    /// Who says so: 1 to 64 printable characters.
    who: String,
}

/// What is in force at a rig now.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = UsedAtRig)]
pub struct Used {
    /// The rig.
    rig: String,
    /// What it did with the command.
    reply: Reply,
    /// Tags that the next run will carry.
    in_force: InForce,
}

/// The zero of a rig.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ZeroedRig)]
pub struct Zeroed {
    /// The rig.
    rig: String,
    /// What it did with the command.
    reply: Reply,
    /// The idle reading that counts as zero, kN in the calibration's terms; null where it is not known yet.
    #[serde(rename = "zero_kN")]
    zero_kn: Option<f64>,
    /// What is wrong with it; null where nothing is.
    remark: Option<String>,
}

/// Puts a setup, tool, source or bolt in force: new runs are tagged with them.
///
/// # Errors
/// An unknown rig or name, pieces that do not fit, a reading out of range.
#[utoipa::path(
    post, path = "/rigs/{rig}/use", operation_id = "use_at_rig", tag = "rigs",
    params(("rig" = String, Path, description = "Name of the rig")),
    request_body = UseBody,
    responses((status = 200, description = "What is in force now", body = Used), Refused)
)]
pub async fn put_in_force(
    Shared(state): Shared<State>,
    Path(rig): Path<String>,
    Body(body): Body<UseBody>,
) -> Result<Json<Used>, Problem> {
    use_at(&state, &rig, body).await.map(Json)
}

/// Names to be put in force; what is not named stays as it is.
pub(super) struct Named {
    /// A setup on the shelf.
    pub(super) setup: Option<String>,
    /// A tool on the shelf.
    pub(super) tool: Option<String>,
    /// What drives the tool.
    pub(super) source: Option<SourceState>,
    /// A test bolt on the shelf.
    pub(super) bolt: Option<String>,
    /// Whether no tool is coupled.
    pub(super) no_tool: Option<bool>,
}

async fn use_at(state: &State, rig: &str, body: UseBody) -> Result<Used, Problem> {
    check_who(&body.who)?;
    state.rig(rig)?;
    let UseBody { who, setup, tool, source, bolt, no_tool } = body;
    let (named, name) = (Named { setup, tool, source, bolt, no_tool }, rig.to_owned());
    let _turn = state.turn(rig).await;
    let in_force = state
        .read(move |reader| {
            let before = reader.in_force(&name)?.map(|row| row.in_force);
            resolve(reader, named, before.unwrap_or_default())
        })
        .await?;
    let command = Command::Use { in_force: in_force.clone() };
    // Stored before it is told: what a run is tagged with must be there after a crash too.
    let write = Write::Command { utc_ns: state.now(), who: who.clone(), command: Box::new(command.clone()) };
    state.write(rig, write).await?;
    let reply = tell_rig(state, rig, &who, command).await?;
    Ok(Used { rig: rig.to_owned(), reply, in_force })
}

/// Hands a command that is stored to its rig.
///
/// # Errors
/// The rig does not take it.
pub(super) async fn tell_rig(
    state: &State,
    rig: &str,
    who: &str,
    command: Command,
) -> Result<Reply, Problem> {
    Ok(state.rigs.command(rig, who, command).await?)
}

/// Takes a zero; the cell must be unloaded.
///
/// # Errors
/// An unknown rig, no daemon, a rig that cannot take a zero now.
#[utoipa::path(
    post, path = "/rigs/{rig}/zero", operation_id = "zero_rig", tag = "rigs",
    params(("rig" = String, Path, description = "Name of the rig")),
    request_body = ZeroBody,
    responses(
        (status = 200, description = "The zero in kN, with a remark where it is far out", body = Zeroed),
        Refused
    )
)]
pub async fn zero(
    Shared(state): Shared<State>,
    Path(rig): Path<String>,
    Body(body): Body<ZeroBody>,
) -> Result<Json<Zeroed>, Problem> {
    check_who(&body.who)?;
    if state.rig(&rig)?.dial.is_some() {
        return Err(Problem::conflict(format!(
            "cannot take a zero at rig '{rig}': expected a reading of its own, found a dial read by hand"
        ))
        .hint("set the dial itself to zero with the bolt loose, before the runs"));
    }
    let reply = state.rigs.command(&rig, &body.who, Command::Zero).await?;
    let write = Write::Command { utc_ns: state.now(), who: body.who, command: Box::new(Command::Zero) };
    state.write(&rig, write).await?;
    let now = state.rig(&rig)?;
    let remark = now.zero_kn.zip(now.range_kn).and_then(|(zero, range)| {
        let share = (zero / range).abs();
        (share > ZERO_SHARE_MAX).then(|| {
            format!(
                "the zero stands at {:.1} % of the range, more than 1 %: is the cell unloaded, overloaded once, or \
                 is the amplifier's offset set?",
                100.0 * share
            )
        })
    });
    if let Some(detail) = remark.clone() {
        state.write(&rig, Write::Event { utc_ns: state.now(), kind: "zero-far".into(), detail }).await?;
    }
    Ok(Json(Zeroed { rig, reply, zero_kn: now.zero_kn, remark }))
}

/// A document of the shelf as its type.
pub(super) fn on_shelf<T: DeserializeOwned>(
    reader: &Reader,
    kind: ShelfKind,
    name: &str,
) -> Result<T, Problem> {
    if_on_shelf(reader, kind, name)?.ok_or_else(|| {
        Problem::unprocessable(format!("cannot find '{name}' among the {}", kind.name()))
            .hint("put it on the shelf first, or correct its name")
    })
}

/// The same; none where it has left the shelf.
pub(super) fn if_on_shelf<T: DeserializeOwned>(
    reader: &Reader,
    kind: ShelfKind,
    name: &str,
) -> Result<Option<T>, Problem> {
    reader.shelf_entry(kind, name)?.map(|row| document(kind, name, row)).transpose()
}

/// A document of the shelf as it was when a run got its name; none where it did not stand there.
pub(super) fn as_it_was<T: DeserializeOwned>(
    reader: &Reader,
    kind: ShelfKind,
    name: &str,
    as_of: AsOf,
) -> Result<Option<T>, Problem> {
    let row = reader.shelf_entry_as_of(kind, name, as_of)?;
    row.map(|row| document(kind, name, row)).transpose()
}

fn document<T: DeserializeOwned>(kind: ShelfKind, name: &str, row: ShelfRow) -> Result<T, Problem> {
    serde_json::from_value(row.document).map_err(|error| {
        Problem::unprocessable(format!("cannot read '{name}' of the {}: {error}", kind.name()))
    })
}

/// The chain of this name.
pub(super) fn chain_named(reader: &Reader, name: &str) -> Result<Chain, Problem> {
    on_shelf(reader, ShelfKind::Setups, name)
}

/// All pieces of the shelf, by name.
pub(super) fn pieces(reader: &Reader) -> Result<HashMap<String, Piece>, Problem> {
    let rows = reader.shelf(ShelfKind::Pieces)?;
    // A piece that does not read is as good as absent: a chain that needs it then says so.
    let known = rows
        .into_iter()
        .filter_map(|row| serde_json::from_value::<Piece>(row.document).ok())
        .map(|piece| (piece.name.clone(), piece));
    Ok(known.collect())
}

/// Names to all the figures that a run needs, by the rules of fit.
///
/// # Errors
/// A name that is not on the shelf, pieces that do not fit, a reading out of range.
pub(super) fn resolve(reader: &Reader, named: Named, before: InForce) -> Result<InForce, Problem> {
    // Asked first: what is put on the shelf while this goes on is newer than what is said here.
    let shelf = Some(reader.shelf_newest()?);
    let no_tool = without_tool(&named, &before)?;
    let before = if no_tool { InForce { setup: None, tool: None, ..before } } else { before };
    let setup = named.setup.or(before.setup);
    let tool_name = named.tool.or(before.tool);
    let tool: Option<Tool> =
        tool_name.as_deref().map(|name| on_shelf(reader, ShelfKind::Tools, name)).transpose()?;
    let contacts = match &setup {
        None => None,
        Some(name) => {
            let chain = chain_named(reader, name)?;
            let pieces = pieces(reader)?;
            let fitted = fit(&chain, |piece| pieces.get(piece), tool.as_ref()).map_err(|error| {
                let problem = Problem::unprocessable(error.to_string());
                match error.hint() {
                    Some(hint) => problem.hint(hint),
                    None => problem,
                }
            })?;
            Some(fitted.contacts)
        }
    };
    let bolt = match named.bolt {
        None => before.bolt,
        Some(name) => {
            let bolt: TestBolt = on_shelf(reader, ShelfKind::Bolts, &name)?;
            let figures = bolt.in_force();
            Some(figures.map_err(|error| Problem::unprocessable(error.to_string()))?)
        }
    };
    let source = match (named.source, before.source) {
        (Some(told), _) => Some(read_source(reader, &told, tool.as_ref())?),
        // A tool of another kind was taken up: what drove the last one does not drive it.
        (None, Some(kept)) if tool.as_ref().is_none_or(|tool| tool.source == kind_of(&kept)) => {
            Some(without_reading(kept))
        }
        (None, _) => None,
    };
    // A run that is awaited is awaited still: what is wrong about its tags then shows at its step.
    Ok(InForce { setup, contacts, tool: tool_name, source, bolt, attempt: before.attempt, shelf, no_tool })
}

/// Whether no tool is coupled from now on.
///
/// # Errors
/// A setup or tool is named beside it, or a run of a trial is awaited.
fn without_tool(named: &Named, before: &InForce) -> Result<bool, Problem> {
    let coupled = named.setup.is_some() || named.tool.is_some();
    match (named.no_tool, &before.attempt) {
        (Some(true), _) if coupled => Err(Problem::unprocessable(
            "no_tool: expected no setup and no tool beside it, found one that is to be used",
        )),
        (Some(true), Some(attempt)) => Err(Problem::conflict(format!(
            "cannot leave the tool off: a run of trial '{}' is awaited",
            attempt.trial
        ))
        .hint("drive that run, or lay the trial aside first")),
        (Some(no_tool), _) => Ok(no_tool),
        (None, _) => Ok(before.no_tool && !coupled),
    }
}

const fn kind_of(state: &SourceState) -> SourceKind {
    match state {
        SourceState::Battery { .. } => SourceKind::Battery,
        SourceState::Air { .. } => SourceKind::Air,
        SourceState::Mains { .. } => SourceKind::Mains,
    }
}

fn without_reading(state: SourceState) -> SourceState {
    match state {
        SourceState::Battery { id, .. } => SourceState::Battery { id, rested_v: None, fresh: None },
        SourceState::Air { .. } => SourceState::Air { dynamic_kpa: None },
        SourceState::Mains { .. } => SourceState::Mains { voltage_v: None },
    }
}

/// Checks what was read at a source; a battery must stand on the shelf, supplies have no name.
fn read_source(reader: &Reader, told: &SourceState, tool: Option<&Tool>) -> Result<SourceState, Problem> {
    let unnamed = |kind: SourceKind| Source { name: kind.to_string(), kind, serial: None };
    let (source, reading) = match told {
        SourceState::Battery { id, rested_v, fresh } => (
            on_shelf::<Source>(reader, ShelfKind::Sources, id)?,
            Reading { rested_v: *rested_v, fresh: *fresh, ..Reading::default() },
        ),
        SourceState::Air { dynamic_kpa } => {
            (unnamed(SourceKind::Air), Reading { dynamic_kpa: *dynamic_kpa, ..Reading::default() })
        }
        SourceState::Mains { voltage_v } => {
            (unnamed(SourceKind::Mains), Reading { voltage_v: *voltage_v, ..Reading::default() })
        }
    };
    if let Some(tool) = tool {
        tool.check_source(&source).map_err(|error| Problem::unprocessable(error.to_string()))?;
    }
    source.state(reading).map_err(|error| Problem::unprocessable(error.to_string()))
}
