//! Trials that go on by themselves: each step is made ready as the run before closes, or is corrected.
//!
//! Must not know what ready means; that is `trials`.

use super::problem::Problem;
use super::rigs::{LiveMessage, News};
use super::state::State;
use super::trial_state::load;
use super::trials::give;
use crate::pipeline::RunRow;
use crate::store::Write;
use crate::trial::Standing;
use std::sync::Arc;

/// Who is named where a trial goes on by itself.
const BY_ITSELF: &str = "automatic";

/// Makes the next step of the rig's automatic trial ready, where there is one and nothing is awaited. What stands
/// in the way is kept as an event.
pub async fn advance(state: &State, rig: &str) {
    let name = rig.to_owned();
    let open = state
        .read(move |reader| {
            for row in reader.trials()?.into_iter().filter(|row| row.plan.rig == name) {
                if !reader.is_automatic(row.id)? {
                    continue;
                }
                let trial = load(reader, &row.plan.name)?;
                let found = trial.progress();
                if found.automatic && matches!(found.standing, Standing::Next(_)) {
                    return Ok::<_, Problem>(Some(trial));
                }
            }
            Ok(None)
        })
        .await;
    let problem = match open {
        Ok(None) => return,
        Ok(Some(trial)) => give(state, &trial, BY_ITSELF, None, None).await.err(),
        Err(problem) => Some(problem),
    };
    if let Some(problem) = problem {
        let write = Write::Event { utc_ns: state.now(), kind: "trial-stuck".into(), detail: problem.detail };
        // A store that takes nothing says so elsewhere.
        let _ = state.write(rig, write).await;
    }
}

/// Goes on with automatic trials at once and as runs close, until the feed ends.
pub async fn follow(state: State) {
    let mut feed = state.rigs.subscribe();
    for rig in state.rigs.rigs() {
        advance(&state, &rig.rig).await;
    }
    loop {
        match feed.recv().await {
            Ok(message) => {
                if let Some(rig) = closed(&message) {
                    advance(&state, rig).await;
                }
            }
            // What was missed is looked at with the next run.
            Err(tokio::sync::broadcast::error::RecvError::Lagged(_)) => {}
            Err(tokio::sync::broadcast::error::RecvError::Closed) => return,
        }
    }
}

/// The rig whose run has closed, was read by hand, or counts otherwise than before: its step may be open again.
fn closed(message: &Arc<LiveMessage>) -> Option<&str> {
    match &message.news {
        News::Run { row, .. } if matches!(**row, RunRow::Closed(_)) => Some(&message.rig),
        News::Reading { .. } | News::Changed { .. } => Some(&message.rig),
        _ => None,
    }
}
