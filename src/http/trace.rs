//! The trace of a run for drawing: least and greatest tension of each of a given number of stretches.
//!
//! Tension is that of the run: the calibration's line minus the idle reading before the first blow.

use super::body::Asked;
use super::openapi::Refused;
use super::problem::Problem;
use super::runs::{no_run, run_id};
use super::state::State;
use axum::Json;
use axum::extract::{Path, State as Shared};
use axum::http::StatusCode;
use boltscribe_model::constants::Calibration;
use boltscribe_store::RunTrace;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

/// Points where nothing is said.
const POINTS_DEFAULT: usize = 1000;
/// Most points.
pub const POINTS_MAX: usize = 20_000;

/// How many points.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct Query {
    /// Most points; 1000 where nothing is said.
    #[param(minimum = 1, maximum = 20_000)]
    points: Option<usize>,
}

/// A thinned trace; the three columns are of one length. A null stands for missing samples.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Thinned {
    /// The run.
    pub run: i64,
    /// Samples a second as recorded.
    pub rate_hz: f64,
    /// Samples recorded, the missing ones not counted.
    pub samples: usize,
    /// Samples in a point.
    pub samples_per_point: usize,
    /// Middle of each point, seconds since sample 0 of the stream.
    pub time_s: Vec<f64>,
    /// Least tension.
    #[serde(rename = "min_kN")]
    pub min_kn: Vec<Option<f64>>,
    /// Greatest tension.
    #[serde(rename = "max_kN")]
    pub max_kn: Vec<Option<f64>>,
    /// Onset of the first blow.
    pub first_blow_s: f64,
    /// Onset of the last blow.
    pub last_blow_s: f64,
    /// Gates, seconds after the first blow.
    pub gates_s: Vec<f64>,
}

/// The trace of a run for drawing: least and greatest tension of each of a number of stretches.
///
/// # Errors
/// No such run, no samples, no calibration to convert them by.
#[utoipa::path(
    get, path = "/runs/{id}/trace", operation_id = "trace_run", tag = "runs",
    params(("id" = i64, Path, description = "Number of the run in the store"), Query),
    responses((status = 200, description = "The thinned trace", body = Thinned), Refused)
)]
pub async fn trace(
    Shared(state): Shared<State>,
    Path(id): Path<String>,
    Asked(query): Asked<Query>,
) -> Result<Json<Thinned>, Problem> {
    let id = run_id(&id)?;
    let points = query.points.unwrap_or(POINTS_DEFAULT);
    if !(1..=POINTS_MAX).contains(&points) {
        return Err(Problem::new(
            StatusCode::BAD_REQUEST,
            format!("points: expected 1 to {POINTS_MAX}, found {points}"),
        ));
    }
    let thinned = state.read(move |reader| {
        let Some(trace) = reader.trace(id)? else {
            return Err(match reader.run(id)? {
                None => no_run(id),
                Some(_) => Problem::not_found(format!("run {} was read by hand: it has no samples", id.0)),
            });
        };
        if trace.blocks.is_empty() {
            return Err(Problem::not_found(format!("run {} has no samples", id.0)));
        }
        let Some(calibration) = trace.calibration.clone() else {
            let detail = format!("cannot convert the samples of run {}: its calibration is not stored", id.0);
            return Err(Problem::conflict(detail));
        };
        Ok(thin(id.0, &trace, &calibration, points))
    });
    Ok(Json(thinned.await?))
}

/// Least and greatest tension of stretches of equal length.
pub(super) fn thin(run: i64, trace: &RunTrace, calibration: &Calibration, points: usize) -> Thinned {
    let first = trace.blocks.first().map_or(0, |block| block.first_sample);
    let end = trace.blocks.last().map_or(first, |block| block.first_sample + block.counts.len() as u64);
    let span = (end - first) as usize;
    let samples_per_point = span.div_ceil(points).max(1);
    let count = span.div_ceil(samples_per_point);
    let mut least = vec![f64::INFINITY; count];
    let mut greatest = vec![f64::NEG_INFINITY; count];
    let mut samples = 0;
    for block in &trace.blocks {
        let mut holes = block.missing.iter().copied().peekable();
        for (offset, &code) in block.counts.iter().enumerate() {
            while holes.next_if(|&(at, n)| offset >= (at + n) as usize).is_some() {}
            if holes.peek().is_some_and(|&(at, _)| offset >= at as usize) {
                continue;
            }
            let kn = tension_kn(calibration, code) - trace.zero.kn();
            let point = (block.first_sample - first) as usize + offset;
            let point = point / samples_per_point;
            least[point] = least[point].min(kn);
            greatest[point] = greatest[point].max(kn);
            samples += 1;
        }
    }
    let middle = |point: usize| {
        let start = point * samples_per_point;
        let stop = (start + samples_per_point).min(span);
        (first as f64 + (start + stop - 1) as f64 / 2.0) / trace.rate_hz
    };
    let finite = |column: Vec<f64>| column.into_iter().map(|kn| kn.is_finite().then_some(kn)).collect();
    Thinned {
        run,
        rate_hz: trace.rate_hz,
        samples,
        samples_per_point,
        time_s: (0..count).map(middle).collect(),
        min_kn: finite(least),
        max_kn: finite(greatest),
        first_blow_s: trace.first_blow_s,
        last_blow_s: trace.last_blow_s,
        gates_s: trace.gates_s.clone(),
    }
}

/// The polynomial by Horner's rule.
fn tension_kn(calibration: &Calibration, code: i32) -> f64 {
    let x = f64::from(code);
    calibration.coefficients_kn.iter().rev().fold(0.0, |sum, coefficient| sum * x + coefficient)
}
