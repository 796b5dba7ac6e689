//! Runs that were cut off when the program died: measured from what was stored, and stored as
//! interrupted, before any new stream begins.
//!
//! How a run is measured is the pipeline's business; must not touch rigs that are at work.

use super::error::DaemonError;
use boltscribe_pipeline::recover;
use boltscribe_store::{Readers, Store, StreamId, Unfinished, Write, Writer};

/// Answers every unfinished run of the store; gives how many runs were recovered.
///
/// # Errors
/// The store cannot be read, or does not take the results.
pub async fn recover_all(store: &Store) -> Result<usize, DaemonError> {
    answer(store.unfinished()?, &store.writer()).await
}

/// Closes what a stream left that broke off while the program goes on; gives how many runs were recovered.
///
/// # Errors
/// The store cannot be read, or does not take the results.
pub async fn recover_stream(
    readers: &Readers,
    writer: &Writer,
    rig: &str,
    stream: StreamId,
) -> Result<usize, DaemonError> {
    // Behind all that the stream still had on its way.
    for outcome in writer.submit(rig, vec![Write::BrokeOff { stream }])?.wait().await? {
        outcome?;
    }
    answer(readers.unfinished(stream)?, writer).await
}

async fn answer(all: Vec<Unfinished>, writer: &Writer) -> Result<usize, DaemonError> {
    let mut recovered = 0;
    for unfinished in all {
        let rig = unfinished.rig.clone();
        let write = measure(unfinished);
        if matches!(&write, Write::Recovered { result: Some(_), .. }) {
            recovered += 1;
        }
        for outcome in writer.submit(&rig, vec![write])?.wait().await? {
            outcome?;
        }
    }
    Ok(recovered)
}

fn measure(cut_off: Unfinished) -> Write {
    let result = recover(&cut_off.settings, &cut_off.open, &cut_off.raw).map(Box::new);
    match &result {
        Some(_) => tracing::warn!("rig '{}': a run was cut off; it is kept as interrupted", cut_off.rig),
        None => {
            tracing::warn!("rig '{}': what was cut off was no run; its samples are forgotten", cut_off.rig)
        }
    }
    Write::Recovered {
        stream: cut_off.stream,
        run_seq: cut_off.run_seq,
        result,
        // The opening comes within a fraction of a second of the first blow, and the clock of the
        // dead process that could tell more is gone.
        first_blow_utc_ns: cut_off.opened_utc_ns,
    }
}
