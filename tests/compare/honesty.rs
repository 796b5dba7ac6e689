//! A small seeded version of `cargo xtask honesty`: the bounds are three standard errors of the count.
//! Seeded, so that it passes or fails the same everywhere.

use super::trials::{PLANS, Trouble, simulate, simulate_acceptance};

const TRIALS: u64 = 200;

/// Holds that the limits of the plan with this name hold the truth and no difference is invented.
fn holds(name: &str) {
    let (k, plan) = PLANS.iter().enumerate().find(|(_, plan)| plan.name == name).unwrap();
    assert_eq!(plan.trouble, Trouble::None);
    let found = simulate(plan, TRIALS, 20_250 + k as u64);
    for (what, rate, share) in [
        ("coverage", found.coverage, 0.95),
        ("together", found.together, 0.95),
        ("family", found.family, 0.05),
    ] {
        // Limits of one trial share a baseline: counted as if they were one.
        let se = rate.se_percent(share) * if what == "coverage" { 2.0 } else { 1.0 };
        let off = rate.percent() - 100.0 * share;
        assert!(off.abs() < 3.0 * se, "{name} {what}: {:.2} % (se {se:.2})", rate.percent());
    }
}

// A test each, so that they go side by side.

#[test]
fn limits_hold_without_drift() {
    holds("no drift, 4 setups × 3");
}

#[test]
fn limits_hold_under_a_linear_drift() {
    holds("linear drift, 3 setups");
}

#[test]
fn limits_hold_with_unequal_numbers_of_runs() {
    holds("linear drift, unequal");
}

#[test]
fn limits_hold_between_baselines() {
    holds("bracket, 2 setups");
}

#[test]
fn limits_hold_with_the_baseline_at_the_start_only() {
    holds("linear drift, baseline at the start only");
}

#[test]
fn acceptance_errs_no_more_often_than_it_says() {
    for runs in [3, 5, 10] {
        let found = simulate_acceptance(runs, 2000, 77 + runs as u64);
        for (what, rate) in [("accepted", found.wrongly_accepted), ("rejected", found.wrongly_rejected)] {
            let most = 5.0 + 3.0 * rate.se_percent(0.05);
            assert!(rate.percent() <= most, "{runs} runs, wrongly {what}: {:.2} %", rate.percent());
        }
        assert!(found.rightly_accepted.percent() > 50.0);
    }
}
