//! Simulated trials with a known truth, judged by the library: how often it is right.
//!
//! Seeded: the same seed gives the same counts on any machine. The same code serves the small test and the
//! large run of `cargo xtask honesty`.

use boltscribe::compare::acceptance::{Decision, Limit, Measured, accept};
use boltscribe::compare::{Drift, Looks, Observation, Question, Verdict, compare};
use boltscribe::numerics::{mean, sd};

/// A stream of random numbers (SplitMix64, Steele and others 2014).
pub struct Random(pub u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Above 0, below 1.
    fn unit(&mut self) -> f64 {
        ((self.next() >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
    }

    /// Standard normal (Box and Muller).
    pub fn normal(&mut self) -> f64 {
        let (a, b) = (self.unit(), self.unit());
        (-2.0 * a.ln()).sqrt() * (std::f64::consts::TAU * b).cos()
    }
}

/// How often something held.
#[derive(Clone, Copy, Debug, Default)]
pub struct Rate {
    /// Times it held.
    pub held: u64,
    /// Times it was looked at.
    pub of: u64,
}

impl Rate {
    fn add(&mut self, held: bool) {
        self.held += u64::from(held);
        self.of += 1;
    }

    /// In percent.
    pub fn percent(&self) -> f64 {
        100.0 * self.held as f64 / self.of as f64
    }

    /// Standard error of that, in percent, for a true share.
    #[allow(dead_code)] // The small test has bounds of its own.
    pub fn se_percent(&self, share: f64) -> f64 {
        100.0 * (share * (1.0 - share) / self.of as f64).sqrt()
    }
}

/// A plan: baseline at both ends and within, setups in between, unequal numbers of runs.
pub struct Plan {
    /// What the table calls it.
    pub name: &'static str,
    /// Setups in the order in which they run; `b` is the baseline.
    pub order: &'static str,
    /// How drift is taken out.
    pub drift: Drift,
    /// True drift, share an hour.
    pub drift_per_hour: f64,
    /// True SD of ln(value).
    pub sd: f64,
    /// What the comparison does not reckon with; then its figures are stated and nothing is promised.
    pub trouble: Trouble,
    /// Mountings: their SD as a share of that of pulls, pulls of each, and whether the table notes them.
    pub mountings: Option<(f64, usize, bool)>,
}

/// What may go against the model of a comparison.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Trouble {
    /// Nothing.
    None,
    /// The drift dies away with a time constant of ten minutes instead of running on.
    ExponentialDrift,
    /// Pulls of one mounting are taken as repeats.
    OneMounting,
    /// One run in twenty is off by five standard deviations more.
    Outliers,
}

/// The plans that are simulated.
pub const PLANS: [Plan; 11] = [
    Plan {
        name: "no drift, 4 setups × 3",
        order: "b1234b1234b1234b",
        drift: Drift::None,
        drift_per_hour: 0.0,
        sd: 0.02,
        trouble: Trouble::None,
        mountings: None,
    },
    Plan {
        name: "linear drift, 3 setups",
        order: "bb123b321b12b3bb",
        drift: Drift::Linear,
        drift_per_hour: -0.03,
        sd: 0.015,
        trouble: Trouble::None,
        mountings: None,
    },
    Plan {
        name: "linear drift, unequal",
        order: "b1112b2122b1b",
        drift: Drift::Linear,
        drift_per_hour: 0.05,
        sd: 0.01,
        trouble: Trouble::None,
        mountings: None,
    },
    Plan {
        name: "bracket, 2 setups",
        order: "bbb111bbb222bbb",
        drift: Drift::Bracket,
        drift_per_hour: -0.03,
        sd: 0.01,
        trouble: Trouble::None,
        mountings: None,
    },
    Plan {
        name: "linear drift, baseline at the start only",
        order: "bbbb112213312331",
        drift: Drift::Linear,
        drift_per_hour: -0.04,
        sd: 0.015,
        trouble: Trouble::None,
        mountings: None,
    },
    Plan {
        name: "drift that dies away, taken as linear",
        order: "bb123b321b12b3bb",
        drift: Drift::Linear,
        drift_per_hour: -0.03,
        sd: 0.015,
        trouble: Trouble::ExponentialDrift,
        mountings: None,
    },
    Plan {
        name: "an outlier in 20 runs",
        order: "bb123b321b12b3bb",
        drift: Drift::Linear,
        drift_per_hour: -0.03,
        sd: 0.015,
        trouble: Trouble::Outliers,
        mountings: None,
    },
    Plan {
        name: "blocks, a warm-up of 3 %, taken as linear",
        order: "bbb111222333bbb",
        drift: Drift::Linear,
        drift_per_hour: -0.18,
        sd: 0.005,
        trouble: Trouble::ExponentialDrift,
        mountings: None,
    },
    Plan {
        name: "blocks, a warm-up of 3 %, baseline first only",
        order: "bbb111222333",
        drift: Drift::None,
        drift_per_hour: -0.18,
        sd: 0.005,
        trouble: Trouble::ExponentialDrift,
        mountings: None,
    },
    Plan {
        name: "three pulls a mounting, noted",
        order: PULLS,
        drift: Drift::Linear,
        drift_per_hour: -0.03,
        sd: 0.01,
        trouble: Trouble::None,
        mountings: Some((1.0, 3, true)),
    },
    Plan {
        name: "three pulls a mounting, taken as repeats",
        order: PULLS,
        drift: Drift::Linear,
        drift_per_hour: -0.03,
        sd: 0.01,
        trouble: Trouble::OneMounting,
        mountings: Some((1.0, 3, false)),
    },
];

const PULLS: &str = "bbb111222bbb222111bbb111222bbb";

/// Plans of one setup against the baseline, one for each way to take drift out. A family of one needs no integral,
/// so that enough of them can be tried in seconds to tell 93 from 95 percent.
#[allow(dead_code)] // The large run tries whole plans.
pub const SINGLE: [Plan; 3] = [
    Plan {
        name: "no drift, 1 setup",
        order: "b1b1b1b1",
        drift: Drift::None,
        drift_per_hour: 0.0,
        sd: 0.02,
        trouble: Trouble::None,
        mountings: None,
    },
    Plan {
        name: "linear drift, 1 setup",
        order: "b11b1b1b",
        drift: Drift::Linear,
        drift_per_hour: -0.03,
        sd: 0.015,
        trouble: Trouble::None,
        mountings: None,
    },
    Plan {
        name: "bracket, 1 setup",
        order: "bb11bb11bb",
        drift: Drift::Bracket,
        drift_per_hour: -0.03,
        sd: 0.01,
        trouble: Trouble::None,
        mountings: None,
    },
];

/// What was found of a plan.
#[derive(Clone, Copy, Debug, Default)]
pub struct Found {
    /// 95 % limits hold the true percent.
    pub coverage: Rate,
    /// All simultaneous limits hold their true percents together.
    pub together: Rate,
    /// Some verdict shows a difference where there is none at all.
    pub family: Rate,
}

const TRUE_PERCENT: [f64; 4] = [97.0, 93.0, 88.0, 70.0];

fn trial(plan: &Plan, effects: &[f64], random: &mut Random) -> Vec<Observation> {
    let runs = plan.order.bytes().enumerate();
    let mut of_mounting = 0.0;
    runs.map(|(i, setup)| {
        let time_s = 150.0 * i as f64;
        if let Some((share, pulls, _)) = plan.mountings
            && i % pulls == 0
        {
            of_mounting = share * plan.sd * random.normal();
        }
        let effect = if setup == b'b' { 1.0 } else { effects[usize::from(setup - b'1')] };
        let drift = match plan.trouble {
            // As steep at the start as the line, and in ten minutes a third of that.
            Trouble::ExponentialDrift => plan.drift_per_hour * (1.0 - (-time_s / 600.0).exp()) / 6.0,
            Trouble::None | Trouble::Outliers | Trouble::OneMounting => plan.drift_per_hour * time_s / 3600.0,
        };
        let outlier = match plan.trouble {
            Trouble::Outliers if random.unit() < 0.05 => 5.0 * plan.sd,
            _ => 0.0,
        };
        Observation {
            run: i as u64 + 1,
            time_s,
            setup: char::from(setup).to_string(),
            mounting: plan.mountings.filter(|m| m.2).map(|(_, pulls, _)| (i / pulls).to_string()),
            value: 80.0 * effect * (drift + outlier + of_mounting + plan.sd * random.normal()).exp(),
            ..Observation::default()
        }
    })
    .collect()
}

/// Simulates a plan.
pub fn simulate(plan: &Plan, trials: u64, seed: u64) -> Found {
    let mut random = Random(seed);
    let mut found = Found::default();
    let question = Question { baseline: "b".into(), drift: Some(plan.drift), alpha: 0.05 };
    for _ in 0..trials {
        let effects = TRUE_PERCENT.map(|p| p / 100.0);
        let answer = compare(&trial(plan, &effects, &mut random), &question).unwrap();
        let mut all = true;
        for row in answer.setups.iter().filter(|r| r.setup != "b") {
            let truth = TRUE_PERCENT[row.setup.parse::<usize>().unwrap() - 1];
            let judged = row.judged.unwrap();
            let holds = |limits: (f64, f64)| limits.0 <= truth && truth <= limits.1;
            found.coverage.add(holds(judged.limits.unwrap()));
            all &= holds(judged.simultaneous.unwrap());
        }
        found.together.add(all);
        let null = compare(&trial(plan, &[1.0; 4], &mut random), &question).unwrap();
        let shown = |v: Option<Verdict>| matches!(v, Some(Verdict::Lower | Verdict::Higher));
        found.family.add(null.setups.iter().any(|r| shown(r.verdict)));
    }
    found
}

/// Wrong decisions of acceptance for a tool exactly at its limit, and how often one is decided at all for a
/// tool that is well inside.
#[derive(Clone, Copy, Debug, Default)]
pub struct Decided {
    /// "conforms" for a tool a hair below the limit.
    pub wrongly_accepted: Rate,
    /// "does not conform" for a tool a hair above it.
    pub wrongly_rejected: Rate,
    /// "conforms" for a tool 5 % inside.
    pub rightly_accepted: Rate,
}

/// Simulates acceptance at planned looks, and what happens to whoever adds runs and looks again at these numbers of runs
/// without a plan: wrong decisions for a tool at its limit.
#[allow(dead_code)] // Not each program that has this file calls all of it.
pub fn simulate_looks(looks: &Looks, u_common: f64, trials: u64, seed: u64) -> (Decided, Rate) {
    let mut random = Random(seed);
    let mut found = Decided::default();
    let mut unplanned = Rate::default();
    let (limit, sd_run) = (100.0, 1.5);
    let levels: Vec<f64> = (0..looks.runs().len()).map(|k| looks.level(k, 0.05).unwrap()).collect();
    for _ in 0..trials {
        let mut decide = |truth: f64| {
            let common = u_common * random.normal();
            let all = looks.runs().last().copied().unwrap_or(0);
            let values: Vec<f64> = (0..all).map(|_| truth + common + sd_run * random.normal()).collect();
            let at = |runs: u32, probability: f64| {
                let own = &values[..runs as usize];
                let measured = Measured {
                    value: mean(own).unwrap(),
                    u_common,
                    common_freedom: f64::INFINITY,
                    sd: sd(own).unwrap(),
                    runs: own.len(),
                };
                accept(&measured, Limit::Lower(limit), probability).unwrap().decision
            };
            let first = |probability: &dyn Fn(usize) -> f64| {
                let each = looks.runs().iter().enumerate().map(|(k, runs)| at(*runs, probability(k)));
                each.into_iter().find(|d| *d != Decision::Undecided).unwrap_or(Decision::Undecided)
            };
            (first(&|k| 1.0 - levels[k]), first(&|_| 0.95))
        };
        let (planned, again) = decide(limit - 1e-9);
        found.wrongly_accepted.add(planned == Decision::Conforms);
        unplanned.add(again == Decision::Conforms);
        found.wrongly_rejected.add(decide(limit + 1e-9).0 == Decision::DoesNotConform);
        found.rightly_accepted.add(decide(limit + 5.0).0 == Decision::Conforms);
    }
    (found, unplanned)
}

/// Simulates acceptance with `runs` runs; the calibration's error is common to them.
pub fn simulate_acceptance(runs: usize, trials: u64, seed: u64) -> Decided {
    let mut random = Random(seed);
    let mut found = Decided::default();
    let (limit, sd_run, u_common) = (100.0, 1.5, 0.8);
    for _ in 0..trials {
        let mut decide = |truth: f64| {
            let common = u_common * random.normal();
            let values: Vec<f64> = (0..runs).map(|_| truth + common + sd_run * random.normal()).collect();
            let measured = Measured {
                value: mean(&values).unwrap(),
                u_common,
                common_freedom: f64::INFINITY,
                sd: sd(&values).unwrap(),
                runs,
            };
            accept(&measured, Limit::Lower(limit), 0.95).unwrap().decision
        };
        found.wrongly_accepted.add(decide(limit - 1e-9) == Decision::Conforms);
        found.wrongly_rejected.add(decide(limit + 1e-9) == Decision::DoesNotConform);
        found.rightly_accepted.add(decide(limit + 5.0) == Decision::Conforms);
    }
    found
}
