//! Listening to a port for a moment, before anybody knows what talks there.
//!
//! The port is opened as for a rig, so it is refused for the same reasons; what is heard is kept up to a
//! bound. What the bytes mean is not known here.

use super::counters::Counters;
use super::event::{PortError, PortEvent};
use super::reader::run;
use super::settings::Settings;
use boltscribe_model::time::MonoNs;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{mpsc, watch};
use tokio::time::{Instant, timeout_at};

/// Most bytes kept.
pub const HEARD_BYTES_MAX: usize = 256 * 1024;

/// Opens the port, sends `say` where given, and listens for `how_long` or until enough is there.
///
/// # Errors
/// The port does not open, or goes away meanwhile.
pub async fn hear(
    settings: Settings,
    say: Option<Vec<u8>>,
    how_long: Duration,
) -> Result<Vec<(MonoNs, Vec<u8>)>, PortError> {
    let (events, mut events_in) = mpsc::channel(16);
    let (sends, sends_in) = mpsc::channel(1);
    let (stop, stopped) = watch::channel(false);
    let task = tokio::spawn(run(settings, events, sends_in, stopped, Arc::<Counters>::default()));
    let until = Instant::now() + how_long;
    let (mut heard, mut bytes_heard) = (Vec::new(), 0);
    let mut say = say;
    let ended = loop {
        match timeout_at(until, events_in.recv()).await {
            Ok(Some(PortEvent::Up { .. })) => {
                if let Some(bytes) = say.take() {
                    // The queue is empty: nothing else is sent here.
                    let _ = sends.try_send(bytes);
                }
            }
            Ok(Some(PortEvent::Bytes { at, bytes })) => {
                bytes_heard += bytes.len();
                heard.push((at, bytes));
                if bytes_heard >= HEARD_BYTES_MAX {
                    break Ok(heard);
                }
            }
            Ok(Some(PortEvent::Down { reason, .. })) => break Err(reason),
            Ok(None) | Err(_) => break Ok(heard),
        }
    };
    let _ = stop.send(true);
    drop(events_in);
    // The port is closed when this answers, so that a rig may take it up.
    let _ = task.await;
    ended
}
