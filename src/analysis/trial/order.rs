//! The order of runs: drawn from the plan's seed, the same on every machine.
//!
//! Each repeat is a block of all setups, tool by tool. Each tool's baseline comes before its first and after its last
//! run, and in between. A stored trial has its seed and not its order, so the first way to draw stays as it was; the
//! second is in [`super::second_drawing`]. Generator: PCG XSL RR 128/64 of the crate `rand_pcg`.

use super::plan::{Drawing, Order, Plan};
use super::second_drawing::{self, Drawn};
use rand_pcg::Pcg64;
use rand_pcg::rand_core::Rng;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What a run is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
#[schema(as = TrialPhase)]
pub enum Phase {
    /// Until readings are steady; recorded, never compared.
    WarmUp,
    /// The setup that counts as 100 %.
    Baseline,
    /// A setup that is compared.
    Compare,
}

/// One run that is planned.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = TrialStep)]
pub struct Step {
    /// From 1; runs of the warm-up have 0.
    pub number: u32,
    /// What it is for.
    pub phase: Phase,
    /// The tool.
    pub tool: String,
    /// The setup.
    pub setup: String,
    /// Which repeat it belongs to, from 1; 0 outside.
    pub block: u32,
}

/// A shuffle by Fisher and Yates.
pub(super) fn shuffled<T: Clone>(items: &[T], random: &mut Pcg64) -> Vec<T> {
    let mut all = items.to_vec();
    for last in (1..all.len()).rev() {
        // Lists are short: what remains of 64 bits favours none by more than one in 10^17.
        let at = (random.next_u64() % (last as u64 + 1)) as usize;
        all.swap(last, at);
    }
    all
}

/// The runs of a plan in order, without its warm-up.
#[must_use]
pub fn steps(plan: &Plan) -> Vec<Step> {
    let mut random = Pcg64::new(u128::from(plan.seed), 1);
    let all = match plan.drawing() {
        Drawing::First => first_drawing(plan, &mut random),
        Drawing::Second => second_drawing::drawn(plan, &mut random),
    };
    let numbered = all.into_iter().zip(1..);
    numbered.map(|((phase, tool, setup, block), number)| Step { number, phase, tool, setup, block }).collect()
}

/// Each repeat is a block of all setups, tool by tool; baselines are counted over all tools.
fn first_drawing(plan: &Plan, random: &mut Pcg64) -> Vec<Drawn> {
    // A square needs names at random once; its rows are then turned by one place a block.
    let square = shuffled(&plan.setups, random);
    let mut all: Vec<Drawn> = Vec::new();
    let mut since = 0;
    for block in 1..=plan.repeats {
        for tool in shuffled(&plan.tools, random) {
            if block == 1 {
                all.push((Phase::Baseline, tool.clone(), plan.baseline.clone(), 0));
            }
            let setups = match plan.order {
                Order::Blocks => shuffled(&plan.setups, random),
                Order::LatinSquare => {
                    let turn = (block as usize - 1) % square.len();
                    square[turn..].iter().chain(&square[..turn]).cloned().collect()
                }
            };
            for setup in setups {
                all.push((Phase::Compare, tool.clone(), setup, block));
                since += 1;
                if plan.baseline_every.is_some_and(|every| since >= every) {
                    all.push((Phase::Baseline, tool.clone(), plan.baseline.clone(), 0));
                    since = 0;
                }
            }
        }
    }
    for tool in &plan.tools {
        let last = all.iter().rposition(|step| step.1 == *tool).map(|at| (at, all[at].0));
        // A baseline that happens to stand there already is the last one.
        if let Some((at, Phase::Compare)) = last {
            all.insert(at + 1, (Phase::Baseline, tool.clone(), plan.baseline.clone(), 0));
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixtures::plan;
    use std::collections::BTreeMap;

    #[test]
    fn every_setup_comes_as_often_as_planned_and_baselines_stand_at_both_ends() {
        for order in [Order::Blocks, Order::LatinSquare] {
            let plan = Plan { order, ..plan() };
            let steps = steps(&plan);
            let mut counts: BTreeMap<(String, String), u32> = BTreeMap::new();
            for step in steps.iter().filter(|s| s.phase == Phase::Compare) {
                *counts.entry((step.tool.clone(), step.setup.clone())).or_default() += 1;
            }
            assert_eq!(counts.len(), 6);
            assert!(counts.values().all(|n| *n == 4), "{counts:?}");
            for tool in &plan.tools {
                let own: Vec<&Step> = steps.iter().filter(|s| s.tool == *tool).collect();
                assert_eq!(own[0].phase, Phase::Baseline);
                assert_eq!(own[own.len() - 1].phase, Phase::Baseline);
            }
            // Never more than four others between two baselines.
            let longest = steps.split(|s| s.phase == Phase::Baseline).map(<[Step]>::len).max();
            assert_eq!(longest, Some(4));
            let numbers: Vec<u32> = steps.iter().map(|s| s.number).collect();
            assert_eq!(numbers, (1..=steps.len() as u32).collect::<Vec<_>>());
        }
    }

    #[test]
    fn the_same_seed_gives_the_same_order_and_another_seed_another() {
        let of = |seed| steps(&Plan { seed, ..plan() });
        assert_eq!(of(7), of(7));
        let others = (8..20).filter(|seed| of(*seed) != of(7)).count();
        assert_eq!(others, 12);
        // A stored trial has its seed, not its order: no machine and no later version may draw another. Worked out
        // apart from this program, with the generator (PCG XSL RR 128/64) and the shuffle written down anew.
        let names: Vec<String> = of(7).iter().take(9).map(|s| format!("{}: {}", s.tool, s.setup)).collect();
        let (one, two) = ("wrench 1", "wrench 2");
        let drawn = [
            (two, "direct"),
            (two, "ext 250"),
            (two, "joint"),
            (two, "ext 75"),
            (one, "direct"),
            (one, "ext 75"),
            (one, "direct"),
            (one, "joint"),
            (one, "ext 250"),
        ];
        assert_eq!(names, drawn.map(|(tool, setup)| format!("{tool}: {setup}")));
    }

    #[test]
    fn a_square_puts_each_setup_at_each_place_equally_often() {
        let plan = Plan { order: Order::LatinSquare, repeats: 3, baseline_every: None, ..plan() };
        let steps = steps(&plan);
        for tool in &plan.tools {
            let mut places: BTreeMap<(String, usize), u32> = BTreeMap::new();
            for block in 1..=3 {
                let row = steps.iter().filter(|s| s.tool == *tool && s.block == block);
                for (place, step) in row.enumerate() {
                    *places.entry((step.setup.clone(), place)).or_default() += 1;
                }
            }
            assert!(places.len() == 9 && places.values().all(|n| *n == 1), "{places:?}");
        }
    }
}
