//! What the order of runs leaves in a percent: drifts that die away, and tables in blocks.
//!
//! Readings without scatter whose drift is known, so that what stays in a percent is known too.

use super::support::{assert_near, row};
use super::trials::Random;
use boltscribe::compare::{Asked, Comparison, Drift, Observation, Question, Totals, compare, of_setups};

/// Runs 150 s apart, 3 % high at first and falling with a time constant of ten minutes; no setup costs anything.
pub fn warming(order: &str, sd: f64, random: &mut Random) -> Vec<Observation> {
    let runs = order.bytes().enumerate();
    runs.map(|(i, setup)| {
        let time_s = 150.0 * i as f64;
        let ln = 0.03 * (-time_s / 600.0).exp() + sd * random.normal();
        Observation {
            run: i as u64 + 1,
            time_s,
            setup: char::from(setup).to_string(),
            value: 80.0 * ln.exp(),
            ..Observation::default()
        }
    })
    .collect()
}

fn ask(drift: Option<Drift>) -> Question {
    Question { baseline: "b".into(), drift, alpha: 0.05 }
}

fn found(order: &str, drift: Option<Drift>) -> Comparison {
    compare(&warming(order, 0.0, &mut Random(1)), &ask(drift)).unwrap()
}

const BOTH_ENDS: &str = "bbb111222333bbb";
const FIRST_ONLY: &str = "bbb111222333";
const IN_TURN: &str = "b123b312b231b123b";

#[test]
fn what_a_drift_leaves_is_what_readings_without_scatter_show() {
    for (order, drift) in [
        (BOTH_ENDS, Drift::Linear),
        (FIRST_ONLY, Drift::None),
        (IN_TURN, Drift::Linear),
        (BOTH_ENDS, Drift::Bracket),
    ] {
        let found = found(order, Some(drift));
        for (row, left) in found.setups.iter().zip(&found.arrangement.drift_left) {
            let Some(left) = left else {
                assert_eq!(row.percent_of_baseline, 100.0);
                continue;
            };
            // At the worst time constant at least as much as at ten minutes, and 3 of 1 %.
            let shown = 100.0 * (row.percent_of_baseline / 100.0).ln();
            assert!(left.percent.abs() >= shown.abs() / 3.0 - 0.01, "{order} {drift:?}: {left:?} {shown}");
            if left.time_constant_s == 600.0 {
                assert!((3.0 * left.percent - shown).abs() < 0.02, "{order} {drift:?}: {left:?} {shown}");
            }
        }
    }
    // Without a line in time, the mean of three runs less that of three others.
    let first = found(FIRST_ONLY, None);
    let mean = |from: i32, constant: f64| {
        (from..from + 3).map(|i| (-150.0 * f64::from(i) / constant).exp()).sum::<f64>() / 3.0
    };
    let each = boltscribe::compare::arrangement::TIME_CONSTANTS_S
        .map(|constant| mean(9, constant) - mean(0, constant));
    let worst = each.into_iter().max_by(|a, b| a.abs().total_cmp(&b.abs())).unwrap();
    let third = first.setups.iter().position(|r| r.setup == "3").unwrap();
    assert_near("left", first.arrangement.drift_left[third].unwrap().percent, worst, 1e-12);
}

#[test]
fn a_table_in_blocks_is_promised_no_risk_and_the_better_order_is_named() {
    for (order, drift) in [(BOTH_ENDS, Drift::Linear), (FIRST_ONLY, Drift::None), (BOTH_ENDS, Drift::Bracket)]
    {
        let found = found(order, Some(drift)).arrangement;
        assert!(!found.risk_holds(), "{order}");
        let notes = found.notes().join("\n");
        assert!(notes.contains("in blocks") && notes.contains("as the plan of a trial draws it"), "{notes}");
        assert!(found.in_blocks.iter().any(|named| named.setup == "1"), "{found:?}");
    }
    let turn = found(IN_TURN, Some(Drift::Linear)).arrangement;
    assert!(turn.risk_holds() && turn.in_blocks.is_empty(), "{turn:?}");
    // A baseline run once at the start is no block, and yet nothing tells the drift.
    let once = found("b123123123", Some(Drift::None)).arrangement;
    assert!(once.in_blocks.is_empty() && !once.risk_holds() && once.most_left() > 0.5, "{once:?}");
}

#[test]
fn orders_that_a_risk_is_promised_for_err_far_less_while_the_rig_warms_up() {
    let wrong = |order: &str, drift| {
        let mut random = Random(11);
        let trials = 100;
        let shown = (0..trials).filter(|_| {
            let found = compare(&warming(order, 0.005, &mut random), &ask(Some(drift))).unwrap();
            found.setups.iter().skip(1).any(|r| r.judged.is_some_and(|j| j.p_adjusted < 0.05))
        });
        100.0 * shown.count() as f64 / f64::from(trials)
    };
    let (both, first) = (wrong(BOTH_ENDS, Drift::Linear), wrong(FIRST_ONLY, Drift::None));
    let turn = wrong(IN_TURN, Drift::Linear);
    // A count of 100 is off by 5 of them, one standard error, at most.
    assert!(both > 20.0 && first > 70.0, "blocks: {both} % and {first} %");
    assert!(turn < 20.0, "in turn: {turn} %");
}

#[test]
fn the_document_tells_what_stays_beside_each_percent() {
    let observations = warming(BOTH_ENDS, 0.01, &mut Random(3));
    let found = compare(&observations, &ask(None)).unwrap();
    let asked = Asked {
        measure: "tension",
        quantity: "tension",
        unit: "kN",
        gate_s: None,
        baseline: "b",
        alpha: 0.05,
        difference: None,
        expected_sd: None,
        no_loss_above: None,
    };
    let told = of_setups(&asked, &found, &Totals::none());
    assert!(!told.arrangement.risk_holds && told.arrangement.drift_left_most_percent > 0.2);
    assert_eq!(told.setups[0].drift_left_percent, None);
    let left = found.arrangement.drift_left[1].unwrap();
    assert_eq!(told.setups[1].drift_left_percent, Some(left.percent));
    assert_eq!(told.setups[1].drift_left_time_constant_s, Some(left.time_constant_s));
    assert_eq!(row(&found, None, "1").setup, "1");
}
