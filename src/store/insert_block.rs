//! Samples to rows: the blocks of an open run, their packing anew once complete, idle time.
//!
//! Called inside the writer's transaction. A run stays in `open_runs` until both its samples and its
//! closing row are there, so what a crash cut off is found at the next start.

use super::codec::{self, Effort, RawBlock};
use super::insert::{Applied, exact_json};
use super::prune;
use super::write::{Refused, StreamId, Written};
use boltscribe_model::control::InForce;
use boltscribe_pipeline::{Block, Thin};
use boltscribe_signal::runs::Opening;
use rusqlite::{Connection, OptionalExtension, Row, params};

/// Stores a block.
pub(super) fn block(tx: &Connection, stream: StreamId, utc_ns: i64, block: &Block) -> Applied {
    match block {
        Block::Open { run_seq, first_sample, rate_hz, in_force, opening } => {
            let begins = (*run_seq, *first_sample, *rate_hz);
            open(tx, stream, utc_ns, begins, (in_force, opening.as_deref()))
        }
        Block::Raw { run_seq, first_sample, counts, missing } => {
            let raw =
                RawBlock { first_sample: *first_sample, counts: counts.clone(), missing: missing.clone() };
            if raw.counts.is_empty() {
                return Ok(Ok(Written::Row));
            }
            let packed = match pack(&raw.counts, Effort::Open) {
                Ok(packed) => packed,
                Err(refused) => return Ok(Err(refused)),
            };
            insert(tx, stream, *run_seq, &raw, &packed)?;
            Ok(Ok(Written::Row))
        }
        Block::End { run_seq } => {
            end(tx, stream, *run_seq)?;
            Ok(Ok(Written::Row))
        }
        Block::Idle { first_sample, rate_hz, samples_per_point, points } => {
            idle(tx, stream, utc_ns, (*first_sample, *rate_hz, *samples_per_point), points)
        }
    }
}

fn pack<T: pco::data_types::Number>(numbers: &[T], effort: Effort) -> Result<Vec<u8>, Refused> {
    codec::pack(numbers, effort)
        .map_err(|detail| Refused::Row { what: "a block of samples".to_owned(), detail })
}

fn open(
    tx: &Connection,
    stream: StreamId,
    utc_ns: i64,
    (run_seq, first_sample, rate_hz): (u32, u64, f64),
    (in_force, opening): (&InForce, Option<&Opening>),
) -> Applied {
    let from = opening.map(exact_json);
    let (Some(tags), false) = (exact_json(in_force), from == Some(None)) else {
        return Ok(Err(Refused::NotRepresentable(format!(
            "the opening of run {run_seq} of stream {}",
            stream.0
        ))));
    };
    tx.prepare_cached(
        "INSERT INTO open_runs (stream, run_seq, utc_ns, first_sample, rate_hz, in_force, opening)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
    )?
    .execute(params![stream.0, run_seq, utc_ns, first_sample as i64, rate_hz, tags, from.flatten()])?;
    Ok(Ok(Written::Row))
}

fn insert(
    tx: &Connection,
    stream: StreamId,
    run_seq: u32,
    block: &RawBlock,
    packed: &[u8],
) -> rusqlite::Result<()> {
    let missing = serde_json::json!(block.missing).to_string();
    tx.prepare_cached(
        "INSERT INTO blocks (stream, run_seq, first_sample, samples, counts, crc32, missing)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
    )?
    .execute(params![
        stream.0,
        run_seq,
        block.first_sample as i64,
        block.counts.len() as i64,
        packed,
        codec::sum(packed),
        missing
    ])?;
    Ok(())
}

/// The blocks of a run in order, each unpacked or with what is wrong with it.
pub(super) fn read(
    connection: &Connection,
    stream: StreamId,
    run_seq: u32,
) -> rusqlite::Result<Vec<Result<RawBlock, (i64, String)>>> {
    let mut select = connection.prepare_cached(
        "SELECT id, first_sample, samples, counts, missing, crc32 FROM blocks
         WHERE stream = ?1 AND run_seq = ?2 ORDER BY first_sample",
    )?;
    let rows = select.query_map(params![stream.0, run_seq], checked)?;
    rows.collect()
}

/// The first block of a run that begins at sample `from` or later.
pub(super) fn read_from(
    connection: &Connection,
    stream: StreamId,
    run_seq: u32,
    from: i64,
) -> rusqlite::Result<Option<Result<RawBlock, (i64, String)>>> {
    connection
        .prepare_cached(
            "SELECT id, first_sample, samples, counts, missing, crc32 FROM blocks
             WHERE stream = ?1 AND run_seq = ?2 AND first_sample >= ?3 ORDER BY first_sample LIMIT 1",
        )?
        .query_row(params![stream.0, run_seq, from], checked)
        .optional()
}

/// A row as a block, or with what is wrong with it.
fn checked(row: &Row<'_>) -> rusqlite::Result<Result<RawBlock, (i64, String)>> {
    let id: i64 = row.get(0)?;
    let (first_sample, samples): (i64, i64) = (row.get(1)?, row.get(2)?);
    let (packed, missing): (Vec<u8>, String) = (row.get(3)?, row.get(4)?);
    let (expected, found) = (row.get::<_, u32>(5)?, codec::sum(&packed));
    if expected != found {
        return Ok(Err((id, format!("expected the sum {expected:08x}, found {found:08x}"))));
    }
    Ok(unpack_row(first_sample, samples, &packed, &missing).map_err(|detail| (id, detail)))
}

fn unpack_row(first_sample: i64, samples: i64, packed: &[u8], missing: &str) -> Result<RawBlock, String> {
    let first_sample = u64::try_from(first_sample).map_err(|_| "its first sample is negative".to_owned())?;
    // A flipped bit in the count must not ask for all the memory there is.
    let samples = usize::try_from(samples)
        .ok()
        .filter(|n| *n <= 1 << 28)
        .ok_or_else(|| format!("expected at most {} samples, found {samples}", 1 << 28))?;
    let missing: Vec<(u32, u32)> = serde_json::from_str(missing).map_err(|error| error.to_string())?;
    Ok(RawBlock { first_sample, counts: codec::unpack(packed, samples)?, missing })
}

/// Marks a run's samples as complete and packs them anew.
pub(super) fn end(tx: &Connection, stream: StreamId, run_seq: u32) -> rusqlite::Result<()> {
    repack(tx, stream, run_seq)?;
    settle(tx, stream, run_seq, "ended")
}

/// Marks a run as closed.
pub(super) fn closed(tx: &Connection, stream: StreamId, run_seq: u32) -> rusqlite::Result<()> {
    settle(tx, stream, run_seq, "closed")
}

fn settle(tx: &Connection, stream: StreamId, run_seq: u32, column: &str) -> rusqlite::Result<()> {
    let key = params![stream.0, run_seq];
    let sql = format!("UPDATE open_runs SET {column} = 1 WHERE stream = ?1 AND run_seq = ?2");
    tx.prepare_cached(&sql)?.execute(key)?;
    let settled = tx
        .prepare_cached("DELETE FROM open_runs WHERE stream = ?1 AND run_seq = ?2 AND ended AND closed")?
        .execute(key)?;
    if settled > 0 { digest(tx, stream, run_seq) } else { Ok(()) }
}

/// Keeps the digest of a run's codes, now that they are complete. Where a block does not read back there is none: a check
/// will name it.
fn digest(tx: &Connection, stream: StreamId, run_seq: u32) -> rusqlite::Result<()> {
    let read: Result<Vec<RawBlock>, _> = read(tx, stream, run_seq)?.into_iter().collect();
    if let Ok(blocks) = read
        && !blocks.is_empty()
    {
        tx.prepare_cached(
            "INSERT INTO sample_digests (run, sha256) SELECT id, ?3 FROM runs WHERE stream = ?1 AND run_seq = ?2",
        )?
        .execute(params![stream.0, run_seq, prune::digest(&blocks)])?;
    }
    Ok(())
}

/// Replaces a run's small blocks by large ones. Where a block does not read back, or the new ones do not
/// give the same codes, the old ones stay: a check will name them.
fn repack(tx: &Connection, stream: StreamId, run_seq: u32) -> rusqlite::Result<()> {
    let read: Result<Vec<RawBlock>, _> = read(tx, stream, run_seq)?.into_iter().collect();
    let Ok(old) = read else {
        return Ok(());
    };
    let mut new = Vec::new();
    for block in codec::regroup(&old) {
        let packed = codec::pack(&block.counts, Effort::Kept);
        match packed {
            Ok(bytes) if codec::unpack(&bytes, block.counts.len()).as_ref() == Ok(&block.counts) => {
                new.push((block, bytes));
            }
            _ => return Ok(()),
        }
    }
    tx.prepare_cached("DELETE FROM blocks WHERE stream = ?1 AND run_seq = ?2")?
        .execute(params![stream.0, run_seq])?;
    for (block, packed) in &new {
        insert(tx, stream, run_seq, block, packed)?;
    }
    Ok(())
}

/// Forgets the samples of what was no run.
pub(super) fn forget(tx: &Connection, stream: StreamId, run_seq: u32) -> rusqlite::Result<()> {
    for table in ["blocks", "open_runs"] {
        let sql = format!("DELETE FROM {table} WHERE stream = ?1 AND run_seq = ?2");
        tx.prepare_cached(&sql)?.execute(params![stream.0, run_seq])?;
    }
    Ok(())
}

/// End of a run's stored samples, seconds since sample 0.
pub(super) fn end_s(
    tx: &Connection,
    stream: StreamId,
    run_seq: u32,
    rate_hz: f64,
) -> rusqlite::Result<Option<f64>> {
    let end: Option<Option<i64>> = tx
        .prepare_cached("SELECT MAX(first_sample + samples) FROM blocks WHERE stream = ?1 AND run_seq = ?2")?
        .query_row(params![stream.0, run_seq], |row| row.get(0))
        .optional()?;
    Ok(end.flatten().map(|samples| samples as f64 / rate_hz))
}

fn idle(
    tx: &Connection,
    stream: StreamId,
    utc_ns: i64,
    (first_sample, rate_hz, samples_per_point): (u64, f64, u32),
    points: &[Thin],
) -> Applied {
    if points.is_empty() {
        return Ok(Ok(Written::Row));
    }
    let minima: Vec<i32> = points.iter().map(|p| p.min).collect();
    let maxima: Vec<i32> = points.iter().map(|p| p.max).collect();
    let means: Vec<f32> = points.iter().map(|p| p.mean).collect();
    let packed = pack(&minima, Effort::Kept)
        .and_then(|a| Ok((a, pack(&maxima, Effort::Kept)?, pack(&means, Effort::Kept)?)));
    let (minima, maxima, means) = match packed {
        Ok(packed) => packed,
        Err(refused) => return Ok(Err(refused)),
    };
    tx.prepare_cached(
        "INSERT INTO idle_blocks
            (stream, utc_ns, first_sample, rate_hz, samples_per_point, points, minima, maxima, means)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
    )?
    .execute(params![
        stream.0,
        utc_ns,
        first_sample as i64,
        rate_hz,
        samples_per_point,
        points.len() as i64,
        minima,
        maxima,
        means
    ])?;
    Ok(Ok(Written::Row))
}
