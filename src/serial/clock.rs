//! The one monotonic clock of the program.
//!
//! Times are nanoseconds since this process first asked, so that every room compares times of one
//! origin. It does not follow steps of the wall clock; wall time is made elsewhere from pairs of both.

use boltscribe_model::time::MonoNs;
use std::sync::OnceLock;
use std::time::Instant;

static ORIGIN: OnceLock<Instant> = OnceLock::new();

/// Now, in nanoseconds since the first call in this process.
#[must_use]
#[allow(clippy::disallowed_methods, reason = "this is the place where the monotonic clock is read")]
pub fn now() -> MonoNs {
    let origin = *ORIGIN.get_or_init(Instant::now);
    // 2^64 ns are 584 years.
    MonoNs(u64::try_from(origin.elapsed().as_nanos()).unwrap_or(u64::MAX))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_never_goes_back_and_counts_nanoseconds() {
        let before = now();
        std::thread::sleep(std::time::Duration::from_millis(5));
        let passed_ns = now().since_ns(before);
        assert!(passed_ns >= 5_000_000, "{passed_ns}");
        assert!(passed_ns < 60_000_000_000, "{passed_ns}");
    }
}
