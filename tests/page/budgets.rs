//! Budgets of single runs take the low-pass that measured each of them; ratios know whether gains are one.
//!
//! All figures are invented: a noise of 11/3 N at 2,000 samples/s, held tension and zero over half a second each.

use crate::sample::{T0_NS, calibration, put, result, settings, whole};
use crate::support::House;
use axum::http::{Method, StatusCode};
use boltscribe::metrology::kept::{KeptLoad, Reference, Taken};
use boltscribe::store::{Recomputed, RunId, Write, Written};
use serde_json::Value;

/// Noise of the low-passed signal of the sample's runs, kN.
const NOISE_KN: f64 = 0.011 / 3.0;
/// Standard error of a median over that of a mean, for normal noise: √(π/2), to more digits than are compared.
const MEDIAN: f64 = 1.253_314;

fn run_measured_by(house: &House, rig: &str, lowpass_hz: f64) {
    let mut settings = settings();
    settings.runs.lowpass_hz = lowpass_hz;
    let write = Write::Stream { started_utc_ns: T0_NS, settings: Box::new(settings) };
    let Written::Stream(stream) = put(&house.store, rig, vec![write])[0] else { panic!() };
    put(&house.store, rig, whole(stream, result(1), 8000));
}

fn measured_again_by(house: &House, run: i64, lowpass_hz: f64) {
    let again = Recomputed {
        run: RunId(run),
        utc_ns: T0_NS,
        who: "Ana".into(),
        why: "another low-pass".into(),
        program: "0".into(),
        settings: boltscribe::runs::Settings { lowpass_hz, ..Default::default() },
        line: calibration(),
        result: result(1),
    };
    put(&house.store, "", vec![Write::Recompute(Box::new(again))]);
}

/// The budget of the run's held tension, and the contribution of its only line that `is` picks, kN.
async fn budget(house: &House, run: i64, is: impl Fn(&str) -> bool) -> (Value, f64) {
    let shown = house.get(&format!("/api/v1/budget?runs={run}&measure=held")).await;
    let lines = shown["tension"]["lines"].as_array().unwrap();
    let found: Vec<f64> = lines
        .iter()
        .filter(|line| is(line["line"].as_str().unwrap()))
        .map(|line| line["contribution_kN"].as_f64().unwrap())
        .collect();
    assert_eq!(found.len(), 1, "{shown}");
    let only = found[0];
    (shown, only)
}

/// Of low-passed noise about 2 · corner · seconds values are independent.
fn expected_kn(corner_hz: f64) -> f64 {
    MEDIAN * NOISE_KN / (2.0 * corner_hz * 0.5).sqrt()
}

fn assert_is(found: f64, expected: f64) {
    assert!((found / expected - 1.0).abs() < 1e-5, "expected {expected}, found {found}");
}

#[tokio::test]
async fn a_budget_averages_noise_by_the_low_pass_that_measured_the_run() {
    let house = House::new();
    // Beyond 0.4 of Nyquist the corner is 0.4 of Nyquist: 400 Hz at 2,000 samples/s.
    for (at, (set_hz, corner_hz)) in [(50.0, 50.0), (200.0, 200.0), (900.0, 400.0)].into_iter().enumerate() {
        run_measured_by(&house, &format!("rig-{at}"), set_hz);
        for line in ["noise", "zero"] {
            let (_, found) = budget(&house, at as i64 + 1, |name| name == line).await;
            assert_is(found, expected_kn(corner_hz));
        }
    }
}

#[tokio::test]
async fn a_run_measured_again_has_the_budget_of_the_low_pass_it_was_last_measured_by() {
    let house = House::new();
    run_measured_by(&house, "bench", 200.0);
    measured_again_by(&house, 1, 25.0);
    let (_, found) = budget(&house, 1, |name| name == "noise").await;
    assert_is(found, expected_kn(25.0));
}

#[tokio::test]
async fn where_a_stored_run_does_not_tell_its_low_pass_the_budget_says_so_and_averages_nothing() {
    let house = House::new();
    run_measured_by(&house, "bench", 200.0);
    let db = rusqlite::Connection::open(house.store_file()).unwrap();
    let sql = "DROP TRIGGER streams_refuses_UPDATE;
               UPDATE streams SET settings = json_remove(settings, '$.runs.lowpass_hz')";
    db.execute_batch(sql).unwrap();
    let (shown, found) = budget(&house, 1, |name| name.starts_with("noise")).await;
    assert_is(found, MEDIAN * NOISE_KN);
    let notes = shown["notes"].to_string();
    assert!(notes.contains("run 1 does not tell by which low-pass it was measured"), "{notes}");
}

/// An invented calibration: 1e-4 kN a count with some scatter, against a reference of 0.2 % (k = 2).
fn invented(name: &str) -> Taken {
    let off = [0.0, 90.0, -70.0, 40.0, -60.0, 20.0];
    let load = |i: usize| KeptLoad {
        series: "1".into(),
        up: true,
        reference_kn: 20.0 * i as f64,
        counts: 200_000.0 * i as f64 + off[i],
        position_deg: None,
    };
    Taken {
        name: name.into(),
        degree: 1,
        loads: (0..6).map(load).collect(),
        reference: Reference {
            standard: "reference cell".into(),
            certificate: "K-1".into(),
            uncertainty_percent: 0.2,
            coverage_factor: 2.0,
            valid_until: None,
        },
        performed_on: jiff::civil::date(2026, 5, 4),
        performed_by: "Ana".into(),
        valid_until: None,
        item: None,
        temperature_c: None,
        humidity_percent: None,
        note: None,
    }
}

/// The same run once more, read by this calibration.
async fn run_on(house: &House, rig: &str, name: &str) {
    let kept = invented(name).keep().unwrap();
    let mut settings = settings();
    settings.calibration = Some(kept.line.clone());
    if house.ask(Method::GET, &format!("/api/v1/calibrations/{name}"), None).await.0 != StatusCode::OK {
        put(
            &house.store,
            "",
            vec![Write::Calibration { utc_ns: T0_NS, who: "Ana".into(), kept: Box::new(kept) }],
        );
    }
    let write = Write::Stream { started_utc_ns: T0_NS, settings: Box::new(settings) };
    let Written::Stream(stream) = put(&house.store, rig, vec![write])[0] else { panic!() };
    let mut result = result(1);
    result.calibration = name.into();
    put(&house.store, rig, whole(stream, result, 8000));
}

#[tokio::test]
async fn a_gain_cancels_on_one_calibration_and_across_two_both_budgets_count() {
    let house = House::new();
    for (rig, name) in [("one", "cell-a"), ("one", "cell-a"), ("two", "cell-b")] {
        run_on(&house, rig, name).await;
    }
    let ratio = async |runs| {
        let shown = house.get(&format!("/api/v1/budget?measure=held&{runs}")).await;
        (shown["ratio"].clone(), shown["notes"].to_string())
    };
    let (same, _) = ratio("runs=1&against=2").await;
    assert!(same["cancels"].to_string().contains("gain"), "{same}");
    let (apart, notes) = ratio("runs=1&against=3").await;
    assert!(notes.contains("on 'cell-a' and the others on 'cell-b': the gain does not cancel"), "{notes}");
    assert!(!apart["cancels"].to_string().contains("gain"), "{apart}");
    assert!(apart["calibration_line_if_nothing_cancelled_percent"].is_null(), "{apart}");
    let line = |name: &str| {
        let lines = apart["lines"].as_array().unwrap();
        let found =
            lines.iter().find(|line| line["line"] == name).unwrap_or_else(|| panic!("{name}: {apart}"));
        found["contribution_percent"].as_f64().unwrap()
    };
    // The reference has 0.2 % (k = 2), and the ratio is 100 %.
    for name in ["reference standard of A", "reference standard of B"] {
        assert!((line(name) - 0.1).abs() < 1e-9, "{apart}");
    }
    assert!(line("scatter about the line of A") > 0.0 && line("calibration line of B") > 0.0);
    let u = |ratio: &Value| ratio["standard_uncertainty_percent"].as_f64().unwrap();
    assert!(u(&apart) > u(&same).hypot(0.14), "{apart} {same}");
}

#[tokio::test]
async fn runs_of_two_rigs_without_a_reference_have_no_ratio() {
    let house = House::new();
    for rig in ["one", "one", "two"] {
        run_measured_by(&house, rig, 200.0);
    }
    house.get("/api/v1/budget?runs=1&against=2&measure=held").await;
    let asked = "/api/v1/budget?runs=1&against=2,3&measure=held";
    let (status, told) = house.refused(Method::GET, asked, None).await;
    assert_eq!(status, 409);
    assert!(
        told.contains("do not have one gain") && told.contains("rig 'one'") && told.contains("rig 'two'"),
        "{told}"
    );
}
