//! Counts to torque, by hand: 70 lbf per lbf·ft on a 1 1/4 in bolt is K = 0.137 (common practice, no source).
//!
//! K from T = K F d with d the nominal diameter; factors of the units are exact.

use crate::support::{all, essence};
use serde_json::Value;

const KN_PER_COUNT: f64 = 1.0 / 20_000.0;
/// Exact by definition of the foot and the pound-force: 70 lbf/(lbf·ft) = 70/0.3048 N/(N·m).
const FACTOR_N_PER_NM: f64 = 70.0 / 0.3048;

#[test]
fn seventy_pounds_a_foot_pound_is_a_nut_factor_of_0_137_on_an_inch_and_a_quarter() {
    // T = K·d·F, so F/T = 1/(K·d) with d = 1.25 in = 0.03175 m.
    let by_nut_factor = 1.0 / (0.137 * 0.03175);
    assert!((by_nut_factor / FACTOR_N_PER_NM - 1.0).abs() < 0.002, "{by_nut_factor} {FACTOR_N_PER_NM}");
}

#[test]
fn raw_codes_of_the_held_window_give_the_held_torque() {
    let recording = all().into_iter().find(|r| r.name == "torque-70").unwrap();
    let essence = essence(&recording.settings, &recording.capture.entries);
    let row: Value = serde_json::from_str(&essence.rows[0]).unwrap();
    let raw = &essence.raw[0];
    // Codes 0.2 to 0.7 s after the last blow; noise and zero are none in this recording.
    let rate = 1000.0;
    let last_blow = row["record"]["last_blow_s"].as_f64().unwrap();
    let at = |s: f64| ((last_blow + s) * rate).round() as usize - raw.first as usize;
    let mut window = raw.codes[at(0.2)..at(0.7)].to_vec();
    window.sort_unstable();
    let held_code = f64::from(window[window.len() / 2]);
    let mut idle = raw.codes[..400].to_vec();
    idle.sort_unstable();
    assert_eq!(idle[200], 0);

    let torque_nm = held_code * KN_PER_COUNT * 1000.0 / FACTOR_N_PER_NM;
    let found = row["torques"]["held_Nm"].as_f64().unwrap();
    // One code is 0.05 N of 79 kN; the window's ends may differ by one sample.
    assert!((found / torque_nm - 1.0).abs() < 2e-6, "held {found} N·m, by hand {torque_nm} N·m");
    // What was played: the tension of 290 N·m at K = 0.17 on 20 mm, less one contact of 0.992 each, not all
    // of it reached after 1.6 s; on the other bolt's factor it is another torque.
    let played_kn = recording.played()[0]["held_kN"].as_f64().unwrap();
    let by_played = played_kn * 1000.0 / FACTOR_N_PER_NM;
    assert!((found / by_played - 1.0).abs() < 2e-3, "held {found} N·m, played {by_played} N·m");
}
