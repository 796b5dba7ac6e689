//! How often comparisons and acceptance are right, over many simulated trials with a known truth.
//!
//! `cargo xtask honesty [TRIALS [PLAN]]` runs it, all plans or those with these words in their name. The trials are those of tests/compare; here are more of them. Ends
//! with 1 where a figure lies outside what was promised.
#![allow(clippy::print_stdout)] // A bench prints.
#![allow(clippy::unwrap_used)] // The trials are those of a test.

#[path = "../../tests/compare/trials.rs"]
mod trials;

use boltscribe::compare::Looks;
use std::process::ExitCode;
use trials::{PLANS, Rate, Trouble, simulate, simulate_acceptance, simulate_looks};

/// Trials a plan unless given.
const TRIALS: u64 = 10_000;

/// A figure with what it must lie within, percent.
struct Figure {
    what: String,
    rate: Rate,
    within: Option<(f64, f64)>,
}

/// Plans of looks, with the standard uncertainty that is common to all runs.
const LOOKS: [(&str, f64); 3] = [("5,10", 0.0), ("3,6,9", 0.0), ("5,10", 0.8)];
/// Figures of each number of runs of [`acceptance`], and of each plan of [`at_looks`].
const FIGURES: (usize, usize) = (9, 4 * LOOKS.len());

/// Acceptance after one look.
fn acceptance(trials: u64) -> Vec<Figure> {
    let mut figures = Vec::new();
    for runs in [3, 5, 10] {
        let found = simulate_acceptance(runs, trials, 100 + runs as u64);
        // The stated risk, and two standard errors of the count.
        let most = 5.0 + 2.0 * found.wrongly_accepted.se_percent(0.05);
        let name = format!("acceptance, {runs} runs");
        figures.push(Figure {
            what: format!("{name}: wrongly accepted"),
            rate: found.wrongly_accepted,
            within: Some((0.0, most)),
        });
        figures.push(Figure {
            what: format!("{name}: wrongly rejected"),
            rate: found.wrongly_rejected,
            within: Some((0.0, most)),
        });
        figures.push(Figure {
            what: format!("{name}: 5 % inside, accepted"),
            rate: found.rightly_accepted,
            within: None,
        });
    }
    figures
}

/// Acceptance at looks that were planned, and at the same ones without a plan.
fn at_looks(trials: u64) -> Vec<Figure> {
    let mut figures = Vec::new();
    for (k, (words, u_common)) in LOOKS.iter().enumerate() {
        let looks = Looks::read(words).unwrap();
        let (found, unplanned) = simulate_looks(&looks, *u_common, trials, 200 + k as u64);
        let most = 5.0 + 2.0 * found.wrongly_accepted.se_percent(0.05);
        let name = format!("acceptance at looks {words}, u {u_common}");
        for (what, rate, within) in [
            ("wrongly accepted", found.wrongly_accepted, Some((0.0, most))),
            ("wrongly rejected", found.wrongly_rejected, Some((0.0, most))),
            ("5 % inside, accepted", found.rightly_accepted, None),
            ("wrongly accepted without a plan", unplanned, None),
        ] {
            figures.push(Figure { what: format!("{name}: {what}"), rate, within });
        }
    }
    figures
}

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).filter(|word| !word.starts_with("--")).collect();
    let given = words.first().and_then(|word| word.parse().ok());
    let wanted = words.get(1).cloned().unwrap_or_default();
    let trials = given.unwrap_or(TRIALS).max(100);
    println!("{trials} trials a plan, seeds 1, 2, …; SE: standard error of the percent\n");
    let mut figures = Vec::new();
    std::thread::scope(|scope| {
        let plans: Vec<_> = PLANS
            .iter()
            .enumerate()
            .filter(|(_, plan)| plan.name.contains(&wanted))
            .map(|(k, plan)| (plan, scope.spawn(move || simulate(plan, trials, k as u64 + 1))))
            .collect();
        for (plan, running) in plans {
            let Ok(found) = running.join() else { continue };
            for (what, rate, within) in [
                ("95 % limits hold the truth", found.coverage, (94.0, 96.0)),
                ("simultaneous limits all hold", found.together, (94.0, 96.0)),
                ("a difference shown where none is", found.family, (4.4, 5.6)),
            ] {
                let within = (plan.trouble == Trouble::None).then_some(within);
                figures.push(Figure { what: format!("{}: {what}", plan.name), rate, within });
            }
        }
    });
    if wanted.is_empty() {
        figures.extend(acceptance(trials));
        figures.extend(at_looks(trials));
    }
    println!("{:<60} {:>8} {:>6}  {:<16}", "", "percent", "SE", "promised");
    let mut missed = 0;
    for f in &figures {
        let good = f.within.is_none_or(|(low, high)| (low..=high).contains(&f.rate.percent()));
        missed += u32::from(!good);
        let mark = if good { "" } else { "MISSED" };
        let share = f.rate.percent() / 100.0;
        println!(
            "{:<60} {:>8.2} {:>6.2}  {:<16} {mark}",
            f.what,
            f.rate.percent(),
            f.rate.se_percent(share),
            f.within.map_or_else(|| "stated only".to_owned(), |(low, high)| format!("{low:.1} to {high:.2}"))
        );
    }
    let all = !wanted.is_empty() || figures.len() == 3 * PLANS.len() + FIGURES.0 + FIGURES.1;
    if missed == 0 && all && !figures.is_empty() { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
