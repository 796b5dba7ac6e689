//! What a simulation of a comparison counts, against what theory and other simulations say.
//!
//! Orders and scatter are invented; bounds are binomial.

use super::honesty::bounds;
use boltscribe::compare::simulation::{Counted, Scenario, Simulated, simulate};
use boltscribe::compare::{Drift, Observation, Question};

fn runs(order: &str, mounting: Option<usize>) -> Vec<Observation> {
    let runs = order.chars().enumerate();
    runs.map(|(i, setup)| Observation {
        run: i as u64 + 1,
        time_s: 150.0 * i as f64,
        setup: setup.to_string(),
        value: 80.0,
        mounting: mounting.map(|pulls| (i / pulls).to_string()),
        ..Observation::default()
    })
    .collect()
}

const TRIALS: u32 = 2000;

fn count(runs: &[Observation], drift: Drift, sd_percent: f64) -> impl Fn(Scenario) -> Counted + use<> {
    let question = Question { baseline: "b".into(), drift: Some(drift), alpha: 0.05 };
    let asked = Simulated { trials: TRIALS, seed: 9, sd_percent, difference_percent: 2.0 };
    let found = simulate(runs, &question, &asked).unwrap();
    assert_eq!(found, simulate(runs, &question, &asked).unwrap(), "the same seed, the same counts");
    move |scenario| *found.iter().find(|counted| counted.scenario == scenario).unwrap()
}

fn is_share(what: &str, found: f64, share: f64) {
    let (least, most) = bounds(u64::from(TRIALS), share);
    let count = (found * f64::from(TRIALS)).round() as u64;
    assert!((least..=most).contains(&count), "{what}: {found}, expected {share}");
}

#[test]
fn where_only_pulls_scatter_or_a_line_drifts_the_stated_risk_is_counted() {
    let of = count(&runs("b123b312b231b123b", None), Drift::Linear, 1.0);
    for scenario in [Scenario::Scatter, Scenario::LinearDrift, Scenario::Mountings] {
        let found = of(scenario);
        is_share("coverage", found.coverage, 0.95);
        is_share("together", found.together, 0.95);
        is_share("false differences", found.false_differences, 0.05);
    }
    // Each run is a mounting of its own here: twice the variance shows fewer.
    assert!(of(Scenario::Mountings).power < of(Scenario::Scatter).power);
    assert!(of(Scenario::Scatter).power > 0.2 && of(Scenario::DecayingDrift).false_differences < 0.2);
}

#[test]
fn blocks_and_shared_mountings_are_counted_as_what_they_are() {
    let blocks = count(&runs("bbb111222333bbb", None), Drift::Linear, 0.5);
    is_share("scatter alone", blocks(Scenario::Scatter).false_differences, 0.05);
    assert!(blocks(Scenario::DecayingDrift).false_differences > 0.25);
    assert!(blocks(Scenario::DecayingDrift).coverage < 0.9);
    let first = count(&runs("bbb111222333", None), Drift::None, 0.5);
    assert!(first(Scenario::DecayingDrift).false_differences > 0.8);
    // Three pulls a mounting: taken as nine repeats, and as three mountings.
    let order = "bbb111222bbb222111bbb111222";
    let repeats = count(&runs(order, None), Drift::None, 1.0)(Scenario::Mountings);
    assert!(repeats.false_differences > 0.2 && repeats.coverage < 0.85, "{repeats:?}");
    let mounted = count(&runs(order, Some(3)), Drift::None, 1.0)(Scenario::Mountings);
    is_share("mountings", mounted.false_differences, 0.05);
    is_share("mountings", mounted.coverage, 0.95);
}
