//! Samples block by block, for taking them out of the store: of one run, and of a rig between two times.
//!
//! One block is unpacked at a time, so a run or a day of any length is read in bounded memory. Raw codes only:
//! whoever writes them converts them.

use super::codec::{self, RawBlock};
use super::error::StoreError;
use super::insert_block;
use super::reader::Reader;
use super::write::{RunId, StreamId};
use boltscribe_model::constants::Calibration;
use boltscribe_pipeline::{Settings, Thin};
use rusqlite::{OptionalExtension, params};
use serde::{Deserialize, Serialize};

/// Most time by which samples of a run stand away from its first blow: runs last 5 minutes at most.
const RUN_REACH_NS: i64 = 400_000_000_000;

/// Where the samples of a run stand.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RunSpan {
    /// The run.
    pub run: RunId,
    /// Its rig.
    pub rig: String,
    /// Its stream.
    pub stream: StreamId,
    /// Its number in the stream.
    pub run_seq: u32,
    /// Wall time of its first blow.
    pub first_blow_utc_ns: i64,
    /// The same in seconds since sample 0 of the stream.
    pub first_blow_s: f64,
    /// Samples a second.
    pub rate_hz: f64,
    /// Name of the calibration it was measured with.
    pub calibration: String,
    /// Codes stored, those that stand for missing samples too.
    pub samples: u64,
}

/// A stream and what is known of all of it.
#[derive(Clone, Debug, PartialEq)]
pub struct StreamSpan {
    /// Its number.
    pub id: StreamId,
    /// When it began.
    pub started_utc_ns: i64,
    /// Device seconds in a second: 1 on real hardware.
    pub time_scale: u32,
    /// A simulated device answered on it.
    pub simulated: bool,
}

/// Thinned points that follow each other.
#[derive(Clone, Debug, PartialEq)]
pub struct IdleBlock {
    /// Its row.
    pub id: i64,
    /// Wall time of its first sample.
    pub utc_ns: i64,
    /// Index in the stream of its first sample.
    pub first_sample: u64,
    /// Samples a second.
    pub rate_hz: f64,
    /// Samples in a point; the last one may hold fewer.
    pub samples_per_point: u32,
    /// The points.
    pub points: Vec<Thin>,
}

/// Columns of a run's span; the sum of its samples stands last.
const SPAN: &str = "r.id, r.rig, r.stream, r.run_seq, r.first_blow_utc_ns, r.first_blow_s, r.rate_hz,
    r.calibration, (SELECT COALESCE(SUM(samples), 0) FROM blocks b
                    WHERE b.stream = r.stream AND b.run_seq = r.run_seq)";

fn span(row: &rusqlite::Row<'_>) -> rusqlite::Result<RunSpan> {
    Ok(RunSpan {
        run: RunId(row.get(0)?),
        rig: row.get(1)?,
        stream: StreamId(row.get(2)?),
        run_seq: row.get(3)?,
        first_blow_utc_ns: row.get(4)?,
        first_blow_s: row.get(5)?,
        rate_hz: row.get(6)?,
        calibration: row.get(7)?,
        samples: row.get::<_, i64>(8)?.max(0) as u64,
    })
}

impl Reader {
    /// Where the samples of a run stand; none where there is no such run.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn run_span(&self, run: RunId) -> Result<Option<RunSpan>, StoreError> {
        self.first(
            &format!("SELECT {SPAN} FROM runs r WHERE r.id = ?1 AND r.stream IS NOT NULL"),
            [run.0],
            span,
        )
    }

    /// The first run of a stream after `run_seq` whose samples may reach into the time between.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn span_after(
        &self,
        stream: StreamId,
        run_seq: u32,
        (from_utc_ns, to_utc_ns): (i64, i64),
    ) -> Result<Option<RunSpan>, StoreError> {
        let sql = format!(
            "SELECT {SPAN} FROM runs r WHERE r.stream = ?1 AND r.run_seq > ?2
             AND +r.first_blow_utc_ns BETWEEN ?3 AND ?4 ORDER BY r.run_seq LIMIT 1"
        );
        let from = from_utc_ns.saturating_sub(RUN_REACH_NS);
        let to = to_utc_ns.saturating_add(RUN_REACH_NS);
        self.first(&sql, params![stream.0, run_seq, from, to], span)
    }

    /// The first block of a run whose first sample is `from` or later.
    ///
    /// # Errors
    /// The store cannot be read, or the block does not unpack to the codes it was counted with.
    pub fn raw_block(
        &self,
        stream: StreamId,
        run_seq: u32,
        from: u64,
    ) -> Result<Option<RawBlock>, StoreError> {
        let from = i64::try_from(from).unwrap_or(i64::MAX);
        let read = insert_block::read_from(self.connection(), stream, run_seq, from);
        let block = read.map_err(|source| self.failed(source))?;
        block.transpose().map_err(|(id, detail)| StoreError::Unreadable { what: "block", id, detail })
    }

    /// Streams of a rig that began before `to_utc_ns`, in order, and were not over before `from_utc_ns`: a
    /// rig has one at a time.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn streams_between(
        &self,
        rig: &str,
        (from_utc_ns, to_utc_ns): (i64, i64),
    ) -> Result<Vec<StreamSpan>, StoreError> {
        self.all(
            "SELECT id, started_utc_ns, COALESCE((SELECT time_scale FROM identities i WHERE i.stream = s.id
                                                  ORDER BY i.id DESC LIMIT 1), 1),
                    COALESCE((SELECT MAX(i.simulated) FROM identities_told i WHERE i.stream = s.id), 0)
             FROM streams s WHERE rig = ?1 AND started_utc_ns <= ?3
             AND COALESCE((SELECT n.started_utc_ns FROM streams n WHERE n.rig = ?1 AND n.id > s.id
                           ORDER BY n.id LIMIT 1), ?2) >= ?2
             ORDER BY id",
            params![rig, from_utc_ns, to_utc_ns],
            |row| {
                Ok(StreamSpan {
                    id: StreamId(row.get(0)?),
                    started_utc_ns: row.get(1)?,
                    time_scale: row.get(2)?,
                    simulated: row.get(3)?,
                })
            },
        )
    }

    /// Whether anything is known of a rig of this name.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn knows_rig(&self, rig: &str) -> Result<bool, StoreError> {
        Ok(self.first("SELECT 1 FROM rigs WHERE rig = ?1", [rig], |_| Ok(()))?.is_some())
    }

    /// The first thinned block of a stream whose first sample is `from` or later and that begins between the
    /// two times.
    ///
    /// # Errors
    /// The store cannot be read, or the block does not unpack to the points it was counted with.
    pub fn idle_block(
        &self,
        stream: StreamId,
        from: u64,
        (from_utc_ns, to_utc_ns): (i64, i64),
    ) -> Result<Option<IdleBlock>, StoreError> {
        let from = i64::try_from(from).unwrap_or(i64::MAX);
        let row = self
            .connection()
            .prepare_cached(
                "SELECT id, utc_ns, first_sample, rate_hz, samples_per_point, points, minima, maxima, means
                 FROM idle_blocks WHERE stream = ?1 AND first_sample >= ?2 AND utc_ns BETWEEN ?3 AND ?4
                 ORDER BY first_sample LIMIT 1",
            )
            .and_then(|mut select| {
                let params = params![stream.0, from, from_utc_ns, to_utc_ns];
                select.query_row(params, |row| Ok(idle(row))).optional()
            })
            .map_err(|source| self.failed(source))?;
        let Some(read) = row else {
            return Ok(None);
        };
        let unpacked = read.map_err(|source| self.failed(source))?;
        unpacked.map(Some).map_err(|(id, detail)| StoreError::Unreadable { what: "idle block", id, detail })
    }

    /// The calibration of a stream at a moment: the latest one told since it began, else that of its settings.
    ///
    /// # Errors
    /// The store cannot be read, or a calibration does not read back.
    pub fn calibration_at(
        &self,
        rig: &str,
        stream: &StreamSpan,
        utc_ns: i64,
    ) -> Result<Option<Calibration>, StoreError> {
        let told: Option<(i64, String)> = self.first(
            "SELECT id, command FROM commands WHERE rig = ?1 AND kind = 'calibrate'
             AND utc_ns BETWEEN ?2 AND ?3 ORDER BY id DESC LIMIT 1",
            params![rig, stream.started_utc_ns, utc_ns],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )?;
        if let Some((id, text)) = told {
            return super::reader::calibration_of(id, &text).map(Some);
        }
        let settings = self.first("SELECT settings FROM streams WHERE id = ?1", [stream.id.0], |row| {
            row.get::<_, String>(0)
        })?;
        Ok(settings.and_then(|text| serde_json::from_str::<Settings>(&text).ok()?.calibration))
    }
}

type Unpacked = Result<IdleBlock, (i64, String)>;

fn idle(row: &rusqlite::Row<'_>) -> rusqlite::Result<Unpacked> {
    let id: i64 = row.get(0)?;
    let (first_sample, points): (i64, i64) = (row.get(2)?, row.get(5)?);
    let (minima, maxima, means): (Vec<u8>, Vec<u8>, Vec<u8>) = (row.get(6)?, row.get(7)?, row.get(8)?);
    let (utc_ns, rate_hz, samples_per_point) = (row.get(1)?, row.get(3)?, row.get(4)?);
    let unpack = || -> Result<Vec<Thin>, String> {
        let count = usize::try_from(points)
            .ok()
            .filter(|n| *n <= codec::SAMPLES_PER_BLOCK_MAX)
            .ok_or_else(|| format!("expected a number of points, found {points}"))?;
        let least: Vec<i32> = codec::unpack(&minima, count)?;
        let greatest: Vec<i32> = codec::unpack(&maxima, count)?;
        let mean: Vec<f32> = codec::unpack(&means, count)?;
        let both = least.into_iter().zip(greatest).zip(mean);
        Ok(both.map(|((min, max), mean)| Thin { min, max, mean }).collect())
    };
    let first_sample = first_sample.max(0) as u64;
    Ok(unpack()
        .map(|points| IdleBlock { id, utc_ns, first_sample, rate_hz, samples_per_point, points })
        .map_err(|detail| (id, detail)))
}
