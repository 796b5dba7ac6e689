//! What one port has done, counted since the program started.
//!
//! Nothing that was read is ever dropped here: when the reader's queue is full, reading waits and the
//! kernel's buffer fills. A pseudo terminal then holds its writer back; on real hardware the driver
//! loses bytes, which shows as a gap in the device's own numbering, not here.

use serde::{Deserialize, Serialize};
use std::sync::atomic::{AtomicU64, Ordering};

macro_rules! counters {
    ($($(#[doc = $doc:literal])* $name:ident,)*) => {
        /// The counters, shared between the port's task and whoever shows them.
        #[derive(Debug, Default)]
        pub struct Counters {
            $($(#[doc = $doc])* pub(super) $name: AtomicU64,)*
        }

        /// The counters at one moment.
        #[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
        pub struct CountersNow {
            $($(#[doc = $doc])* pub $name: u64,)*
        }

        impl Counters {
            /// All values; each is exact, but they are not read at the same instant.
            #[must_use]
            pub fn now(&self) -> CountersNow {
                CountersNow { $($name: self.$name.load(Ordering::Relaxed),)* }
            }
        }
    };
}

counters! {
    /// Bytes handed on.
    bytes_in,
    /// Events that carried them.
    reads,
    /// Times reading waited because the queue of events was full.
    waits,
    /// Bytes that lay in the kernel's buffer at an opening and were cleared, because they are old.
    bytes_cleared,
    /// Attempts to open the port.
    attempts,
    /// Openings that worked.
    opens,
    /// Times an open port was lost.
    losses,
    /// Bytes written to the device.
    bytes_sent,
    /// Bytes that were to be sent and were dropped: the port was away, or too many were waiting.
    bytes_send_dropped,
}

pub(super) fn add(counter: &AtomicU64, n: usize) {
    counter.fetch_add(n as u64, Ordering::Relaxed);
}
