//! Attempts at the steps of a trial: given with the tags, and taken back.
//!
//! What was said of the trial and the tags that go with it are stored in one transaction, and only then told to the
//! rig. Callers hold the rig's turn, so that what was read of a trial still holds when it is written.

use super::problem::Problem;
use super::rigs::News;
use super::state::State;
use super::tags::{Named, resolve, tell_rig};
use super::trial_state::Trial;
use boltscribe_analysis::trial::{Go, Said, Standing, is_fresh};
use boltscribe_model::control::{Attempt, Command, InForce, SourceState};
use boltscribe_store::Write;

/// Puts the tags of the trial's next step in force: the next run takes it.
///
/// # Errors
/// Another go is next, a run is awaited already, a fresh source is due, the trial is done or laid aside.
pub(super) async fn give(
    state: &State,
    trial: &Trial,
    who: &str,
    seen: Option<u32>,
    source: Option<SourceState>,
) -> Result<(), Problem> {
    let plan = &trial.row.plan;
    if let Some(trouble) = state.rig(&plan.rig)?.trouble {
        return Err(Problem::conflict(format!(
            "trial '{}': expected the rig '{}' to measure, found: {trouble}",
            plan.name, plan.rig
        )));
    }
    let go = next(trial, seen, source.as_ref())?;
    let named = Named {
        setup: Some(go.step.setup.clone()),
        tool: Some(go.step.tool.clone()),
        source,
        bolt: plan.bolt.clone(),
        no_tool: None,
    };
    let (rig, own) = (plan.rig.clone(), plan.name.clone());
    let tags = state
        .read(move |reader| {
            let before = reader.in_force(&rig)?.map(|row| row.in_force).unwrap_or_default();
            if let Some(other) = before.attempt.as_ref().filter(|attempt| attempt.trial != own) {
                return Err(Problem::conflict(format!(
                    "trial '{own}': expected no other to await a run at the rig '{rig}', found '{}'",
                    other.trial
                ))
                .hint("its run would take both: repeat its go, or lay it aside"));
            }
            resolve(reader, named, before)
        })
        .await?;
    let attempt = Attempt { trial: plan.name.clone(), step: go.step.number, attempt: go.go };
    let tags = InForce { attempt: Some(attempt), ..tags };
    let told = say(state, trial, who, Said::Ready(go.clone()), Some(tags.clone())).await;
    if let Err(Told::ByRig(problem)) = &told {
        // What the rig does not know of cannot be awaited.
        let why = format!("the rig did not take the tags: {}", problem.detail);
        let _ = say(state, trial, who, Said::Repeat { go: go.go, why }, Some(tags.without_attempt())).await;
    }
    told.map_err(Told::problem)
}

/// The go that is next, where nothing stands in its way.
fn next(trial: &Trial, seen: Option<u32>, source: Option<&SourceState>) -> Result<Go, Problem> {
    let (plan, found) = (&trial.row.plan, trial.progress());
    let go = match found.standing {
        Standing::Next(go) => go,
        Standing::Awaiting(go) => {
            return Err(Problem::conflict(format!(
                "trial '{}': expected to be ready for the next run, found that the run of go {} is awaited",
                plan.name, go.go
            ))
            .hint("if it will not come, repeat that go"));
        }
        Standing::Done => return Err(Problem::conflict(format!("trial '{}' is done", plan.name))),
        Standing::Aborted => {
            return Err(
                Problem::conflict(format!("trial '{}' is laid aside", plan.name)).hint("resume it first")
            );
        }
    };
    if let Some(seen) = seen.filter(|seen| *seen != go.go) {
        return Err(Problem::conflict(format!(
            "trial '{}': expected go {} to be next, found go {}: somebody else was faster",
            plan.name, seen, go.go
        )));
    }
    if found.fresh_due {
        is_fresh(source, plan.air_kpa).map_err(|told| {
            Problem::conflict(format!("trial '{}': expected {told}", plan.name)).hint(
                "swap the battery and name it as fresh with its rested voltage, or tell the air pressure or mains voltage",
            )
        })?;
    }
    Ok(go)
}

/// Stores what a person says of a trial; where that takes back the attempt in force, the tags go on without it.
///
/// # Errors
/// The store's, or the rig's.
pub(super) async fn enter(state: &State, trial: &Trial, who: &str, said: Said) -> Result<(), Problem> {
    let rig = trial.row.plan.rig.clone();
    let before = state.read(move |reader| reader.in_force(&rig)).await?.map(|row| row.in_force);
    let tags = before.filter(|tags| takes_back(trial, &said, tags)).map(|tags| tags.without_attempt());
    say(state, trial, who, said, tags).await.map_err(Told::problem)
}

fn takes_back(trial: &Trial, said: &Said, tags: &InForce) -> bool {
    let Some(attempt) = tags.attempt.as_ref().filter(|attempt| attempt.trial == trial.row.plan.name) else {
        return false;
    };
    trial.entries.iter().any(
        |entry| matches!(&entry.said, Said::Ready(go) if go.go == attempt.attempt && said.gives_back(go)),
    )
}

/// Who was told and would not have it.
enum Told {
    /// The store: nothing has changed.
    ByStore(Problem),
    /// The rig: what was said is stored.
    ByRig(Problem),
}

impl Told {
    fn problem(self) -> Problem {
        match self {
            Self::ByStore(problem) | Self::ByRig(problem) => problem,
        }
    }
}

async fn say(state: &State, trial: &Trial, who: &str, said: Said, tags: Option<InForce>) -> Result<(), Told> {
    let (plan, utc_ns) = (&trial.row.plan, state.now());
    let command = tags.map(|in_force| Command::Use { in_force });
    let mut rows = Vec::new();
    rows.extend(command.clone().map(|command| {
        let command = Box::new(command);
        Write::Command { utc_ns, who: who.to_owned(), command }
    }));
    rows.push(Write::TrialEntry { trial: trial.row.id, utc_ns, who: who.to_owned(), said });
    state.write(&plan.rig, Write::Many(rows)).await.map_err(Told::ByStore)?;
    state.rigs.tell(&plan.rig, utc_ns, News::Trial { trial: plan.name.clone() });
    // A rig that is no longer set up has nobody to tell.
    if let Some(command) = command.filter(|_| state.rig(&plan.rig).is_ok()) {
        tell_rig(state, &plan.rig, who, command).await.map_err(Told::ByRig)?;
    }
    Ok(())
}
