//! Calibrations against a reference: handed in with their loads, fitted here, kept for ever.
//!
//! What is sent are loads and circumstances; the line is made by the one who keeps it. Must not know which rig
//! converts with which: that is [`super::calibrating`].

use super::body::{Body, check_who};
use super::calibrating::is_the_one_of_its_name;
use super::openapi::Refused;
use super::problem::Problem;
use super::state::State;
use axum::Json;
use axum::extract::{Path, State as Shared};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use boltscribe_analysis::metrology::{KeptError, Taken};
use boltscribe_model::setups::check_text;
use boltscribe_report::calibration;
use boltscribe_store::{CalibrationRow, Write};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use utoipa::ToSchema;

/// A calibration to be kept.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct KeepBody {
    /// Who says so: 1 to 64 printable characters.
    who: String,
    /// Name, degree (1 to 3), loads as applied, the reference, the day and who performed it; days are such as
    /// 2026-01-31.
    #[schema(value_type = Object)]
    calibration: Taken,
}

/// A calibration as it is shown.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = CalibrationShown)]
pub struct Shown {
    #[serde(flatten)]
    row: CalibrationRow,
    /// It holds no longer.
    expired: bool,
    /// Rigs that convert with it now.
    rigs: Vec<String>,
}

/// Calibrations that are kept.
#[derive(Debug, Serialize, ToSchema)]
pub struct CalibrationList {
    /// The calibrations, oldest first.
    calibrations: Vec<Shown>,
}

/// Fits the loads of a calibration and keeps it for ever.
///
/// # Errors
/// Figures that cannot be, no usable line, a name that is taken.
#[utoipa::path(
    post, path = "/calibrations", operation_id = "keep_calibration", tag = "calibrations",
    request_body = KeepBody,
    responses((status = 201, description = "The calibration with its fitted line", body = Shown), Refused)
)]
pub async fn keep(
    Shared(state): Shared<State>,
    Body(body): Body<KeepBody>,
) -> Result<(StatusCode, Json<Shown>), Problem> {
    check_who(&body.who)?;
    check_text("name", &body.calibration.name).map_err(|error| Problem::unprocessable(error.to_string()))?;
    if body.calibration.performed_on > state.today() {
        return Err(Problem::unprocessable(format!(
            "performed_on: expected no day after today, found {}",
            body.calibration.performed_on
        )));
    }
    let kept = body.calibration.keep().map_err(|error| match error {
        // The loads are as they should be; there is no such line through them.
        KeptError::Fit(error) => {
            Problem::unprocessable(format!("loads: {error}")).hint("try a lower degree, and look for slips")
        }
        other => Problem::unprocessable(other.to_string()),
    })?;
    let name = kept.taken.name.clone();
    let asked = name.clone();
    if state.read(move |reader| reader.kept_calibration(&asked)).await?.is_some() {
        return Err(Problem::conflict(format!(
            "cannot keep the calibration '{name}': expected a new name, found it taken"
        ))
        .hint("a name means one line for ever; give the new one a name of its own"));
    }
    is_the_one_of_its_name(&state, &kept.line).await?;
    let write = Write::Calibration { utc_ns: state.now(), who: body.who, kept: Box::new(kept) };
    // It belongs to no rig.
    state.write("", write).await?;
    Ok((StatusCode::CREATED, Json(shown(&state, find(&state, &name).await?))))
}

/// Calibrations that are kept: `{"calibrations": [...]}`, oldest first.
///
/// # Errors
/// The store's.
#[utoipa::path(
    get, path = "/calibrations", operation_id = "list_calibrations", tag = "calibrations",
    responses(
        (status = 200, body = CalibrationList,
         description = "Calibrations, each with the rigs that convert with it"),
        Refused
    )
)]
pub async fn list(Shared(state): Shared<State>) -> Result<Json<CalibrationList>, Problem> {
    let rows = state.read(boltscribe_store::Reader::kept_calibrations).await?;
    let calibrations = rows.into_iter().map(|row| shown(&state, row)).collect();
    Ok(Json(CalibrationList { calibrations }))
}

/// One calibration.
///
/// # Errors
/// None of this name; the store's.
#[utoipa::path(
    get, path = "/calibrations/{name}", operation_id = "show_calibration", tag = "calibrations",
    params(("name" = String, Path, description = "Name of the calibration")),
    responses(
        (status = 200, description = "The calibration with its loads and its line", body = Shown),
        Refused
    )
)]
pub async fn show(Shared(state): Shared<State>, Path(name): Path<String>) -> Result<Json<Shown>, Problem> {
    let row = find(&state, &name).await?;
    Ok(Json(shown(&state, row)))
}

/// The calibration of a name.
///
/// # Errors
/// None of this name; the store's.
pub(super) async fn find(state: &State, name: &str) -> Result<CalibrationRow, Problem> {
    let asked = name.to_owned();
    state.read(move |reader| reader.kept_calibration(&asked)).await?.ok_or_else(|| {
        Problem::not_found(format!("cannot find the calibration '{name}' among those that are kept"))
            .hint("`boltscribe calibrate list` shows them; nominal ones are known by their rig")
    })
}

fn shown(state: &State, row: CalibrationRow) -> Shown {
    let name = row.kept.taken.name.as_str();
    let rigs = state.rigs.rigs().into_iter().filter(|rig| rig.calibration.as_deref() == Some(name));
    let rigs = rigs.map(|rig| rig.rig).collect();
    Shown { expired: row.kept.expired_on(state.today()), rigs, row }
}

/// The report of a calibration: one self-contained HTML page.
///
/// # Errors
/// None of this name; the store's.
#[utoipa::path(
    get, path = "/calibrations/{name}/report", operation_id = "report_calibration", tag = "calibrations",
    params(("name" = String, Path, description = "Name of the calibration")),
    responses((status = 200, description = "The page", body = String, content_type = "text/html"), Refused)
)]
pub async fn report(Shared(state): Shared<State>, Path(name): Path<String>) -> Result<Response, Problem> {
    let row = find(&state, &name).await?;
    let document = serde_json::to_vec(&row.kept).unwrap_or_default();
    let digest: String = Sha256::digest(document).iter().map(|byte| format!("{byte:02x}")).collect();
    let Some(text) = calibration::html(&row, &digest, state.today()) else {
        return Err(Problem::conflict(format!(
            "calibration '{name}': no line goes through its loads any more"
        )));
    };
    // It stands alone: nothing may be fetched or run, whatever a text in it says.
    let policy = "default-src 'none'; style-src 'unsafe-inline'";
    let headers =
        [(header::CONTENT_TYPE, "text/html; charset=utf-8"), (header::CONTENT_SECURITY_POLICY, policy)];
    Ok((headers, text).into_response())
}
