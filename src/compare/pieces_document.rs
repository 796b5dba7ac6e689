//! What pieces do as one JSON document, with the same keys as a comparison of setups where it means the same.
//! Must not work anything out that `pieces` can.

use super::document::{Asked, excluded, extend, head};
use super::pieces::{PieceEffects, PieceRow, Prediction};
use serde_json::{Value, json};

/// The whole document; `untried` is the chain that was to be predicted.
#[must_use]
pub fn of_pieces(asked: &Asked<'_>, found: &PieceEffects, untried: Option<&[String]>) -> Value {
    let mut document = head(asked);
    let lack = found
        .lack_of_fit
        .map(|l| json!({ "f": l.f, "df_above": l.above, "df_below": l.below, "p_value": l.p_value }));
    let more = json!({
        "drift": found.drift.name(),
        "drift_percent_per_hour": found.drift_found.map(|d| d.percent_per_hour),
        "drift_se_percent_per_hour": found.drift_found.and_then(|d| d.se_percent_per_hour),
        "drift_p_value": found.drift_found.and_then(|d| d.p_value),
        "residual_sd_percent": found.residual_sd_percent,
        "degrees_of_freedom": found.degrees_of_freedom,
        "excluded": excluded(&found.excluded),
        "in_every_chain": found.in_every_chain,
        "pieces": found.pieces.iter().map(piece).collect::<Vec<_>>(),
        "lack_of_fit": lack,
        "prediction": found.prediction.as_ref().map(|p| prediction(p, untried.unwrap_or(&[]))),
    });
    extend(&mut document, more);
    document
}

fn piece(row: &PieceRow) -> Value {
    let parts: Vec<Value> =
        row.combination.iter().map(|(piece, count)| json!({ "piece": piece, "count": count })).collect();
    json!({
        "piece": row.label(),
        "combination": parts,
        "percent": row.percent,
        "low": row.limits.map(|l| l.0),
        "high": row.limits.map(|l| l.1),
        "p_value": row.p_value,
        "p_adjusted": row.p_adjusted,
        "note": row.note,
    })
}

fn prediction(found: &Prediction, chain: &[String]) -> Value {
    json!({
        "pieces": chain,
        "percent_of_baseline": found.percent,
        "low": found.limits.map(|l| l.0),
        "high": found.limits.map(|l| l.1),
        "low_one_run": found.one_run.map(|l| l.0),
        "high_one_run": found.one_run.map(|l| l.1),
        "note": found.note,
    })
}
