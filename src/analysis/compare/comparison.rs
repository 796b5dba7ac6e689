//! The comparison of setups with a baseline: checks, then a fit or brackets.
//! Must not know where observations come from, nor how the answer is shown.

use super::answer::Comparison;
use super::arrangement::Arrangement;
use super::bracket;
use super::cells::Cells;
use super::observation::{CompareError, Drift, Observation, Question};
use super::regression::Fitted;

/// Compares the setups of each tool with that tool's baseline.
///
/// `observations` stand in time order. Percent is 100·exp of the difference of ln(value); low and high are
/// Student t on the residual degrees of freedom and cover repeatability only; p adjusted and the simultaneous
/// limits count all setups of one tool.
///
/// # Errors
/// Observations that cannot be used, an unknown baseline, a tool without it, nothing to compare with it,
/// a drift that cannot be told from the setups, a run that no baseline brackets.
pub fn compare(observations: &[Observation], question: &Question) -> Result<Comparison, CompareError> {
    let cells = Cells::new(observations, question)?;
    let drift = cells.drift(observations, question);
    let excluded = observations.iter().filter_map(|o| o.excluded.clone().map(|why| (o.run, why))).collect();
    if drift == Drift::Bracket {
        let found = bracket::compare(observations, &cells, &question.baseline, question.alpha)?;
        return Ok(Comparison { excluded, ..found });
    }
    let fitted = Fitted::new(observations, &cells, drift)?;
    Ok(Comparison {
        drift,
        drift_found: fitted.drift(),
        residual_sd_percent: fitted.fit.residual_sd().map(|s| 100.0 * s),
        degrees_of_freedom: fitted.fit.degrees_of_freedom,
        excluded,
        setups: fitted.rows(&cells, question.alpha),
        checks: fitted.checks(&cells),
        alpha: question.alpha,
        arrangement: Arrangement::new(observations, &cells, |g| Ok(fitted.taken_up(&cells, g)))?,
    })
}
