//! The measures of a run against what both models of the virtual rig know of it.
//!
//! Judged as `cargo xtask truth` judges, with its tolerances: a figure may be right, null, or flagged, and hardly
//! ever wrong and untold. The manual, "How well it measures", states how often each is what.

#![allow(
    clippy::unwrap_used,
    clippy::print_stdout,
    clippy::disallowed_methods,
    dead_code,
    reason = "a test may panic and print, has a clock for a fresh seed, and does not use all of what the campaign uses"
)]

mod difficulties;
#[path = "../../tools/bench/truth/judge.rs"]
mod judge;
#[path = "../../tools/bench/truth/matching.rs"]
mod matching;
#[path = "../../tools/bench/truth/measured.rs"]
mod measured;
#[path = "../../tools/bench/truth/trace.rs"]
mod trace;

use judge::{Came, Figure, Verdict, judge};
use trace::{Id, play};

/// Scenarios of the first model, whose steps are smooth in F.
const SCENARIOS: u64 = 240;
/// Wrong and untold at most, percent: of first blows, held, gates and peaks, and of last blows and counts.
const UNTOLD_PERCENT: [(&[Figure], f64); 2] = [
    (&[Figure::First, Figure::Held, Figure::Gate, Figure::Peak], 0.3),
    (&[Figure::Last, Figure::Count], 0.8),
];
/// Held and gates are given at least so often, percent: a figure that is always null would be never wrong.
const GIVEN_PERCENT: [(Figure, f64); 2] = [(Figure::Held, 90.0), (Figure::Gate, 85.0)];

fn shown(v: &Verdict) -> String {
    format!("{} {}/s: {} {}", v.id, v.rate_hz, v.figure.name(), v.words)
}

#[test]
fn of_240_scenarios_of_the_first_model_hardly_a_figure_is_wrong_and_untold() {
    let verdicts: Vec<Verdict> = (0..SCENARIOS).flat_map(|seed| judge(&play(Id::First(seed)))).collect();
    for (figures, most) in UNTOLD_PERCENT {
        let of = |v: &&Verdict| figures.contains(&v.figure);
        let wrong: Vec<String> =
            verdicts.iter().filter(of).filter(|v| v.came == Came::Untold).map(shown).collect();
        let n = verdicts.iter().filter(of).count();
        println!("{} of {n} wrong and untold: {wrong:#?}", wrong.len());
        assert!(wrong.len() as f64 <= most / 100.0 * n as f64, "of {n} figures: {wrong:#?}");
    }
    let lost: Vec<String> = verdicts
        .iter()
        .filter(|v| matches!(v.figure, Figure::Missed | Figure::Invented) && v.came == Came::Untold)
        .map(shown)
        .collect();
    assert!(lost.is_empty(), "{lost:#?}");
    for (figure, least) in GIVEN_PERCENT {
        let all: Vec<&Verdict> = verdicts.iter().filter(|v| v.figure == figure).collect();
        let right = all.iter().filter(|v| v.came == Came::Right).count();
        println!("{} right in {right} of {}", figure.name(), all.len());
        assert!(right as f64 >= least / 100.0 * all.len() as f64, "{}: {right}", figure.name());
    }
}

/// The judgement above can fail: a truth shifted by a little more than a tolerance is told apart.
#[test]
fn a_truth_shifted_by_more_than_the_tolerance_is_refused() {
    let mut trace = play(Id::First(11));
    let untold = |verdicts: &[Verdict]| {
        let wrong = verdicts.iter().filter(|v| v.came == Came::Untold && v.figure != Figure::Plateau);
        wrong.map(|v| v.figure).collect::<Vec<_>>()
    };
    assert!(untold(&judge(&trace)).is_empty());
    let spacing_s = 1.0 / trace.rate_hz;
    let run = &mut trace.runs[0];
    run.held_kn = run.held_kn.map(|kn| 1.01 * kn);
    run.first_blow_s += 2.0 * 0.002_f64.max(1.5 * spacing_s);
    let wrong = untold(&judge(&trace));
    assert!(wrong.contains(&Figure::Held) && wrong.contains(&Figure::First), "{wrong:?}");
}
