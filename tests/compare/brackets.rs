//! Baseline before and after: interpolated, with Fieller's limits.
//!
//! ABA weighing as in OIML R 111 annex C; figures by numpy and scipy 1.17.1, closed form and root finding.

use super::support::{assert_near, row};
use boltscribe::compare::{Drift, Observation, Question, Verdict, compare};

fn runs(rows: &[(f64, &str, f64)]) -> Vec<Observation> {
    let of = |(i, (time_s, setup, value)): (usize, &(f64, &str, f64))| Observation {
        run: i as u64 + 1,
        time_s: *time_s,
        setup: (*setup).to_owned(),
        value: *value,
        ..Observation::default()
    };
    rows.iter().enumerate().map(of).collect()
}

fn ask() -> Question {
    Question { baseline: "direct".into(), drift: Some(Drift::Bracket), alpha: 0.05 }
}

/// A case between visits at 0 and 80 with its mean at `middle`.
fn case(middle: f64, values: [f64; 3]) -> Vec<Observation> {
    runs(&[
        (-1.0, "direct", 100.2),
        (0.0, "direct", 99.8),
        (1.0, "direct", 100.4),
        (middle - 1.0, "x", values[0]),
        (middle, "x", values[1]),
        (middle + 1.0, "x", values[2]),
        (79.0, "direct", 97.1),
        (80.0, "direct", 96.6),
        (81.0, "direct", 97.3),
    ])
}

#[test]
fn an_interpolated_baseline_gives_fiellers_limits() {
    for (middle, values, percent, low, high) in [
        (20.0, [92.0, 91.4, 92.6], 92.601_912_430_800_2, 91.827_077_841_208_48, 93.381_298_114_660_15),
        (40.0, [85.1, 84.6, 85.9], 86.438_958_403_787_62, 85.656_978_173_890_99, 87.224_805_757_309_78),
        (60.0, [88.8, 88.1, 89.3], 90.744_844_042_952_11, 89.960_849_613_401, 91.533_468_663_732_59),
    ] {
        let found = compare(&case(middle, values), &ask()).unwrap();
        let x = row(&found, None, "x");
        let judged = x.judged.unwrap();
        assert_near("percent", x.percent_of_baseline, percent, 1e-13);
        let limits = judged.limits.unwrap();
        assert_near("low", limits.0, low, 1e-11);
        assert_near("high", limits.1, high, 1e-11);
        assert_eq!((judged.degrees_of_freedom, x.verdict), (6, Some(Verdict::Lower)));
        // One setup: nothing to adjust for.
        assert_eq!((judged.p_value, judged.limits), (judged.p_adjusted, judged.simultaneous));
    }
}

#[test]
fn a_bracket_without_repeats_gives_the_ratio_and_nulls() {
    let found =
        compare(&runs(&[(0.0, "direct", 100.0), (30.0, "x", 92.1), (60.0, "direct", 99.6)]), &ask()).unwrap();
    let x = row(&found, None, "x");
    assert_near("percent", x.percent_of_baseline, 100.0 * 92.1 / 99.8, 1e-14);
    assert_eq!((x.judged, x.verdict, found.residual_sd_percent), (None, None, None));
    assert!(x.note.unwrap().contains("fewer than 3"));
}

#[test]
fn a_limit_at_100_and_the_p_agree() {
    // Fieller's limits leave 100 % out exactly where p is under the risk.
    for shift in [0.4, 0.6, 0.7, 0.8, 0.9, 1.0, 1.2, 1.6] {
        let near = [98.5 - shift, 98.2 - shift, 98.9 - shift];
        let found = compare(&case(40.0, near), &ask()).unwrap();
        let judged = row(&found, None, "x").judged.unwrap();
        let (low, high) = judged.limits.unwrap();
        assert_eq!(judged.p_value < 0.05, low > 100.0 || high < 100.0, "{shift}: {} {high}", judged.p_value);
    }
}

#[test]
fn several_brackets_share_their_baselines_and_their_risk() {
    let mut rows = Vec::new();
    let plan = ["direct", "a", "direct", "b", "direct", "c", "direct"];
    for (visit, setup) in plan.iter().enumerate() {
        for repeat in 0..3 {
            let time_s = 100.0 * visit as f64 + 10.0 * f64::from(repeat);
            let level = if *setup == "direct" { 100.0 } else { 98.0 };
            let wobble = [0.5, -0.6, 0.2][repeat as usize] + 0.05 * visit as f64;
            rows.push((time_s, *setup, level - 0.004 * time_s + wobble));
        }
    }
    let found = compare(&runs(&rows), &ask()).unwrap();
    assert_eq!(found.degrees_of_freedom, 14);
    for setup in ["a", "b", "c"] {
        let j = row(&found, None, setup).judged.unwrap();
        assert!(j.p_adjusted > j.p_value && j.p_adjusted < 3.0 * j.p_value, "{setup}");
        let (inner, outer) = (j.limits.unwrap(), j.simultaneous.unwrap());
        assert!(outer.0 < inner.0 && outer.1 > inner.1);
    }
}
