//! The samples of a run as they were recorded, with the calibration they were converted by.
//!
//! Raw codes only: whoever draws them converts them.

use super::codec::RawBlock;
use super::error::StoreError;
use super::insert_block;
use super::reader::Reader;
use super::write::{RunId, StreamId};
use boltscribe_model::constants::Calibration;
use boltscribe_model::control::Command;
use boltscribe_model::units::Newtons;
use boltscribe_pipeline::Settings;
use rusqlite::params;

/// The samples of one run.
#[derive(Clone, Debug, PartialEq)]
pub struct RunTrace {
    /// Samples a second.
    pub rate_hz: f64,
    /// Raw codes in order; between blocks samples may lack.
    pub blocks: Vec<RawBlock>,
    /// The calibration of the run, where it is found under its name in the settings of the stream or
    /// among the commands.
    pub calibration: Option<Calibration>,
    /// Idle reading before the first blow, in the calibration's terms: subtract it for tension.
    pub zero: Newtons,
    /// Onset of the first blow, seconds since sample 0 of the stream.
    pub first_blow_s: f64,
    /// Onset of the last blow.
    pub last_blow_s: f64,
    /// Gates, seconds after the first blow.
    pub gates_s: Vec<f64>,
}

impl Reader {
    /// The samples of a run; none where there is no such run, or it was read by hand.
    ///
    /// # Errors
    /// The store cannot be read, or a block does not unpack to the codes it was counted with.
    pub fn trace(&self, id: RunId) -> Result<Option<RunTrace>, StoreError> {
        let Some(run) = self.run(id)? else {
            return Ok(None);
        };
        let Some(result) = run.result.measured() else {
            return Ok(None);
        };
        let key = self.first("SELECT stream, run_seq, rig FROM runs WHERE id = ?1", [id.0], |row| {
            Ok((row.get(0).map(StreamId)?, row.get(1)?, row.get::<_, String>(2)?))
        })?;
        let Some((stream, run_seq, rig)) = key else {
            return Ok(None);
        };
        let blocks: Result<Vec<RawBlock>, (i64, String)> =
            insert_block::read(self.connection(), stream, run_seq)
                .map_err(|source| self.failed(source))?
                .into_iter()
                .collect();
        let blocks =
            blocks.map_err(|(block, detail)| StoreError::Unreadable { what: "block", id: block, detail })?;
        let record = &result.record;
        let calibration = match run.versions.last() {
            Some(newest) => Some(newest.line.clone()),
            None => self.calibration(stream, &rig, &result.calibration, run.line.utc_ns)?,
        };
        Ok(Some(RunTrace {
            rate_hz: record.rate_hz,
            blocks,
            calibration,
            zero: record.zero,
            first_blow_s: record.first_blow_s,
            last_blow_s: record.last_blow_s,
            gates_s: record.gates.iter().map(|gate| gate.after_s).collect(),
        }))
    }

    /// The calibration of this name at a moment of a stream. A name may be given to another line later: the
    /// latest one told before is the one used.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn calibration(
        &self,
        stream: StreamId,
        rig: &str,
        name: &str,
        before_utc_ns: i64,
    ) -> Result<Option<Calibration>, StoreError> {
        let settings =
            self.first("SELECT settings, started_utc_ns FROM streams WHERE id = ?1", [stream.0], |row| {
                Ok((row.get::<_, String>(0)?, row.get::<_, i64>(1)?))
            })?;
        let Some((settings, started_utc_ns)) = settings else {
            return Ok(None);
        };
        let told = self.all(
            "SELECT command FROM commands
             WHERE rig = ?1 AND kind = 'calibrate' AND utc_ns BETWEEN ?2 AND ?3 ORDER BY id DESC",
            params![rig, started_utc_ns, before_utc_ns],
            |row| row.get::<_, String>(0),
        )?;
        let told = told.iter().filter_map(|text| match serde_json::from_str(text) {
            Ok(Command::Calibrate { calibration }) => Some(calibration),
            _ => None,
        });
        let configured =
            serde_json::from_str::<Settings>(&settings).ok().and_then(|settings| settings.calibration);
        Ok(told.chain(configured).find(|calibration| calibration.id == name))
    }
}
