//! Rows of the outbox as points: which measurements there are, and what stands in them.
//!
//! Tags are rig, tool and setup; numbers are fields, and text is none, because some servers store it as 0. No
//! field of a point ever gets another value: a closing adds fields to the point of its run, and a correction is
//! a point of its own. the manual, "Many rigs, one central store" lists them.

use boltscribe_store::outbox_reader::{OutboxClosing, OutboxItem, OutboxKey, OutboxRun};
use boltscribe_tables::line_protocol::Point;

/// A run as announced, and what its closing adds.
pub const RUN: &str = "boltscribe_run";
/// Tension and torque at a gate.
pub const GATE: &str = "boltscribe_gate";
/// A run as people have corrected it.
pub const CORRECTION: &str = "boltscribe_correction";
/// The state of a rig.
pub const RIG: &str = "boltscribe_rig";
/// Sent to see whether the server takes anything at all.
pub const PROBE: &str = "boltscribe_probe";

/// Servers that keep milliseconds must not put two points in one.
const STEP_NS: i64 = 1_000_000;

/// The points of a row; finished lines have none.
#[must_use]
pub fn points(item: &OutboxItem) -> Vec<Point> {
    match item {
        OutboxItem::Run(run) => {
            // Of a measured run the closing tells these two.
            let point = figures(start(RUN, &run.key, 0), run)
                .integer("counts", run.counts.map(i64::from))
                .integer("simulated", run.simulated.map(i64::from));
            let mut all = vec![point];
            all.extend(gates(run));
            all
        }
        OutboxItem::Closing(closing) => vec![closed(closing)],
        OutboxItem::Correction(run) => {
            // The k-th correction stands k milliseconds after the first blow, so none takes another's place.
            let point = figures(start(CORRECTION, &run.key, run.corrections), run)
                .integer("corrections", Some(run.corrections))
                .integer("counts", run.counts.map(i64::from))
                .integer("simulated", run.simulated.map(i64::from));
            let mut all = vec![point];
            all.extend(gates(run));
            all
        }
        OutboxItem::Health(_) => Vec::new(),
    }
}

fn start(measurement: &str, key: &OutboxKey, steps: i64) -> Point {
    let time_ns = key.first_blow_utc_ns.saturating_add(steps.saturating_mul(STEP_NS));
    let given = |tag: &Option<String>| tag.clone().filter(|text| !text.is_empty());
    Point::new(measurement, time_ns)
        .tag("rig", Some(&key.rig))
        .tag("tool", given(&key.tool).as_deref())
        .tag("setup", given(&key.setup).as_deref())
        .integer("run", Some(key.run))
}

fn figures(point: Point, run: &OutboxRun) -> Point {
    let point = point.integer("rig_run", Some(run.key.rig_run));
    let point = run.figures.iter().fold(point, |point, (name, value)| point.float(name, *value));
    let point = run.numbers.iter().fold(point, |point, (name, value)| point.integer(name, *value));
    flags(point, &run.flags)
}

/// A flag is a field of its own that is 1 or absent, so that a closing can add one.
fn flags(point: Point, names: &[String]) -> Point {
    names
        .iter()
        .fold(point, |point, name| point.integer(&format!("flag_{}", name.replace('-', "_")), Some(1)))
}

fn gates(run: &OutboxRun) -> impl Iterator<Item = Point> {
    run.gates.iter().zip(1..).map(|(&(after_s, tension_kn, torque_nm), gate)| {
        // Not at the time of the gate itself: that of another run could fall on it.
        start(GATE, &run.key, gate)
            .integer("gate", Some(gate))
            .float("after_s", Some(after_s))
            .float("tension_kN", tension_kn)
            .float("torque_Nm", torque_nm)
    })
}

fn closed(closing: &OutboxClosing) -> Point {
    let reason = format!("closed_by_{}", closing.reason.replace('-', "_"));
    let point = start(RUN, &closing.key, 0)
        .float("closed_s", Some(closing.closed_s))
        .integer(&reason, Some(1))
        .integer("re_pulled", Some(i64::from(closing.re_pulled)))
        .float("re_pulled_level_kN", closing.re_pulled_level_kn)
        .integer("counts", Some(i64::from(closing.counts)))
        .integer("simulated", Some(i64::from(closing.simulated)));
    flags(point, &closing.flags)
}

#[cfg(test)]
mod tests {
    use super::*;
    use boltscribe_analysis::results::Flag;

    fn run() -> OutboxRun {
        OutboxRun {
            key: OutboxKey {
                run: 7,
                rig_run: 3,
                rig: "bench-1".into(),
                setup: Some("ext 75".into()),
                tool: Some(String::new()),
                first_blow_utc_ns: 1_000_000_000,
            },
            figures: vec![("peak_kN", Some(81.5)), ("plateau_kN", None)],
            numbers: vec![("blows", Some(40)), ("contacts", None)],
            gates: vec![(1.0, Some(50.0), None), (3.0, None, None)],
            flags: vec!["zero-shift".into()],
            corrections: 0,
            counts: None,
            simulated: None,
        }
    }

    fn lines(item: &OutboxItem) -> String {
        points(item).iter().map(|point| point.line().unwrap()).collect()
    }

    #[test]
    fn a_run_is_one_point_and_one_for_each_gate() {
        assert_eq!(
            lines(&OutboxItem::Run(Box::new(run()))),
            "boltscribe_run,rig=bench-1,setup=ext\\ 75 run=7i,rig_run=3i,peak_kN=81.5,blows=40i,flag_zero_shift=1i 1000000000\n\
             boltscribe_gate,rig=bench-1,setup=ext\\ 75 run=7i,gate=1i,after_s=1.0,tension_kN=50.0 1001000000\n\
             boltscribe_gate,rig=bench-1,setup=ext\\ 75 run=7i,gate=2i,after_s=3.0 1002000000\n"
        );
    }

    #[test]
    fn a_closing_adds_fields_to_the_point_of_its_run_and_changes_none() {
        let closing = OutboxClosing {
            key: run().key,
            closed_s: 7.25,
            reason: "timed-out".into(),
            re_pulled: true,
            re_pulled_level_kn: Some(82.0),
            flags: vec!["re-pulled".into(), "zero-shift".into()],
            counts: true,
            simulated: false,
        };
        let announced = &points(&OutboxItem::Run(Box::new(run())))[0];
        let closed = &points(&OutboxItem::Closing(Box::new(closing)))[0];
        assert_eq!(
            (&announced.measurement, &announced.tags, announced.time_ns),
            (&closed.measurement, &closed.tags, closed.time_ns)
        );
        for (name, value) in &closed.fields {
            let before = announced.fields.iter().find(|(n, _)| n == name);
            assert!(before.is_none_or(|(_, v)| v == value), "{name}");
        }
        assert!(
            closed
                .line()
                .unwrap()
                .contains("closed_by_timed_out=1i,re_pulled=1i,re_pulled_level_kN=82.0,counts=1i")
        );
    }

    #[test]
    fn corrections_stand_beside_one_another() {
        let at = |corrections| {
            let item =
                OutboxItem::Correction(Box::new(OutboxRun { corrections, counts: Some(false), ..run() }));
            points(&item)[0].time_ns
        };
        assert_eq!((at(1), at(2)), (1_001_000_000, 1_002_000_000));
    }

    #[test]
    fn every_flag_of_the_program_makes_a_field_that_can_be_written() {
        let flags = Flag::ALL.iter().map(|flag| flag.name().to_owned()).collect();
        points(&OutboxItem::Run(Box::new(OutboxRun { flags, ..run() })))[0].line().unwrap();
    }
}
