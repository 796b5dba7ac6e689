//! How a step of a scenario becomes a plan of blows: the invented physics of an impact wrench.
//!
//! Geometric approach: each blow closes a fixed part of the gap to the limit,
//! F_n = F_(n-1) + (1 - q)(F_limit - F_(n-1)). Energy approach: each blow of energy E does the
//! work of tightening, F_n^2 = F_(n-1)^2 + E P k / (pi K d) (pitch P, stiffness k, nut factor K,
//! diameter d), which grows as a square root and has no limit. A chain passes the product of
//! its pieces' and contacts' transmissions. This file must not know sampling or noise.

use crate::scenario::{PieceKind, Release, Scenario, Setup, Step, Tool};
use crate::signal::{Beat, BeatKind, Plan, Ramp, Shape};
use rand_core::{Rng, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64Mcg;

/// Part of the level that one reverse blow takes away.
const REVERSE_SHARE: f64 = 0.3;
/// Ringing of a reverse blow over that of a tightening one.
const REVERSE_RINGING: f64 = 0.6;
/// Time that a step goes on after its bolt is free.
const TAIL_S: f64 = 0.3;

/// A plan and what the model knows about it beyond the signal.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    /// The clean tension.
    pub plan: Plan,
    /// Limit of the geometric approach in kN; none where tension grows by energy.
    pub limit_kn: Option<f64>,
    /// Time constant of the geometric approach in s.
    pub time_constant_s: Option<f64>,
}

/// Number of contacts of a chain: matings from the anvil to the socket's drive, and one more
/// for the pin of each universal joint. The socket on the nut is not counted.
#[must_use]
pub fn contacts(scenario: &Scenario, setup: &Setup) -> usize {
    let joints = chain(scenario, setup).filter(|piece| piece.kind == PieceKind::UniversalJoint).count();
    setup.chain.len() + joints
}

/// Part of the limit that reaches the nut through a chain.
#[must_use]
pub fn transmission(scenario: &Scenario, setup: &Setup) -> f64 {
    let pieces: f64 = chain(scenario, setup).map(|piece| piece.transmission).product();
    (0..contacts(scenario, setup)).fold(pieces, |share, _| share * setup.contact_transmission)
}

fn chain<'a>(scenario: &'a Scenario, setup: &'a Setup) -> impl Iterator<Item = &'a crate::scenario::Piece> {
    setup.chain.iter().filter_map(|name| scenario.pieces.iter().find(|piece| piece.name == *name))
}

/// Makes the plan of a step. `played` counts the runs before it, over all rounds of a loop;
/// the same scenario, step and `played` give the same plan. An unknown setup or tool, which a
/// checked scenario cannot have, gives an idle plan.
#[must_use]
pub fn run(scenario: &Scenario, step_index: usize, played: u64) -> Run {
    let step = &scenario.steps[step_index];
    let setup = scenario.setups.iter().find(|setup| setup.name == step.setup);
    let tool = scenario.tools.iter().find(|tool| tool.name == step.tool);
    let (Some(setup), Some(tool)) = (setup, tool) else {
        return Run { plan: Plan::idle(), limit_kn: None, time_constant_s: None };
    };
    // Each run has a generator of its own, so that a plan depends on nothing drawn elsewhere.
    let seed = scenario.seed.wrapping_mul(0x9e37_79b9_7f4a_7c15).wrapping_add(played);
    let mut builder = Builder {
        tool,
        step,
        random: Pcg64Mcg::seed_from_u64(seed),
        growth: Growth::None,
        beats: Vec::new(),
        level_kn: 0.0,
        now_s: 0.0,
    };
    let (limit_kn, time_constant_s) = builder.set_growth(scenario, transmission(scenario, setup), played);
    builder.knock();
    builder.pull(step.pause_s, step.drive_s, 1.0);
    if let Some(second) = &step.second_pull {
        builder.pull(second.after_s, second.drive_s, second.limit_ratio);
    }
    Run { plan: builder.release(), limit_kn, time_constant_s }
}

/// How one blow at full strength changes the level.
enum Growth {
    None,
    Geometric { limit_kn: f64, share: f64 },
    Energy { step_kn2: f64 },
}

struct Builder<'a> {
    tool: &'a Tool,
    step: &'a Step,
    random: Pcg64Mcg,
    growth: Growth,
    beats: Vec<Beat>,
    level_kn: f64,
    now_s: f64,
}

impl Builder<'_> {
    fn normal(&mut self) -> f64 {
        let draw: f64 = StandardNormal.sample(&mut self.random);
        draw.clamp(-3.0, 3.0)
    }

    fn uniform(&mut self) -> f64 {
        (self.random.next_u64() >> 11) as f64 / (1u64 << 53) as f64
    }

    fn set_growth(&mut self, scenario: &Scenario, passed: f64, played: u64) -> (Option<f64>, Option<f64>) {
        let friction = &scenario.friction;
        let runs = played as f64;
        let warm = if friction.heat_runs > 0.0 { 1.0 - libm::exp(-runs / friction.heat_runs) } else { 1.0 };
        let drift = (1.0 + friction.heat_percent / 100.0 * warm)
            * libm::exp(runs * libm::log1p(friction.reuse_percent_per_run / 100.0))
            * libm::exp(runs * libm::log1p(-self.tool.sag_percent_per_run / 100.0))
            * (1.0 + friction.scatter_percent / 100.0 * self.normal());
        let share = passed * drift;
        let bolt = &scenario.bolt;
        if let Some(torque_nm) = self.tool.torque_nm {
            // N m over mm is kN.
            let limit_kn = share * torque_nm / (bolt.nut_factor * bolt.diameter_mm);
            let time_constant_s = self.tool.time_constant_s / passed;
            let part = 1.0 - libm::exp(-1.0 / (self.tool.blow_rate_hz * time_constant_s));
            self.growth = Growth::Geometric { limit_kn, share: part };
            return (Some(limit_kn), Some(time_constant_s));
        }
        if let Some(energy_j) = self.tool.energy_j {
            // J * mm * (kN/mm) / mm = kN^2 once J is read as kN mm.
            let step_kn2 = energy_j * bolt.pitch_mm * bolt.stiffness_kn_per_mm
                / (core::f64::consts::PI * bolt.nut_factor * bolt.diameter_mm);
            self.growth = Growth::Energy { step_kn2: step_kn2 * share * share };
        }
        (None, None)
    }

    fn beat(&mut self, kind: BeatKind, to_kn: f64, amplitude_kn: f64) {
        let from_kn = self.level_kn;
        self.beats.push(Beat { at_s: self.now_s, kind, from_kn, to_kn, amplitude_kn, relax_share: 0.0 });
        self.level_kn = to_kn;
    }

    fn knock(&mut self) {
        if let Some(knock) = &self.step.knock {
            self.now_s = (self.step.pause_s - knock.before_s).max(0.0);
            self.beat(BeatKind::Knock, 0.0, knock.amplitude_kn);
            self.now_s = 0.0;
        }
    }

    /// Blows from `after_s` on, while the trigger is held. The onset is moved by up to 10 ms so
    /// that it stands anywhere between two samples.
    fn pull(&mut self, after_s: f64, drive_s: f64, limit_ratio: f64) {
        let settled_s = self.now_s + after_s + 0.01 * self.uniform();
        self.level_kn = self.relaxed(settled_s);
        self.now_s = settled_s;
        let end_s = settled_s + drive_s;
        let interval_s = 1.0 / self.tool.blow_rate_hz;
        let mut blow = 0;
        while self.now_s < end_s {
            let strength = self.strength(blow);
            let scatter = (1.0 + self.tool.step_scatter_percent / 100.0 * self.normal()).max(0.0);
            let to_kn = self.grown(strength * scatter, limit_ratio);
            let loud = (1.0 + self.tool.ringing_scatter_percent / 100.0 * self.normal()).max(0.1);
            self.beat(BeatKind::Drive, to_kn, self.tool.ringing_kn * strength * loud);
            self.now_s += interval_s * (1.0 + self.tool.jitter_percent / 100.0 * self.normal());
            blow += 1;
        }
        if let Some(last) = self.beats.last_mut() {
            last.relax_share = self.tool.relaxation_percent / 100.0;
            self.now_s = last.at_s;
        }
    }

    fn strength(&self, blow: u32) -> f64 {
        let soft = self.tool.soft_start_blows;
        if blow >= soft {
            return 1.0;
        }
        let from = self.tool.soft_start_from;
        from + (1.0 - from) * f64::from(blow) / f64::from(soft)
    }

    fn grown(&self, strength: f64, limit_ratio: f64) -> f64 {
        match self.growth {
            Growth::None => self.level_kn,
            Growth::Geometric { limit_kn, share } => {
                let gap = (limit_kn * limit_ratio - self.level_kn).max(0.0);
                self.level_kn + (share * strength).min(1.0) * gap
            }
            Growth::Energy { step_kn2 } => {
                libm::sqrt(self.level_kn * self.level_kn + step_kn2 * strength * limit_ratio)
            }
        }
    }

    fn shape(&self) -> Shape {
        Shape {
            rise_s: self.tool.rise_ms / 1000.0,
            ringing_hz: self.tool.ringing_hz,
            ringing_tau_s: self.tool.ringing_tau_ms / 1000.0,
            relaxation_s: self.tool.relaxation_s,
        }
    }

    /// The level at a later time, with what relaxes until then.
    fn relaxed(&self, time_s: f64) -> f64 {
        match self.beats.last() {
            Some(last) if last.relax_share > 0.0 => {
                let since_s = time_s - last.at_s - self.tool.rise_ms / 1000.0;
                let done = 1.0 - libm::exp(-since_s / self.tool.relaxation_s);
                last.to_kn * (1.0 - last.relax_share * done)
            }
            _ => self.level_kn,
        }
    }

    fn release(mut self) -> Plan {
        let start_s = self.now_s + self.step.hold_s;
        let shape = self.shape();
        match self.step.release {
            Release::None => Plan::new(self.beats, shape, None, start_s),
            Release::Smooth => {
                let length_s = self.step.release_s;
                Plan::new(self.beats, shape, Some(Ramp { start_s, length_s }), start_s + length_s + TAIL_S)
            }
            Release::Reverse => {
                self.now_s = start_s;
                self.level_kn = self.relaxed(start_s);
                let full_kn = self.level_kn;
                while self.level_kn > 0.0 {
                    let to_kn = (self.level_kn - REVERSE_SHARE * full_kn).max(0.0);
                    let loud = (1.0 + self.tool.ringing_scatter_percent / 100.0 * self.normal()).max(0.1);
                    self.beat(BeatKind::Reverse, to_kn, REVERSE_RINGING * self.tool.ringing_kn * loud);
                    self.now_s += 1.0 / self.tool.blow_rate_hz;
                }
                let end_s = self.now_s + TAIL_S;
                Plan::new(self.beats, shape, None, end_s)
            }
        }
    }
}
