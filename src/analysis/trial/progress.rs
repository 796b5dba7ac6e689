//! How far a trial is: which run took which step, what comes next, and whether the rig is warm.
//!
//! A *go* is one "ready" of a person (or a fixture): an attempt at a step, which goes with the tags into the run
//! that takes it. A run that does not count, lacks the figure that is compared, or was tagged with something else
//! afterwards leaves its step open, so the plan re-forms by itself.

use super::order::{Phase, Step, steps};
use super::plan::{Drawing, Fresh, Plan};
use boltscribe_numerics::steadiness::{Look, Steadiness, steadiness};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// One "ready".
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Go {
    /// From 1, within its trial.
    pub go: u32,
    /// The step it is for.
    pub step: Step,
}

/// What was said of a trial, in order.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "entry", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Said {
    /// The next run takes this step.
    Ready(Go),
    /// The run of a go does not count for its step (or never came): the step is open again.
    Repeat {
        /// Which go.
        go: u32,
        /// Why.
        why: String,
    },
    /// A step is left out.
    Skip {
        /// Its number.
        number: u32,
        /// Why.
        why: String,
    },
    /// The rig counts as warm.
    Warm {
        /// Why.
        why: String,
    },
    /// The trial rests.
    Abort {
        /// Why.
        why: String,
    },
    /// It goes on.
    Resume,
    /// Whether each step is made ready by itself.
    Automatic {
        /// Yes or no.
        on: bool,
    },
}

impl Said {
    /// Whether this, said after the "ready" of a go, takes it back: a run that begins from now on is not for it.
    #[must_use]
    pub fn gives_back(&self, go: &Go) -> bool {
        match self {
            Self::Repeat { go: other, .. } => *other == go.go,
            Self::Skip { number, .. } => *number == go.step.number,
            Self::Abort { .. } => true,
            Self::Ready(_) | Self::Warm { .. } | Self::Resume | Self::Automatic { .. } => false,
        }
    }
}

/// A run that a go took.
#[derive(Clone, Debug, PartialEq)]
pub struct Taken {
    /// The go.
    pub go: u32,
    /// Number of the run in the store.
    pub run: i64,
    /// Its setup, corrections applied.
    pub setup: Option<String>,
    /// Its tool, corrections applied.
    pub tool: Option<String>,
    /// The figure that is compared, where it has one.
    pub value: Option<f64>,
    /// Why it does not count; empty where it does. That it was a warm-up is no reason here.
    pub left_out_because: Vec<String>,
}

/// Where a trial stands.
#[derive(Clone, Debug, PartialEq)]
pub enum Standing {
    /// A run is awaited for this go.
    Awaiting(Go),
    /// The next go, when somebody is ready.
    Next(Go),
    /// All steps are done.
    Done,
    /// Somebody has laid it aside.
    Aborted,
}

/// How far a trial is.
#[derive(Clone, Debug, PartialEq)]
pub struct Progress {
    /// Where it stands.
    pub standing: Standing,
    /// Steps that are done, with the run that took each.
    pub done: Vec<(Step, i64)>,
    /// Steps that were left out.
    pub skipped: Vec<u32>,
    /// All steps, without the warm-up.
    pub steps: Vec<Step>,
    /// Figures of the warm-up so far, and what they say; none: there is none.
    pub warm_up: Option<(Vec<f64>, Look)>,
    /// It counts as warm: with the second drawing, the tool that is next.
    pub warm: bool,
    /// A warm-up ended although the figures were not shown to be steady.
    pub not_shown_steady: bool,
    /// Each step is made ready by itself.
    pub automatic: bool,
    /// A fresh source is due before the next run.
    pub fresh_due: bool,
    /// The coupling of the run before is the next one's: it has to be taken off and put on again.
    pub remount_due: bool,
}

/// Works out how far a trial is.
#[must_use]
pub fn progress(plan: &Plan, said: &[Said], taken: &[Taken]) -> Progress {
    let gos: Vec<&Go> =
        said.iter().filter_map(|s| if let Said::Ready(go) = s { Some(go) } else { None }).collect();
    let repeated = |go: u32| said.iter().any(|s| matches!(s, Said::Repeat { go: other, .. } if *other == go));
    let run_of = |go: u32| taken.iter().find(|t| t.go == go);
    let holds = |go: &Go| {
        run_of(go.go).filter(|run| {
            !repeated(go.go)
                && run.value.is_some()
                && run.left_out_because.is_empty()
                && run.setup.as_ref() == Some(&go.step.setup)
                && run.tool.as_ref() == Some(&go.step.tool)
        })
    };
    let all = steps(plan);
    let skipped: Vec<u32> = said
        .iter()
        .filter_map(|s| if let Said::Skip { number, .. } = s { Some(*number) } else { None })
        .collect();
    let done: Vec<(Step, i64)> = all
        .iter()
        .filter(|step| !skipped.contains(&step.number))
        .filter_map(|step| {
            let mut own = gos.iter().filter(|go| go.step.number == step.number);
            own.find_map(|go| holds(go)).map(|run| (step.clone(), run.run))
        })
        .collect();
    let open = all.iter().find(|step| {
        !skipped.contains(&step.number) && !done.iter().any(|(other, _)| other.number == step.number)
    });
    // Each tool is warmed before its own baseline: what warmed another leaves it cold.
    let each = plan.drawing() == Drawing::Second;
    let tool = open.map_or(&plan.tools[0], |step| if each { &step.tool } else { &plan.tools[0] });
    let (warm_up, warm) = warmth(plan, said, &gos, tool, holds);
    let not_shown_steady = plan.tools.iter().any(|tool| went_on(&warmth(plan, said, &gos, tool, holds)));
    let last_word = |of: fn(&Said) -> Option<bool>| said.iter().rev().find_map(of).unwrap_or(false);
    let automatic = last_word(|s| if let Said::Automatic { on } = s { Some(*on) } else { None });
    let aborted = last_word(|s| match s {
        Said::Abort { .. } => Some(true),
        Said::Resume => Some(false),
        _ => None,
    });
    let next = match open {
        Some(_) if !warm => Some(warm_up_step(plan, tool)),
        open => open.cloned(),
    };
    let awaited = gos.last().filter(|go| run_of(go.go).is_none() && !given_back(said, go));
    // A go that was given back used nothing up.
    let before = gos.iter().rev().find(|go| run_of(go.go).is_some()).map(|go| &go.step);
    let fresh_due = next.as_ref().is_some_and(|next| fresh_due(plan.fresh, next, before));
    let remount_due = next.as_ref().zip(before).is_some_and(|(next, before)| remount_due(plan, next, before));
    let standing = match (aborted, awaited, next) {
        (true, _, _) => Standing::Aborted,
        (false, Some(go), _) => Standing::Awaiting((*go).clone()),
        (false, None, Some(step)) => Standing::Next(Go { go: gos.len() as u32 + 1, step }),
        (false, None, None) => Standing::Done,
    };
    Progress {
        standing,
        done,
        skipped,
        steps: all,
        warm_up,
        warm,
        not_shown_steady,
        automatic,
        fresh_due,
        remount_due,
    }
}

/// A go was given back after it was given.
fn given_back(said: &[Said], go: &Go) -> bool {
    let from = said.iter().rposition(|s| matches!(s, Said::Ready(other) if other.go == go.go));
    from.is_some_and(|from| said[from..].iter().any(|s| s.gives_back(go)))
}

fn warm_up_step(plan: &Plan, tool: &str) -> Step {
    Step { number: 0, phase: Phase::WarmUp, tool: tool.to_owned(), setup: plan.baseline.clone(), block: 0 }
}

/// Figures of the warm-up with a tool, and whether it is over.
fn warmth<'a>(
    plan: &Plan,
    said: &[Said],
    gos: &[&Go],
    tool: &str,
    holds: impl Fn(&Go) -> Option<&'a Taken>,
) -> (Option<(Vec<f64>, Look)>, bool) {
    if !plan.warm_up {
        return (None, true);
    }
    let figures: Vec<f64> = gos
        .iter()
        .filter(|go| go.step.phase == Phase::WarmUp && go.step.tool == tool)
        .filter_map(|go| holds(go).and_then(|run| run.value))
        .collect();
    let look = steadiness(&figures);
    let told = said.iter().any(|s| matches!(s, Said::Warm { .. }));
    // Once begun, it does not cool down because a warm-up run is corrected afterwards.
    let each = plan.drawing() == Drawing::Second;
    let begun = gos.iter().any(|go| go.step.phase != Phase::WarmUp && (!each || go.step.tool == tool));
    let warm = told || begun || matches!(look.steadiness, Steadiness::Steady | Steadiness::GoOn);
    (Some((figures, look)), warm)
}

/// The warm-up with a tool ended by patience.
fn went_on((warm_up, _): &(Option<(Vec<f64>, Look)>, bool)) -> bool {
    warm_up.as_ref().is_some_and(|(_, look)| look.steadiness == Steadiness::GoOn)
}

/// The coupling of the run before is the next one's, and the plan has it taken off.
fn remount_due(plan: &Plan, next: &Step, before: &Step) -> bool {
    let same = before.setup == next.setup && before.tool == next.tool;
    plan.remount == Some(true) && same && next.phase != Phase::WarmUp
}

fn fresh_due(rule: Fresh, next: &Step, before: Option<&Step>) -> bool {
    match rule {
        Fresh::No => false,
        Fresh::EachRun => true,
        Fresh::EachSetup => before.is_none_or(|b| b.setup != next.setup || b.tool != next.tool),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixtures::plan;

    /// Runs a trial on invented figures: `run` says what a go brings; at most `most` gos.
    fn walk(
        plan: &Plan,
        most: usize,
        mut run: impl FnMut(&Go) -> Taken,
    ) -> (Vec<Said>, Vec<Taken>, Progress) {
        let (mut said, mut taken) = (Vec::new(), Vec::new());
        for _ in 0..most {
            match progress(plan, &said, &taken).standing {
                Standing::Next(go) => {
                    let run = run(&go);
                    said.push(Said::Ready(go.clone()));
                    assert_eq!(progress(plan, &said, &taken).standing, Standing::Awaiting(go));
                    taken.push(run);
                }
                _ => break,
            }
        }
        let end = progress(plan, &said, &taken);
        (said, taken, end)
    }

    #[test]
    fn a_step_that_is_left_out_is_awaited_no_longer_and_its_run_does_not_count() {
        let plan = Plan { warm_up: false, ..plan() };
        let Standing::Next(go) = progress(&plan, &[], &[]).standing else { panic!("nothing is next") };
        let number = go.step.number;
        let mut said = vec![Said::Ready(go.clone())];
        said.push(Said::Skip { number, why: "w".into() });
        let found = progress(&plan, &said, &[]);
        assert!(
            matches!(&found.standing, Standing::Next(next) if next.go == 2 && next.step.number == number + 1)
        );
        let found = progress(&plan, &said, &[good(&go, 80.0)]);
        assert!(found.done.is_empty() && matches!(&found.standing, Standing::Next(next) if next.go == 2));
    }

    impl Taken {
        /// A run that takes its step, with an invented figure.
        pub(in super::super) fn good(go: &Go) -> Self {
            good(go, 80.0)
        }
    }

    fn good(go: &Go, value: f64) -> Taken {
        Taken {
            go: go.go,
            run: i64::from(go.go),
            setup: Some(go.step.setup.clone()),
            tool: Some(go.step.tool.clone()),
            value: Some(value),
            left_out_because: Vec::new(),
        }
    }

    #[test]
    fn a_warm_up_ends_when_the_figures_are_steady_and_then_every_step_is_taken_once() {
        let plan = plan();
        let (said, _, end) = walk(&plan, 200, |go| {
            // Falls by 8 % over the first few runs, then stands, with 0.2 % of ripple.
            let ripple = [0.1, -0.1, 0.05][go.go as usize % 3];
            good(go, 100.0 + 8.0 * (-f64::from(go.go) / 3.0).exp() + ripple)
        });
        let warm_ups =
            said.iter().filter(|s| matches!(s, Said::Ready(go) if go.step.phase == Phase::WarmUp)).count();
        assert!((9..=25).contains(&warm_ups), "{warm_ups}");
        assert_eq!(end.standing, Standing::Done);
        assert_eq!(end.done.len(), end.steps.len());
        assert!(end.warm && end.warm_up.unwrap().0.len() == warm_ups);
    }

    #[test]
    fn each_tool_is_warmed_before_its_own_first_baseline() {
        let plan = Plan { drawing: Some(Drawing::Second), ..plan() };
        let (said, _, end) = walk(&plan, 300, |go| good(go, 80.0 + [0.1, -0.1, 0.05][go.go as usize % 3]));
        let gos: Vec<&Go> =
            said.iter().filter_map(|s| if let Said::Ready(go) = s { Some(go) } else { None }).collect();
        for tool in &plan.tools {
            let own: Vec<Phase> =
                gos.iter().filter(|go| go.step.tool == *tool).map(|go| go.step.phase).collect();
            let warm_ups = own.iter().filter(|phase| **phase == Phase::WarmUp).count();
            assert!((8..=25).contains(&warm_ups), "{tool}: {warm_ups}");
            assert!(
                own[..warm_ups].iter().all(|phase| *phase == Phase::WarmUp)
                    && own[warm_ups] == Phase::Baseline
            );
        }
        assert!(end.standing == Standing::Done && !end.not_shown_steady);
        // Whoever says that the rig is warm speaks of all tools.
        let warm = [Said::Warm { why: "ran all morning".into() }];
        let Standing::Next(go) = progress(&plan, &warm, &[]).standing else { panic!() };
        assert_eq!(go.step.phase, Phase::Baseline);
    }

    #[test]
    fn a_rig_that_never_becomes_steady_goes_on_after_25_runs() {
        let (said, _, _) = walk(&plan(), 26, |go| good(go, 100.0 - f64::from(go.go)));
        let Said::Ready(last) = &said[25] else { panic!() };
        assert_eq!((last.go, last.step.phase), (26, Phase::Baseline));
    }

    #[test]
    fn a_run_that_does_not_count_leaves_its_step_open() {
        let plan = Plan { warm_up: false, ..plan() };
        let mut spoilt = false;
        let (said, taken, end) = walk(&plan, 200, |go| {
            let mut run = good(go, 80.0);
            if go.step.number == 3 && !spoilt {
                spoilt = true;
                run.left_out_because = vec!["short".into()];
            }
            run
        });
        assert_eq!(end.standing, Standing::Done);
        assert_eq!(said.len(), end.steps.len() + 1, "one run more than planned");
        let of_3: Vec<&Taken> = taken
            .iter()
            .filter(|t| matches!(&said[t.go as usize - 1], Said::Ready(go) if go.step.number == 3))
            .collect();
        assert_eq!(end.done[2].1, of_3[1].run, "the second one took it");
        // Without the figure that is compared it tells nothing: the tool had stopped before the gate.
        let mut without = taken.clone();
        without[0].value = None;
        assert!(
            matches!(progress(&plan, &said, &without).standing, Standing::Next(go) if go.step.number == 1)
        );
        // Tagged as another setup afterwards, a done step opens again.
        let mut other = taken.clone();
        other[0].setup = Some("joint".into());
        assert!(matches!(progress(&plan, &said, &other).standing, Standing::Next(go) if go.step.number == 1));
    }

    #[test]
    fn what_people_say_repeats_skips_rests_and_goes_on() {
        let plan = Plan { warm_up: false, ..plan() };
        let Standing::Next(first) = progress(&plan, &[], &[]).standing else { panic!() };
        let mut said = vec![Said::Ready(first.clone())];
        // The run never came.
        said.push(Said::Repeat { go: 1, why: "socket slipped".into() });
        assert!(
            matches!(progress(&plan, &said, &[]).standing, Standing::Next(go) if go.go == 2 && go.step == first.step)
        );
        said.push(Said::Skip { number: 1, why: "broken".into() });
        let after = progress(&plan, &said, &[]);
        assert!(matches!(&after.standing, Standing::Next(go) if go.step.number == 2) && after.skipped == [1]);
        said.push(Said::Abort { why: "lunch".into() });
        assert_eq!(progress(&plan, &said, &[]).standing, Standing::Aborted);
        said.push(Said::Resume);
        // A run that began while it was awaited takes its step, whatever was said meanwhile.
        let Standing::Next(go) = progress(&plan, &said, &[]).standing else { panic!() };
        said.extend([Said::Ready(go.clone()), Said::Abort { why: "visitors".into() }, Said::Resume]);
        let open = progress(&plan, &said, &[]).standing;
        assert_eq!(open, Standing::Next(Go { go: go.go + 1, step: go.step.clone() }), "nothing is awaited");
        assert_eq!(progress(&plan, &said, &[good(&go, 80.0)]).done[0].1, i64::from(go.go));
        said.push(Said::Automatic { on: true });
        let on = progress(&plan, &said, &[]);
        assert!(on.automatic && matches!(on.standing, Standing::Next(_)));
    }

    #[test]
    fn a_coupling_that_stays_is_taken_off_before_the_next_run_where_the_plan_asks_for_it() {
        let one = Plan { warm_up: false, tools: vec!["w".into()], setups: vec!["x".into()], ..plan() };
        for (remount, asked) in [(Some(true), true), (Some(false), false), (None, false)] {
            let plan = Plan { remount, repeats: 12, baseline_every: Some(30), ..one.clone() };
            let mut due = Vec::new();
            walk(&plan, 100, |go| {
                due.push(go.step.setup.clone());
                good(go, 80.0)
            });
            // Twelve of x follow each other.
            let said = |n: usize| {
                let all = steps(&plan);
                let gos: Vec<Go> =
                    (1..).zip(&all).map(|(go, step)| Go { go, step: step.clone() }).take(n).collect();
                let taken: Vec<Taken> = gos.iter().map(|go| good(go, 80.0)).collect();
                progress(&plan, &gos.into_iter().map(Said::Ready).collect::<Vec<_>>(), &taken).remount_due
            };
            assert_eq!(due.len(), 14);
            assert_eq!([said(0), said(1), said(2), said(12), said(13)], [false, false, asked, asked, false]);
        }
    }

    #[test]
    fn a_fresh_source_is_asked_for_by_the_rule() {
        let plan = |fresh| Plan { warm_up: false, fresh, ..plan() };
        let due = |fresh| progress(&plan(fresh), &[], &[]).fresh_due;
        assert_eq!([due(Fresh::No), due(Fresh::EachRun), due(Fresh::EachSetup)], [false, true, true]);
    }
}
