//! One [`Write`] to rows, inside the writer's transaction: streams, people's words, the shelf, events.
//!
//! The outer error is the store's (disk full, damage): the writer keeps the row and tries again. The
//! inner one is the row's: it is refused and counted, and the rows around it go on.

use super::outbox::{self, Part};
use super::write::{Correction, Outcome, Refused, RunId, StreamId, Write, Written};
use super::{calibrations, insert_block, insert_reading, insert_run, prune, recompute, settle, trials};
use boltscribe_model::control::Command;
use rusqlite::{Connection, OptionalExtension, params};

/// What a row's insertion gives: the store's error outside, the row's inside.
pub(super) type Applied = rusqlite::Result<Outcome>;

/// Stores one write.
pub(super) fn apply(tx: &Connection, rig: &str, write: &Write) -> Applied {
    match write {
        Write::Stream { started_utc_ns, settings } => stream(tx, rig, *started_utc_ns, settings),
        Write::Identity { stream, utc_ns, serial, firmware, time_scale, simulated } => done(
            tx.prepare_cached(
                "INSERT INTO identities (stream, utc_ns, serial, firmware, time_scale, simulated)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
            )?
            .execute(params![stream.0, utc_ns, serial, firmware, time_scale, simulated])?,
        ),
        Write::Run { stream, row, first_blow_utc_ns } => {
            insert_run::row(tx, *stream, row, *first_blow_utc_ns)
        }
        Write::Block { stream, utc_ns, block } => insert_block::block(tx, *stream, *utc_ns, block),
        Write::Recovered { stream, run_seq, result, first_blow_utc_ns } => {
            insert_run::recovered(tx, *stream, *run_seq, result.as_deref(), *first_blow_utc_ns)
        }
        Write::BrokeOff { stream } => {
            settle::close(tx, Some(*stream))?;
            Ok(Ok(Written::Row))
        }
        Write::Reading { utc_ns, reading } => insert_reading::reading(tx, rig, reading, *utc_ns),
        Write::Command { utc_ns, who, command } => person(tx, rig, *utc_ns, who, command),
        Write::Zero { utc_ns, zero_kn } => {
            ensure_rig(tx, rig)?;
            done(
                tx.prepare_cached("INSERT INTO zeros (rig, utc_ns, zero_kN) VALUES (?1, ?2, ?3)")?
                    .execute(params![rig, utc_ns, zero_kn])?,
            )
        }
        Write::Rest { utc_ns, counts } => {
            if !counts.is_finite() {
                return Ok(Err(Refused::NotRepresentable(format!("where rig '{rig}' rests"))));
            }
            ensure_rig(tx, rig)?;
            done(
                tx.prepare_cached(
                    "INSERT INTO rests (rig, utc_ns, code) VALUES (?1, ?2, ?3)
                     ON CONFLICT (rig) DO UPDATE SET utc_ns = excluded.utc_ns, code = excluded.code",
                )?
                .execute(params![rig, utc_ns, counts])?,
            )
        }
        Write::Shelf { .. } => shelf(tx, write),
        Write::Trial { utc_ns, who, plan } => trials::insert(tx, *utc_ns, who, plan),
        Write::TrialEntry { trial, utc_ns, who, said } => {
            trials::insert_entry(tx, *trial, *utc_ns, who, said)
        }
        Write::Calibration { utc_ns, who, kept } => calibrations::insert(tx, *utc_ns, who, kept),
        Write::Correct { run, utc_ns, who, why, correction } => {
            correct(tx, *run, *utc_ns, (who, why), correction)
        }
        Write::Recompute(again) => recompute::insert(tx, again),
        Write::Prune(part) => prune::apply(tx, part),
        Write::Event { utc_ns, kind, detail } => event(tx, Some(rig), *utc_ns, kind, detail),
        Write::Outbox(change) => outbox::apply(tx, change),
        Write::Many(writes) => many(tx, rig, writes),
    }
}

/// All of them or none: the first refusal is that of the whole, and the writer takes back what came before it.
fn many(tx: &Connection, rig: &str, writes: &[Write]) -> Applied {
    let mut last = Written::Row;
    for write in writes {
        match apply(tx, rig, write) {
            Ok(Ok(written)) => last = written,
            Ok(refused) => return Ok(refused),
            Err(error) => return super::writer::refusal(error, write).map(Err),
        }
    }
    Ok(Ok(last))
}

fn done(_rows: usize) -> Applied {
    Ok(Ok(Written::Row))
}

pub(super) fn ensure_rig(tx: &Connection, rig: &str) -> rusqlite::Result<()> {
    tx.prepare_cached("INSERT INTO rigs (rig) VALUES (?1) ON CONFLICT DO NOTHING")?.execute([rig])?;
    Ok(())
}

fn stream(tx: &Connection, rig: &str, utc_ns: i64, settings: &boltscribe_pipeline::Settings) -> Applied {
    let what = || format!("the start of a stream at rig '{rig}'");
    let text = match exact_json(settings) {
        Some(text) => text,
        None => return Ok(Err(Refused::NotRepresentable(what()))),
    };
    ensure_rig(tx, rig)?;
    tx.prepare_cached("INSERT INTO streams (rig, started_utc_ns, settings) VALUES (?1, ?2, ?3)")?
        .execute(params![rig, utc_ns, text])?;
    Ok(Ok(Written::Stream(StreamId(tx.last_insert_rowid()))))
}

fn person(tx: &Connection, rig: &str, utc_ns: i64, who: &str, command: &Command) -> Applied {
    let kind = match command {
        Command::Use { .. } => "use",
        Command::Zero => "zero",
        Command::RestoreZero { .. } => "restore-zero",
        Command::AwaitRest { .. } => "await-rest",
        Command::Calibrate { .. } => "calibrate",
    };
    let text = match exact_json(command) {
        Some(text) => text,
        None => {
            return Ok(Err(Refused::NotRepresentable(format!("a command to rig '{rig}'"))));
        }
    };
    ensure_rig(tx, rig)?;
    done(
        tx.prepare_cached(
            "INSERT INTO commands (rig, utc_ns, who, kind, command) VALUES (?1, ?2, ?3, ?4, ?5)",
        )?
        .execute(params![rig, utc_ns, who, kind, text])?,
    )
}

fn shelf(tx: &Connection, write: &Write) -> Applied {
    let Write::Shelf { utc_ns, who, why, kind, name, document } = write else {
        return Ok(Ok(Written::Row));
    };
    let kind = kind.name();
    if document.is_none() {
        let stands: bool = tx
            .prepare_cached("SELECT EXISTS (SELECT 1 FROM shelf_now WHERE kind = ?1 AND name = ?2)")?
            .query_row([kind, name.as_str()], |row| row.get(0))?;
        if !stands {
            return Ok(Err(Refused::Unknown {
                what: format!("the removal of '{name}'"),
                of: format!("'{name}' among the {kind}"),
            }));
        }
    }
    let text = document.as_ref().map(ToString::to_string);
    done(
        tx.prepare_cached(
            "INSERT INTO shelf (kind, name, utc_ns, who, why, document) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
        )?
        .execute(params![kind, name, utc_ns, who, why, text])?,
    )
}

fn correct(
    tx: &Connection,
    run: RunId,
    utc_ns: i64,
    (who, why): (&str, &str),
    correction: &Correction,
) -> Applied {
    let verdict: Option<(bool, Option<String>)> = tx
        .prepare_cached(
            "SELECT r.excluded, (SELECT c.kind FROM corrections c WHERE c.run = r.id AND c.kind <> 'tag'
                                 ORDER BY c.id DESC LIMIT 1)
             FROM run_results r WHERE r.id = ?1",
        )?
        .query_row([run.0], |row| Ok((row.get(0)?, row.get(1)?)))
        .optional()?;
    let Some((excluded, latest)) = verdict else {
        return Ok(Err(Refused::Unknown { what: "a correction".to_owned(), of: format!("run {}", run.0) }));
    };
    let (kind, lifts, tags) = match correction {
        Correction::Tag(tags) => ("tag", None, tags.clone()),
        Correction::Exclude => ("exclude", None, super::write::NewTags::default()),
        Correction::Restore if !excluded => return Ok(Err(Refused::NotLeftOut(run.0))),
        Correction::Restore => {
            let by_person = latest.as_deref() == Some("exclude");
            let lifts = if by_person { "exclusion" } else { "flags" };
            ("restore", Some(lifts), super::write::NewTags::default())
        }
    };
    tx.prepare_cached(
        "INSERT INTO corrections (run, utc_ns, who, why, kind, lifts, setup, contacts, tool, shelf)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
    )?
    .execute(params![
        run.0,
        utc_ns,
        who,
        why,
        kind,
        lifts,
        tags.setup,
        tags.contacts,
        tags.tool,
        tags.shelf
    ])?;
    outbox::enqueue(tx, Part::Correction, run)?;
    Ok(Ok(Written::Row))
}

/// Stores an event; an empty rig's name stands for the daemon itself.
pub(super) fn event(tx: &Connection, rig: Option<&str>, utc_ns: i64, kind: &str, detail: &str) -> Applied {
    let rig = rig.filter(|name| !name.is_empty());
    if let Some(name) = rig {
        ensure_rig(tx, name)?;
    }
    done(
        tx.prepare_cached("INSERT INTO events (rig, utc_ns, kind, detail) VALUES (?1, ?2, ?3, ?4)")?
            .execute(params![rig, utc_ns, kind, detail])?,
    )
}

/// The document as JSON, but only if it reads back the same: JSON has no NaN and no infinity.
pub(super) fn exact_json<T>(document: &T) -> Option<String>
where
    T: serde::Serialize + serde::de::DeserializeOwned + PartialEq,
{
    let text = serde_json::to_string(document).ok()?;
    let back: T = serde_json::from_str(&text).ok()?;
    (back == *document).then_some(text)
}
