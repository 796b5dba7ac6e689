//! Readings of a coarse dial: equal ones are not exact ones.
//! Readings are rounded to steps that are known, so the truth behind them is too.

use super::honesty::bounds;
use super::support::{assert_near, observations, row};
use super::trials::Random;
use boltscribe::compare::{Drift, Observation, Question, compare};

/// 1/√12.
const ROUNDING: f64 = 0.288_675_134_594_812_9;

fn ask(drift: Drift) -> Question {
    Question { baseline: "b".into(), drift: Some(drift), alpha: 0.05 }
}

fn read(order: &str, step: f64, mut value: impl FnMut(char) -> f64) -> Vec<Observation> {
    let runs = order.chars().enumerate();
    runs.map(|(i, setup)| Observation {
        run: i as u64 + 1,
        time_s: 150.0 * i as f64,
        setup: setup.to_string(),
        value: (value(setup) / step).round() * step,
        resolution: Some(step),
        ..Observation::default()
    })
    .collect()
}

#[test]
fn equal_readings_have_the_step_of_the_dial_in_their_limits() {
    let order = "b1b1b1b";
    for drift in [Drift::None, Drift::Linear] {
        let found = compare(&read(order, 0.5, |s| if s == 'b' { 80.0 } else { 77.5 }), &ask(drift)).unwrap();
        let judged = row(&found, None, "1").judged.unwrap();
        let u = ROUNDING * (0.5_f64 / 80.0).hypot(0.5 / 77.5);
        assert_near("se", judged.se_of_ln, u, 1e-9);
        let (low, high) = judged.limits.unwrap();
        assert!(low < 96.875 && high > 96.875 && judged.p_value > 1e-6, "{judged:?}");
        let resolution = found.resolution.unwrap();
        assert!(resolution.counts);
        assert_near("step", resolution.step_percent, 100.0 * 0.5 / 77.5, 1e-12);
    }
    // Nobody knows the step: nothing can be said.
    let unknown: Vec<Observation> = read(order, 0.5, |s| if s == 'b' { 80.0 } else { 77.5 })
        .into_iter()
        .map(|o| Observation { resolution: None, ..o })
        .collect();
    let found = compare(&unknown, &ask(Drift::None)).unwrap();
    assert!(row(&found, None, "1").judged.is_none() && row(&found, None, "1").note.is_some());
}

#[test]
fn limits_of_readings_that_hardly_leave_a_step_hold_the_truth() {
    let mut random = Random(17);
    let trials = 2000;
    for drift in [Drift::None, Drift::Linear, Drift::Bracket] {
        let (mut held, mut shown) = (0, 0);
        for _ in 0..trials {
            // True levels anywhere between two steps; runs scatter by a tenth of a step.
            let (base, other) = (80.0 + random.normal(), 77.0 + random.normal());
            let order = "bb11bb11bb";
            let runs = read(order, 0.5, |s| if s == 'b' { base } else { other } + 0.05 * random.normal());
            if let Some((low, high)) =
                row(&compare(&runs, &ask(drift)).unwrap(), None, "1").judged.unwrap().limits
            {
                let truth = 100.0 * other / base;
                held += u64::from(low <= truth && truth <= high);
            }
            let same = read(order, 0.5, |_| base + 0.05 * random.normal());
            let p = row(&compare(&same, &ask(drift)).unwrap(), None, "1").judged.unwrap().p_adjusted;
            shown += u64::from(p < 0.05);
        }
        let ((least, _), (_, most)) = (bounds(trials, 0.95), bounds(trials, 0.05));
        assert!(held >= least, "{drift:?}: {held} of {trials}");
        assert!(shown <= most, "{drift:?}: {shown} of {trials}");
    }
}

#[test]
fn a_step_that_repeats_scatter_over_changes_nothing() {
    let mut random = Random(18);
    let runs = read("b12b21b12b", 0.01, |_| 80.0 + 0.4 * random.normal());
    let plain: Vec<Observation> =
        runs.iter().map(|o| Observation { resolution: None, ..o.clone() }).collect();
    for drift in [Drift::None, Drift::Linear, Drift::Bracket] {
        let (with, without) = (compare(&runs, &ask(drift)), compare(&plain, &ask(drift)));
        if drift == Drift::Bracket {
            continue;
        }
        for (a, b) in with.unwrap().setups.iter().zip(&without.unwrap().setups) {
            assert_eq!(a.judged, b.judged);
        }
    }
    assert!(observations("run,time_s,setup,tension_kN\n1,0,b,80\n").iter().all(|o| o.resolution.is_none()));
}
