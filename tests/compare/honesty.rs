//! A small seeded version of `cargo xtask honesty`: counts of simulated trials against binomial bounds.
//! Seeded, so that it passes or fails the same everywhere. What each bound can tell is worked out here too.

use super::trials::{PLANS, Plan, Rate, SINGLE, Trouble, simulate, simulate_acceptance, simulate_looks};

/// Trials of a plan of one setup, and of acceptance. Were the stated 95 % true, a count would leave its bounds in fewer
/// than 1 of 10,000 seeds; were 93 % true, it would stay inside in fewer than 1 of 100:
/// `the_bounds_of_the_many_trials_tell_93_from_95_percent` adds the chances up.
const MANY: u64 = 6000;
/// Trials of a plan of several setups, whose integrals take longer. These bounds see only what is grossly wrong: 84 %
/// stays inside in fewer than 1 of 10 seeds, 93 % in nearly all of them. The 10,000 trials of `cargo xtask honesty` tell
/// 93 % there.
const FEW: u64 = 200;
/// A count leaves its bounds so rarely on each side if the stated share is true.
const RARE: f64 = 5e-5;

/// The chances of 0 to `n` of `n`, each with the chance `share`; in logarithms, because the first are no numbers else.
fn binomial(n: u64, share: f64) -> Vec<f64> {
    let odds = (share / (1.0 - share)).ln();
    let mut ln = n as f64 * (1.0 - share).ln();
    let mut all = vec![ln.exp()];
    for k in 1..=n {
        ln += ((n - k + 1) as f64 / k as f64).ln() + odds;
        all.push(ln.exp());
    }
    all
}

/// The chance of a count in this range.
fn chance(n: u64, share: f64, counts: std::ops::RangeInclusive<u64>) -> f64 {
    binomial(n, share)[*counts.start() as usize..=*counts.end() as usize].iter().sum()
}

/// Least and most count of `n` that are not rare on their side if `share` is true.
pub fn bounds(n: u64, share: f64) -> (u64, u64) {
    let end = |chances: &mut dyn Iterator<Item = f64>| {
        let mut sum = 0.0;
        chances
            .take_while(|chance| {
                sum += chance;
                sum <= RARE
            })
            .count() as u64
    };
    let all = binomial(n, share);
    (end(&mut all.iter().copied()), n - end(&mut all.iter().rev().copied()))
}

#[test]
fn the_bounds_of_the_many_trials_tell_93_from_95_percent() {
    let (least, most) = bounds(MANY, 0.95);
    assert!((5630..5640).contains(&least), "93.9 %: {least}");
    let true_passes = chance(MANY, 0.95, least..=most);
    assert!(true_passes > 0.9999, "{true_passes}");
    let false_passes = chance(MANY, 0.93, least..=most);
    assert!(false_passes < 0.01, "{false_passes}");
    // And acceptance that errs in 7 % instead of 5 %.
    let (_, most) = bounds(MANY, 0.05);
    assert!(chance(MANY, 0.05, 0..=most) > 0.9999);
    let false_passes = chance(MANY, 0.07, 0..=most);
    assert!(false_passes < 0.01, "{false_passes}");
    // The chances are those of a binomial: of 4 throws of a coin.
    let coin = [1.0, 4.0, 6.0, 4.0, 1.0].map(|ways| ways / 16.0);
    assert!(binomial(4, 0.5).iter().zip(coin).all(|(a, b)| (a - b).abs() < 1e-15));
}

#[test]
fn the_bounds_of_the_few_trials_see_84_percent() {
    let (least, most) = bounds(FEW, 0.95);
    assert!(chance(FEW, 0.95, least..=most) > 0.9999);
    let false_passes = chance(FEW, 0.84, least..=most);
    assert!(false_passes < 0.1, "{false_passes}");
}

/// Holds a rate of so many independent trials to a share.
fn is_share(name: &str, what: &str, rate: Rate, trials: u64, share: f64) {
    // Limits of one trial share a baseline: counted as if they were one.
    let (least, most) = bounds(trials, share);
    let of = |count: u64| 100.0 * count as f64 / trials as f64;
    assert!(
        (of(least)..=of(most)).contains(&rate.percent()),
        "{name}, {what}: {:.2} %, expected {:.2} to {:.2}",
        rate.percent(),
        of(least),
        of(most)
    );
}

/// Holds that the limits of a plan hold the truth and no difference is invented.
fn holds(plan: &Plan, trials: u64, seed: u64) {
    assert_eq!(plan.trouble, Trouble::None);
    let found = simulate(plan, trials, seed);
    is_share(plan.name, "coverage", found.coverage, trials, 0.95);
    is_share(plan.name, "together", found.together, trials, 0.95);
    is_share(plan.name, "family", found.family, trials, 0.05);
}

fn holds_by_name(name: &str) {
    let (k, plan) = PLANS.iter().enumerate().find(|(_, plan)| plan.name == name).unwrap();
    holds(plan, FEW, 20_250 + k as u64);
}

// A test each, so that they go side by side.

#[test]
fn limits_of_one_setup_hold_without_drift() {
    holds(&SINGLE[0], MANY, 30_001);
}

#[test]
fn limits_of_one_setup_hold_under_a_linear_drift() {
    holds(&SINGLE[1], MANY, 30_002);
}

#[test]
fn limits_of_one_setup_hold_between_baselines() {
    holds(&SINGLE[2], MANY, 30_003);
}

#[test]
fn limits_hold_without_drift() {
    holds_by_name("no drift, 4 setups × 3");
}

#[test]
fn limits_hold_under_a_linear_drift() {
    holds_by_name("linear drift, 3 setups");
}

#[test]
fn limits_hold_with_unequal_numbers_of_runs() {
    holds_by_name("linear drift, unequal");
}

#[test]
fn limits_hold_between_baselines() {
    holds_by_name("bracket, 2 setups");
}

#[test]
fn limits_hold_with_the_baseline_at_the_start_only() {
    holds_by_name("linear drift, baseline at the start only");
}

#[test]
fn planned_looks_err_no_more_often_than_one_and_unplanned_ones_do() {
    use boltscribe::compare::Looks;
    // Each decides up to nine times, so fewer of them: 9 % would pass in 1 of 100 seeds, and `cargo xtask honesty` tells
    // more.
    let trials = MANY / 4;
    let (_, most) = bounds(trials, 0.05);
    for (looks, u_common, seed) in [("5,10", 0.0, 61), ("3,6,9", 0.0, 62), ("5,10", 0.8, 63)] {
        let looks = Looks::read(looks).unwrap();
        let (found, unplanned) = simulate_looks(&looks, u_common, trials, seed);
        for (what, rate) in [("accepted", found.wrongly_accepted), ("rejected", found.wrongly_rejected)] {
            assert!(rate.held <= most, "{looks:?} {u_common}, wrongly {what}: {:.2} %", rate.percent());
        }
        assert!(
            found.rightly_accepted.percent() > 90.0,
            "{looks:?}: {:.2}",
            found.rightly_accepted.percent()
        );
        if u_common == 0.0 {
            // Hardly any is spent on the first look; without a plan each is a whole risk more.
            let planned = found.wrongly_accepted;
            assert!(
                unplanned.held > planned.held + 15,
                "{:.2} {:.2}",
                unplanned.percent(),
                planned.percent()
            );
        }
    }
}

#[test]
fn acceptance_errs_no_more_often_than_it_says() {
    let (_, most) = bounds(MANY, 0.05);
    for runs in [3, 5, 10] {
        let found = simulate_acceptance(runs, MANY, 77 + runs as u64);
        for (what, rate) in [("accepted", found.wrongly_accepted), ("rejected", found.wrongly_rejected)] {
            assert_eq!(rate.of, MANY);
            assert!(rate.held <= most, "{runs} runs, wrongly {what}: {:.2} %", rate.percent());
        }
        assert!(found.rightly_accepted.percent() > 50.0);
    }
}
