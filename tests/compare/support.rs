//! Shared by the tests of comparison: tables as observations, closeness.
//! Must not know any expected number.

use boltscribe::compare::{Comparison, Observation, SetupRow};
use boltscribe::files::read_readings;

/// Whether two numbers agree to a share of the expected one.
pub fn near(found: f64, expected: f64, share: f64) -> bool {
    (found - expected).abs() <= share * expected.abs().max(1e-300)
}

/// Fails with both numbers where they do not agree.
pub fn assert_near(what: &str, found: f64, expected: f64, share: f64) {
    assert!(near(found, expected, share), "{what}: found {found:?}, expected {expected:?}");
}

/// The observations of a table in CSV.
pub fn observations(text: &str) -> Vec<Observation> {
    let of = |r: boltscribe::files::Reading| Observation {
        run: r.run,
        time_s: r.time_s,
        setup: r.setup,
        tool: r.tool,
        value: r.value,
        pieces: r.pieces,
        mounting: r.mounting,
        resolution: None,
        excluded: r.excluded,
    };
    read_readings(text.as_bytes()).unwrap().rows.into_iter().map(of).collect()
}

/// Groups in the order given, a second apart.
pub fn groups(groups: &[(&str, &[f64])]) -> Vec<Observation> {
    let all = groups.iter().flat_map(|(setup, values)| values.iter().map(move |v| (*setup, *v)));
    all.enumerate()
        .map(|(i, (setup, value))| Observation {
            run: i as u64 + 1,
            time_s: i as f64,
            setup: setup.to_owned(),
            value,
            ..Observation::default()
        })
        .collect()
}

/// The row of a setup.
pub fn row<'a>(found: &'a Comparison, tool: Option<&str>, setup: &str) -> &'a SetupRow {
    found.setups.iter().find(|s| s.setup == setup && s.tool.as_deref() == tool).unwrap()
}
