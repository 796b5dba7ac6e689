//! The one row of a run that was read by hand: its figure, its tags, its flags.
//!
//! Called inside the writer's transaction. It is numbered with the measured runs; columns that a dial cannot
//! fill stay null, which the schema demands.

use super::insert::{Applied, ensure_rig, exact_json};
use super::insert_run::{insert_flags, insert_named, next_numbers};
use super::outbox::{self, Part};
use super::write::{Refused, RunId, Written};
use super::{bolt_due, trials};
use boltscribe_analysis::results::ByHand;
use rusqlite::Connection;
use rusqlite::types::Value;

const INSERT: &str = "INSERT INTO runs (id, rig, rig_run, first_blow_utc_ns, setup, contacts, tool, bolt,
    calibration, peak_kN, held_kN, held_Nm, peak_Nm, resolution_kN, entered_by, note, result, trial,
    step, attempt)
    VALUES (:id, :rig, :rig_run, :first_blow_utc_ns, :setup, :contacts, :tool, :bolt,
    :calibration, :peak_kN, :held_kN, :held_Nm, :peak_Nm, :resolution_kN, :entered_by, :note, :result, :trial, :step,
    :attempt)";

/// Stores a reading.
pub(super) fn reading(tx: &Connection, rig: &str, read: &ByHand, utc_ns: i64) -> Applied {
    let Some(document) = exact_json(read) else {
        return Ok(Err(Refused::NotRepresentable(format!("a reading at rig '{rig}'"))));
    };
    ensure_rig(tx, rig)?;
    let (id, rig_run) = next_numbers(tx, rig)?;
    let taken = trials::takes(tx, rig, &read.in_force)?;
    let mut row = columns(read, &document);
    row.extend([
        (":id", id.into()),
        (":rig", rig.to_owned().into()),
        (":rig_run", rig_run.into()),
        (":first_blow_utc_ns", utc_ns.into()),
        (":trial", taken.as_ref().map(|taken| taken.trial).into()),
        (":step", taken.as_ref().map(|taken| taken.step).into()),
        (":attempt", taken.as_ref().map(|taken| taken.attempt).into()),
    ]);
    insert_named(tx, INSERT, &row)?;
    insert_flags(tx, id, &read.flags)?;
    trials::flag_cold(tx, id, taken.as_ref())?;
    bolt_due::raise(tx, id, read.in_force.bolt.as_ref().map(|bolt| bolt.name.as_str()))?;
    outbox::enqueue(tx, Part::Run, RunId(id))?;
    Ok(Ok(Written::Run(RunId(id))))
}

/// What a reading says, as columns.
pub(super) fn columns(read: &ByHand, document: &str) -> Vec<(&'static str, Value)> {
    let tags = &read.in_force;
    vec![
        (":setup", tags.setup.clone().into()),
        (":contacts", tags.contacts.into()),
        (":tool", tags.tool.clone().into()),
        (":bolt", tags.bolt.as_ref().map(|bolt| bolt.name.clone()).into()),
        (":calibration", read.calibration().map(ToOwned::to_owned).into()),
        (":peak_kN", read.peak().map(|f| f.kn()).into()),
        (":held_kN", read.held().map(|f| f.kn()).into()),
        (":held_Nm", read.held_torque().map(|t| t.get()).into()),
        (":peak_Nm", read.peak_torque().map(|t| t.get()).into()),
        (":resolution_kN", read.reading.resolution.kn().into()),
        (":entered_by", read.reading.who.clone().into()),
        (":note", read.reading.note.clone().into()),
        (":result", document.to_owned().into()),
    ]
}
