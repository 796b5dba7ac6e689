//! Readings by hand: a figure from a dial becomes a run, with what was in force.
//!
//! The figure is checked here and nowhere else; it may come as text, so that a decimal comma is noticed. A
//! mistyped one is excluded and entered again: rows are never changed.

use super::body::{Body, WHY_CHARS_MAX, check_who};
use super::openapi::Refused;
use super::problem::Problem;
use super::rigs::RigState;
use super::run_shown::RunShown;
use super::runs::{no_run, shown, time};
use super::state::State;
use axum::Json;
use axum::extract::{Path, State as Shared};
use axum::http::StatusCode;
use boltscribe_analysis::results::dial::Meaning;
use boltscribe_analysis::results::{
    ByHand, Dial, DialUnit, Flag, Reading, ReadingError, ReadingOf, parse_reading,
};
use boltscribe_store::{RunId, Write, Written};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A reading said to be this much later than now is still now: clocks of two machines differ.
const AHEAD_NS_MAX: i64 = 5_000_000_000;

/// A figure as text or as a number.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(untagged)]
#[schema(as = ReadingFigure)]
enum Figure {
    Number(f64),
    Text(String),
}

/// What was read.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ReadingBody {
    /// Who says so: 1 to 64 printable characters.
    who: String,
    /// What the dial showed, in its unit; as text a decimal comma is noticed.
    reading: Figure,
    /// Unit that was read: kN, N, lbf, psi, bar or MPa; that of the dial where nothing is said.
    unit: Option<String>,
    /// It is the greatest value, not the one that stayed.
    #[serde(default)]
    peak: bool,
    /// A remark: 1 to 500 printable characters.
    note: Option<String>,
    /// When it was read, such as 2026-01-31T13:00:00Z; now where nothing is said.
    at: Option<String>,
}

/// A reading as it was stored.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = EnteredReading)]
pub struct Entered {
    #[serde(flatten)]
    run: RunShown,
    /// What the person who typed it should know at once, a sentence each.
    remarks: Vec<String>,
}

/// Stores a reading by hand as a run; answers with the run and what a person should know.
///
/// # Errors
/// An unknown rig, one with an amplifier, a figure that cannot be a reading of its dial, a moment to come.
#[utoipa::path(
    post, path = "/rigs/{rig}/readings", operation_id = "enter_reading", tag = "rigs",
    params(("rig" = String, Path, description = "Name of the rig")),
    request_body = ReadingBody,
    responses(
        (status = 201, description = "The run, with remarks for the person who typed it", body = Entered),
        Refused
    )
)]
pub async fn enter(
    Shared(state): Shared<State>,
    Path(rig): Path<String>,
    Body(body): Body<ReadingBody>,
) -> Result<(StatusCode, Json<Entered>), Problem> {
    check_who(&body.who)?;
    let now = state.rig(&rig)?;
    let dial = dial_of(&now)?;
    let (value, unit) = (figure(&body.reading)?, unit(body.unit.as_deref())?);
    let meaning = dial.read(value, unit).map_err(refused)?;
    let utc_ns = moment(&state, body.at.as_deref())?;
    let (name, told) = (rig.clone(), body.at.is_some());
    let in_force = state
        .read(move |reader| match told {
            // Said afterwards: the tags are those of that moment.
            true => reader.in_force_at(&name, utc_ns),
            false => Ok(reader.in_force(&name)?.map(|row| row.in_force).unwrap_or_default()),
        })
        .await?;
    let of = if body.peak { ReadingOf::Peak } else { ReadingOf::Held };
    let mut reading = Reading::new(dial.clone(), (value, unit.unwrap_or(dial.unit)), meaning, of, body.who);
    reading.note = body.note.map(checked_note).transpose()?;
    let read = ByHand::new(reading, in_force);
    let remarks = remarks(&read, &meaning);
    let id = store(&state, &rig, utc_ns, read).await?;
    let run = state.read(move |reader| shown(reader, id)).await?.ok_or_else(|| no_run(id))?;
    Ok((StatusCode::CREATED, Json(Entered { run, remarks })))
}

async fn store(state: &State, rig: &str, utc_ns: i64, read: ByHand) -> Result<RunId, Problem> {
    let write = Write::Reading { utc_ns, reading: Box::new(read.clone()) };
    let Written::Run(id) = state.write(rig, write).await? else {
        let detail = "the store gave the reading no number";
        return Err(Problem::new(StatusCode::INTERNAL_SERVER_ERROR, detail));
    };
    state.rigs.was_read(rig, state.now(), id, read);
    Ok(id)
}

fn dial_of(rig: &RigState) -> Result<&Dial, Problem> {
    rig.dial.as_ref().ok_or_else(|| {
        Problem::conflict(format!(
            "cannot enter a reading at rig '{}': expected a dial read by hand, found an amplifier, whose runs \
             are found by themselves",
            rig.rig
        ))
        .hint("a dial is a rig of its own, with instrument = \"typed\" in its settings")
    })
}

fn refused(error: ReadingError) -> Problem {
    let problem = Problem::unprocessable(error.to_string());
    match error.hint() {
        Some(hint) => problem.hint(hint),
        None => problem,
    }
}

fn figure(figure: &Figure) -> Result<f64, Problem> {
    match figure {
        Figure::Number(value) => Ok(*value),
        Figure::Text(text) => parse_reading(text).map_err(refused),
    }
}

fn unit(name: Option<&str>) -> Result<Option<DialUnit>, Problem> {
    let known = |name: &str| {
        DialUnit::from_name(name).ok_or_else(|| refused(ReadingError::UnknownUnit(name.to_owned())))
    };
    name.map(known).transpose()
}

fn moment(state: &State, at: Option<&str>) -> Result<i64, Problem> {
    let now = state.now();
    let Some(text) = at else {
        return Ok(now);
    };
    let utc_ns = time("at", text)?;
    if utc_ns > now.saturating_add(AHEAD_NS_MAX) {
        return Err(Problem::unprocessable(format!("at: expected a moment that has passed, found '{text}'")));
    }
    Ok(utc_ns)
}

fn checked_note(note: String) -> Result<String, Problem> {
    let found = note.chars().count();
    if note.trim().is_empty() || found > WHY_CHARS_MAX || note.chars().any(char::is_control) {
        return Err(Problem::unprocessable(format!(
            "note: expected 1 to {WHY_CHARS_MAX} printable characters, found {found} characters"
        )));
    }
    Ok(note)
}

/// What the person who typed it should know at once.
fn remarks(read: &ByHand, meaning: &Meaning) -> Vec<String> {
    let reading = &read.reading;
    let mut remarks = Vec::new();
    if read.flags.contains(&Flag::OverLimit) {
        let allowed = read.in_force.bolt.as_ref().and_then(|bolt| bolt.allowed_kn).unwrap_or_default();
        remarks.push(format!(
            "OVER LIMIT: {:.2} kN passed the test bolt's allowed tension of {allowed} kN: stop and inspect the bolt",
            reading.tension.kn()
        ));
    }
    if meaning.between_steps {
        remarks.push(format!(
            "{} lies between two steps of the dial, which are {} {} wide: was it read right?",
            reading.value,
            reading.dial.resolution,
            reading.dial.unit.name()
        ));
    }
    remarks
}
