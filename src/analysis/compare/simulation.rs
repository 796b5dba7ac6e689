//! How often this very comparison is right: its runs drawn again and again with a known truth.
//!
//! Times, setups, tools and mountings are those of the runs; scatter, drift and mountings' scatter are drawn. What a
//! sentence about risk says is then counted and not asserted. Generator: PCG XSL RR 128/64 of the crate `rand_pcg`,
//! normal values by Box and Muller: equal input and seed give equal counts. Must not know any value that was read, but
//! for how far runs scatter.

use super::answer::{Comparison, FREEDOM_MIN};
use super::cells::Cells;
use super::mounting::{Mean, Mounted};
use super::observation::{CompareError, Drift, Observation, Question};
use super::regression::Fitted;
use boltscribe_numerics::distributions::t_two_sided_quantile;
use rand_pcg::Pcg64;
use rand_pcg::rand_core::Rng;
use std::collections::HashMap;

/// Fewest trials a scenario, and most.
pub const TRIALS: (u32, u32) = (100, 100_000);
/// Most multiplications of one simulation: about a second.
pub const WORK_MAX: f64 = 1e9;
/// A loss for coverage and power where nobody names one, percent.
pub const LOSS_PERCENT: f64 = 2.0;
/// A linear drift, share an hour.
pub const DRIFT_PER_HOUR: f64 = -0.03;
/// A drift that dies away, in all, as a share: what a warm-up may bring.
pub const DECAYING: f64 = 0.03;
/// Its time constant, seconds.
pub const TIME_CONSTANT_S: f64 = 600.0;

/// What the rig and the couplings do besides scatter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scenario {
    /// Nothing.
    Scatter,
    /// A drift straight in time: [`DRIFT_PER_HOUR`].
    LinearDrift,
    /// A drift that dies away: [`DECAYING`] with [`TIME_CONSTANT_S`].
    DecayingDrift,
    /// Mountings that scatter as much as pulls; runs of one setup that follow each other with a tool are one mounting
    /// where none is noted.
    Mountings,
}

impl Scenario {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Scatter, Self::LinearDrift, Self::DecayingDrift, Self::Mountings];

    /// In words.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Scatter => "no drift",
            Self::LinearDrift => "linear drift, 3 % an hour",
            Self::DecayingDrift => "drift of 3 % that dies away in 10 min",
            Self::Mountings => "mountings scatter as pulls do",
        }
    }
}

/// What is simulated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Simulated {
    /// Trials of each scenario.
    pub trials: u32,
    /// What is drawn from.
    pub seed: u64,
    /// SD of one pull, percent.
    pub sd_percent: f64,
    /// A loss of every setup that ought to be shown, percent.
    pub difference_percent: f64,
}

impl Simulated {
    /// What a comparison is simulated with where little is said: the scatter of its own runs, a loss of 2 %.
    ///
    /// None where no scatter is known.
    #[must_use]
    pub fn of(
        found: &Comparison,
        asked: (u32, u64),
        sd: Option<f64>,
        difference: Option<f64>,
    ) -> Option<Self> {
        let own = match found.mountings {
            Some(mountings) => mountings.pull_sd_percent.or(found.residual_sd_percent),
            None => found.residual_sd_percent,
        };
        let sd_percent = sd.or(own).filter(|sd| *sd > 1e-9)?;
        let (trials, seed) = asked;
        Some(Self { trials, seed, sd_percent, difference_percent: difference.unwrap_or(LOSS_PERCENT) })
    }
}

/// What was counted of a scenario, shares from 0 to 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Counted {
    /// Which scenario.
    pub scenario: Scenario,
    /// Limits of one percent hold the truth.
    pub coverage: f64,
    /// The simultaneous limits of a tool all hold it.
    pub together: f64,
    /// Some setup of a tool is shown to differ where none does.
    pub false_differences: f64,
    /// A setup that loses as stated is shown to differ.
    pub power: f64,
}

/// Why this comparison is not simulated.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SimulationError {
    /// It is no comparison at all.
    #[error(transparent)]
    Compare(#[from] CompareError),
    /// Brackets and mountings of unequal numbers of pulls have no limits of one width.
    #[error(
        "expected a comparison with the drift none or linear and equally many pulls a mounting, found {0}"
    )]
    Kind(&'static str),
    /// Too few repeats for limits.
    #[error("expected at least {FREEDOM_MIN} residual degrees of freedom, found {0}")]
    TooFew(usize),
    /// It would take too long.
    #[error("expected fewer trials of so many runs: about {0:.0} at most")]
    TooMuch(f64),
}

/// The fit of one arrangement, as far as it does not hang on values.
struct Design {
    /// By cell, what its coefficient takes of each reading.
    weights: Vec<Vec<f64>>,
    /// An orthonormal basis of what the fit can take up, by readings.
    basis: Vec<Vec<f64>>,
    /// Root of the unscaled variance, by cell.
    roots: Vec<f64>,
    freedom: f64,
    alone: f64,
    /// First of a tool's compared cells, how many, critical t.
    families: Vec<(usize, usize, f64)>,
}

/// Counts how often a comparison of these runs is right.
///
/// # Errors
/// What `compare` refuses, and comparisons that are not simulated.
pub fn simulate(
    observations: &[Observation],
    question: &Question,
    asked: &Simulated,
) -> Result<Vec<Counted>, SimulationError> {
    let runs = Cells::new(observations, question)?;
    let drift = runs.drift(observations, question);
    if drift == Drift::Bracket {
        return Err(SimulationError::Kind("brackets"));
    }
    let mounted = Mounted::of(observations, Mean::Geometric)?;
    if mounted.as_ref().is_some_and(|mounted| !mounted.is_balanced()) {
        return Err(SimulationError::Kind("unequal numbers"));
    }
    let readings = mounted.as_ref().map_or(observations, |mounted| &mounted.observations);
    let cells = Cells::new(readings, question)?;
    let work =
        2.0 * Scenario::ALL.len() as f64 * cells.counted.len() as f64 * (cells.cells.len() + 1) as f64 * 2.0;
    if work * f64::from(asked.trials) > WORK_MAX {
        return Err(SimulationError::TooMuch(WORK_MAX / work));
    }
    let design = Design::new(readings, &cells, drift, question.alpha)?;
    let play = Play::new((observations, &runs), (readings, &cells), &question.baseline);
    let each = |scenario| design.count(&play, scenario, asked);
    Ok(Scenario::ALL.into_iter().map(each).collect())
}

impl Design {
    fn new(
        readings: &[Observation],
        cells: &Cells,
        drift: Drift,
        alpha: f64,
    ) -> Result<Self, SimulationError> {
        // Only the arrangement counts: what is fitted here is an invented scatter.
        let invented: Vec<Observation> = readings
            .iter()
            .enumerate()
            .map(|(i, o)| Observation {
                value: 1.0 + 0.01 * ((i * i) % 7) as f64,
                resolution: None,
                ..o.clone()
            })
            .collect();
        let fitted = Fitted::new(&invented, cells, drift)?;
        let freedom = fitted.fit.degrees_of_freedom;
        if freedom < FREEDOM_MIN {
            return Err(SimulationError::TooFew(freedom));
        }
        let families = (0..cells.tools.len()).filter_map(|tool| {
            let family = fitted.family(cells, tool)?;
            let first = cells.cells.iter().position(|cell| cell.tool == tool)? + 1;
            Some((first, cells.of_tool(tool).count() - 1, family.critical(alpha)))
        });
        Ok(Self {
            families: families.collect(),
            weights: (0..cells.cells.len()).map(|k| fitted.weights(k, cells)).collect(),
            basis: fitted.basis(cells),
            roots: (0..cells.cells.len()).map(|k| fitted.fit.unscaled_covariance[k][k].sqrt()).collect(),
            freedom: freedom as f64,
            alone: t_two_sided_quantile(1.0 - alpha, freedom as f64),
        })
    }

    /// Coefficients of cells, and the residual SD.
    fn fit(&self, values: &[f64]) -> (Vec<f64>, f64) {
        let dot = |a: &[f64]| a.iter().zip(values).map(|(a, v)| a * v).sum::<f64>();
        let coefficients = self.weights.iter().map(|weights| dot(weights)).collect();
        // What the fit does not take up of the squares is the residuals'.
        let taken: f64 = self.basis.iter().map(|column| dot(column).powi(2)).sum();
        let whole: f64 = values.iter().map(|v| v * v).sum();
        (coefficients, libm::sqrt((whole - taken).max(0.0) / self.freedom))
    }

    fn count(&self, play: &Play, scenario: Scenario, asked: &Simulated) -> Counted {
        let mut random = Normal::new(asked.seed);
        let loss = libm::log1p(-asked.difference_percent / 100.0);
        let mut sums = [0_u32; 4];
        let (mut percents, mut tools) = (0_u32, 0_u32);
        for _ in 0..asked.trials {
            for truth in [loss, 0.0] {
                let (found, sd) =
                    self.fit(&play.values(scenario, truth, asked.sd_percent / 100.0, &mut random));
                for (first, many, critical) in &self.families {
                    let off = |k: usize, from: f64| (found[k] - from).abs() / (sd * self.roots[k]);
                    let own = *first..first + many;
                    if truth == 0.0 {
                        sums[2] += u32::from(own.clone().any(|k| off(k, 0.0) > *critical));
                        continue;
                    }
                    sums[0] += own.clone().filter(|k| off(*k, truth) <= self.alone).count() as u32;
                    sums[1] += u32::from(own.clone().all(|k| off(k, truth) <= *critical));
                    sums[3] += own.clone().filter(|k| off(*k, 0.0) > *critical).count() as u32;
                    percents += *many as u32;
                    tools += 1;
                }
            }
        }
        let share = |sum: u32, of: u32| f64::from(sum) / f64::from(of.max(1));
        Counted {
            scenario,
            coverage: share(sums[0], percents),
            together: share(sums[1], tools),
            false_differences: share(sums[2], tools),
            power: share(sums[3], percents),
        }
    }
}

/// One pull: which reading it belongs to, with which share; its mounting; its time; whether it is a baseline.
struct Pull {
    reading: usize,
    share: f64,
    mounting: usize,
    hours: f64,
    is_baseline: bool,
}

/// What tells a reading: a mounting, or a run where none is noted.
type Key<'a> = (Option<&'a str>, &'a str, Option<&'a str>, Option<u64>);

fn key(o: &Observation) -> Key<'_> {
    let mounting = o.mounting.as_deref();
    (o.tool.as_deref(), &o.setup, mounting, mounting.is_none().then_some(o.run))
}

/// The pulls that make up the readings.
struct Play {
    pulls: Vec<Pull>,
    readings: usize,
    mountings: usize,
}

impl Play {
    fn new(
        (observations, runs): (&[Observation], &Cells),
        (readings, cells): (&[Observation], &Cells),
        baseline: &str,
    ) -> Self {
        let places: HashMap<Key<'_>, usize> =
            cells.counted.iter().enumerate().map(|(place, row)| (key(&readings[*row]), place)).collect();
        let start_s = runs.counted.first().map_or(0.0, |row| observations[*row].time_s);
        let mut on: Vec<(&Observation, usize)> = Vec::new();
        let mut mountings = 0;
        let mut pulls = Vec::new();
        for row in &runs.counted {
            let o = &observations[*row];
            let at = on.iter().position(|(last, _)| last.tool == o.tool);
            let stays = at.filter(|at| on[*at].0.setup == o.setup && on[*at].0.mounting == o.mounting);
            let mounting = stays.map_or(mountings, |at| on[at].1);
            mountings = mountings.max(mounting + 1);
            match at {
                Some(at) => on[at] = (o, mounting),
                None => on.push((o, mounting)),
            }
            let reading = places.get(&key(o)).copied().unwrap_or(0);
            pulls.push(Pull {
                reading,
                share: 0.0,
                mounting,
                hours: (o.time_s - start_s) / 3600.0,
                is_baseline: o.setup == baseline,
            });
        }
        let mut many = vec![0.0; cells.counted.len()];
        for pull in &pulls {
            many[pull.reading] += 1.0;
        }
        for pull in &mut pulls {
            pull.share = 1.0 / many[pull.reading];
        }
        Self { pulls, readings: cells.counted.len(), mountings }
    }

    /// Readings, ln, of one trial.
    fn values(&self, scenario: Scenario, truth: f64, sd: f64, random: &mut Normal) -> Vec<f64> {
        let of_mounting: Vec<f64> = match scenario {
            Scenario::Mountings => (0..self.mountings).map(|_| sd * random.next()).collect(),
            _ => vec![0.0; self.mountings],
        };
        let mut values = vec![0.0; self.readings];
        for pull in &self.pulls {
            let drift = match scenario {
                Scenario::LinearDrift => DRIFT_PER_HOUR * pull.hours,
                Scenario::DecayingDrift => DECAYING * libm::exp(-3600.0 * pull.hours / TIME_CONSTANT_S),
                Scenario::Scatter | Scenario::Mountings => 0.0,
            };
            let effect = if pull.is_baseline { 0.0 } else { truth };
            let ln = effect + drift + of_mounting[pull.mounting] + sd * random.next();
            values[pull.reading] += pull.share * ln;
        }
        values
    }
}

/// Standard normal values.
struct Normal {
    random: Pcg64,
    spare: Option<f64>,
}

impl Normal {
    fn new(seed: u64) -> Self {
        Self { random: Pcg64::new(u128::from(seed), 2), spare: None }
    }

    /// Above 0, below 1.
    fn unit(&mut self) -> f64 {
        ((self.random.next_u64() >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
    }

    fn next(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        let (radius, angle) =
            (libm::sqrt(-2.0 * libm::log(self.unit())), std::f64::consts::TAU * self.unit());
        self.spare = Some(radius * libm::sin(angle));
        radius * libm::cos(angle)
    }
}

#[cfg(test)]
mod tests {
    use super::super::comparison::compare;
    use super::*;

    fn runs(order: &str) -> (Vec<Observation>, Question) {
        let runs = order.chars().enumerate().map(|(i, setup)| Observation {
            run: i as u64 + 1,
            time_s: 150.0 * i as f64,
            setup: setup.to_string(),
            value: 80.0,
            ..Observation::default()
        });
        (runs.collect(), Question { baseline: "b".into(), drift: None, alpha: 0.05 })
    }

    #[test]
    fn what_is_counted_is_what_a_comparison_of_the_drawn_values_says() {
        for order in ["b12b21b12b", "b1221b12"] {
            let (observations, question) = runs(order);
            let cells = Cells::new(&observations, &question).unwrap();
            let drift = cells.drift(&observations, &question);
            let design = Design::new(&observations, &cells, drift, 0.05).unwrap();
            let play = Play::new((&observations, &cells), (&observations, &cells), "b");
            let values = play.values(Scenario::LinearDrift, -0.03, 0.01, &mut Normal::new(5));
            let (found, sd) = design.fit(&values);
            let drawn: Vec<Observation> = observations
                .iter()
                .zip(&values)
                .map(|(o, v)| Observation { value: libm::exp(*v), ..o.clone() })
                .collect();
            let told = compare(&drawn, &question).unwrap();
            assert!((100.0 * sd / told.residual_sd_percent.unwrap() - 1.0).abs() < 1e-10);
            for (k, row) in told.setups.iter().enumerate().skip(1) {
                let judged = row.judged.unwrap();
                assert!((100.0 * libm::exp(found[k]) / row.percent_of_baseline - 1.0).abs() < 1e-12);
                assert!((sd * design.roots[k] / judged.se_of_ln - 1.0).abs() < 1e-10);
                assert!((design.families[0].2 / judged.critical - 1.0).abs() < 1e-12);
            }
        }
    }

    #[test]
    fn too_much_work_and_what_is_not_simulated_are_refused() {
        let (observations, question) = runs("b12b21b12b");
        let asked = Simulated { trials: 1000, seed: 1, sd_percent: 1.0, difference_percent: 2.0 };
        let with = |drift| Question { drift: Some(drift), ..question.clone() };
        let refused =
            |q: &Question, asked: &Simulated| simulate(&observations, q, asked).unwrap_err().to_string();
        assert!(refused(&with(Drift::Bracket), &asked).contains("found brackets"));
        let much = Simulated { trials: 100_000_000, ..asked };
        assert!(refused(&question, &much).contains("fewer trials"));
        let (few, question) = runs("b12b");
        assert!(matches!(simulate(&few, &question, &asked), Err(SimulationError::TooFew(_))));
    }
}
