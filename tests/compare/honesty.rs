//! A small seeded version of `cargo xtask honesty`: the bounds are three standard errors of the count.
//! Seeded, so that it passes or fails the same everywhere.

use super::trials::{PLANS, Trouble, simulate, simulate_acceptance};

const TRIALS: u64 = 200;

#[test]
fn limits_hold_the_truth_and_no_difference_is_invented() {
    for (k, plan) in PLANS.iter().enumerate().filter(|(_, plan)| plan.trouble == Trouble::None) {
        let found = simulate(plan, TRIALS, 20_250 + k as u64);
        for (what, rate, share) in [
            ("coverage", found.coverage, 0.95),
            ("together", found.together, 0.95),
            ("family", found.family, 0.05),
        ] {
            // Limits of one trial share a baseline: counted as if they were one.
            let se = rate.se_percent(share) * if what == "coverage" { 2.0 } else { 1.0 };
            let off = rate.percent() - 100.0 * share;
            assert!(off.abs() < 3.0 * se, "{} {what}: {:.2} % (se {se:.2})", plan.name, rate.percent());
        }
    }
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
