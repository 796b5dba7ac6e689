//! Whether a trial may be judged now: when it is whole, or at a look that its plan names.
//!
//! Who compares while runs are still to come, and may stop because of what is shown, looks more often than the risk
//! counts. Must not know any value.

use super::order::Phase;
use super::plan::Plan;
use super::progress::Progress;

/// What a comparison now is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LookNow {
    /// All steps are done or left out, and no look was planned before.
    Whole,
    /// The look of this place among those of the plan, from 0.
    Planned(usize),
    /// Runs are still to come, and no look is planned here: steps that are done, of all.
    Early(usize, usize),
}

/// Whether a trial that stands so may be judged.
#[must_use]
pub fn look_now(plan: &Plan, progress: &Progress) -> LookNow {
    let settled = |number: u32| {
        progress.skipped.contains(&number) || progress.done.iter().any(|(step, _)| step.number == number)
    };
    let early = LookNow::Early(progress.done.len(), progress.steps.len());
    let open = progress.steps.iter().find(|step| !settled(step.number));
    match (open, plan.looks.split_last()) {
        (None, None) => LookNow::Whole,
        (None, Some((_, before))) => LookNow::Planned(before.len()),
        (Some(_), None) => early,
        (Some(open), Some(_)) => {
            let begun = progress.steps.iter().filter(|step| step.phase == Phase::Compare);
            let begun = begun.filter(|step| settled(step.number)).map(|step| step.block).max().unwrap_or(0);
            let whole_blocks = (open.phase == Phase::Compare).then(|| open.block - 1);
            let at = plan.looks.iter().position(|look| Some(*look) == whole_blocks && begun == *look);
            at.map_or(early, LookNow::Planned)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::order::steps;
    use super::super::progress::{Go, Said, Taken, progress};
    use super::*;
    use crate::fixtures::plan;

    #[test]
    fn a_trial_is_judged_when_it_is_whole_or_at_a_planned_look() {
        let of = |looks: &[u32], done: usize| {
            let plan = Plan { warm_up: false, looks: looks.to_vec(), ..plan() };
            let gos: Vec<Go> = (1..).zip(steps(&plan)).map(|(go, step)| Go { go, step }).take(done).collect();
            let taken: Vec<Taken> = gos.iter().map(Taken::good).collect();
            look_now(&plan, &progress(&plan, &gos.into_iter().map(Said::Ready).collect::<Vec<_>>(), &taken))
        };
        let all = steps(&plan());
        let (whole, n) = (all.len(), all.len());
        assert_eq!(of(&[], whole), LookNow::Whole);
        assert_eq!(of(&[], 5), LookNow::Early(5, n));
        assert_eq!(of(&[2, 4], whole), LookNow::Planned(1));
        let first_of_third = all.iter().position(|step| step.block == 3).unwrap();
        assert_eq!(of(&[2, 4], first_of_third), LookNow::Planned(0));
        assert_eq!(of(&[2, 4], first_of_third + 1), LookNow::Early(first_of_third + 1, n));
        assert_eq!(of(&[2, 4], 3), LookNow::Early(3, n));
    }
}
