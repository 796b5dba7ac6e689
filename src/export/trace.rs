//! The raw samples of one run as a table: `time_s`, `tension_kN`, `counts`.
//!
//! Times are those of the run's figures. Tension is that of its figures too: the calibration's line less the
//! idle reading before the first blow. Missing samples are not rows. `analyze` reads such a file back.

use super::samples::{Stretch, reading_kn, to_1e9};
use super::table::{Cell, Column, Form, Table, When, utc};
use boltscribe_model::constants::Calibration;
use boltscribe_store::{RunExport, RunLine};
use serde::{Deserialize, Serialize};

/// What comes before the samples.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TraceHead {
    /// The run.
    pub run: RunExport,
    /// The calibration it was measured with; none: it is not stored.
    pub calibration: Option<Calibration>,
    /// Codes stored, those that stand for missing samples too.
    pub samples: u64,
}

/// Its columns.
pub const COLUMNS: &[Column] = &[
    Column::real("time_s", "s", "since sample 0 of the stream"),
    Column::real("tension_kN", "kN", "above the idle reading before the first blow"),
    Column::new("counts", Form::Whole, "the converter's code as recorded"),
];

/// The same of a simulated run: the mark stands in each row, because not every kind of file has notes.
pub const COLUMNS_OF_SIMULATED: &[Column] = &[
    COLUMNS[0],
    COLUMNS[1],
    COLUMNS[2],
    Column::new("simulated", Form::Flag, "comes from a simulated device; no such column: it does not"),
];

/// The table, with what a reader must know as notes.
#[must_use]
pub fn table(head: &TraceHead) -> Table {
    let run = &head.run;
    let mut notes: Vec<(String, String)> = Vec::new();
    let mut note = |key: &str, value: String| notes.push((key.to_owned(), value));
    note("boltscribe", "samples of a run as recorded".into());
    if run.line.simulated {
        note("simulated", "from a simulated device, no hardware".into());
    }
    note("run", run.line.id.0.to_string());
    note("rig", run.line.rig.clone());
    note("rig_run", run.line.rig_run.to_string());
    note("first_blow_utc", utc(run.line.utc_ns));
    for (key, tag) in [("setup", &run.line.setup), ("tool", &run.line.tool), ("bolt", &run.line.bolt)] {
        if let Some(tag) = tag {
            note(key, tag.clone());
        }
    }
    let figures = [
        ("rate_hz", run.rate_hz),
        ("first_blow_s", run.line.first_blow_s),
        ("last_blow_s", run.line.last_blow_s),
    ];
    for (key, figure) in figures.into_iter().filter_map(|(key, figure)| Some((key, figure?))) {
        note(key, figure.to_string());
    }
    if let Some(zero_kn) = run.zero_kn {
        note("zero_kN", format!("{zero_kn} (taken off in tension_kN)"));
    }
    match &head.calibration {
        Some(calibration) => {
            note("calibration", serde_json::to_string(calibration).unwrap_or_default());
        }
        None => {
            let name = run.line.calibration.as_deref().unwrap_or("none");
            note("calibration", format!("{name}, not stored: tension_kN is empty"));
        }
    }
    if !run.line.flags.is_empty() {
        note("flags", run.line.flags.join(" "));
    }
    note(
        "missing_samples",
        format!("{} inside the run; a missing sample is no row", run.missing.unwrap_or(0)),
    );
    let first_blow_ns = (run.line.first_blow_s.unwrap_or(0.0) * 1e9).round() as i64;
    let when = When::Since { utc_ns: run.line.utc_ns.saturating_sub(first_blow_ns), seconds: "time_s" };
    let columns = if run.line.simulated { COLUMNS_OF_SIMULATED } else { COLUMNS };
    Table { name: "trace", columns, notes, when, tags: tags(&run.line) }
}

fn tags(run: &RunLine) -> Vec<(&'static str, String)> {
    let given = [("setup", &run.setup), ("tool", &run.tool)];
    let given = given.into_iter().filter_map(|(key, tag)| Some((key, tag.clone()?)));
    [("rig", run.rig.clone()), ("run", run.id.0.to_string())].into_iter().chain(given).collect()
}

/// The rows of a stretch.
pub fn rows<'a>(head: &'a TraceHead, stretch: &'a Stretch) -> impl Iterator<Item = Vec<Cell>> + 'a {
    // A run with samples has a zero and a rate: the store demands them of every measured run.
    let zero_kn = head.run.zero_kn.unwrap_or(0.0);
    let rate_hz = head.run.rate_hz.unwrap_or(f64::NAN);
    stretch.counts.iter().enumerate().map(move |(offset, &code)| {
        let kn = head.calibration.as_ref().map(|c| to_1e9(reading_kn(c, f64::from(code)) - zero_kn));
        let sample = stretch.first_sample + offset as u64;
        let at = Cell::Real(to_1e9(sample as f64 / rate_hz));
        let mark = head.run.line.simulated.then_some(Cell::Flag(true));
        [at, Cell::real(kn), Cell::Whole(i64::from(code))].into_iter().chain(mark).collect()
    })
}
