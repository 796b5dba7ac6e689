//! Trials that go on by themselves: each step is made ready as the run before closes, or is corrected.
//!
//! Follows what the store has committed, not the feed, which may drop. Must not know what ready means; that is
//! `attempts`.

use super::attempts::give;
use super::problem::Problem;
use super::state::State;
use super::trial_lines::{Line, TrialLines};
use super::trial_shown::Stands;
use super::trial_state::{Trial, load};
use boltscribe_store::{Reader, Write};
use std::collections::HashMap;
use std::time::Duration;

/// Who is named where a trial goes on by itself.
const BY_ITSELF: &str = "automatic";
/// Where something stands in the way, it is tried again after this at the latest: nobody tells when a rig is back.
const RETRY: Duration = Duration::from_secs(2);

/// Makes the next step of the rig's automatic trial ready, where there is one and nothing is awaited at the rig.
///
/// # Errors
/// What stands in the way.
pub async fn advance(state: &State, rig: &str) -> Result<(), Problem> {
    let (name, known) = (rig.to_owned(), state.trial_lines.clone());
    let _turn = state.turn(rig).await;
    match state.read(move |reader| open_at(reader, &known, &name)).await? {
        Some(trial) => give(state, &trial, BY_ITSELF, None, None).await,
        None => Ok(()),
    }
}

/// The newest automatic trial of a rig that can go on: a run whose closing is still to come may yet leave its step
/// open.
fn open_at(reader: &Reader, known: &TrialLines, rig: &str) -> Result<Option<Trial>, Problem> {
    if reader.in_force(rig)?.is_some_and(|row| row.in_force.attempt.is_some()) {
        return Ok(None);
    }
    let goes_on = |line: &Line| {
        line.line.automatic && matches!(line.line.standing, Stands::Next) && line.newest_is_closed
    };
    let open = known.read(reader, Some(rig))?.into_iter().find(goes_on);
    open.map(|line| load(reader, &line.line.trial)).transpose()
}

/// The same, with what stands in the way kept as an event; each reason once, as long as it is the same. Whether
/// nothing does.
pub async fn advance_or_tell(state: &State, rig: &str, told: &mut HashMap<String, String>) -> bool {
    let Err(problem) = advance(state, rig).await else {
        told.remove(rig);
        return true;
    };
    if told.get(rig) != Some(&problem.detail) {
        told.insert(rig.to_owned(), problem.detail.clone());
        let write = Write::Event { utc_ns: state.now(), kind: "trial-stuck".into(), detail: problem.detail };
        // A store that takes nothing says so elsewhere.
        let _ = state.write(rig, write).await;
    }
    false
}

/// Goes on with automatic trials at once and whenever the store has committed what may move one, until it ends.
pub async fn follow(state: State) {
    let Some(writer) = &state.writer else { return };
    let mut moved = writer.trials_moved();
    let mut told = HashMap::new();
    loop {
        // What is committed from here on is looked at in the next round.
        moved.borrow_and_update();
        let mut goes_on = true;
        for rig in state.rigs.rigs() {
            goes_on &= advance_or_tell(&state, &rig.rig, &mut told).await;
        }
        let ended = if goes_on {
            moved.changed().await.is_err()
        } else {
            // What was just said of the trial that is stuck is no reason to try at once.
            moved.borrow_and_update();
            matches!(tokio::time::timeout(RETRY, moved.changed()).await, Ok(Err(_)))
        };
        if ended {
            return;
        }
    }
}
