//! Invented things for tests, here and in crates above: built for tests only.
//!
//! Must not hold anything that a program needs.

use crate::metrology::kept::{KeptLoad, Reference, Taken};
use crate::results::Measure;
use crate::trial::plan::{Fresh, Order, Plan};
use jiff::civil::date;

/// An invented calibration: 20 kN steps on a line with some scatter.
#[must_use]
pub fn taken(name: &str) -> Taken {
    let load = |series: &str, up, kn: f64, counts: f64| KeptLoad {
        series: series.to_owned(),
        up,
        reference_kn: kn,
        counts,
        position_deg: None,
    };
    let off = [0.0, 3.0, -2.0, 4.0, -1.0, 2.0];
    let loads = (0..6)
        .map(|i| load("1", true, 20.0 * f64::from(i), 12.0 + 429_496.0 * f64::from(i) + off[i as usize]))
        .chain((0..5).rev().map(|i| load("1", false, 20.0 * f64::from(i), 20.0 + 429_496.0 * f64::from(i))))
        .collect();
    Taken {
        name: name.to_owned(),
        degree: 1,
        loads,
        reference: Reference {
            standard: "reference cell 7 (invented)".into(),
            certificate: "K-0815".into(),
            uncertainty_percent: 0.2,
            coverage_factor: 2.0,
            valid_until: Some(date(2026, 12, 31)),
        },
        performed_on: date(2026, 5, 4),
        performed_by: "ana".into(),
        valid_until: Some(date(2027, 5, 3)),
        item: None,
        temperature_c: Some(21.5),
        humidity_percent: None,
        note: None,
    }
}

/// An invented plan.
#[must_use]
pub fn plan() -> Plan {
    Plan {
        name: "couplings".into(),
        rig: "bench".into(),
        tools: vec!["wrench 1".into(), "wrench 2".into()],
        baseline: "direct".into(),
        setups: vec!["ext 75".into(), "ext 250".into(), "joint".into()],
        repeats: 4,
        order: Order::Blocks,
        seed: 7,
        drawing: None,
        baseline_every: Some(4),
        warm_up: true,
        measure: Measure::Gate,
        remount: None,
        looks: Vec::new(),
        rest_s: 0.0,
        fresh: Fresh::No,
        air_kpa: None,
        bolt: None,
    }
}
