//! After the announcement: a second pull, loosening, release, or nothing for a minute.
//!
//! the manual, "What is measured": released, re-pulled. The measures of the first pull stay as they are.

use super::record::{CloseReason, Record, RunFlag};
use boltscribe_model::units::Newtons;

/// A run closes this long after its last blow, seconds.
const CLOSE_S: f64 = 60.0;

/// Manual, re-pulled: a level higher by more than this share.
const HIGHER_SHARE: f64 = 0.005;

/// And by more than this many times the noise.
const HIGHER_NOISE: f64 = 8.0;

/// Manual, release: tension under this share of the level.
const RELEASED: f64 = 0.5;

/// Manual, release: a blow that leaves less than this share of the level loosens.
const LOOSENED: f64 = 0.98;

/// And less by this many times the noise. Found on the virtual rig.
const LOOSENED_NOISE: f64 = 2.0;

/// A fall is a blow's doing within this time after it, seconds: less than the pause that ends a pull. Found on the
/// virtual rig.
const BLOW_LASTS_S: f64 = 0.3;

/// So many looks (at 50 ms) in a row make a higher level.
const HIGHER_LOOKS: u8 = 6;

/// A level that is left again sooner was none but the begin of a release, seconds.
const LASTS_S: f64 = 0.5;

/// What is watched between the announcement and the closing. Tensions in newtons above zero.
#[derive(Clone, Debug)]
pub struct After {
    level: f64,
    pull_over: u64,
    /// Sample of the last blow of any pull.
    pub last_blow: u64,
    blows_seen: bool,
    no_blows: bool,
    highest: Option<f64>,
    higher_looks: u8,
    higher_since: Option<u64>,
    rate_hz: f64,
    /// Sample at which tension first stood under half of the level, and tension at the newest look, newtons.
    pub fell: Option<(u64, f64)>,
}

impl After {
    /// For a run whose first pull ended with the blow at sample `last_blow`; blows from sample `pull_over` on
    /// belong to another pull, `struck` is the last blow seen so far, and `reached` the highest level in newtons.
    #[must_use]
    pub fn new(record: &Record, pull_over: u64, struck: u64, reached: f64, rate_hz: f64) -> Self {
        let last_blow = ((record.last_blow_s * rate_hz) as u64).max(struck);
        let settled = record.held.or(record.level).unwrap_or(record.peak).get();
        // Released before it settled: what was reached counts.
        let level = if settled < RELEASED * reached { reached } else { settled };
        let blows_seen = record.blow_count.is_some();
        let no_blows = record.ringing.is_none() && !record.flags.contains(&RunFlag::BlowsUnsure);
        Self {
            level,
            pull_over,
            last_blow,
            blows_seen,
            no_blows,
            highest: None,
            higher_looks: 0,
            higher_since: None,
            rate_hz,
            fell: None,
        }
    }

    /// The run's blows were counted.
    #[must_use]
    pub const fn blows_seen(&self) -> bool {
        self.blows_seen
    }

    /// Nothing that looks like a blow was seen.
    #[must_use]
    pub const fn no_blows(&self) -> bool {
        self.no_blows
    }

    /// The level that the first pull left.
    #[must_use]
    pub const fn settled(&self) -> f64 {
        self.level
    }

    /// From this sample on blows belong to another pull.
    #[must_use]
    pub const fn pull_over(&self) -> u64 {
        self.pull_over
    }

    /// Tension has stood higher than after the first pull in the last two looks.
    #[must_use]
    pub const fn higher(&self) -> bool {
        self.higher_looks >= 2
    }

    /// The level that counts for a release.
    #[must_use]
    pub fn reference(&self) -> f64 {
        self.highest.unwrap_or(self.level).max(self.level)
    }

    /// Whether later blows raised the level, and how far, as it looks at sample `now`.
    #[must_use]
    pub fn re_pulled(&self, now: u64) -> (bool, Option<Newtons>) {
        let lasted = |since: u64| now.saturating_sub(since) as f64 >= LASTS_S * self.rate_hz;
        let highest = self.highest.filter(|_| self.higher_since.is_some_and(lasted));
        (highest.is_some(), highest.map(Newtons))
    }

    /// Looks at the present level (median of the last 0.1 s); says how the run closed, if it did.
    pub fn look(&mut self, level: f64, noise: f64, now: u64) -> Option<CloseReason> {
        let struck = self.last_blow > self.pull_over;
        if level > self.level + (HIGHER_SHARE * self.level).max(HIGHER_NOISE * noise) {
            self.higher_looks = self.higher_looks.saturating_add(1);
            self.higher_since = self.higher_since.or(Some(now));
            // One median may hold a burst of ringing, and the first blows of a release lift it too: a level lasts.
            if self.higher_looks >= HIGHER_LOOKS {
                self.highest = Some(self.highest.map_or(level, |h| h.max(level)));
                self.last_blow = self.last_blow.max(now);
            }
        } else {
            self.higher_looks = 0;
            if self.highest.is_none() {
                self.higher_since = None;
            }
        }
        let since_blow_s = now.saturating_sub(self.last_blow) as f64 / self.rate_hz;
        if level < RELEASED * self.reference() {
            Some(CloseReason::Released)
        } else if self.blows_seen
            && struck
            && since_blow_s < BLOW_LASTS_S
            && level < LOOSENED * self.reference() - LOOSENED_NOISE * noise
        {
            Some(CloseReason::Loosened)
        } else if since_blow_s > CLOSE_S {
            Some(CloseReason::TimedOut)
        } else {
            None
        }
    }
}
