//! How long to wait before the next try: 1 s, 2 s, 4 s … 60 s at most, jittered, for ever.
//!
//! Full jitter spreads many daemons evenly after an outage. Where the server asks for time, the wait is never
//! shorter than half of its bound, which then begins at 16 s.

use std::time::Duration;

/// Longest wait.
pub const WAIT_MAX: Duration = Duration::from_secs(60);
/// Shortest wait: one that is nearly nothing would not be a wait.
const WAIT_MIN: Duration = Duration::from_millis(100);
/// Doublings after which a server that asks for time is waited for: 1 s · 2^4.
const BUSY_DOUBLINGS: u32 = 4;

/// Counts tries in a row that failed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Backoff {
    failures: u32,
}

impl Backoff {
    /// A try went well.
    pub fn reset(&mut self) {
        self.failures = 0;
    }

    /// A try failed; `unit` is a random number from 0 to 1.
    pub fn after_failure(&mut self, unit: f64) -> Duration {
        self.wait(unit, 0.0)
    }

    /// The server asked for time.
    pub fn after_busy(&mut self, unit: f64) -> Duration {
        self.failures = self.failures.max(BUSY_DOUBLINGS);
        self.wait(unit, 0.5)
    }

    fn wait(&mut self, unit: f64, least: f64) -> Duration {
        let bound = Duration::from_secs(1 << self.failures.min(6)).min(WAIT_MAX);
        self.failures = self.failures.saturating_add(1);
        bound.mul_f64(least + (1.0 - least) * unit.clamp(0.0, 1.0)).max(WAIT_MIN)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waits_grow_from_one_second_to_sixty_and_stay_there_for_72_hours() {
        let mut backoff = Backoff::default();
        let bounds: Vec<u64> = (0..9).map(|_| backoff.after_failure(1.0).as_secs()).collect();
        assert_eq!(bounds, [1, 2, 4, 8, 16, 32, 60, 60, 60]);
        let mut waited = Duration::ZERO;
        let (mut tries, seed) = (0_u32, 20_261_125);
        let mut random = fastrand::Rng::with_seed(seed);
        while waited < Duration::from_secs(72 * 3600) {
            let wait = backoff.after_failure(random.f64());
            assert!((WAIT_MIN..=WAIT_MAX).contains(&wait), "seed {seed}: {wait:?}");
            waited += wait;
            tries += 1;
        }
        // Uniform from 0 to 60 s: 30 s in the mean, so 8,640 tries; five standard errors are under 3 %.
        assert!((8_380..=8_900).contains(&tries), "seed {seed}: {tries} tries in 72 h");
        backoff.reset();
        assert_eq!(backoff.after_failure(1.0).as_secs(), 1);
        assert_eq!(backoff.after_failure(0.0), WAIT_MIN);
    }

    #[test]
    fn a_server_that_asks_for_time_gets_at_least_eight_seconds() {
        let mut backoff = Backoff::default();
        assert_eq!(backoff.after_busy(0.0).as_secs(), 8);
        assert_eq!(backoff.after_busy(1.0).as_secs(), 32);
        assert_eq!(backoff.after_busy(0.0).as_secs(), 30);
        assert_eq!(backoff.after_busy(1.0).as_secs(), 60);
    }
}
