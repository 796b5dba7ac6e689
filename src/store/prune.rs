//! Old samples away, results kept: what would go, the parts in which it goes, and the tombstones left behind.
//!
//! Only raw codes of closed runs and thinned idle time are pruned. A run's codes and its tombstone change in
//! one transaction, so a crash leaves a run with its samples or with its tombstone, never with neither.

use super::codec::RawBlock;
use super::error::StoreError;
use super::insert::Applied;
use super::insert_block;
use super::reader::Reader;
use super::write::{Refused, RunId, StreamId, Written};
use rusqlite::{Connection, OptionalExtension, params};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::fmt::Write as _;
use utoipa::ToSchema;

/// Runs in one part: some 10 ms of the writer's time.
pub const RUNS_A_PART: u32 = 20;
/// Idle blocks in one part.
pub const IDLE_A_PART: u32 = 500;

/// Number of a pruning.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(transparent)]
pub struct PruningId(pub i64);

/// A part of a pruning, stored in one transaction.
#[derive(Clone, Debug, PartialEq)]
pub enum PruneWrite {
    /// It begins: who, when, why, and how old samples must be.
    Begin {
        /// When.
        utc_ns: i64,
        /// Who.
        who: String,
        /// Why.
        why: String,
        /// Runs whose first blow was before this, and idle time recorded before it.
        before_utc_ns: i64,
    },
    /// The samples of these runs go. One that is open, or does not read back, keeps its samples.
    Runs {
        /// Which pruning.
        pruning: PruningId,
        /// The runs.
        runs: Vec<RunId>,
    },
    /// Idle blocks up to this number go.
    Idle {
        /// Which pruning.
        pruning: PruningId,
        /// The last of them.
        until_block: i64,
    },
}

/// What a run's samples left behind.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct Tombstone {
    /// When they were pruned, nanoseconds since 1970 UTC.
    pub utc_ns: i64,
    /// By whom.
    pub who: String,
    /// Why.
    pub why: String,
    /// How many they were.
    pub samples: u64,
    /// The packed bytes they took.
    pub bytes: u64,
    /// SHA-256 of the decoded codes, as `keeping.sql` says.
    pub sha256: String,
}

/// How much a pruning takes, or has taken.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, ToSchema)]
#[schema(as = PruneAmount)]
pub struct Amount {
    /// Runs that lose their samples.
    pub runs: u64,
    /// Samples of theirs.
    pub samples: u64,
    /// Packed bytes of those.
    pub sample_bytes: u64,
    /// Blocks of idle time.
    pub idle_blocks: u64,
    /// Packed bytes of those.
    pub idle_bytes: u64,
}

/// SHA-256 of a run's codes, whatever the blocks they are packed in.
#[must_use]
pub fn digest(blocks: &[RawBlock]) -> String {
    let mut sum = Sha256::new();
    let mut at = 0;
    while at < blocks.len() {
        let follows =
            |pair: &[RawBlock]| pair[0].first_sample + pair[0].counts.len() as u64 == pair[1].first_sample;
        let more = blocks[at..].windows(2).take_while(|pair| follows(pair)).count();
        let stretch = &blocks[at..=at + more];
        let first_sample = stretch[0].first_sample;
        let samples: u64 = stretch.iter().map(|block| block.counts.len() as u64).sum();
        sum.update(first_sample.to_le_bytes());
        sum.update(samples.to_le_bytes());
        let mut gaps: Vec<(u32, u32)> = Vec::new();
        for block in stretch {
            let bytes: Vec<u8> = block.counts.iter().flat_map(|code| code.to_le_bytes()).collect();
            sum.update(&bytes);
            let shift = (block.first_sample - first_sample) as u32;
            for (from, n) in block.missing.iter().map(|(from, n)| (from + shift, *n)) {
                match gaps.last_mut() {
                    // A gap cut by the end of a block is one gap.
                    Some((start, many)) if *start + *many == from => *many += n,
                    _ => gaps.push((from, n)),
                }
            }
        }
        sum.update((gaps.len() as u32).to_le_bytes());
        for (from, n) in gaps {
            sum.update(from.to_le_bytes());
            sum.update(n.to_le_bytes());
        }
        at += more + 1;
    }
    sum.finalize().iter().fold(String::new(), |mut text, byte| {
        // Writing to a string cannot fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// Stores a part.
pub(super) fn apply(tx: &Connection, part: &PruneWrite) -> Applied {
    match part {
        PruneWrite::Begin { utc_ns, who, why, before_utc_ns } => {
            tx.prepare_cached(
                "INSERT INTO prunings (utc_ns, who, why, before_utc_ns) VALUES (?1, ?2, ?3, ?4)",
            )?
            .execute(params![utc_ns, who, why, before_utc_ns])?;
            Ok(Ok(Written::Pruning(PruningId(tx.last_insert_rowid()))))
        }
        PruneWrite::Runs { pruning, runs } => {
            let Some(before_utc_ns) = before(tx, *pruning)? else {
                return Ok(Err(unknown(*pruning)));
            };
            for run in runs {
                prune_run(tx, *pruning, before_utc_ns, *run)?;
            }
            Ok(Ok(Written::Row))
        }
        PruneWrite::Idle { pruning, until_block } => match before(tx, *pruning)? {
            None => Ok(Err(unknown(*pruning))),
            Some(before_utc_ns) => {
                let key = params![pruning.0, before_utc_ns, until_block];
                tx.prepare_cached(
                    "INSERT INTO idle_tombstones (pruning, stream, from_utc_ns, until_utc_ns, blocks, points, bytes)
                     SELECT ?1, stream, MIN(utc_ns), MAX(utc_ns), COUNT(*), SUM(points),
                            SUM(length(minima) + length(maxima) + length(means))
                     FROM idle_blocks WHERE utc_ns < ?2 AND id <= ?3 GROUP BY stream",
                )?
                .execute(key)?;
                tx.prepare_cached("DELETE FROM idle_blocks WHERE utc_ns < ?1 AND id <= ?2")?
                    .execute(params![before_utc_ns, until_block])?;
                Ok(Ok(Written::Row))
            }
        },
    }
}

fn unknown(pruning: PruningId) -> Refused {
    Refused::Unknown { what: "a part of a pruning".to_owned(), of: format!("pruning {}", pruning.0) }
}

fn before(tx: &Connection, pruning: PruningId) -> rusqlite::Result<Option<i64>> {
    tx.prepare_cached("SELECT before_utc_ns FROM prunings WHERE id = ?1")?
        .query_row([pruning.0], |row| row.get(0))
        .optional()
}

/// Looks again at what was true when the part was asked for: a run may have been opened or pruned since.
fn prune_run(tx: &Connection, pruning: PruningId, before_utc_ns: i64, run: RunId) -> rusqlite::Result<()> {
    let key: Option<(i64, u32)> = tx
        .prepare_cached(
            "SELECT r.stream, r.run_seq FROM runs r
             WHERE r.id = ?1 AND r.first_blow_utc_ns < ?2
               AND EXISTS (SELECT 1 FROM closings c WHERE c.run = r.id)
               AND NOT EXISTS (SELECT 1 FROM tombstones t WHERE t.run = r.id)
               AND NOT EXISTS (SELECT 1 FROM open_runs o WHERE o.stream = r.stream AND o.run_seq = r.run_seq)",
        )?
        .query_row(params![run.0, before_utc_ns], |row| Ok((row.get(0)?, row.get(1)?)))
        .optional()?;
    let Some((stream, run_seq)) = key else { return Ok(()) };
    let read: Result<Vec<RawBlock>, _> =
        insert_block::read(tx, StreamId(stream), run_seq)?.into_iter().collect();
    // Samples that do not read back are evidence of damage, not old samples.
    let Ok(blocks) = read else { return Ok(()) };
    let Some(first) = blocks.first() else { return Ok(()) };
    let samples: usize = blocks.iter().map(|block| block.counts.len()).sum();
    let bytes: i64 = tx
        .prepare_cached("SELECT SUM(length(counts)) FROM blocks WHERE stream = ?1 AND run_seq = ?2")?
        .query_row(params![stream, run_seq], |row| row.get(0))?;
    tx.prepare_cached(
        "INSERT INTO tombstones (run, pruning, first_sample, samples, bytes, sha256)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
    )?
    .execute(params![
        run.0,
        pruning.0,
        first.first_sample as i64,
        samples as i64,
        bytes,
        digest(&blocks)
    ])?;
    tx.prepare_cached("DELETE FROM blocks WHERE stream = ?1 AND run_seq = ?2")?
        .execute(params![stream, run_seq])?;
    Ok(())
}

/// Runs that a pruning takes: old enough, closed, with samples, none of those to keep.
const TAKEN: &str = "FROM runs r
    WHERE r.first_blow_utc_ns < ?1 AND r.id > ?2
      AND r.id NOT IN (SELECT value FROM json_each(?3))
      AND EXISTS (SELECT 1 FROM closings c WHERE c.run = r.id)
      AND EXISTS (SELECT 1 FROM blocks b WHERE b.stream = r.stream AND b.run_seq = r.run_seq)
      AND NOT EXISTS (SELECT 1 FROM open_runs o WHERE o.stream = r.stream AND o.run_seq = r.run_seq)";

impl Reader {
    /// What a pruning would take now.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn prunable(&self, before_utc_ns: i64, keep: &[i64]) -> Result<Amount, StoreError> {
        let keep = serde_json::json!(keep).to_string();
        let sql = format!(
            "SELECT COUNT(DISTINCT r.id), COALESCE(SUM(b.samples), 0), COALESCE(SUM(length(b.counts)), 0)
             {} ",
            TAKEN.replacen(
                "FROM runs r",
                "FROM runs r JOIN blocks b ON b.stream = r.stream AND b.run_seq = r.run_seq",
                1
            )
        );
        let runs = self.first(&sql, params![before_utc_ns, 0, keep], three)?;
        let idle = self.first(
            "SELECT COUNT(*), 0, COALESCE(SUM(length(minima) + length(maxima) + length(means)), 0)
             FROM idle_blocks WHERE utc_ns < ?1",
            [before_utc_ns],
            three,
        )?;
        let ([runs, samples, sample_bytes], [idle_blocks, _, idle_bytes]) =
            (runs.unwrap_or_default(), idle.unwrap_or_default());
        Ok(Amount { runs, samples, sample_bytes, idle_blocks, idle_bytes })
    }

    /// The next runs of a pruning after run `after`, by number.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn next_to_prune(
        &self,
        before_utc_ns: i64,
        after: i64,
        keep: &[i64],
    ) -> Result<Vec<RunId>, StoreError> {
        let keep = serde_json::json!(keep).to_string();
        let sql = format!("SELECT r.id {TAKEN} ORDER BY r.id LIMIT {RUNS_A_PART}");
        self.all(&sql, params![before_utc_ns, after, keep], |row| row.get(0).map(RunId))
    }

    /// The last of the next idle blocks of a pruning; none when there are no more.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn next_idle_to_prune(&self, before_utc_ns: i64) -> Result<Option<i64>, StoreError> {
        let last = self.first(
            "SELECT MAX(id) FROM (SELECT id FROM idle_blocks WHERE utc_ns < ?1 ORDER BY id LIMIT ?2)",
            params![before_utc_ns, IDLE_A_PART],
            |row| row.get::<_, Option<i64>>(0),
        )?;
        Ok(last.flatten())
    }

    /// What a pruning has taken so far.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn pruned(&self, pruning: PruningId) -> Result<Amount, StoreError> {
        let runs = self.first(
            "SELECT COUNT(*), COALESCE(SUM(samples), 0), COALESCE(SUM(bytes), 0)
             FROM tombstones WHERE pruning = ?1",
            [pruning.0],
            three,
        )?;
        let idle = self.first(
            "SELECT COALESCE(SUM(blocks), 0), 0, COALESCE(SUM(bytes), 0) FROM idle_tombstones WHERE pruning = ?1",
            [pruning.0],
            three,
        )?;
        let ([runs, samples, sample_bytes], [idle_blocks, _, idle_bytes]) =
            (runs.unwrap_or_default(), idle.unwrap_or_default());
        Ok(Amount { runs, samples, sample_bytes, idle_blocks, idle_bytes })
    }

    /// What is left of a run's samples, where they were pruned.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn tombstone(&self, run: RunId) -> Result<Option<Tombstone>, StoreError> {
        self.first(
            "SELECT p.utc_ns, p.who, p.why, t.samples, t.bytes, t.sha256
             FROM tombstones t JOIN prunings p ON p.id = t.pruning WHERE t.run = ?1",
            [run.0],
            |row| {
                Ok(Tombstone {
                    utc_ns: row.get(0)?,
                    who: row.get(1)?,
                    why: row.get(2)?,
                    samples: row.get::<_, i64>(3)?.unsigned_abs(),
                    bytes: row.get::<_, i64>(4)?.unsigned_abs(),
                    sha256: row.get(5)?,
                })
            },
        )
    }

    /// Bytes of the file, and those in it that are free and will be written again first.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn room(&self) -> Result<(u64, u64), StoreError> {
        let number = |name: &str| -> Result<u64, StoreError> {
            let value = self.first(&format!("PRAGMA {name}"), [], |row| row.get::<_, i64>(0))?;
            Ok(value.unwrap_or(0).unsigned_abs())
        };
        let page = number("page_size")?;
        Ok((page * number("page_count")?, page * number("freelist_count")?))
    }
}

fn three(row: &rusqlite::Row<'_>) -> rusqlite::Result<[u64; 3]> {
    let numbers: [i64; 3] = [row.get(0)?, row.get(1)?, row.get(2)?];
    Ok(numbers.map(i64::unsigned_abs))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn block(first_sample: u64, counts: &[i32], missing: &[(u32, u32)]) -> RawBlock {
        RawBlock { first_sample, counts: counts.to_vec(), missing: missing.to_vec() }
    }

    #[test]
    fn the_digest_is_that_of_the_codes_however_they_are_packed() {
        let whole = digest(&[block(7, &[1, -2, 3, 4], &[(1, 2)])]);
        let parts = digest(&[block(7, &[1, -2], &[(1, 1)]), block(9, &[3, 4], &[(0, 1)])]);
        assert_eq!(whole, parts);
        // Computed with Python's hashlib over struct.pack('<QQ4iIII', 7, 4, 1, -2, 3, 4, 1, 1, 2).
        assert_eq!(whole, "7060270e8f1af3ada278bb29c267da481a3e5e408311a92e3f72be9aa0b00dbb");
        assert_ne!(whole, digest(&[block(7, &[1, -2, 3, 5], &[(1, 2)])]));
        assert_ne!(whole, digest(&[block(8, &[1, -2, 3, 4], &[(1, 2)])]));
        assert_ne!(whole, digest(&[block(7, &[1, -2, 3, 4], &[(1, 1)])]));
        assert_ne!(whole, digest(&[block(7, &[1, -2], &[(1, 1)]), block(10, &[3, 4], &[(0, 1)])]));
    }
}
