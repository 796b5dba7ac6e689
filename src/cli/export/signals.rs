//! Signals that ask for an end, taken so that nothing half-made is left behind.
//!
//! Must not know what is being made.

use crate::error::CliError;
use tokio::signal::unix::{Signal, SignalKind, signal};

/// Those that ask a program to end.
pub struct Signals {
    interrupt: Signal,
    terminate: Signal,
    hangup: Signal,
}

impl Signals {
    /// From now on they do not end the process by themselves.
    ///
    /// # Errors
    /// The system does not let us listen.
    pub fn new() -> Result<Self, CliError> {
        let make = |kind| {
            signal(kind).map_err(|source| CliError::File {
                tried: "listen for",
                path: "signals".into(),
                source,
            })
        };
        Ok(Self {
            interrupt: make(SignalKind::interrupt())?,
            terminate: make(SignalKind::terminate())?,
            hangup: make(SignalKind::hangup())?,
        })
    }

    /// Waits for any of them; as the error the work ends with.
    pub async fn any(&mut self) -> CliError {
        let number = tokio::select! {
            _ = self.interrupt.recv() => SignalKind::interrupt(),
            _ = self.terminate.recv() => SignalKind::terminate(),
            _ = self.hangup.recv() => SignalKind::hangup(),
        };
        CliError::Stopped { signal: number.as_raw_value() }
    }
}
