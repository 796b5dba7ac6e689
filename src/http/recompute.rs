//! Stored runs measured again: with the present code, and on request another calibration, the measuring
//! settings in use, or the present figures of their test bolts.
//!
//! What comes out is a new row with who, when and why; where nothing differs there is none.

use super::body::{Body, check_who, check_why};
use super::calibrating::is_the_one_of_its_name;
use super::figures::{Difference, differences};
use super::openapi::Refused;
use super::problem::Problem;
use super::rigs::News;
use super::state::State;
use super::tags::on_shelf;
use axum::Json;
use axum::extract::State as Shared;
use boltscribe_analysis::results::RunResult;
use boltscribe_model::constants::Calibration;
use boltscribe_model::control::BoltInForce;
use boltscribe_model::setups::{TestBolt, check_text};
use boltscribe_pipeline::{With, again};
use boltscribe_store::{
    NotRemeasurable, Reader, Recomputed, Remeasurable, RunId, ShelfKind, StoreError, Write,
};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Most runs in one request.
pub const RUNS_A_REQUEST: usize = 100;
/// The word for the line a rig works with now.
const IN_USE: &str = "in-use";

/// Which runs, and with what.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AgainBody {
    /// Who says so: 1 to 64 printable characters.
    who: String,
    /// Why: 1 to 500 printable characters; not asked for with `dry_run`.
    why: Option<String>,
    /// Numbers of runs, 1 to 100 of them.
    #[schema(min_items = 1, max_items = 100)]
    runs: Vec<i64>,
    /// With this calibration; with that of its measuring where nothing is said.
    calibration: Option<Line>,
    /// With the measuring settings in use at its rig.
    #[serde(default)]
    measure_settings: bool,
    /// With the present figures of its test bolt.
    #[serde(default)]
    bolt_figures: bool,
    /// Store nothing, tell what would change.
    #[serde(default)]
    dry_run: bool,
}

/// A line by name (`in-use`: the one the run's rig works with), or as such.
#[derive(Clone, Debug, Deserialize, ToSchema)]
#[serde(untagged)]
#[schema(as = LineOrName)]
enum Line {
    Named(String),
    Given(Calibration),
}

/// What became of one run.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
#[schema(as = RecomputeOutcome)]
pub struct Outcome {
    /// Its number in the store.
    run: i64,
    /// `recomputed`, `would-change`, `unchanged` or `refused`.
    outcome: &'static str,
    /// Why it was refused; null where it was not.
    reason: Option<String>,
    /// Figures that differ from those before.
    differences: Vec<Difference>,
}

/// What became of several runs.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RecomputeOutcomes)]
pub struct Outcomes {
    /// One for each run, in the order of the request.
    outcomes: Vec<Outcome>,
}

/// A run measured, not yet stored.
struct Measured {
    rig: String,
    with: With,
    before: RunResult,
    after: RunResult,
}

/// Measures stored runs again: `{"outcomes": [...]}`, one for each run, in order.
///
/// # Errors
/// Too many runs, a name of a calibration that is not known or stands for several lines; the store's.
#[utoipa::path(
    post, path = "/runs/recompute", operation_id = "recompute_runs", tag = "runs",
    request_body = AgainBody,
    responses((status = 200, description = "What became of each run", body = Outcomes), Refused)
)]
pub async fn recompute(
    Shared(state): Shared<State>,
    Body(body): Body<AgainBody>,
) -> Result<Json<Outcomes>, Problem> {
    check_who(&body.who)?;
    let why = match (&body.why, body.dry_run) {
        (Some(why), _) => check_why(why).map(|()| why.clone())?,
        (None, true) => String::new(),
        (None, false) => return Err(Problem::unprocessable("why: expected a reason, found none")),
    };
    if body.runs.is_empty() || body.runs.len() > RUNS_A_REQUEST {
        return Err(Problem::unprocessable(format!(
            "runs: expected 1 to {RUNS_A_REQUEST}, found {}",
            body.runs.len()
        )));
    }
    if let Some(Line::Given(calibration)) = &body.calibration {
        check_text("calibration", &calibration.id)
            .map_err(|error| Problem::unprocessable(error.to_string()))?;
        is_the_one_of_its_name(&state, calibration).await?;
    }
    let named = body.calibration.clone();
    let line = state.read(move |reader| resolve(reader, named)).await?;
    let mut outcomes = Vec::new();
    for run in body.runs.iter().copied().map(RunId) {
        let (line, settings, bolt) = (line.clone(), body.measure_settings, body.bolt_figures);
        let measured = state.read(move |reader| measure(reader, run, line, settings, bolt)).await?;
        outcomes.push(match measured {
            Err(reason) => {
                Outcome { run: run.0, outcome: "refused", reason: Some(reason), differences: Vec::new() }
            }
            Ok(measured) => keep(&state, run, *measured, (&body.who, &why), body.dry_run).await?,
        });
    }
    Ok(Json(Outcomes { outcomes }))
}

async fn keep(
    state: &State,
    run: RunId,
    measured: Measured,
    (who, why): (&str, &str),
    dry_run: bool,
) -> Result<Outcome, Problem> {
    let differences = differences(&measured.before, &measured.after);
    let outcome = match (differences.is_empty(), dry_run) {
        (true, _) => "unchanged",
        (false, true) => "would-change",
        (false, false) => "recomputed",
    };
    if outcome == "recomputed" {
        let utc_ns = state.now();
        let write = Write::Recompute(Box::new(Recomputed {
            run,
            utc_ns,
            who: who.to_owned(),
            why: why.to_owned(),
            program: env!("CARGO_PKG_VERSION").to_owned(),
            settings: measured.with.settings,
            line: measured.with.calibration,
            result: measured.after,
        }));
        state.write(&measured.rig, write).await?;
        state.rigs.tell(&measured.rig, utc_ns, News::Changed { id: run });
    }
    Ok(Outcome { run: run.0, outcome, reason: None, differences })
}

/// What a line is asked for: none, that in use at each rig, or one for all.
#[derive(Clone, Debug)]
enum Asked {
    AsBefore,
    InUse,
    One(Calibration),
}

fn resolve(reader: &Reader, line: Option<Line>) -> Result<Asked, Problem> {
    let name = match line {
        None => return Ok(Asked::AsBefore),
        Some(Line::Given(calibration)) => {
            calibration.check().map_err(|error| Problem::unprocessable(error.to_string()))?;
            return Ok(Asked::One(calibration));
        }
        Some(Line::Named(name)) if name == IN_USE => return Ok(Asked::InUse),
        Some(Line::Named(name)) => name,
    };
    // A name stands for one line; where an old store knows several, the newest told is not the right guess.
    let mut found = reader.calibrations_named(&name)?;
    found.dedup_by(|a, b| a.coefficients_kn == b.coefficients_kn && a.nominal == b.nominal);
    match (found.pop(), found.len()) {
        (Some(only), 0) => Ok(Asked::One(only)),
        (Some(_), others) => Err(Problem::conflict(format!(
            "cannot choose the calibration '{name}': expected one line of this name, found {}",
            others + 1
        ))
        .hint("give it as a file, under a name of its own")),
        (None, _) => Err(Problem::not_found(format!("cannot find the calibration '{name}'"))
            .hint("'in-use' stands for the one a rig works with; a file can be given too")),
    }
}

fn measure(
    reader: &Reader,
    run: RunId,
    line: Asked,
    settings_in_use: bool,
    bolt_figures: bool,
) -> Result<Result<Box<Measured>, String>, StoreError> {
    let stored = match reader.remeasurable(run)? {
        Ok(stored) => stored,
        Err(not) => return Ok(Err(words(run, &not))),
    };
    let with = match with(reader, &stored, line, settings_in_use, bolt_figures)? {
        Ok(with) => with,
        Err(reason) => return Ok(Err(format!("cannot measure run {} again: {reason}", run.0))),
    };
    // Measured from the announcement, so that what a version left out comes back with the next.
    match again(&stored.original, &stored.raw, &with) {
        Err(error) => Ok(Err(format!("cannot measure run {} again: {error}", run.0))),
        Ok(after) => Ok(Ok(Box::new(Measured { rig: stored.rig, with, before: stored.newest, after }))),
    }
}

fn with(
    reader: &Reader,
    stored: &Remeasurable,
    line: Asked,
    settings_in_use: bool,
    bolt_figures: bool,
) -> Result<Result<With, String>, StoreError> {
    let in_use = match (&line, settings_in_use) {
        (Asked::InUse, _) | (_, true) => reader.in_use(&stored.rig)?,
        _ => None,
    };
    let before = stored.line_at_first.clone();
    let calibration = match line {
        Asked::One(calibration) => Some(calibration),
        Asked::InUse => in_use.as_ref().and_then(|settings| settings.calibration.clone()),
        Asked::AsBefore => stored.line.clone(),
    };
    let Some(calibration) = calibration else {
        return Ok(Err(match stored.line {
            Some(_) => "expected a calibration in use at its rig, found none".to_owned(),
            None => {
                format!("expected the calibration '{}' in the store, found none", stored.newest.calibration)
            }
        }));
    };
    let settings = match (in_use, settings_in_use) {
        (Some(in_use), true) => in_use.runs,
        _ => stored.measured_by.clone(),
    };
    let bolt = match (&stored.newest.in_force.bolt, bolt_figures) {
        (Some(bolt), true) => match figures_now(reader, &bolt.name) {
            Ok(bolt) => Some(bolt),
            Err(reason) => return Ok(Err(reason)),
        },
        (bolt, _) => bolt.clone(),
    };
    Ok(Ok(With { settings, before, calibration, bolt }))
}

fn figures_now(reader: &Reader, name: &str) -> Result<BoltInForce, String> {
    let bolt: TestBolt = on_shelf(reader, ShelfKind::Bolts, name).map_err(|problem| problem.detail)?;
    bolt.in_force().map_err(|error| error.to_string())
}

fn words(run: RunId, not: &NotRemeasurable) -> String {
    let found = match not {
        NotRemeasurable::Unknown => return format!("cannot find run {}", run.0),
        NotRemeasurable::Open => "expected a closed run, found it open".to_owned(),
        NotRemeasurable::Typed => "expected samples, found a reading typed by hand".to_owned(),
        NotRemeasurable::Lost => "expected its samples, found none and no word of who pruned them".to_owned(),
        NotRemeasurable::Damaged(detail) => format!("its samples do not read back: {detail}"),
        NotRemeasurable::Pruned(stone) => format!(
            "expected its samples, found them pruned at {} by {}: {}",
            jiff::Timestamp::from_nanosecond(i128::from(stone.utc_ns))
                .map_or_else(|_| "an unknown time".to_owned(), |utc| format!("{utc:.0}")),
            stone.who,
            stone.why
        ),
    };
    format!("cannot measure run {} again: {found}", run.0)
}
