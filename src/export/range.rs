//! Everything a rig read between two times as a table: runs sample by sample or thinned, idle time thinned.
//!
//! A row is a point: one sample, or the least, greatest and mean of some. Readings are the calibration's line
//! with no zero taken off, because how the zero wanders is what such a table shows. Missing samples are not
//! rows. A run that was not announced yet is not in it.

use super::samples::{reading_kn, to_1e9};
use super::table::{Cell, Column, Form, Table, When, utc};
use boltscribe_model::constants::Calibration;
use boltscribe_pipeline::Thin;
use boltscribe_store::{RunId, StreamId};
use serde::{Deserialize, Serialize};

/// What comes before the points.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct RangeHead {
    /// The rig.
    pub rig: String,
    /// First moment.
    pub from_utc_ns: i64,
    /// The moment after the last.
    pub to_utc_ns: i64,
    /// Samples of runs are thinned too.
    pub thinned: bool,
}

/// Points that follow each other.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RangePiece {
    /// The run they belong to; none: idle time.
    pub run: Option<RunId>,
    /// Their stream.
    pub stream: StreamId,
    /// Wall time of the first sample.
    pub utc_ns: i64,
    /// Index in the stream of the first sample.
    pub first_sample: u64,
    /// Samples a second of the device's clock.
    pub rate_hz: f64,
    /// Device seconds in a second: 1 on real hardware.
    pub time_scale: u32,
    /// A simulated device answered on their stream.
    pub simulated: bool,
    /// Samples in a point; the last one may hold fewer.
    pub samples_per_point: u32,
    /// The calibration that held; none: there was none.
    pub calibration: Option<Calibration>,
    /// The points.
    pub points: Points,
}

/// Points.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Points {
    /// Single samples.
    Raw(Vec<i32>),
    /// Least, greatest and mean of each.
    Thin(Vec<Thin>),
}

/// Its columns.
pub const COLUMNS: &[Column] = &[
    Column::new("utc", Form::Time, "wall time of the middle of the point"),
    Column::real("time_s", "s", "the same, since sample 0 of the stream"),
    Column::new("stream", Form::Whole, "number of the stream: a new one begins whenever the daemon starts"),
    Column::new("run", Form::Whole, "the run it belongs to; absent in idle time"),
    Column::new("samples", Form::Whole, "samples in a point; the last point of a stretch may hold fewer"),
    Column::real("reading_kN", "kN", "mean, by the calibration's line, no zero taken off"),
    Column::real("reading_min_kN", "kN", "least"),
    Column::real("reading_max_kN", "kN", "greatest"),
    Column::real("counts", "1", "mean of the converter's codes"),
    Column::new("counts_min", Form::Whole, "least code"),
    Column::new("counts_max", Form::Whole, "greatest code"),
    Column::new("calibration", Form::Text, "name of the calibration"),
    Column::new("simulated", Form::Flag, "comes from a simulated device"),
];

/// The table, with what a reader must know as notes.
#[must_use]
pub fn table(head: &RangeHead) -> Table {
    let kept = if head.thinned { "thinned" } else { "single samples" };
    let notes = [
        ("boltscribe", "readings of a rig between two times".to_owned()),
        ("rig", head.rig.clone()),
        ("from", utc(head.from_utc_ns)),
        ("to", utc(head.to_utc_ns)),
        ("runs", kept.to_owned()),
        ("idle_time", "least, greatest and mean of points of about 0.1 s".to_owned()),
        ("zero", "none is taken off".to_owned()),
        ("missing_samples", "a missing sample is no row".to_owned()),
    ];
    let notes = notes.into_iter().map(|(key, value)| (key.to_owned(), value)).collect();
    let tags = vec![("rig", head.rig.clone())];
    Table { name: "readings", columns: COLUMNS, notes, when: When::Column("utc"), tags }
}

impl RangePiece {
    /// How many points.
    #[must_use]
    pub fn len(&self) -> usize {
        match &self.points {
            Points::Raw(counts) => counts.len(),
            Points::Thin(points) => points.len(),
        }
    }

    /// Whether there is none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Samples from the first one to the middle of a point.
    fn middle(&self, point: usize) -> f64 {
        let per_point = f64::from(self.samples_per_point);
        point as f64 * per_point + (per_point - 1.0) / 2.0
    }

    /// Wall time of the middle of a point.
    #[must_use]
    pub fn utc_ns_of(&self, point: usize) -> i64 {
        let seconds = self.middle(point) / self.rate_hz / f64::from(self.time_scale.max(1));
        self.utc_ns.saturating_add((seconds * 1e9).round() as i64)
    }

    /// Keeps the points whose middle lies in [from, to).
    #[must_use]
    pub fn within(mut self, from_utc_ns: i64, to_utc_ns: i64) -> Self {
        let inside = |point: &usize| (from_utc_ns..to_utc_ns).contains(&self.utc_ns_of(*point));
        let first = (0..self.len()).find(inside).unwrap_or(self.len());
        let end = (first..self.len()).rev().find(inside).map_or(first, |last| last + 1);
        let skipped = first as u64 * u64::from(self.samples_per_point);
        let skipped_s = skipped as f64 / self.rate_hz / f64::from(self.time_scale.max(1));
        self.utc_ns = self.utc_ns.saturating_add((skipped_s * 1e9).round() as i64);
        self.first_sample += skipped;
        self.points = match self.points {
            Points::Raw(counts) => Points::Raw(counts[first..end].to_vec()),
            Points::Thin(points) => Points::Thin(points[first..end].to_vec()),
        };
        self
    }

    /// Its rows.
    pub fn rows(&self) -> impl Iterator<Item = [Cell; 13]> + '_ {
        (0..self.len()).map(move |point| {
            let (min, max, mean) = match &self.points {
                Points::Raw(counts) => (counts[point], counts[point], f64::from(counts[point])),
                Points::Thin(points) => {
                    let thin = points[point];
                    (thin.min, thin.max, f64::from(thin.mean))
                }
            };
            let reading = |code: f64| self.calibration.as_ref().map(|line| to_1e9(reading_kn(line, code)));
            // Where tension falls with counts, the least code is the greatest tension.
            let (a, b) = (reading(f64::from(min)), reading(f64::from(max)));
            let (low, high) = if a > b { (b, a) } else { (a, b) };
            let time_s = (self.first_sample as f64 + self.middle(point)) / self.rate_hz;
            [
                Cell::Time(self.utc_ns_of(point)),
                Cell::Real(to_1e9(time_s)),
                Cell::Whole(self.stream.0),
                Cell::whole(self.run.map(|run| run.0)),
                Cell::Whole(i64::from(self.samples_per_point)),
                Cell::real(reading(mean)),
                Cell::real(low),
                Cell::real(high),
                Cell::Real(mean),
                Cell::Whole(i64::from(min)),
                Cell::Whole(i64::from(max)),
                Cell::text(self.calibration.as_ref().map(|line| line.id.as_str())),
                Cell::Flag(self.simulated),
            ]
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn piece(slope: f64) -> RangePiece {
        RangePiece {
            run: None,
            stream: StreamId(3),
            utc_ns: 1_000_000_000,
            first_sample: 500,
            rate_hz: 1000.0,
            time_scale: 1,
            simulated: false,
            samples_per_point: 100,
            calibration: Some(Calibration {
                id: "c".into(),
                coefficients_kn: vec![0.5, slope],
                nominal: false,
                range_kn: None,
            }),
            points: Points::Thin((0..5).map(|i| Thin { min: i, max: 10 + i, mean: 5.5 }).collect()),
        }
    }

    #[test]
    fn only_points_between_the_times_stay_and_keep_their_own() {
        let whole = piece(1.0);
        assert_eq!(whole.utc_ns_of(0), 1_049_500_000);
        let cut = whole.clone().within(1_149_500_000, 1_349_500_000);
        assert_eq!((cut.len(), cut.first_sample), (2, 600));
        assert_eq!(cut.utc_ns_of(0), whole.utc_ns_of(1));
        assert!(whole.clone().within(0, 1_000).is_empty());
        assert_eq!(whole.clone().within(0, i64::MAX), whole);
    }

    #[test]
    fn the_least_reading_is_the_least_also_where_tension_falls_with_counts() {
        for slope in [1.0, -1.0] {
            let piece = piece(slope);
            for row in piece.rows() {
                let [.., mean, low, high, _, _, _, _, _] = &row;
                let (Cell::Real(mean), Cell::Real(low), Cell::Real(high)) = (mean, low, high) else {
                    panic!("{row:?}")
                };
                assert!(low <= mean && mean <= high, "{row:?}");
            }
        }
    }
}
