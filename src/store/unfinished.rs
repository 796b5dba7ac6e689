//! Runs whose recording was cut off before they were announced, with all that is needed to measure them.
//!
//! Reads only; the answer to each is one `Write::Recovered`.

use super::error::StoreError;
use super::insert_block;
use super::reader::Reader;
use super::write::{StreamId, Unfinished};
use boltscribe_pipeline::Block;
use rusqlite::Row;

struct OpenRow {
    stream: i64,
    run_seq: u32,
    opened_utc_ns: i64,
    first_sample: i64,
    rate_hz: f64,
    in_force: String,
    opening: Option<String>,
    rig: String,
    started_utc_ns: i64,
    settings: String,
}

impl OpenRow {
    fn read(row: &Row<'_>) -> rusqlite::Result<Self> {
        Ok(Self {
            stream: row.get(0)?,
            run_seq: row.get(1)?,
            opened_utc_ns: row.get(2)?,
            first_sample: row.get(3)?,
            rate_hz: row.get(4)?,
            in_force: row.get(5)?,
            opening: row.get(6)?,
            rig: row.get(7)?,
            started_utc_ns: row.get(8)?,
            settings: row.get(9)?,
        })
    }
}

/// All of them, or those of one stream, oldest first. Samples end before a block that does not read back or does not follow: what
/// lies behind a hole would be measured at a wrong time.
pub(super) fn unfinished(reader: &Reader, of: Option<StreamId>) -> Result<Vec<Unfinished>, StoreError> {
    let rows = reader.all(
        "SELECT o.stream, o.run_seq, o.utc_ns, o.first_sample, o.rate_hz, o.in_force, o.opening,
                s.rig, s.started_utc_ns, s.settings
         FROM open_runs o JOIN streams s ON s.id = o.stream
         WHERE NOT EXISTS (SELECT 1 FROM runs r WHERE r.stream = o.stream AND r.run_seq = o.run_seq)
           AND (?1 IS NULL OR o.stream = ?1)
         ORDER BY o.stream, o.run_seq",
        [of.map(|stream| stream.0)],
        OpenRow::read,
    )?;
    rows.into_iter().map(|row| complete(reader, row)).collect()
}

fn complete(reader: &Reader, row: OpenRow) -> Result<Unfinished, StoreError> {
    let unreadable = |what: &'static str| {
        move |error: serde_json::Error| StoreError::Unreadable {
            what,
            id: row.stream,
            detail: error.to_string(),
        }
    };
    let settings = serde_json::from_str(&row.settings).map_err(unreadable("the settings of stream"))?;
    let in_force = serde_json::from_str(&row.in_force).map_err(unreadable("the open run of stream"))?;
    let opening = row
        .opening
        .as_deref()
        .map(serde_json::from_str)
        .transpose()
        .map_err(unreadable("the opening of a run of stream"))?;
    let stream = StreamId(row.stream);
    let blocks = insert_block::read(reader.connection(), stream, row.run_seq)
        .map_err(|source| reader.failed(source))?;
    let mut next = row.first_sample.unsigned_abs();
    let mut raw = Vec::new();
    for block in blocks {
        let Ok(block) = block else { break };
        if block.first_sample != next {
            break;
        }
        next += block.counts.len() as u64;
        raw.push(Block::Raw {
            run_seq: row.run_seq,
            first_sample: block.first_sample,
            counts: block.counts,
            missing: block.missing,
        });
    }
    Ok(Unfinished {
        rig: row.rig,
        stream,
        run_seq: row.run_seq,
        stream_started_utc_ns: row.started_utc_ns,
        opened_utc_ns: row.opened_utc_ns,
        settings,
        open: Block::Open {
            run_seq: row.run_seq,
            first_sample: row.first_sample.unsigned_abs(),
            rate_hz: row.rate_hz,
            in_force: Box::new(in_force),
            opening: opening.map(Box::new),
        },
        raw,
    })
}
