//! Reading the outbox: the next rows with all that is to be sent of them, its state, its quarantine.
//!
//! What stands in a row of a run is read from tables that are never changed, so reading it again gives the
//! same figures. Names of figures are the columns of the schema's views. Must not know how rows are sent.

use super::error::StoreError;
use super::reader::Reader;
use rusqlite::{Row, params};
use serde::Serialize;
use utoipa::ToSchema;

/// Most rows read at once.
pub const OUTBOX_ROWS_MAX: u32 = 10_000;

/// How the outbox is doing.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, ToSchema)]
pub struct OutboxStatus {
    /// Something is set up to forward.
    pub forwarding: bool,
    /// Rows that wait to be sent or to be safe.
    pub waiting: u64,
    /// Of these, rows about health.
    pub waiting_health: u64,
    /// Rows the central store will not have.
    pub quarantined: u64,
    /// Rows that left because they are safe.
    pub delivered: u64,
    /// Rows about health that gave up their place.
    pub health_dropped: u64,
    /// Rows of runs that found the outbox full; the runs are in the store.
    pub rows_dropped: u64,
}

/// A row to be sent.
#[derive(Clone, Debug, PartialEq)]
pub struct OutboxRow {
    /// Its number; rows are sent in this order.
    pub id: i64,
    /// What is to be sent.
    pub item: OutboxItem,
}

/// What is to be sent.
#[derive(Clone, Debug, PartialEq)]
pub enum OutboxItem {
    /// A run as it was announced.
    Run(Box<OutboxRun>),
    /// Its closing.
    Closing(Box<OutboxClosing>),
    /// The run as people have corrected it.
    Correction(Box<OutboxRun>),
    /// Finished lines about health.
    Health(String),
}

/// Which run, and when.
#[derive(Clone, Debug, PartialEq)]
pub struct OutboxKey {
    /// Number in the store.
    pub run: i64,
    /// Number at the rig.
    pub rig_run: i64,
    /// The rig.
    pub rig: String,
    /// The setup: as announced, or as corrected in a correction.
    pub setup: Option<String>,
    /// The tool, in the same way.
    pub tool: Option<String>,
    /// Wall time of the first blow.
    pub first_blow_utc_ns: i64,
}

/// A run with its figures.
#[derive(Clone, Debug, PartialEq)]
pub struct OutboxRun {
    /// Which.
    pub key: OutboxKey,
    /// Names and values; none where there is none.
    pub figures: Vec<(&'static str, Option<f64>)>,
    /// Names and whole numbers.
    pub numbers: Vec<(&'static str, Option<i64>)>,
    /// Gates in order: seconds after the first blow, tension in kN, torque in N·m.
    pub gates: Vec<(f64, Option<f64>, Option<f64>)>,
    /// Names of its flags.
    pub flags: Vec<String>,
    /// How many corrections it has; 0 in an announcement.
    pub corrections: i64,
    /// Whether it counts in results, in an announcement by its flags alone; none in that of a measured run,
    /// whose closing may still bring flags.
    pub counts: Option<bool>,
    /// Whether it is simulated; none in the announcement of a measured run.
    pub simulated: Option<bool>,
}

/// A closing.
#[derive(Clone, Debug, PartialEq)]
pub struct OutboxClosing {
    /// Which run, with its tags as announced.
    pub key: OutboxKey,
    /// Seconds since sample 0 of the stream.
    pub closed_s: f64,
    /// `released`, `loosened`, `timed-out`, `tightened` or `interrupted`.
    pub reason: String,
    /// It was pulled again.
    pub re_pulled: bool,
    /// The level after that.
    pub re_pulled_level_kn: Option<f64>,
    /// Names of all its flags.
    pub flags: Vec<String>,
    /// Whether it counts by its flags alone.
    pub counts: bool,
    /// Whether it is simulated.
    pub simulated: bool,
}

/// A row in quarantine.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct QuarantineRow {
    /// Its number.
    pub id: i64,
    /// `run`, `closing`, `correction` or `health`.
    pub kind: String,
    /// The run's number in the store.
    pub run: Option<i64>,
    /// What the central store said.
    pub reason: String,
}

/// Figures: column of `runs`, name when sent.
const FIGURES: [(&str, &str); 21] = [
    ("rate_hz", "rate_hz"),
    ("zero_kN", "zero_kN"),
    ("zero_shift_kN", "zero_shift_kN"),
    ("noise_kN", "noise_kN"),
    ("first_blow_s", "first_blow_s"),
    ("last_blow_s", "last_blow_s"),
    ("drive_time_s", "drive_time_s"),
    ("blow_rate_hz", "blow_rate_hz"),
    ("ringing_kN", "ringing_kN"),
    ("peak_kN", "peak_kN"),
    ("peak_time_s", "peak_time_s"),
    ("level_kN", "level_kN"),
    ("held_kN", "held_kN"),
    ("held_Nm", "equivalent_torque_held_Nm"),
    ("peak_Nm", "equivalent_torque_peak_Nm"),
    ("plateau_kN", "plateau_kN"),
    ("plateau_se_kN", "plateau_se_kN"),
    ("plateau_Nm", "equivalent_torque_plateau_Nm"),
    ("time_constant_s", "time_constant_s"),
    ("time_constant_se_s", "time_constant_se_s"),
    ("resolution_kN", "resolution_kN"),
];
/// Whole numbers: column of `runs`, name when sent.
const NUMBERS: [(&str, &str); 6] = [
    ("contacts", "contacts"),
    ("blows", "blows"),
    ("spikes", "spikes"),
    ("missing", "missing"),
    ("clipped", "clipped"),
    ("peak_is_lower_bound", "peak_is_lower_bound"),
];
/// As in the views of runs.
const SIMULATED: &str = "COALESCE(r.simulated, (SELECT MAX(i.simulated) FROM identities_told i
                                                WHERE i.stream = r.stream), 0)";

impl Reader {
    /// The next rows to be sent after row `after`, in order, at most `limit`.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn outbox(&self, after: i64, limit: u32) -> Result<Vec<OutboxRow>, StoreError> {
        let rows = self.all(
            "SELECT id, kind, run, lines FROM outbox WHERE id > ?1 AND reason IS NULL ORDER BY id LIMIT ?2",
            params![after, limit.min(OUTBOX_ROWS_MAX)],
            |row| {
                Ok((
                    row.get::<_, i64>(0)?,
                    row.get::<_, String>(1)?,
                    row.get::<_, Option<i64>>(2)?,
                    row.get::<_, Option<String>>(3)?,
                ))
            },
        )?;
        rows.into_iter()
            .map(|(id, kind, run, lines)| {
                let item = match (kind.as_str(), run, lines) {
                    ("run", Some(run), _) => OutboxItem::Run(Box::new(self.outbox_run(run, false)?)),
                    ("closing", Some(run), _) => OutboxItem::Closing(Box::new(self.outbox_closing(run)?)),
                    ("correction", Some(run), _) => {
                        OutboxItem::Correction(Box::new(self.outbox_run(run, true)?))
                    }
                    (_, _, lines) => OutboxItem::Health(lines.unwrap_or_default()),
                };
                Ok(OutboxRow { id, item })
            })
            .collect()
    }

    /// How the outbox is doing.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn outbox_status(&self) -> Result<OutboxStatus, StoreError> {
        let sql =
            "SELECT forwarding, waiting, waiting_health, quarantined, delivered, health_dropped, rows_dropped
                   FROM outbox_state";
        let number = |row: &Row<'_>, at: usize| row.get::<_, i64>(at).map(i64::unsigned_abs);
        let status = self.first(sql, [], |row| {
            Ok(OutboxStatus {
                forwarding: row.get(0)?,
                waiting: number(row, 1)?,
                waiting_health: number(row, 2)?,
                quarantined: number(row, 3)?,
                delivered: number(row, 4)?,
                health_dropped: number(row, 5)?,
                rows_dropped: number(row, 6)?,
            })
        })?;
        Ok(status.unwrap_or_default())
    }

    /// Rows in quarantine, oldest first, at most `limit`.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn quarantine(&self, limit: u32) -> Result<Vec<QuarantineRow>, StoreError> {
        self.all(
            "SELECT id, kind, run, reason FROM outbox WHERE reason IS NOT NULL ORDER BY id LIMIT ?1",
            [limit],
            |row| {
                Ok(QuarantineRow {
                    id: row.get(0)?,
                    kind: row.get(1)?,
                    run: row.get(2)?,
                    reason: row.get(3)?,
                })
            },
        )
    }

    fn outbox_run(&self, run: i64, corrected: bool) -> Result<OutboxRun, StoreError> {
        let columns = |names: &[(&str, &str)]| -> String {
            let column = |&(name, _): &(&str, &str)| match name {
                "contacts" if corrected => "r.contacts_now".to_owned(),
                name => format!("r.{name}"),
            };
            names.iter().map(column).collect::<Vec<_>>().join(", ")
        };
        let (tags, from) =
            if corrected { ("r.setup_now, r.tool_now", "runs_tagged") } else { ("r.setup, r.tool", "runs") };
        let sql = format!(
            "SELECT r.id, r.rig_run, r.rig, {tags}, r.first_blow_utc_ns, {SIMULATED}, {}, {} FROM {from} r WHERE r.id = ?1",
            columns(&FIGURES),
            columns(&NUMBERS)
        );
        let read = |row: &Row<'_>| {
            let figures: rusqlite::Result<_> =
                FIGURES.iter().enumerate().map(|(at, (_, name))| Ok((*name, row.get(7 + at)?))).collect();
            let at = 7 + FIGURES.len();
            let numbers: rusqlite::Result<_> =
                NUMBERS.iter().enumerate().map(|(i, (_, name))| Ok((*name, row.get(at + i)?))).collect();
            Ok(OutboxRun {
                key: key(row)?,
                figures: figures?,
                numbers: numbers?,
                simulated: if corrected { Some(row.get(6)?) } else { None },
                gates: Vec::new(),
                flags: Vec::new(),
                corrections: 0,
                counts: None,
            })
        };
        let mut found = self.first(&sql, [run], read)?.ok_or_else(|| gone(run))?;
        found.gates = self.all(
            "SELECT after_s, tension_kN, torque_Nm FROM gates WHERE run = ?1 ORDER BY gate",
            [run],
            |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)),
        )?;
        found.flags = self.outbox_flags(run)?;
        if corrected {
            let state = self.first(
                "SELECT (SELECT COUNT(*) FROM corrections WHERE run = ?1),
                        (SELECT NOT excluded FROM run_results WHERE id = ?1)",
                [run],
                |row| Ok((row.get(0)?, row.get(1)?)),
            )?;
            (found.corrections, found.counts) = state.ok_or_else(|| gone(run))?;
        } else {
            // A reading by hand gets no closing that would tell it later.
            found.counts = self.first(
                "SELECT NOT EXISTS (SELECT 1 FROM run_flags rf JOIN flags f ON f.flag = rf.flag
                                        WHERE rf.run = r.id AND f.leaves_out = 1)
                     FROM runs r WHERE r.id = ?1 AND r.stream IS NULL",
                [run],
                |row| row.get(0),
            )?;
            found.simulated = found.counts.map(|_| false);
        }
        Ok(found)
    }

    fn outbox_closing(&self, run: i64) -> Result<OutboxClosing, StoreError> {
        let sql = format!(
            "SELECT r.id, r.rig_run, r.rig, r.setup, r.tool, r.first_blow_utc_ns, {SIMULATED},
                    c.closed_s, c.reason, c.re_pulled, c.re_pulled_level_kN,
                    NOT EXISTS (SELECT 1 FROM run_flags rf JOIN flags f ON f.flag = rf.flag
                                WHERE rf.run = r.id AND f.leaves_out = 1)
             FROM runs r JOIN closings c ON c.run = r.id WHERE r.id = ?1"
        );
        let read = |row: &Row<'_>| {
            Ok(OutboxClosing {
                key: key(row)?,
                simulated: row.get(6)?,
                closed_s: row.get(7)?,
                reason: row.get(8)?,
                re_pulled: row.get(9)?,
                re_pulled_level_kn: row.get(10)?,
                counts: row.get(11)?,
                flags: Vec::new(),
            })
        };
        let mut found = self.first(&sql, [run], read)?.ok_or_else(|| gone(run))?;
        found.flags = self.outbox_flags(run)?;
        Ok(found)
    }

    fn outbox_flags(&self, run: i64) -> Result<Vec<String>, StoreError> {
        self.all("SELECT flag FROM run_flags WHERE run = ?1 ORDER BY flag", [run], |row| row.get(0))
    }
}

/// The first six columns.
fn key(row: &Row<'_>) -> rusqlite::Result<OutboxKey> {
    Ok(OutboxKey {
        run: row.get(0)?,
        rig_run: row.get(1)?,
        rig: row.get(2)?,
        setup: row.get(3)?,
        tool: row.get(4)?,
        first_blow_utc_ns: row.get(5)?,
    })
}

fn gone(run: i64) -> StoreError {
    StoreError::Unreadable {
        what: "run",
        id: run,
        detail: "it stands in the outbox, but not in the store".into(),
    }
}
