//! How often a comparison of a trial's runs is right: its simulation, where one is asked for.
//!
//! What is drawn and counted is [`boltscribe_analysis::compare::simulation`]'s to know.

use super::comparing::Asking;
use super::problem::Problem;
use boltscribe_analysis::compare::Comparison;
use boltscribe_analysis::compare::simulation::{Simulated, simulate};
use boltscribe_analysis::compare::told_design::SimulationTold;

/// The simulation that is asked for; none where none is.
///
/// # Errors
/// No known spread, comparisons that are not simulated.
pub(super) fn simulated(found: &Comparison, asking: &Asking<'_>) -> Result<Option<SimulationTold>, Problem> {
    let query = asking.query;
    let Some(trials) = query.simulate else { return Ok(None) };
    let asked = (trials, query.seed.unwrap_or(1));
    let wanted = Simulated::of(found, asked, query.expected_sd, query.difference).ok_or_else(|| {
        Problem::unprocessable("simulate: no spread is known: give expected_sd, or repeat runs")
    })?;
    let counted = simulate(&asking.observations, &asking.question, &wanted)
        .map_err(|error| Problem::unprocessable(format!("simulate: {error}")))?;
    Ok(Some(SimulationTold::of(&wanted, &counted, asking.question.alpha)))
}
