//! What pieces do as one document, with the same keys as a comparison of setups where it means the same.
//! Must not work anything out that `pieces` can.

use super::document::{Asked, excluded};
use super::pieces::{LackOfFit, PieceEffects, PieceRow, Prediction};
use super::told::{
    FitTold, Head, LackOfFitTold, OtherModelTold, PartCompared, PieceCompared, PiecesCompared, PredictionTold,
};

/// The whole document; `untried` is the chain that was to be predicted.
#[must_use]
pub fn of_pieces(asked: &Asked<'_>, found: &PieceEffects, untried: Option<&[String]>) -> PiecesCompared {
    let lack = |found: &Option<LackOfFit>| {
        found.as_ref().map(|l| LackOfFitTold {
            f: l.f,
            df_above: l.above,
            df_below: l.below,
            p_value: l.p_value,
        })
    };
    PiecesCompared {
        head: Head::of(asked),
        fit: FitTold::of(found.drift, found.drift_found, found.residual_sd_percent, found.degrees_of_freedom),
        excluded: excluded(&found.excluded),
        model: found.model,
        other_model: found.other.as_ref().map(|other| OtherModelTold {
            model: other.model,
            residual_sd_percent: other.residual_sd_percent,
            lack_of_fit: lack(&other.lack_of_fit),
        }),
        in_every_chain: found.in_every_chain.clone(),
        pieces: found.pieces.iter().map(piece).collect(),
        lack_of_fit: lack(&found.lack_of_fit),
        prediction: found.prediction.as_ref().map(|p| prediction(p, untried.unwrap_or(&[]))),
    }
}

fn piece(row: &PieceRow) -> PieceCompared {
    let parts = row.combination.iter();
    PieceCompared {
        piece: row.label(),
        combination: parts
            .map(|(piece, count)| PartCompared { piece: piece.clone(), count: *count })
            .collect(),
        percent: row.percent,
        low: row.limits.map(|l| l.0),
        high: row.limits.map(|l| l.1),
        p_value: row.p_value,
        p_adjusted: row.p_adjusted,
        note: row.note,
    }
}

fn prediction(found: &Prediction, chain: &[String]) -> PredictionTold {
    PredictionTold {
        pieces: chain.to_vec(),
        percent_of_baseline: found.percent,
        low: found.limits.map(|l| l.0),
        high: found.limits.map(|l| l.1),
        low_one_run: found.one_run.map(|l| l.0),
        high_one_run: found.one_run.map(|l| l.1),
        note: found.note,
    }
}
