//! Rigs that come and go while the daemon runs, and ports that are listened to before a rig has them.
//!
//! A rig's document has the keys of `[[rig]]`; it is checked and written down behind [`super::Rigs`].
//! What was done is stored as an event, with who did it and the document.

use super::body::{Body, check_who};
use super::calibrating::is_the_one_of_its_name;
use super::openapi::Refused;
use super::problem::Problem;
use super::rigs::{Hear, Heard, Refusal};
use super::state::State;
use axum::Json;
use axum::extract::{Path, State as Shared};
use axum::http::StatusCode;
use boltscribe_model::constants::Calibration;
use boltscribe_model::control::Command;
use boltscribe_store::Write;
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use utoipa::ToSchema;

/// Longest time of listening, seconds.
const HEAR_S_MAX: f64 = 8.0;

/// A rig to be kept.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RigBody {
    /// Who says so: 1 to 64 printable characters.
    who: String,
    /// The keys of `[[rig]]` of the settings, `name` among them.
    #[schema(value_type = Object)]
    rig: Value,
}

/// Who takes a rig away.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WhoBody {
    /// Who says so: 1 to 64 printable characters.
    who: String,
}

/// Where to listen.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct HearBody {
    /// Path of the port.
    port: String,
    /// Symbols a second.
    #[serde(default = "baud")]
    baud: u32,
    /// Ask as one asks an instrument `framed`.
    #[serde(default)]
    framed: bool,
    /// How long, seconds.
    #[serde(default = "for_s")]
    #[schema(minimum = 0.2, maximum = 8)]
    for_s: f64,
}

const fn baud() -> u32 {
    115_200
}

const fn for_s() -> f64 {
    3.0
}

/// A rig that was written down.
#[derive(Debug, Serialize, ToSchema)]
pub struct RigKept {
    /// Its name.
    rig: String,
    /// Path of the file it stands in.
    file: String,
}

/// A rig that was taken away.
#[derive(Debug, Serialize, ToSchema)]
pub struct RigRemoved {
    /// Its name.
    rig: String,
}

/// Adds a rig and takes it up at once.
///
/// # Errors
/// A document that cannot be used, a name or port that is taken, no daemon.
#[utoipa::path(
    post, path = "/rigs", operation_id = "add_rig", tag = "rigs",
    request_body = RigBody,
    responses(
        (status = 201, description = "The name of the rig and the file it stands in", body = RigKept),
        Refused
    )
)]
pub async fn add(
    Shared(state): Shared<State>,
    Body(body): Body<RigBody>,
) -> Result<(StatusCode, Json<RigKept>), Problem> {
    let answer = keep(&state, &body, false).await?;
    Ok((StatusCode::CREATED, Json(answer)))
}

/// Changes a rig that was added through the API; it is closed and taken up anew.
///
/// # Errors
/// A document that cannot be used or has another name, a port that is taken, no daemon; a rig of the settings file;
/// a run going on.
#[utoipa::path(
    put, path = "/rigs/{rig}", operation_id = "replace_rig", tag = "rigs",
    params(("rig" = String, Path, description = "Name of the rig")),
    request_body = RigBody,
    responses(
        (status = 200, description = "The name of the rig and the file it stands in", body = RigKept),
        Refused
    )
)]
pub async fn replace(
    Shared(state): Shared<State>,
    Path(rig): Path<String>,
    Body(body): Body<RigBody>,
) -> Result<Json<RigKept>, Problem> {
    state.rig(&rig)?;
    if body.rig["name"] != rig {
        return Err(Problem::unprocessable(format!(
            "cannot change the rig '{rig}': expected a document of this name, found {}",
            body.rig["name"]
        )));
    }
    keep(&state, &body, true).await.map(Json)
}

async fn keep(state: &State, body: &RigBody, replace: bool) -> Result<RigKept, Problem> {
    check_who(&body.who)?;
    writable(state)?;
    let calibration = calibration_of(&body.rig);
    if let Some(calibration) = &calibration {
        is_the_one_of_its_name(state, calibration).await?;
    }
    let head = format!("{} through the API by {}.", if replace { "Changed" } else { "Added" }, body.who);
    let file = state.rigs.keep(&body.rig, replace, &head).await?;
    let name = body.rig["name"].as_str().unwrap_or_default();
    let kind = if replace { "rig-changed" } else { "rig-added" };
    let detail = json!({ "who": body.who, "rig": body.rig }).to_string();
    state.write(name, Write::Event { utc_ns: state.now(), kind: kind.into(), detail }).await?;
    // What corrects a dial stands in the rig's file alone: as a command it would be taken for a line of counts.
    if let Some(calibration) = calibration.filter(|_| body.rig["instrument"] != "typed") {
        // The newest word about a rig's calibration is the one that holds at its next start.
        let command = Box::new(Command::Calibrate { calibration });
        state.write(name, Write::Command { utc_ns: state.now(), who: body.who.clone(), command }).await?;
    }
    Ok(RigKept { rig: name.to_owned(), file })
}

/// The calibration of a rig's document; none where it has none, or one that will be refused as a whole.
fn calibration_of(rig: &Value) -> Option<Calibration> {
    let mut calibration: Calibration = serde_json::from_value(rig["calibration"].clone()).ok()?;
    calibration.range_kn = rig["range_kN"].as_f64();
    Some(calibration)
}

/// Takes a rig away that was added through the API; its runs stay.
///
/// # Errors
/// An unknown rig, one of the settings file, a run going on, no daemon.
#[utoipa::path(
    delete, path = "/rigs/{rig}", operation_id = "remove_rig", tag = "rigs",
    params(("rig" = String, Path, description = "Name of the rig")),
    request_body = WhoBody,
    responses((status = 200, description = "The name of the rig", body = RigRemoved), Refused)
)]
pub async fn remove(
    Shared(state): Shared<State>,
    Path(rig): Path<String>,
    Body(body): Body<WhoBody>,
) -> Result<Json<RigRemoved>, Problem> {
    check_who(&body.who)?;
    writable(&state)?;
    state.rigs.drop_rig(&rig).await?;
    let detail = json!({ "who": body.who }).to_string();
    state.write(&rig, Write::Event { utc_ns: state.now(), kind: "rig-removed".into(), detail }).await?;
    Ok(Json(RigRemoved { rig }))
}

/// Listens at a port that no rig has, and tells what talks there.
///
/// # Errors
/// A port that does not open, one that a rig has, no daemon.
#[utoipa::path(
    post, path = "/ports/hear", operation_id = "hear_port", tag = "rigs",
    request_body = HearBody,
    responses(
        (status = 200, description = "What was heard, and which instrument it may be", body = Heard),
        Refused
    )
)]
pub async fn hear(Shared(state): Shared<State>, Body(body): Body<HearBody>) -> Result<Json<Heard>, Problem> {
    if !(0.2..=HEAR_S_MAX).contains(&body.for_s) {
        return Err(Problem::unprocessable(format!(
            "cannot listen: expected for_s from 0.2 to {HEAR_S_MAX}, found {}",
            body.for_s
        )));
    }
    if let Some(rig) = state.rigs.rigs().into_iter().find(|rig| rig.port.as_ref() == Some(&body.port)) {
        return Err(Problem::conflict(format!(
            "cannot listen at {}: expected a free port, found it at rig '{}'",
            body.port, rig.rig
        )));
    }
    let at = Hear { port: body.port, baud: body.baud, framed: body.framed, for_s: body.for_s };
    // A port that is not there, or not ours, is nothing that went wrong here.
    let heard = state.rigs.hear(&at).await.map_err(|refusal| match refusal {
        Refusal::Failed { .. } => Problem::conflict(refusal.to_string()),
        other => other.into(),
    })?;
    Ok(Json(heard))
}

fn writable(state: &State) -> Result<(), Problem> {
    if state.writer.is_some() {
        return Ok(());
    }
    Err(Problem::new(
        StatusCode::FORBIDDEN,
        "cannot change a rig: expected a store, found a copy opened read-only",
    ))
}
