//! Which calibration a rig converts with: put in force by command, stored before it is told.
//!
//! A name means one line for ever: another line under a name that was used is refused, because runs
//! remember their calibration by its name.

use super::body::{Body, check_who};
use super::calibrations::find;
use super::openapi::Refused;
use super::problem::Problem;
use super::rigs::{Reply, RigState};
use super::state::State;
use axum::Json;
use axum::extract::{Path, State as Shared};
use boltscribe_model::constants::Calibration;
use boltscribe_model::control::Command;
use boltscribe_model::setups::check_text;
use boltscribe_store::Write;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A calibration to be put in force: a line, or the name of one that is kept.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CalibrateBody {
    /// Who says so: 1 to 64 printable characters.
    who: String,
    /// A line; either this or a name.
    calibration: Option<Calibration>,
    /// Name of a calibration that is kept.
    name: Option<String>,
}

/// The line that a rig converts with now.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = CalibratedRig)]
pub struct Calibrated {
    /// The rig.
    rig: String,
    /// What it did with the command.
    reply: Reply,
    /// The line.
    calibration: Calibration,
    /// The calibration that is kept under this name holds no longer.
    expired: bool,
}

/// Puts a calibration in force at a rig: a line, or the name of one that is kept.
///
/// # Errors
/// An unknown rig, a line that cannot be used, a name that means another line, a run going on.
#[utoipa::path(
    post, path = "/rigs/{rig}/calibrate", operation_id = "calibrate_rig", tag = "rigs",
    params(("rig" = String, Path, description = "Name of the rig")),
    request_body = CalibrateBody,
    responses(
        (status = 200, body = Calibrated,
         description = "The line in force, and whether it holds no longer (`expired`)"),
        Refused
    )
)]
pub async fn calibrate(
    Shared(state): Shared<State>,
    Path(rig): Path<String>,
    Body(body): Body<CalibrateBody>,
) -> Result<Json<Calibrated>, Problem> {
    check_who(&body.who)?;
    let now = state.rig(&rig)?;
    let (mut calibration, expired) = match (body.calibration, &body.name) {
        (Some(line), None) => (line, false),
        (None, Some(name)) => {
            let kept = find(&state, name).await?.kept;
            let expired = kept.expired_on(state.today());
            (kept.line, expired)
        }
        _ => return Err(Problem::unprocessable("expected one of 'calibration' and 'name'")),
    };
    may_change(&now)?;
    calibration.check().map_err(|error| Problem::unprocessable(error.to_string()))?;
    check_text("calibration", &calibration.id).map_err(|error| Problem::unprocessable(error.to_string()))?;
    calibration.range_kn = calibration.range_kn.or(now.range_kn);
    is_the_one_of_its_name(&state, &calibration).await?;
    let command = Command::Calibrate { calibration: calibration.clone() };
    let write =
        Write::Command { utc_ns: state.now(), who: body.who.clone(), command: Box::new(command.clone()) };
    state.write(&rig, write).await?;
    let reply = state.rigs.command(&rig, &body.who, command).await?;
    Ok(Json(Calibrated { rig, reply, calibration, expired }))
}

fn may_change(rig: &RigState) -> Result<(), Problem> {
    if rig.dial.is_some() {
        return Err(Problem::conflict(format!(
            "cannot put a calibration in force at rig '{}': expected counts to convert, found a dial read by hand",
            rig.rig
        ))
        .hint("what corrects a dial stands as [rig.calibration] in the settings of its rig"));
    }
    if !rig.driving {
        return Ok(());
    }
    Err(Problem::conflict(format!(
        "cannot put a calibration in force at rig '{}': expected no run, found one going on",
        rig.rig
    ))
    .hint("wait until it is measured"))
}

/// No other line was known under this name.
///
/// # Errors
/// There was one; what it was is told.
pub(super) async fn is_the_one_of_its_name(state: &State, calibration: &Calibration) -> Result<(), Problem> {
    let id = calibration.id.clone();
    let known = state.read(move |reader| reader.calibrations_named(&id)).await?;
    let other = known.into_iter().find(|known| {
        known.coefficients_kn != calibration.coefficients_kn || known.nominal != calibration.nominal
    });
    match other {
        None => Ok(()),
        Some(other) => Err(Problem::conflict(format!(
            "calibration '{}': expected the line it was before ({:?} kN by powers of counts{}), found {:?}",
            other.id,
            other.coefficients_kn,
            if other.nominal { ", nominal" } else { "" },
            calibration.coefficients_kn
        ))
        .hint("give the new line a name of its own: runs remember theirs by its name")),
    }
}
