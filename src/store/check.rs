//! The check of a whole store: what SQLite says, and what this program's own rows must satisfy.
//!
//! Reads only, so it also runs on a copy. Findings are sentences; at most [`FAULTS_MAX`] are kept.

use super::codec::RawBlock;
use super::error::StoreError;
use super::insert_block;
use super::migrate::{KEPT, SCHEMA_VERSION};
use super::prune;
use super::reader::Reader;
use super::verify::Head;
use super::write::{RunId, StreamId};
use boltscribe_analysis::results::{Closed, Entry, RunResult};
use serde::Serialize;
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// Most faults in one report; further ones are only counted.
pub const FAULTS_MAX: usize = 1000;

/// What a check found.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, ToSchema)]
pub struct CheckReport {
    /// Nothing was found.
    pub ok: bool,
    /// Version of the schema.
    pub schema_version: u32,
    /// Version of SQLite.
    pub sqlite: String,
    /// Rows by table.
    pub rows: BTreeMap<String, u64>,
    /// Raw samples unpacked and counted.
    pub samples: u64,
    /// Bytes they take.
    pub sample_bytes: u64,
    /// Runs whose samples were pruned, each with its tombstone.
    pub pruned_runs: u64,
    /// The last link of the audit chain; null in a store without rows.
    pub audit_head: Option<Head>,
    /// What is wrong.
    pub faults: Vec<String>,
    /// Findings beyond those kept.
    pub further_faults: u64,
}

impl CheckReport {
    pub(super) fn find(&mut self, finding: String) {
        if self.faults.len() < FAULTS_MAX {
            self.faults.push(finding);
        } else {
            self.further_faults += 1;
        }
    }
}

impl Reader {
    /// Checks everything. Takes as long as reading the whole store takes.
    ///
    /// # Errors
    /// The store is so damaged that it cannot be read at all; smaller damage is a finding.
    pub fn check(&self) -> Result<CheckReport, StoreError> {
        let mut report = CheckReport { sqlite: rusqlite::version().to_owned(), ..CheckReport::default() };
        self.check_file(&mut report)?;
        self.check_triggers(&mut report)?;
        self.count_rows(&mut report)?;
        self.check_numbers(&mut report)?;
        self.check_runs(&mut report)?;
        self.check_closings(&mut report)?;
        self.check_attempts(&mut report)?;
        self.check_idle(&mut report)?;
        self.check_versions(&mut report)?;
        self.check_outbox(&mut report)?;
        self.check_audit(&mut report)?;
        report.ok = report.faults.is_empty();
        Ok(report)
    }

    /// The chain names what changed in any kept row, these checks say what of it does not fit.
    fn check_audit(&self, report: &mut CheckReport) -> Result<(), StoreError> {
        let audit = self.verify(None)?;
        report.audit_head = audit.head;
        for fault in audit.faults {
            report.find(fault);
        }
        report.further_faults += audit.further_faults;
        Ok(())
    }

    fn check_file(&self, report: &mut CheckReport) -> Result<(), StoreError> {
        let integrity = self.all("PRAGMA integrity_check(100)", [], |row| row.get::<_, String>(0))?;
        for line in integrity.into_iter().filter(|line| line != "ok") {
            report.find(format!("SQLite: {line}"));
        }
        let orphans = self.all("PRAGMA foreign_key_check", [], |row| {
            Ok(format!(
                "table {} row {:?} refers to a row of {} that does not exist",
                row.get::<_, String>(0)?,
                row.get::<_, Option<i64>>(1)?,
                row.get::<_, String>(2)?
            ))
        })?;
        for finding in orphans {
            report.find(finding);
        }
        let version = self.first("PRAGMA user_version", [], |row| row.get::<_, i64>(0))?;
        report.schema_version = version.unwrap_or(0) as u32;
        if report.schema_version != SCHEMA_VERSION {
            let found = report.schema_version;
            report.find(format!("expected schema version {SCHEMA_VERSION}, found {found}"));
        }
        Ok(())
    }

    fn check_triggers(&self, report: &mut CheckReport) -> Result<(), StoreError> {
        let found = self.all("SELECT name FROM sqlite_schema WHERE type = 'trigger'", [], |row| {
            row.get::<_, String>(0)
        })?;
        let mut expected =
            vec!["runs_are_numbered_without_gaps".to_owned(), "runs_name_their_source".to_owned()];
        expected.extend(["insert", "delete", "update"].map(|verb| format!("outbox_counts_{verb}")));
        for table in KEPT {
            expected.extend(["UPDATE", "DELETE"].map(|verb| format!("{table}_refuses_{verb}")));
        }
        for name in expected.iter().filter(|name| !found.contains(name)) {
            report.find(format!("the trigger {name} is gone: rows may have been changed"));
        }
        Ok(())
    }

    fn check_outbox(&self, report: &mut CheckReport) -> Result<(), StoreError> {
        let counted = self.first(
            "SELECT COUNT(*) FILTER (WHERE reason IS NULL),
                    COUNT(*) FILTER (WHERE reason IS NULL AND kind = 'health'),
                    COUNT(*) FILTER (WHERE reason IS NOT NULL) FROM outbox",
            [],
            |row| Ok([row.get::<_, i64>(0)?, row.get(1)?, row.get(2)?].map(i64::unsigned_abs)),
        )?;
        let told = self.outbox_status()?;
        let told = [told.waiting, told.waiting_health, told.quarantined];
        if counted != Some(told) {
            report.find(format!("the outbox says it holds {told:?} rows, found {counted:?}"));
        }
        Ok(())
    }

    fn count_rows(&self, report: &mut CheckReport) -> Result<(), StoreError> {
        for table in KEPT.into_iter().chain(["blocks", "idle_blocks", "open_runs", "outbox", "rests"]) {
            let sql = format!("SELECT COUNT(*) FROM {table}");
            let rows = self.first(&sql, [], |row| row.get::<_, i64>(0))?;
            report.rows.insert(table.to_owned(), rows.unwrap_or(0).unsigned_abs());
        }
        Ok(())
    }

    fn check_numbers(&self, report: &mut CheckReport) -> Result<(), StoreError> {
        let series = self.all(
            "SELECT 'the store', COUNT(*), COALESCE(MIN(id), 1), COALESCE(MAX(id), 0) FROM runs
             UNION ALL
             SELECT 'rig ' || rig, COUNT(*), MIN(rig_run), MAX(rig_run) FROM runs GROUP BY rig",
            [],
            |row| {
                let numbers: [i64; 3] = [row.get(1)?, row.get(2)?, row.get(3)?];
                Ok((row.get::<_, String>(0)?, numbers))
            },
        )?;
        for (whose, [count, least, greatest]) in series {
            if least != 1 || greatest != count {
                report.find(format!(
                    "the runs of {whose} have gaps: expected {count} numbered from 1, found {least} to {greatest}"
                ));
            }
        }
        Ok(())
    }

    fn check_runs(&self, report: &mut CheckReport) -> Result<(), StoreError> {
        // A page of numbers at a time: the documents of a million runs do not fit into memory.
        let mut after = 0_i64;
        loop {
            let page = self.all(
                "SELECT id, stream, run_seq, result,
                        (SELECT COUNT(*) FROM blows WHERE run = id) + (SELECT COUNT(*) FROM gates WHERE run = id)
                 FROM runs WHERE id > ?1 ORDER BY id LIMIT 100",
                [after],
                |row| {
                    let key: (i64, Option<i64>, Option<u32>) = (row.get(0)?, row.get(1)?, row.get(2)?);
                    Ok((key, row.get::<_, String>(3)?, row.get::<_, i64>(4)?))
                },
            )?;
            let Some(last) = page.last() else {
                return Ok(());
            };
            after = last.0.0;
            for ((id, stream, run_seq), text, parts) in page {
                match (Entry::from_json(&text), stream.zip(run_seq)) {
                    (Ok(Entry::Measured(result)), Some((stream, run_seq))) => {
                        self.check_measured(report, id, &result, &text)?;
                        self.check_samples(report, (id, StreamId(stream), run_seq), &result)?;
                    }
                    (Ok(Entry::ByHand(read)), None) if parts == 0 => {
                        self.check_reading(report, id, &read, &text)?;
                    }
                    (Ok(_), _) => report.find(format!("run {id}: its rows are not those of its document")),
                    (Err(error), _) => report.find(format!("run {id}: its document does not read: {error}")),
                }
            }
        }
    }

    fn check_samples(
        &self,
        report: &mut CheckReport,
        (id, stream, run_seq): (i64, StreamId, u32),
        result: &RunResult,
    ) -> Result<(), StoreError> {
        let blocks = insert_block::read(self.connection(), stream, run_seq).map_err(|e| self.failed(e))?;
        let tombstone = self.tombstone(RunId(id))?;
        match (blocks.is_empty(), tombstone) {
            (false, None) => {}
            (true, Some(stone)) => {
                report.pruned_runs += 1;
                if self.sample_digest(id)?.is_some_and(|sha256| sha256 != stone.sha256) {
                    report.find(format!(
                        "run {id}: its samples were not those that were recorded when they were pruned"
                    ));
                }
                return Ok(());
            }
            (true, None) => {
                report.find(format!("run {id}: it has no samples"));
                return Ok(());
            }
            (false, Some(_)) => {
                report.find(format!("run {id}: it has samples, and a tombstone that says they are gone"));
            }
        }
        let bytes = self.first(
            "SELECT SUM(length(counts)) FROM blocks WHERE stream = ?1 AND run_seq = ?2",
            rusqlite::params![stream.0, run_seq],
            |row| row.get::<_, i64>(0),
        )?;
        report.sample_bytes += bytes.unwrap_or(0).unsigned_abs();
        self.check_digest(report, id, &blocks)?;
        let mut next: Option<u64> = None;
        for block in blocks {
            let RawBlock { first_sample, counts, .. } = match block {
                Ok(block) => block,
                Err((block, detail)) => {
                    report.find(format!("run {id}: block {block} does not unpack: {detail}"));
                    next = None;
                    continue;
                }
            };
            if next.is_some_and(|next| next != first_sample) {
                report.find(format!(
                    "run {id}: expected its samples to go on at {}, found {first_sample}",
                    next.unwrap_or(0)
                ));
            }
            report.samples += counts.len() as u64;
            next = Some(first_sample + counts.len() as u64);
        }
        let last_blow = (result.record.last_blow_s * result.record.rate_hz) as u64;
        if next.is_some_and(|next| next < last_blow) {
            report.find(format!("run {id}: its samples end before its last blow"));
        }
        Ok(())
    }

    fn sample_digest(&self, id: i64) -> Result<Option<String>, StoreError> {
        self.first("SELECT sha256 FROM sample_digests WHERE run = ?1", [id], |row| row.get(0))
    }

    /// The codes are those that were complete when the run had closed.
    fn check_digest(
        &self,
        report: &mut CheckReport,
        id: i64,
        blocks: &[Result<RawBlock, (i64, String)>],
    ) -> Result<(), StoreError> {
        let whole: Result<Vec<RawBlock>, _> = blocks.iter().cloned().collect();
        // What does not unpack is named by itself.
        let (Some(sha256), Ok(whole)) = (self.sample_digest(id)?, whole) else { return Ok(()) };
        if prune::digest(&whole) != sha256 {
            report.find(format!("run {id}: its samples are not those that were recorded"));
        }
        Ok(())
    }

    fn check_closings(&self, report: &mut CheckReport) -> Result<(), StoreError> {
        let closings = self.all(
            "SELECT c.run, c.closing, r.run_seq, c.closed_s FROM closings c JOIN runs r ON r.id = c.run",
            [],
            |row| {
                let key: (i64, String) = (row.get(0)?, row.get(1)?);
                Ok((key, row.get::<_, u32>(2)?, row.get::<_, f64>(3)?))
            },
        )?;
        for ((id, text), run_seq, closed_s) in closings {
            match serde_json::from_str::<Closed>(&text) {
                Ok(closed) if closed.run_seq == run_seq && closed.closing.closed_s == closed_s => {}
                Ok(_) => report.find(format!("run {id}: its closing belongs to another run")),
                Err(error) => report.find(format!("run {id}: its closing does not read: {error}")),
            }
        }
        let open = self.all(
            "SELECT r.id FROM runs r
             WHERE r.stream IS NOT NULL
               AND NOT EXISTS (SELECT 1 FROM closings c WHERE c.run = r.id)
               AND NOT EXISTS (SELECT 1 FROM open_runs o WHERE o.stream = r.stream AND o.run_seq = r.run_seq)",
            [],
            |row| row.get::<_, i64>(0),
        )?;
        for id in open {
            report.find(format!("run {id}: it is neither open nor closed"));
        }
        Ok(())
    }

    /// A run takes an attempt for which somebody was ready, at the rig of the trial and at that step.
    fn check_attempts(&self, report: &mut CheckReport) -> Result<(), StoreError> {
        let strangers = self.all(
            "SELECT r.id, r.attempt, r.trial FROM runs r
             WHERE r.trial IS NOT NULL AND NOT EXISTS (
                 SELECT 1 FROM trials t JOIN trial_entries e ON e.trial = t.id
                 WHERE t.id = r.trial AND t.rig = r.rig AND e.kind = 'ready' AND e.go = r.attempt
                   AND json_extract(e.document, '$.step.number') = r.step)",
            [],
            |row| Ok((row.get::<_, i64>(0)?, row.get::<_, i64>(1)?, row.get::<_, i64>(2)?)),
        )?;
        for (id, attempt, trial) in strangers {
            report.find(format!("run {id}: nobody was ready for attempt {attempt} of trial {trial}"));
        }
        Ok(())
    }

    fn check_idle(&self, report: &mut CheckReport) -> Result<(), StoreError> {
        let mut after = 0_i64;
        loop {
            let page = self.all(
                "SELECT id, points, minima, maxima, means FROM idle_blocks WHERE id > ?1 ORDER BY id LIMIT 100",
                [after],
                |row| {
                    let packed: [Vec<u8>; 3] = [row.get(2)?, row.get(3)?, row.get(4)?];
                    Ok((row.get::<_, i64>(0)?, row.get::<_, i64>(1)?, packed))
                },
            )?;
            let Some(last) = page.last() else {
                return Ok(());
            };
            after = last.0;
            for (id, points, [minima, maxima, means]) in page {
                let points = usize::try_from(points).unwrap_or(0).min(1 << 28);
                let read = super::codec::unpack::<i32>(&minima, points)
                    .and_then(|_| super::codec::unpack::<i32>(&maxima, points))
                    .and_then(|_| super::codec::unpack::<f32>(&means, points));
                if let Err(detail) = read {
                    report.find(format!("idle block {id} does not unpack: {detail}"));
                }
            }
        }
    }
}
