//! How long to wait before a port is tried again: 20 ms, doubling, 320 ms at most.
//!
//! With the longest wait, the settling after opening and the 0.35 s in which the spacing of an ASCII board is known
//! again, a rig reads within a second of its return. There is no jitter: nobody shares the port.

use std::time::Duration;

/// First wait.
const WAIT_MS_MIN: u64 = 20;
/// Longest wait.
const WAIT_MS_MAX: u64 = 320;

/// The waits of one port.
#[derive(Clone, Debug)]
pub(super) struct Backoff {
    next_ms: u64,
}

impl Backoff {
    pub(super) const fn new() -> Self {
        Self { next_ms: WAIT_MS_MIN }
    }

    /// The wait before the next attempt; each call doubles it up to the longest.
    pub(super) fn take(&mut self) -> Duration {
        let wait = Duration::from_millis(self.next_ms);
        self.next_ms = (self.next_ms * 2).min(WAIT_MS_MAX);
        wait
    }

    /// Back to the first wait, after the port has worked.
    pub(super) fn reset(&mut self) {
        *self = Self::new();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waits_double_from_20_to_320_ms_and_start_again_after_success() {
        let mut backoff = Backoff::new();
        let waits: Vec<u128> = (0..8).map(|_| backoff.take().as_millis()).collect();
        assert_eq!(waits, [20, 40, 80, 160, 320, 320, 320, 320]);
        backoff.reset();
        assert_eq!(backoff.take().as_millis(), 20);
    }
}
