//! What pieces do, as an answer: their effects, whether a model fits, a chain that was not tried.
//!
//! Types only; what they hold is worked out by [`super::pieces`].

use super::answer::DriftFound;
use super::checks::Checks;
use super::observation::Drift;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What a piece, or a combination that cannot be told apart further, does.
#[derive(Clone, Debug, PartialEq)]
pub struct PieceRow {
    /// Pieces with how often each counts; more than one where the design cannot tell them apart.
    pub combination: Vec<(String, f64)>,
    /// 100·exp of the effect: what one more of it leaves.
    pub percent: f64,
    /// Limits of that percent by itself.
    pub limits: Option<(f64, f64)>,
    /// Two-sided p of no effect.
    pub p_value: Option<f64>,
    /// The same times the number of effects (Bonferroni).
    pub p_adjusted: Option<f64>,
    /// Why something is missing.
    pub note: Option<&'static str>,
}

impl PieceRow {
    /// The combination as a person writes it: `ext`, `ext + joint`, `ext - 2 joint`.
    #[must_use]
    pub fn label(&self) -> String {
        let mut text = String::new();
        for (k, (piece, count)) in self.combination.iter().enumerate() {
            text.push_str(match (k, *count < 0.0) {
                (0, false) => "",
                (0, true) => "- ",
                (_, false) => " + ",
                (_, true) => " - ",
            });
            let size = count.abs();
            if (size - 1.0).abs() > 1e-9 {
                text.push_str(&format!("{size} "));
            }
            text.push_str(piece);
        }
        text
    }
}

/// Whether losses simply multiply.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LackOfFit {
    /// Mean square of what pieces do not explain between chains, over that of repeats.
    pub f: f64,
    /// Chains beyond what pieces explain.
    pub above: usize,
    /// Degrees of freedom of the repeats.
    pub below: usize,
    /// p of losses that multiply.
    pub p_value: f64,
}

/// A chain that was not tried.
#[derive(Clone, Debug, PartialEq)]
pub struct Prediction {
    /// Percent of the baseline; none where the design cannot tell.
    pub percent: Option<f64>,
    /// Limits of its mean.
    pub limits: Option<(f64, f64)>,
    /// Limits of one run of it.
    pub one_run: Option<(f64, f64)>,
    /// Why something is missing, or a caution.
    pub note: Option<&'static str>,
}

/// How losses go together.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum PieceModel {
    /// Each piece leaves a share: losses multiply.
    #[default]
    Product,
    /// Each piece adds to 1/F²: compliances add.
    Compliance,
}

impl PieceModel {
    /// The word for it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Product => "product",
            Self::Compliance => "compliance",
        }
    }
}

/// How the same runs lie about the other model.
#[derive(Clone, Debug, PartialEq)]
pub struct OtherModel {
    /// Which.
    pub model: PieceModel,
    /// 100 × its residual SD of ln(value).
    pub residual_sd_percent: Option<f64>,
    /// Its lack of fit.
    pub lack_of_fit: Option<LackOfFit>,
}

/// What pieces do.
#[derive(Clone, Debug)]
pub struct PieceEffects {
    /// How losses go together in what follows.
    pub model: PieceModel,
    /// The other way; none where it cannot be fitted.
    pub other: Option<OtherModel>,
    /// How drift was taken out: none or linear.
    pub drift: Drift,
    /// Its slope.
    pub drift_found: Option<DriftFound>,
    /// 100 × the residual SD of ln(value).
    pub residual_sd_percent: Option<f64>,
    /// Of that SD.
    pub degrees_of_freedom: usize,
    /// Runs that do not count.
    pub excluded: Vec<(u64, String)>,
    /// Pieces that are in every chain: part of the baseline's level.
    pub in_every_chain: Vec<String>,
    /// The effects.
    pub pieces: Vec<PieceRow>,
    /// None where nothing is left to test with.
    pub lack_of_fit: Option<LackOfFit>,
    /// What the residuals look like.
    pub checks: Checks,
    /// The untried chain, where one was asked for.
    pub prediction: Option<Prediction>,
}
