//! What may be asked of a trial's comparison.
//!
//! Must not compare; that is [`super::comparing`].

use super::problem::Problem;
use boltscribe_analysis::compare::simulation::TRIALS;
use boltscribe_analysis::compare::{Drift, PieceModel};
use boltscribe_analysis::results::Measure;
use serde::Deserialize;
use utoipa::{IntoParams, ToSchema};

/// What is asked of a trial.
#[derive(Debug, Default, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct ComparisonQuery {
    /// The setup that counts as 100 %; that of the plan where nothing is said.
    pub(super) baseline: Option<String>,
    /// Which figure; that of the plan where nothing is said.
    #[param(inline)]
    pub(super) measure: Option<Measure>,
    /// How the rig's drift is taken out.
    #[param(inline)]
    pub(super) drift: Option<Drift>,
    /// Risk of a wrong verdict, above 0 and below 0.5; 0.05 where nothing is said.
    #[param(exclusive_minimum = 0, exclusive_maximum = 0.5)]
    pub(super) alpha: Option<f64>,
    /// A difference for which runs are planned, percent, above 0 and below 100.
    #[param(exclusive_minimum = 0, exclusive_maximum = 100)]
    pub(super) difference: Option<f64>,
    /// The spread that planning expects, percent, above 0 and below 100; with `difference` only.
    #[param(exclusive_minimum = 0, exclusive_maximum = 100)]
    pub(super) expected_sd: Option<f64>,
    /// A loss that is to be ruled out, percent, above 0 and below 100.
    #[param(exclusive_minimum = 0, exclusive_maximum = 100)]
    pub(super) no_loss_above: Option<f64>,
    /// Count how often a comparison of just these runs is right, in so many simulated trials, 100 to 100000.
    #[param(minimum = 100, maximum = 100_000)]
    pub(super) simulate: Option<u32>,
    /// What `simulate` draws from; 1 where nothing is said.
    pub(super) seed: Option<u64>,
    /// What the answer is about; `setup` where nothing is said.
    #[param(inline)]
    pub(super) by: Option<By>,
    /// How losses of pieces go together; `product` where nothing is said; with `by=piece` only.
    #[param(inline)]
    pub(super) model: Option<PieceModel>,
    /// A chain to be predicted, pieces with `+` between; with `by=piece` only.
    pub(super) predict: Option<String>,
}

/// What the answer is about.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub(super) enum By {
    #[default]
    Setup,
    Piece,
}

/// Checks what fits together.
pub(super) fn check(query: &ComparisonQuery) -> Result<(), Problem> {
    let percents = [
        ("difference", query.difference),
        ("expected_sd", query.expected_sd),
        ("no_loss_above", query.no_loss_above),
    ];
    for (field, value) in percents {
        if let Some(found) = value.filter(|v| !(*v > 0.0 && *v < 100.0)) {
            return Err(Problem::unprocessable(format!(
                "{field}: expected percent above 0 and below 100, found {found}"
            )));
        }
    }
    if query.expected_sd.is_some() && query.difference.is_none() && query.simulate.is_none() {
        return Err(Problem::unprocessable("expected_sd: expected with difference or simulate, found alone"));
    }
    if let Some(found) = query.simulate.filter(|trials| !(TRIALS.0..=TRIALS.1).contains(trials)) {
        let what = format!("simulate: expected {} to {} trials, found {found}", TRIALS.0, TRIALS.1);
        return Err(Problem::unprocessable(what));
    }
    if query.simulate.is_some() && query.by == Some(By::Piece) {
        return Err(Problem::unprocessable("simulate: expected a comparison of setups, found by=piece"));
    }
    if query.model.is_some() && query.by != Some(By::Piece) {
        return Err(Problem::unprocessable("model: expected with by=piece, found without it"));
    }
    if query.predict.is_some() && query.by != Some(By::Piece) {
        return Err(Problem::unprocessable("predict: expected with by=piece, found without it"));
    }
    Ok(())
}
