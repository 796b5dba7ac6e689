//! Trials: planned, made ready step by step, corrected, resumed.
//!
//! Ready puts the planned tags in force, with the attempt in them; the run that carries it takes the step. Two people
//! cannot both be ready for one step: who asks names the go he saw, and the store takes each go once.

use super::attempts;
use super::body::{Asked, Body, check_who, check_why};
use super::openapi::Refused;
use super::problem::Problem;
use super::rigs::News;
use super::state::State;
use super::trial_shown::{TrialList, TrialOrder, TrialReadings, TrialShown};
use super::trial_state::{Trial, check_names, load};
use axum::Json;
use axum::extract::{Path, State as Shared};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use boltscribe_analysis::results::Measure;
use boltscribe_analysis::trial::{Drawing, Fresh, Plan, Said, steps};
use boltscribe_model::control::SourceState;
use boltscribe_store::Write;
use serde::Deserialize;
use std::collections::HashMap;
use tokio::sync::OwnedMutexGuard;
use utoipa::{IntoParams, ToSchema};

/// A plan to be stored, or only looked at.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PlanBody {
    /// Who says so: 1 to 64 printable characters.
    who: String,
    /// The plan.
    plan: Plan,
    /// Store nothing, tell the order.
    #[serde(default)]
    dry_run: bool,
}

/// Somebody is ready.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ReadyBody {
    /// Who says so: 1 to 64 printable characters.
    who: String,
    /// The go that was seen; it must still be the next one.
    go: Option<u32>,
    /// What drives the tool; asked for where a fresh source is due.
    source: Option<SourceState>,
}

/// Something else is said.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SayBody {
    /// Who says so: 1 to 64 printable characters.
    who: String,
    /// `{"entry": "repeat", "go", "why"}`, `{"entry": "skip", "number", "why"}`, `{"entry": "warm", "why"}`,
    /// `{"entry": "abort", "why"}`, `{"entry": "resume"}` or `{"entry": "automatic", "on"}`.
    #[schema(value_type = Object)]
    say: Said,
}

/// Which figure.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct ReadingsQuery {
    /// Which figure; that of the plan where nothing is said.
    #[param(inline)]
    measure: Option<Measure>,
}

/// Stores the plan of a trial; with `dry_run` only answers with its order.
///
/// # Errors
/// A plan that cannot be, names that are not on the shelf, pieces that do not fit, a name that is taken.
#[utoipa::path(
    post, path = "/trials", operation_id = "plan_trial", tag = "trials",
    request_body = PlanBody,
    responses(
        (status = 200, description = "The order of its steps; nothing was stored (`dry_run`)", body = TrialOrder),
        (status = 201, description = "The trial as it stands", body = TrialShown),
        Refused
    )
)]
pub async fn plan(Shared(state): Shared<State>, Body(mut body): Body<PlanBody>) -> Result<Response, Problem> {
    check_who(&body.who)?;
    let rig = state.rig(&body.plan.rig)?;
    if rig.dial.is_some() && matches!(body.plan.measure, Measure::Gate | Measure::Plateau) {
        return Err(Problem::unprocessable(format!(
            "measure: expected held or peak, which a dial shows, found {}",
            body.plan.measure.name()
        )));
    }
    // A new plan says what is done about mountings and how it is drawn; that of an old trial does not.
    body.plan.remount.get_or_insert(true);
    body.plan.drawing.get_or_insert(Drawing::Second);
    let (plan, name) = (body.plan.clone(), body.plan.name.clone());
    state.read(move |reader| check_names(reader, &plan)).await?;
    if body.dry_run {
        let steps = steps(&body.plan);
        return Ok(Json(TrialOrder { plan: body.plan, steps }).into_response());
    }
    let utc_ns = state.now();
    let write = Write::Trial { utc_ns, who: body.who, plan: Box::new(body.plan) };
    state.write(&rig.rig, write).await?;
    state.rigs.tell(&rig.rig, utc_ns, News::Trial { trial: name.clone() });
    Ok((StatusCode::CREATED, Json(shown(&state, name).await?)).into_response())
}

/// All trials: `{"trials": [...]}`, newest first, each with its standing.
///
/// # Errors
/// The store's.
#[utoipa::path(
    get, path = "/trials", operation_id = "list_trials", tag = "trials",
    responses((status = 200, description = "The trials, each with how far it is", body = TrialList), Refused)
)]
pub async fn list(Shared(state): Shared<State>) -> Result<Json<TrialList>, Problem> {
    let known = state.trial_lines.clone();
    let lines = state.read(move |reader| known.read(reader, None)).await?;
    let trials = lines.into_iter().map(|line| line.line).collect();
    Ok(Json(TrialList { trials }))
}

/// One trial as it stands.
///
/// # Errors
/// None of this name; the store's.
#[utoipa::path(
    get, path = "/trials/{name}", operation_id = "show_trial", tag = "trials",
    params(("name" = String, Path, description = "Name of the trial")),
    responses(
        (status = 200, description = "Plan, steps, what comes next, what was said", body = TrialShown),
        Refused
    )
)]
pub async fn show(
    Shared(state): Shared<State>,
    Path(name): Path<String>,
) -> Result<Json<TrialShown>, Problem> {
    shown(&state, name).await.map(Json)
}

async fn shown(state: &State, name: String) -> Result<TrialShown, Problem> {
    state.read(move |reader| load(reader, &name)?.shown(reader)).await
}

async fn loaded(state: &State, name: &str) -> Result<Trial, Problem> {
    let name = name.to_owned();
    state.read(move |reader| load(reader, &name)).await
}

/// A trial, with its rig's turn: nothing is said of either until the guard is dropped.
async fn in_turn(state: &State, name: &str) -> Result<(Trial, OwnedMutexGuard<()>), Problem> {
    // The rig of a plan is never another one.
    let turn = state.turn(&loaded(state, name).await?.row.plan.rig).await;
    Ok((loaded(state, name).await?, turn))
}

/// The runs of a trial as a comparison takes them.
///
/// # Errors
/// None of this name; the store's.
#[utoipa::path(
    get, path = "/trials/{name}/readings", operation_id = "read_trial", tag = "trials",
    params(("name" = String, Path, description = "Name of the trial"), ReadingsQuery),
    responses(
        (status = 200, body = TrialReadings,
         description = "The runs in time order; `excluded` tells why one does not count"),
        Refused
    )
)]
pub async fn readings(
    Shared(state): Shared<State>,
    Path(name): Path<String>,
    Asked(query): Asked<ReadingsQuery>,
) -> Result<Json<TrialReadings>, Problem> {
    let found = state.read(move |reader| {
        let trial = load(reader, &name)?;
        let measure = query.measure.unwrap_or(trial.row.plan.measure);
        Ok::<_, Problem>(TrialReadings {
            gate_s: trial.gate_s(measure),
            rows: trial.readings(reader, measure)?,
            trial: name,
            measure,
            baseline: trial.row.plan.baseline,
        })
    });
    found.await.map(Json)
}

/// Puts the planned tags in force: the next run takes the next step.
///
/// # Errors
/// Another go is next, a run is awaited already, a fresh source is due, the trial is done or laid aside.
#[utoipa::path(
    post, path = "/trials/{name}/ready", operation_id = "ready_for_trial", tag = "trials",
    params(("name" = String, Path, description = "Name of the trial")),
    request_body = ReadyBody,
    responses((status = 200, description = "The trial as it stands", body = TrialShown), Refused)
)]
pub async fn ready(
    Shared(state): Shared<State>,
    Path(name): Path<String>,
    Body(body): Body<ReadyBody>,
) -> Result<Json<TrialShown>, Problem> {
    check_who(&body.who)?;
    let (trial, _turn) = in_turn(&state, &name).await?;
    let rig = &trial.row.plan.rig;
    if state.rigs.rigs().iter().any(|state| state.rig == *rig && state.driving) {
        return Err(Problem::conflict(format!(
            "trial '{name}': expected the rig '{rig}' at rest, found a run going on"
        ))
        .hint("wait until it is measured"));
    }
    attempts::give(&state, &trial, &body.who, body.go, body.source).await?;
    shown(&state, name).await.map(Json)
}

/// Says something of a trial: repeat, skip, warm, abort, resume, automatic.
///
/// # Errors
/// What does not fit where the trial stands.
#[utoipa::path(
    post, path = "/trials/{name}/say", operation_id = "say_to_trial", tag = "trials",
    params(("name" = String, Path, description = "Name of the trial")),
    request_body = SayBody,
    responses((status = 200, description = "The trial as it stands", body = TrialShown), Refused)
)]
pub async fn said(
    Shared(state): Shared<State>,
    Path(name): Path<String>,
    Body(body): Body<SayBody>,
) -> Result<Json<TrialShown>, Problem> {
    check_who(&body.who)?;
    let (trial, turn) = in_turn(&state, &name).await?;
    fits(&trial, &body.say)?;
    attempts::enter(&state, &trial, &body.who, body.say).await?;
    drop(turn);
    super::walking::advance_or_tell(&state, &trial.row.plan.rig, &mut HashMap::new()).await;
    shown(&state, name).await.map(Json)
}

fn fits(trial: &Trial, said: &Said) -> Result<(), Problem> {
    let found = trial.progress();
    let given =
        |go: u32| trial.entries.iter().any(|e| matches!(&e.said, Said::Ready(other) if other.go == go));
    let wrong = |what: String| Err(Problem::unprocessable(what));
    match said {
        Said::Ready(_) => wrong("say: expected anything but ready, which has a path of its own".to_owned()),
        Said::Repeat { go, why } => {
            check_why(why)?;
            if given(*go) { Ok(()) } else { wrong(format!("go: expected one that was given, found {go}")) }
        }
        Said::Skip { number, why } => {
            check_why(why)?;
            if found.steps.iter().any(|step| step.number == *number) {
                Ok(())
            } else {
                wrong(format!("number: expected a step from 1 to {}, found {number}", found.steps.len()))
            }
        }
        Said::Warm { why } | Said::Abort { why } => check_why(why),
        Said::Automatic { on: true } if trial.row.plan.fresh != Fresh::No => {
            wrong("automatic: expected a plan without fresh sources, found one that asks for them".to_owned())
        }
        Said::Resume | Said::Automatic { .. } => Ok(()),
    }
}
