//! The two rows of a run: its announcement with blows, gates and flags, and its closing.
//!
//! Called inside the writer's transaction. Knows nothing of samples: those are in `insert_block.rs`.

use super::insert::{Applied, event, exact_json};
use super::outbox::{self, Part};
use super::write::{Refused, RunId, StreamId, Written};
use super::{bolt_due, insert_block, trials};
use boltscribe_analysis::results::{Closed, Flag, RunResult};
use boltscribe_pipeline::RunRow;
use boltscribe_signal::runs::record::CloseReason;
use boltscribe_signal::runs::{Closing, Timing};
use rusqlite::types::Value;
use rusqlite::{Connection, OptionalExtension, ToSql, params};

/// Stores a row of a run.
pub(super) fn row(tx: &Connection, stream: StreamId, row: &RunRow, utc_ns: i64) -> Applied {
    match row {
        RunRow::Announced(result) => announced(tx, stream, result, utc_ns),
        RunRow::Closed(closed_row) => closed(tx, stream, closed_row),
    }
}

/// Stores what was measured of a run that was cut off, closes it as interrupted and packs its samples.
pub(super) fn recovered(
    tx: &Connection,
    stream: StreamId,
    run_seq: u32,
    result: Option<&RunResult>,
    utc_ns: i64,
) -> Applied {
    let Some(result) = result else {
        if run_id(tx, stream, run_seq)?.is_some() {
            let what = format!("that run {run_seq} of stream {} is none", stream.0);
            return Ok(Err(Refused::Duplicate(what)));
        }
        let rig = rig_of(tx, stream)?;
        let detail = format!("stream {}, run {run_seq}: no run in what was recorded", stream.0);
        insert_block::forget(tx, stream, run_seq)?;
        return event(tx, rig.as_deref(), utc_ns, "run-not-recovered", &detail);
    };
    let written = match announced(tx, stream, result, utc_ns)? {
        Ok(written) => written,
        refused => return Ok(refused),
    };
    let end = insert_block::end_s(tx, stream, run_seq, result.record.rate_hz)?;
    let closing = interrupted(run_seq, end.unwrap_or(result.record.last_blow_s));
    match closed(tx, stream, &closing)? {
        Ok(_) => {}
        refused => return Ok(refused),
    }
    insert_block::end(tx, stream, run_seq)?;
    Ok(Ok(written))
}

/// The closing row of a run whose end was not recorded.
pub(super) fn interrupted(run_seq: u32, closed_s: f64) -> Closed {
    let closing = Closing {
        closed_s,
        reason: CloseReason::Interrupted,
        re_pulled: false,
        re_pulled_level: None,
        flags: Vec::new(),
    };
    Closed::new(run_seq, closing)
}

/// The rig of a stream.
pub(super) fn rig_of(tx: &Connection, stream: StreamId) -> rusqlite::Result<Option<String>> {
    tx.prepare_cached("SELECT rig FROM streams WHERE id = ?1")?
        .query_row([stream.0], |row| row.get(0))
        .optional()
}

fn run_id(tx: &Connection, stream: StreamId, run_seq: u32) -> rusqlite::Result<Option<RunId>> {
    tx.prepare_cached("SELECT id FROM runs WHERE stream = ?1 AND run_seq = ?2")?
        .query_row(params![stream.0, run_seq], |row| row.get(0).map(RunId))
        .optional()
}

fn announced(tx: &Connection, stream: StreamId, result: &RunResult, utc_ns: i64) -> Applied {
    let what = format!("run {} of stream {}", result.run_seq, stream.0);
    let Some(rig) = rig_of(tx, stream)? else {
        return Ok(Err(Refused::Unknown { what, of: format!("stream {}", stream.0) }));
    };
    if run_id(tx, stream, result.run_seq)?.is_some() {
        return Ok(Err(Refused::Duplicate(what)));
    }
    let Some(document) = exact_json(result) else {
        return Ok(Err(Refused::NotRepresentable(what)));
    };
    let (id, rig_run) = next_numbers(tx, &rig)?;
    let taken = trials::takes(tx, &rig, &result.in_force)?;
    insert_columns(tx, (id, &rig, rig_run), stream, result, utc_ns, (taken.as_ref(), &document))?;
    ANNOUNCED.insert(tx, id, result)?;
    trials::flag_cold(tx, id, taken.as_ref())?;
    bolt_due::raise(tx, id, result.in_force.bolt.as_ref().map(|bolt| bolt.name.as_str()))?;
    outbox::enqueue(tx, Part::Run, RunId(id))?;
    Ok(Ok(Written::Run(RunId(id))))
}

/// The numbers the next run gets, in the store and at its rig.
pub(super) fn next_numbers(tx: &Connection, rig: &str) -> rusqlite::Result<(i64, i64)> {
    tx.prepare_cached(
        "SELECT COALESCE((SELECT MAX(id) FROM runs), 0) + 1,
                COALESCE((SELECT MAX(rig_run) FROM runs WHERE rig = ?1), 0) + 1",
    )?
    .query_row([rig], |row| Ok((row.get(0)?, row.get(1)?)))
}

fn insert_columns(
    tx: &Connection,
    (id, rig, rig_run): (i64, &str, i64),
    stream: StreamId,
    result: &RunResult,
    utc_ns: i64,
    (taken, document): (Option<&trials::Taking>, &str),
) -> rusqlite::Result<()> {
    let mut row = measures(result, document);
    row.extend(context(result));
    row.extend([
        (":id", id.into()),
        (":rig", rig.to_owned().into()),
        (":rig_run", rig_run.into()),
        (":stream", stream.0.into()),
        (":first_blow_utc_ns", utc_ns.into()),
        (":trial", taken.map(|taken| taken.trial).into()),
        (":step", taken.map(|taken| taken.step).into()),
        (":attempt", taken.map(|taken| taken.attempt).into()),
    ]);
    insert_named(tx, include_str!("insert_run.sql"), &row)
}

/// What was known of a run at its announcement, as columns that a run measured again does not have.
pub(super) fn context(result: &RunResult) -> Vec<(&'static str, Value)> {
    let tags = &result.in_force;
    let timing = match result.record.timing {
        Timing::Device => "device",
        Timing::Host => "host",
    };
    vec![
        (":run_seq", result.run_seq.into()),
        (":setup", tags.setup.clone().into()),
        (":contacts", tags.contacts.into()),
        (":tool", tags.tool.clone().into()),
        (":bolt", tags.bolt.as_ref().map(|bolt| bolt.name.clone()).into()),
        (":rate_hz", result.record.rate_hz.into()),
        (":timing", timing.to_owned().into()),
    ]
}

/// What is measured of a run, as the columns that an announcement and a run measured again have in common.
pub(super) fn measures(result: &RunResult, document: &str) -> Vec<(&'static str, Value)> {
    let record = &result.record;
    let torques = &result.torques;
    let plateau = record.plateau.as_ref();
    vec![
        (":calibration", result.calibration.clone().into()),
        (":zero_kN", record.zero.kn().into()),
        (":zero_shift_kN", record.zero_shift.kn().into()),
        (":noise_kN", record.noise.kn().into()),
        (":first_blow_s", record.first_blow_s.into()),
        (":last_blow_s", record.last_blow_s.into()),
        (":drive_time_s", record.drive_time_s.into()),
        (":blows", record.blow_count.into()),
        (":blow_rate_hz", record.blow_rate_hz.into()),
        (":ringing_kN", record.ringing.map(|f| f.kn()).into()),
        (":peak_kN", record.peak.kn().into()),
        (":peak_time_s", record.peak_time_s.into()),
        (":peak_is_lower_bound", record.peak_is_lower_bound.into()),
        (":level_kN", record.level.map(|f| f.kn()).into()),
        (":held_kN", record.held.map(|f| f.kn()).into()),
        (":held_Nm", torques.held.map(|t| t.get()).into()),
        (":peak_Nm", torques.peak.map(|t| t.get()).into()),
        (":plateau_kN", plateau.map(|p| p.limit.kn()).into()),
        (":plateau_se_kN", plateau.map(|p| p.limit_se.kn()).into()),
        (":plateau_Nm", torques.plateau.map(|t| t.get()).into()),
        (":time_constant_s", plateau.map(|p| p.time_constant_s).into()),
        (":time_constant_se_s", plateau.map(|p| p.time_constant_se_s).into()),
        (":spikes", record.spikes.into()),
        (":missing", record.missing.into()),
        (":clipped", record.clipped.into()),
        (":result", document.to_owned().into()),
    ]
}

/// Inserts one row by the names of its columns.
pub(super) fn insert_named(
    tx: &Connection,
    sql: &str,
    row: &[(&'static str, Value)],
) -> rusqlite::Result<()> {
    let named: Vec<(&str, &dyn ToSql)> = row.iter().map(|(name, value)| (*name, value as _)).collect();
    tx.prepare_cached(sql)?.execute(named.as_slice())?;
    Ok(())
}

/// The three tables that belong to an announcement, or to a run measured again.
pub(super) struct Parts {
    /// Blows.
    pub blows: &'static str,
    /// Gates.
    pub gates: &'static str,
    /// Flags.
    pub flags: &'static str,
}

const ANNOUNCED: Parts = Parts {
    blows: "INSERT INTO blows (run, blow, at_s, level_kN) VALUES (?1, ?2, ?3, ?4)",
    gates: "INSERT INTO gates (run, gate, after_s, tension_kN, torque_Nm) VALUES (?1, ?2, ?3, ?4, ?5)",
    flags: "INSERT INTO run_flags (run, flag) VALUES (?1, ?2) ON CONFLICT DO NOTHING",
};

/// Flags of a run, or of a reading by hand.
pub(super) fn insert_flags(tx: &Connection, id: i64, flags: &[Flag]) -> rusqlite::Result<()> {
    ANNOUNCED.insert_flags(tx, id, flags)
}

impl Parts {
    /// Inserts what belongs to row `id`.
    pub(super) fn insert(&self, tx: &Connection, id: i64, result: &RunResult) -> rusqlite::Result<()> {
        let mut insert = tx.prepare_cached(self.blows)?;
        for (index, blow) in result.record.blows.iter().enumerate() {
            insert.execute(params![id, index as i64 + 1, blow.at_s, blow.level.kn()])?;
        }
        let mut insert = tx.prepare_cached(self.gates)?;
        for (index, gate) in result.record.gates.iter().enumerate() {
            let torque = result.torques.gates.get(index).copied().flatten();
            let tension = gate.tension.map(|f| f.kn());
            insert.execute(params![id, index as i64 + 1, gate.after_s, tension, torque.map(|t| t.get())])?;
        }
        self.insert_flags(tx, id, &result.flags)
    }

    /// A flag may stand in the announcement and in the closing: it is one flag of the run.
    pub(super) fn insert_flags(&self, tx: &Connection, id: i64, flags: &[Flag]) -> rusqlite::Result<()> {
        let mut insert = tx.prepare_cached(self.flags)?;
        for flag in flags {
            insert.execute(params![id, flag.name()])?;
        }
        Ok(())
    }
}

/// Stores the closing row.
pub(super) fn closed(tx: &Connection, stream: StreamId, row: &Closed) -> Applied {
    let what = format!("the closing of run {} of stream {}", row.run_seq, stream.0);
    let Some(id) = run_id(tx, stream, row.run_seq)? else {
        return Ok(Err(Refused::Unknown { what, of: format!("run {} of stream {}", row.run_seq, stream.0) }));
    };
    let before: bool = tx
        .prepare_cached("SELECT EXISTS (SELECT 1 FROM closings WHERE run = ?1)")?
        .query_row([id.0], |found| found.get(0))?;
    if before {
        return Ok(Err(Refused::Duplicate(what)));
    }
    let Some(document) = exact_json(row) else {
        return Ok(Err(Refused::NotRepresentable(what)));
    };
    let closing = &row.closing;
    let reason = match closing.reason {
        CloseReason::Released => "released",
        CloseReason::Loosened => "loosened",
        CloseReason::TimedOut => "timed-out",
        CloseReason::Tightened => "tightened",
        CloseReason::Interrupted => "interrupted",
    };
    tx.prepare_cached(
        "INSERT INTO closings (run, closed_s, reason, re_pulled, re_pulled_level_kN, closing)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
    )?
    .execute(params![
        id.0,
        closing.closed_s,
        reason,
        closing.re_pulled,
        closing.re_pulled_level.map(|f| f.kn()),
        document
    ])?;
    insert_flags(tx, id.0, &row.flags)?;
    outbox::enqueue(tx, Part::Closing, id)?;
    insert_block::closed(tx, stream, row.run_seq)?;
    Ok(Ok(Written::Run(id)))
}
