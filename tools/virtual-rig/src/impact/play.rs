//! One case played: counts as a rig would deliver them, with the truth of each run.
//!
//! Must not know what is drawn or how it is measured.

use super::case::Case;
use super::chain::sample;
use super::motion::{self, Disturbance};
use super::truth::{ImpactRun, Truth};

/// A trace with its truth. Sample k lies at k / `rate_hz` s.
#[derive(Debug, Clone)]
pub struct Played {
    /// Samples a second.
    pub rate_hz: f64,
    /// Codes of the converter.
    pub counts: Vec<i32>,
    /// Codes a kN: tension is code / this.
    pub counts_per_kn: f64,
    /// Range of the transducer, kN.
    pub range_kn: f64,
    /// Least code: there the converter is at its end.
    pub count_min: i32,
    /// Greatest code.
    pub count_max: i32,
    /// What is true of each run, in order.
    pub runs: Vec<ImpactRun>,
    /// What happened that is no blow of a run.
    pub disturbances: Vec<Disturbance>,
}

/// Plays a case. The same case always gives the same counts.
#[must_use]
pub fn play(case: &Case) -> Played {
    let motion = motion::play(case);
    let sampled = sample(case, &motion);
    let runs = Truth::new(case, &motion, &sampled.clean_kn).runs();
    let (count_min, count_max) = case.chain.count_limits();
    Played {
        rate_hz: case.rate_hz,
        counts: sampled.counts,
        counts_per_kn: case.chain.counts_per_kn(),
        range_kn: case.chain.range_kn,
        count_min,
        count_max,
        runs,
        disturbances: motion.disturbances,
    }
}
