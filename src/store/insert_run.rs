//! The two rows of a run: its announcement with blows, gates and flags, and its closing.
//!
//! Called inside the writer's transaction. Knows nothing of samples: those are in `insert_block.rs`.

use super::insert::{Applied, event, exact_json};
use super::insert_block;
use super::outbox::{self, Part};
use super::write::{Refused, RunId, StreamId, Written};
use crate::pipeline::RunRow;
use crate::results::{Closed, Flag, RunResult};
use crate::runs::record::CloseReason;
use crate::runs::{Closing, Timing};
use rusqlite::{Connection, OptionalExtension, named_params, params};

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
    let closing =
        Closing { closed_s, reason: CloseReason::Interrupted, re_pulled: false, re_pulled_level: None };
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
    insert_columns(tx, (id, &rig, rig_run), stream, result, utc_ns, &document)?;
    insert_blows(tx, id, result)?;
    insert_gates(tx, id, result)?;
    insert_flags(tx, id, &result.flags)?;
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
    document: &str,
) -> rusqlite::Result<()> {
    let record = &result.record;
    let tags = &result.in_force;
    let plateau = record.plateau.as_ref();
    let timing = match record.timing {
        Timing::Device => "device",
        Timing::Host => "host",
    };
    tx.prepare_cached(include_str!("insert_run.sql"))?.execute(named_params! {
        ":id": id, ":rig": rig, ":rig_run": rig_run, ":stream": stream.0, ":run_seq": result.run_seq,
        ":first_blow_utc_ns": utc_ns,
        ":setup": tags.setup, ":contacts": tags.contacts, ":tool": tags.tool,
        ":bolt": tags.bolt.as_ref().map(|bolt| &bolt.name),
        ":calibration": result.calibration,
        ":rate_hz": record.rate_hz, ":timing": timing,
        ":zero_kN": record.zero.kn(), ":zero_shift_kN": record.zero_shift.kn(),
        ":noise_kN": record.noise.kn(),
        ":first_blow_s": record.first_blow_s, ":last_blow_s": record.last_blow_s,
        ":drive_time_s": record.drive_time_s,
        ":blows": record.blow_count, ":blow_rate_hz": record.blow_rate_hz,
        ":ringing_kN": record.ringing.map(|f| f.kn()),
        ":peak_kN": record.peak.kn(), ":peak_time_s": record.peak_time_s,
        ":peak_is_lower_bound": record.peak_is_lower_bound,
        ":level_kN": record.level.map(|f| f.kn()), ":held_kN": record.held.map(|f| f.kn()),
        ":held_Nm": result.torques.held.map(|t| t.get()),
        ":peak_Nm": result.torques.peak.map(|t| t.get()),
        ":plateau_kN": plateau.map(|p| p.limit.kn()), ":plateau_se_kN": plateau.map(|p| p.limit_se.kn()),
        ":plateau_Nm": result.torques.plateau.map(|t| t.get()),
        ":time_constant_s": plateau.map(|p| p.time_constant_s),
        ":time_constant_se_s": plateau.map(|p| p.time_constant_se_s),
        ":spikes": record.spikes, ":missing": record.missing, ":clipped": record.clipped,
        ":result": document,
    })?;
    Ok(())
}

fn insert_blows(tx: &Connection, id: i64, result: &RunResult) -> rusqlite::Result<()> {
    let mut insert =
        tx.prepare_cached("INSERT INTO blows (run, blow, at_s, level_kN) VALUES (?1, ?2, ?3, ?4)")?;
    for (index, blow) in result.record.blows.iter().enumerate() {
        insert.execute(params![id, index as i64 + 1, blow.at_s, blow.level.kn()])?;
    }
    Ok(())
}

fn insert_gates(tx: &Connection, id: i64, result: &RunResult) -> rusqlite::Result<()> {
    let mut insert = tx.prepare_cached(
        "INSERT INTO gates (run, gate, after_s, tension_kN, torque_Nm) VALUES (?1, ?2, ?3, ?4, ?5)",
    )?;
    for (index, gate) in result.record.gates.iter().enumerate() {
        let torque = result.torques.gates.get(index).copied().flatten();
        let tension = gate.tension.map(|f| f.kn());
        insert.execute(params![id, index as i64 + 1, gate.after_s, tension, torque.map(|t| t.get())])?;
    }
    Ok(())
}

pub(super) fn insert_flags(tx: &Connection, id: i64, flags: &[Flag]) -> rusqlite::Result<()> {
    // A flag may stand in the announcement and in the closing: it is one flag of the run.
    let mut insert =
        tx.prepare_cached("INSERT INTO run_flags (run, flag) VALUES (?1, ?2) ON CONFLICT DO NOTHING")?;
    for flag in flags {
        insert.execute(params![id, flag.name()])?;
    }
    Ok(())
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
