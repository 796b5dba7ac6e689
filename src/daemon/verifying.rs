//! Looks through the audit chain of the store once a day, so that a figure that changed by itself is known before somebody
//! relies on it.
//!
//! What it found is an event, which the doctor shows. Reads the store only; must not hold up the writer.

use super::wall::{Wall, look};
use boltscribe_store::{Readers, Writer};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::watch;

/// Between two looks. A chain of a million runs takes about a minute of one core.
const EVERY_NS: i64 = 24 * 3_600 * 1_000_000_000;
/// How often it is asked whether one is due; the first time after a start too, which is busy by itself.
const ASK_EVERY: Duration = Duration::from_secs(600);
/// Who looks.
const WHO: &str = "boltscribed";

/// Looks whenever it is due, until the program stops.
pub async fn run(readers: Readers, writer: Writer, wall: Arc<Wall>, mut stopped: watch::Receiver<bool>) {
    loop {
        tokio::select! {
            () = tokio::time::sleep(ASK_EVERY) => {}
            _ = stopped.changed() => return,
        }
        let (readers, writer, now) = (readers.clone(), writer.clone(), wall.utc_ns(look().mono));
        // The reader belongs to one thread, and the answer to nobody: a failure shows at the next look.
        let looked = tokio::task::spawn_blocking(move || once(&readers, &writer, now)).await;
        if let Ok(Err(error)) = looked {
            tracing::error!("the audit chain could not be looked through: {error}");
        }
    }
}

/// Looks if the last look on record is older than a day, or lies in the future; gives whether it did.
///
/// # Errors
/// The store cannot be read.
pub fn once(
    readers: &Readers,
    writer: &Writer,
    now_utc_ns: i64,
) -> Result<bool, boltscribe_store::StoreError> {
    let reader = readers.reader()?;
    let last = reader.last_event("store-verify")?;
    if last.is_some_and(|last| (0..EVERY_NS).contains(&(now_utc_ns - last.utc_ns))) {
        return Ok(false);
    }
    let report = reader.verify(None)?;
    for fault in &report.faults {
        tracing::error!("the store: {fault}");
    }
    // A queue that is full is reported by itself; the next look writes again.
    let _ = writer.try_send("", vec![report.event(WHO, now_utc_ns)]);
    Ok(true)
}

#[cfg(test)]
mod tests {
    use super::*;
    use boltscribe_store::{Mode, Store, Write};

    #[test]
    fn the_chain_is_looked_through_once_a_day_and_the_event_tells_what_was_found() {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path(), Mode::Create).unwrap();
        let (readers, writer) = (store.readers(), store.writer());
        let event = |kind: &str| Write::Event { utc_ns: 1, kind: kind.into(), detail: "x".into() };
        writer.store("", event("something")).unwrap().unwrap();
        let day = EVERY_NS;
        let look = |at: i64| {
            let looked = once(&readers, &writer, at).unwrap();
            // The queue is in order: once this is stored, so is what came before it.
            writer.store("", event("after")).unwrap().unwrap();
            looked
        };
        assert!(look(10 * day));
        assert!(!look(10 * day + day / 2));
        assert!(look(11 * day));
        assert!(look(9 * day), "a clock that was wrong does not stop it");
        let told = || readers.reader().unwrap().last_event("store-verify").unwrap().unwrap().detail;
        assert!(told().contains(": 0 fault(s) in "), "{}", told());
    }
}
