//! How often comparisons and acceptance are right, over many simulated trials with a known truth.
//!
//! `cargo xtask honesty [TRIALS]` runs it. The trials are those of tests/compare; here are more of them. Ends
//! with 1 where a figure lies outside what was promised.
#![allow(clippy::print_stdout)] // A bench prints.
#![allow(clippy::unwrap_used)] // The trials are those of a test.

#[path = "../../tests/compare/trials.rs"]
mod trials;

use std::process::ExitCode;
use trials::{PLANS, Rate, simulate, simulate_acceptance};

/// Trials a plan unless given.
const TRIALS: u64 = 10_000;

/// A figure with what it must lie within, percent.
struct Figure {
    what: String,
    rate: Rate,
    within: (f64, f64),
}

fn main() -> ExitCode {
    let given = std::env::args().skip(1).find_map(|word| word.parse().ok());
    let trials = given.unwrap_or(TRIALS).max(100);
    println!("{trials} trials a plan, seeds 1, 2, …; SE: standard error of the percent\n");
    let mut figures = Vec::new();
    std::thread::scope(|scope| {
        let plans: Vec<_> = PLANS
            .iter()
            .enumerate()
            .map(|(k, plan)| (plan.name, scope.spawn(move || simulate(plan, trials, k as u64 + 1))))
            .collect();
        for (name, plan) in plans {
            let Ok(found) = plan.join() else { continue };
            for (what, rate, within) in [
                ("95 % limits hold the truth", found.coverage, (94.0, 96.0)),
                ("simultaneous limits all hold", found.together, (94.0, 96.0)),
                ("a difference shown where none is", found.family, (4.4, 5.6)),
            ] {
                figures.push(Figure { what: format!("{name}: {what}"), rate, within });
            }
        }
    });
    for runs in [3, 5, 10] {
        let found = simulate_acceptance(runs, trials, 100 + runs as u64);
        // The stated risk, and two standard errors of the count.
        let most = 5.0 + 2.0 * found.wrongly_accepted.se_percent(0.05);
        let name = format!("acceptance, {runs} runs");
        figures.push(Figure {
            what: format!("{name}: wrongly accepted"),
            rate: found.wrongly_accepted,
            within: (0.0, most),
        });
        figures.push(Figure {
            what: format!("{name}: wrongly rejected"),
            rate: found.wrongly_rejected,
            within: (0.0, most),
        });
        figures.push(Figure {
            what: format!("{name}: 5 % inside, accepted"),
            rate: found.rightly_accepted,
            within: (0.0, 100.0),
        });
    }
    println!("{:<60} {:>8} {:>6}  {:<16}", "", "percent", "SE", "promised");
    let mut missed = 0;
    for f in &figures {
        let (low, high) = f.within;
        let good = f.rate.percent() >= low && f.rate.percent() <= high;
        missed += u32::from(!good);
        let mark = if good { "" } else { "MISSED" };
        let share = f.rate.percent() / 100.0;
        println!(
            "{:<60} {:>8.2} {:>6.2}  {:<16} {mark}",
            f.what,
            f.rate.percent(),
            f.rate.se_percent(share),
            format!("{low:.1} to {high:.2}")
        );
    }
    if missed == 0 && figures.len() == 3 * PLANS.len() + 9 { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
