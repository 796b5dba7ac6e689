//! What tools of each class must give, as the settings say.
//!
//! Must not judge a tool; that is [`super::judging`].

use super::judged::Side;
use super::state::State;
use axum::Json;
use axum::extract::State as Shared;
use boltscribe_analysis::compare::acceptance::Limit;
use boltscribe_analysis::compare::{ClassLimit, LimitUnit};
use boltscribe_analysis::results::Measure;
use serde::Serialize;
use utoipa::ToSchema;

/// What tools of each class must give.
#[derive(Debug, Serialize, ToSchema)]
pub struct LimitList {
    /// The limits, in the order of the settings.
    limits: Vec<LimitShown>,
}

/// What tools of a class must give.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ClassLimit)]
struct LimitShown {
    /// The class.
    class: String,
    /// The setup it is meant for.
    setup: String,
    /// Which figure of a run.
    measure: Measure,
    /// On which side of the limit they must be.
    side: Side,
    /// The limit, in its unit.
    limit: f64,
    /// Its unit.
    unit: LimitUnit,
    /// After how many runs one may judge; empty: once.
    looks: Vec<u32>,
}

/// What tools of each class must give, as the settings say.
#[utoipa::path(
    get, path = "/limits", operation_id = "list_limits", tag = "tools",
    responses((status = 200, body = LimitList, description = "Limits by class, each with setup, measure, side and unit"))
)]
pub async fn list(Shared(state): Shared<State>) -> Json<LimitList> {
    Json(LimitList { limits: state.limits.iter().map(told).collect() })
}

fn told(of: &ClassLimit) -> LimitShown {
    let (Limit::Lower(limit) | Limit::Upper(limit)) = of.limit;
    LimitShown {
        class: of.class.clone(),
        setup: of.setup.clone(),
        measure: of.measure,
        side: Side::of(matches!(of.limit, Limit::Upper(_))),
        limit,
        unit: of.unit,
        looks: of.looks.as_ref().map_or_else(Vec::new, |looks| looks.runs().to_vec()),
    }
}
