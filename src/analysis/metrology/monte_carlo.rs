//! Propagation of distributions by Monte Carlo (JCGM 101), the same for the same seed on any machine.
//!
//! Generator: PCG XSL RR 128/64 of the crate `rand_pcg`; deviates by functions of `libm`. Must not know the
//! model it is given.

use boltscribe_numerics::moments;
use rand_pcg::Pcg64;
use rand_pcg::rand_core::Rng;
use std::f64::consts::PI;

/// Most trials: what is kept of each is eight bytes.
pub const TRIALS_MAX: usize = 20_000_000;

/// What is known of an input.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Distribution {
    /// Mean and standard deviation.
    Normal(f64, f64),
    /// Evenly between two ends.
    Rectangular(f64, f64),
    /// Symmetric triangle between two ends.
    Triangular(f64, f64),
    /// U-shaped (arcsine) between two ends: a cycling temperature.
    ArcSine(f64, f64),
    /// Student's t: mean, scale, degrees of freedom (whole or not).
    StudentT(f64, f64, f64),
}

/// What the trials show.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Simulated {
    /// Mean of the results.
    pub mean: f64,
    /// Their standard deviation: the standard uncertainty.
    pub standard_uncertainty: f64,
    /// Interval with equal shares outside at both ends.
    pub symmetric: (f64, f64),
    /// Shortest interval of the same coverage.
    pub shortest: (f64, f64),
    /// How many trials.
    pub trials: usize,
}

/// Why nothing was simulated.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SimulationError {
    /// Too few or many trials.
    #[error("monte carlo: expected from 100 to {TRIALS_MAX} trials, found {found}")]
    Trials {
        /// How many were asked for.
        found: usize,
    },
    /// A level outside 0 to 1.
    #[error("monte carlo: expected a coverage between 0 and 1, found {found}")]
    Level {
        /// What was asked for.
        found: f64,
    },
    /// The model gave NaN or an infinity.
    #[error("monte carlo: expected finite results of the model, found {found} at trial {trial}")]
    Result {
        /// Counted from 1.
        trial: usize,
        /// What it gave.
        found: f64,
    },
}

/// Draws of the inputs.
struct Source {
    generator: Pcg64,
    spare: Option<f64>,
}

impl Source {
    /// Evenly in [0, 1), 53 bits.
    fn uniform(&mut self) -> f64 {
        (self.generator.next_u64() >> 11) as f64 * (1.0 / 9_007_199_254_740_992.0)
    }

    /// Standard normal, by Box and Muller: two at a time.
    fn normal(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        // 1 − u is above zero, so its logarithm is finite.
        let radius = libm::sqrt(-2.0 * libm::log(1.0 - self.uniform()));
        let angle = 2.0 * PI * self.uniform();
        self.spare = Some(radius * libm::sin(angle));
        radius * libm::cos(angle)
    }

    fn draw(&mut self, from: Distribution) -> f64 {
        match from {
            Distribution::Normal(mean, sd) => mean + sd * self.normal(),
            Distribution::Rectangular(low, high) => low + (high - low) * self.uniform(),
            Distribution::Triangular(low, high) => {
                low + 0.5 * (high - low) * (self.uniform() + self.uniform())
            }
            Distribution::ArcSine(low, high) => {
                0.5 * (low + high) + 0.5 * (high - low) * libm::sin(2.0 * PI * self.uniform())
            }
            Distribution::StudentT(mean, scale, freedom) => mean + scale * self.student(freedom),
        }
    }

    /// Student's t by the polar form of Bailey (1994), for any degrees of freedom above zero.
    fn student(&mut self, freedom: f64) -> f64 {
        let radius = libm::sqrt(freedom * libm::expm1(-2.0 / freedom * libm::log(1.0 - self.uniform())));
        radius * libm::cos(2.0 * PI * self.uniform())
    }
}

/// Runs the model `trials` times on drawn inputs; intervals hold a share `level` of the results.
///
/// # Errors
/// Trials or level out of range, a result that is not finite.
pub fn simulate(
    model: impl Fn(&[f64]) -> f64,
    inputs: &[Distribution],
    trials: usize,
    seed: u64,
    level: f64,
) -> Result<Simulated, SimulationError> {
    if !(100..=TRIALS_MAX).contains(&trials) {
        return Err(SimulationError::Trials { found: trials });
    }
    if !(level > 0.0 && level < 1.0) {
        return Err(SimulationError::Level { found: level });
    }
    let mut source = Source { generator: Pcg64::new(u128::from(seed), 0), spare: None };
    let mut x = vec![0.0; inputs.len()];
    let mut results = Vec::with_capacity(trials);
    for trial in 1..=trials {
        for (x, input) in x.iter_mut().zip(inputs) {
            *x = source.draw(*input);
        }
        let found = model(&x);
        if !found.is_finite() {
            return Err(SimulationError::Result { trial, found });
        }
        results.push(found);
    }
    results.sort_unstable_by(f64::total_cmp);
    let (mean, standard_uncertainty) =
        moments(&results).map_or((f64::NAN, f64::NAN), |m| (m.mean, m.sd.unwrap_or(f64::NAN)));
    // JCGM 101, 7.7: q results lie inside, (trials − q)/2 below.
    let inside = (libm::round(level * trials as f64) as usize).clamp(1, trials - 1);
    let below = (trials - inside) / 2;
    let width = |r: usize| results[r + inside] - results[r];
    let start = (0..trials - inside).min_by(|a, b| width(*a).total_cmp(&width(*b))).unwrap_or(below);
    Ok(Simulated {
        mean,
        standard_uncertainty,
        symmetric: (results[below], results[below + inside]),
        shortest: (results[start], results[start + inside]),
        trials,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_seed_gives_one_result_and_another_seed_another() {
        let run = |seed| simulate(|x| x[0], &[Distribution::Normal(0.0, 1.0)], 1000, seed, 0.95).unwrap();
        assert_eq!(run(7), run(7));
        assert!(run(7) != run(8));
    }

    #[test]
    fn each_distribution_has_its_spread() {
        let cases = [
            (Distribution::Normal(1.0, 2.0), 2.0),
            (Distribution::Rectangular(0.0, 2.0), 1.0 / 3.0_f64.sqrt()),
            (Distribution::Triangular(0.0, 2.0), 1.0 / 6.0_f64.sqrt()),
            (Distribution::ArcSine(0.0, 2.0), 1.0 / 2.0_f64.sqrt()),
            (Distribution::StudentT(1.0, 1.0, 10.0), (10.0_f64 / 8.0).sqrt()),
        ];
        for (from, sd) in cases {
            let found = simulate(|x| x[0], &[from], 40_000, 3, 0.95).unwrap();
            assert!((found.mean - 1.0).abs() < 4.0 * sd / 200.0, "{from:?} {found:?}");
            assert!((found.standard_uncertainty / sd - 1.0).abs() < 0.02, "{from:?} {found:?}");
        }
    }

    #[test]
    fn wrong_orders_and_broken_models_are_refused() {
        let run = |trials, level| simulate(|_| f64::NAN, &[], trials, 1, level).unwrap_err();
        assert_eq!(run(10, 0.95), SimulationError::Trials { found: 10 });
        assert_eq!(run(100, 1.0), SimulationError::Level { found: 1.0 });
        assert!(matches!(run(100, 0.9), SimulationError::Result { trial: 1, .. }));
    }
}
