//! Whether a trial may be compared now, and with which risk.
//!
//! The rule is [`boltscribe_analysis::trial::look_now`]; here its answer is worded.

use super::trial_state::Trial;
use boltscribe_analysis::compare::Looks;
use boltscribe_analysis::trial::{LookNow, look_now};

/// The risk of a comparison now, and what is to be known of a look that is not the only one.
pub(super) fn look(trial: &Trial, risk: f64) -> (f64, Option<(String, bool)>) {
    let plan = &trial.row.plan;
    let looks = Looks::new(&plan.looks);
    match (look_now(plan, &trial.progress()), looks) {
        (LookNow::Planned(at), Some(looks)) if risk > 0.0 && risk < 0.5 => {
            let alpha = looks.spent(at, risk).unwrap_or(risk);
            let (n, of, repeats) = (at + 1, plan.looks.len(), plan.looks[at]);
            let note = format!(
                "look {n} of {of}, after {repeats} of {} repeats: of the risk {risk}, {alpha:.5} is spent here, and limits and verdicts go by it",
                plan.repeats
            );
            (alpha, Some((note, true)))
        }
        (LookNow::Early(done, all), _) => {
            let note = format!(
                "{done} of {all} steps are done and no look is planned here: who stops or goes on because of this looks more often than the risk counts; plan the looks before the first run, or wait for all runs"
            );
            (risk, Some((note, false)))
        }
        _ => (risk, None),
    }
}
