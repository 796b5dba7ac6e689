//! Seeded draws: the one source of chance for whatever is drawn before it is played.
//!
//! The same seed gives the same draws everywhere: transcendental functions come from `libm`.

use rand_core::{Rng, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64Mcg;

/// A seeded source of draws.
#[derive(Debug, Clone)]
pub(crate) struct Dice(Pcg64Mcg);

impl Dice {
    pub(crate) fn new(seed: u64) -> Self {
        Self(Pcg64Mcg::seed_from_u64(seed))
    }

    /// Uniform in low..high.
    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        let share = (self.0.next_u64() >> 11) as f64 / (1u64 << 53) as f64;
        low + (high - low) * share
    }

    /// Uniform in the logarithm; both ends above 0.
    pub(crate) fn log_between(&mut self, low: f64, high: f64) -> f64 {
        libm::exp(self.between(libm::log(low), libm::log(high)))
    }

    /// A whole number from `low` to `high`, both possible.
    pub(crate) fn whole(&mut self, low: u32, high: u32) -> u32 {
        (self.between(f64::from(low), f64::from(high) + 1.0) as u32).min(high)
    }

    pub(crate) fn chance(&mut self, share: f64) -> bool {
        self.between(0.0, 1.0) < share
    }

    pub(crate) fn pick<T: Copy>(&mut self, from: &[T]) -> T {
        let index = (self.between(0.0, 1.0) * from.len() as f64) as usize;
        from[index.min(from.len() - 1)]
    }

    /// Normal of mean 0 and standard deviation 1.
    pub(crate) fn normal(&mut self) -> f64 {
        StandardNormal.sample(&mut self.0)
    }
}
