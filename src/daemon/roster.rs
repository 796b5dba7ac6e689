//! The rigs at work: started, changed, taken away while the daemon runs, ended together.
//!
//! A rig added here is one commented file in the state folder, written before it starts; a rig of the
//! settings file is changed there and nowhere else. Must not know what is measured.

use super::faults::FaultLog;
use super::order::Order;
use super::rig::{Board, on};
use super::start::{Line, Running, Shared, Tasks, start};
use super::supervisor::{Noticed, Pulse, Seen};
use boltscribe_http::{Refusal, RigState};
use boltscribe_serial as port;
use boltscribe_settings::{self as settings, RIGS_MAX, Settings};
use boltscribe_signal::runs;
use boltscribe_store::StreamId;
use serde_json::Value;
use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError, RwLock};
use std::time::Duration;
use tokio::sync::mpsc;
use tokio::time::timeout;

/// Time for one rig to close its stream and its port.
pub const ENDS_WITHIN: Duration = Duration::from_secs(2);

/// What is held of one rig.
pub struct Seat {
    /// Its name.
    pub name: String,
    /// Its board.
    pub board: Board,
    /// The way of an order.
    pub orders: mpsc::Sender<Order>,
    /// What its port has done.
    pub port_counters: Arc<port::Counters>,
    /// Its faults.
    pub faults: Arc<Mutex<FaultLog>>,
}

/// All rigs of the daemon.
pub struct Roster {
    /// What every rig shares.
    pub(super) shared: Shared,
    /// What was noticed of rigs that broke off or stood still.
    pub noticed: Noticed,
    folder: PathBuf,
    measure: runs::Settings,
    pub(super) rigs: RwLock<Vec<Running>>,
    /// One change at a time.
    pub(super) changing: tokio::sync::Mutex<()>,
}

impl Roster {
    /// Without a rig yet.
    #[must_use]
    pub fn new(shared: Shared, settings: &Settings) -> Self {
        Self {
            shared,
            noticed: Noticed::default(),
            folder: settings.store.rigs(),
            measure: settings.measure.clone(),
            rigs: RwLock::default(),
            changing: tokio::sync::Mutex::default(),
        }
    }

    /// Starts a rig of the settings.
    ///
    /// # Errors
    /// As [`start`] has them.
    pub async fn start(&self, rig: &settings::Rig, line: Line) -> Result<(), super::error::DaemonError> {
        let running = start(rig, line, &self.shared).await?;
        self.rigs.write().unwrap_or_else(PoisonError::into_inner).push(running);
        Ok(())
    }

    /// What is shown of each, in the order in which they came.
    #[must_use]
    pub fn states(&self) -> Vec<RigState> {
        let mut states = Vec::new();
        self.each(|seat| states.push(on(&seat.board).clone()));
        states
    }

    /// The way of orders to a rig.
    #[must_use]
    pub fn orders(&self, rig: &str) -> Option<mpsc::Sender<Order>> {
        let mut orders = None;
        self.each(|seat| {
            if seat.name == rig {
                orders = Some(seat.orders.clone());
            }
        });
        orders
    }

    /// Looks at each seat.
    pub fn each(&self, mut look: impl FnMut(&Seat)) {
        self.rigs.read().unwrap_or_else(PoisonError::into_inner).iter().for_each(|rig| look(&rig.seat));
    }

    /// Writes a rig's file and starts the rig; with `replace`, the one of this name ends first. Answers with
    /// the path of the file.
    ///
    /// # Errors
    /// Settings that cannot be used; a name or port that is taken; a run going on; the system's.
    pub async fn keep(&self, document: &Value, replace: bool, head: &str) -> Result<String, Refusal> {
        let _one = self.changing.lock().await;
        let rig = settings::rig_from_document(document, &self.measure)
            .map_err(|problems| Refusal::Settings(problems.iter().map(ToString::to_string).collect()))?;
        self.may_be_kept(&rig, replace)?;
        let failed = |tried: &str, what: String| Refusal::Failed { tried: tried.to_owned(), what };
        let text = settings::commented(&rig, head).map_err(|e| failed("word the rig's file", e))?;
        let path = settings::rig_path(&self.folder, &rig.name);
        settings::write_rig_file(&self.folder, &rig.name, &text)
            .map_err(|e| failed(&format!("write {}", path.display()), e.to_string()))?;
        if replace {
            self.end_one(&rig.name).await?;
        }
        self.start(&rig, Line::Own).await.map_err(|e| failed("start the rig", e.to_string()))?;
        tracing::info!("rig '{}': {}", rig.name, if replace { "changed" } else { "added" });
        Ok(path.display().to_string())
    }

    fn may_be_kept(&self, rig: &settings::Rig, replace: bool) -> Result<(), Refusal> {
        let states = self.states();
        let refused = |reason: String| Refusal::Refused { rig: rig.name.clone(), reason };
        if replace {
            self.may_be_changed(&rig.name)?;
        } else if states.iter().any(|s| s.rig == rig.name) {
            return Err(refused("expected a name of its own, found a rig of this name".into()));
        } else if states.len() >= RIGS_MAX {
            return Err(refused(format!("expected at most {RIGS_MAX} rigs, found {}", states.len())));
        }
        let Some(port) = rig.port() else { return Ok(()) };
        match states.iter().find(|s| s.port.as_deref() == Some(port) && s.rig != rig.name) {
            Some(other) => {
                Err(refused(format!("expected a port of its own, found '{port}' at rig '{}'", other.rig)))
            }
            None => Ok(()),
        }
    }

    /// Takes a rig and its file away; what it measured stays.
    ///
    /// # Errors
    /// No such rig; it stands in the settings file; a run going on; the system's.
    pub async fn drop_rig(&self, name: &str) -> Result<(), Refusal> {
        let _one = self.changing.lock().await;
        self.may_be_changed(name)?;
        settings::remove_rig_file(&self.folder, name).map_err(|e| Refusal::Failed {
            tried: format!("remove {}", settings::rig_path(&self.folder, name).display()),
            what: e.to_string(),
        })?;
        self.end_one(name).await?;
        tracing::info!("rig '{name}': taken away");
        Ok(())
    }

    /// Takes a rig up anew with the calibration that was stored for it.
    ///
    /// # Errors
    /// No such rig; a run going on; the system's.
    pub async fn take_up_anew(&self, name: &str) -> Result<(), Refusal> {
        let _one = self.changing.lock().await;
        self.may_pause(name)?;
        let mut set = None;
        self.rigs
            .read()
            .unwrap_or_else(PoisonError::into_inner)
            .iter()
            .filter(|r| r.seat.name == name)
            .for_each(|r| set = Some(r.settings.clone()));
        let set = set.ok_or_else(|| Refusal::UnknownRig(name.to_owned()))?;
        self.end_one(name).await?;
        self.start(&set, Line::Stored)
            .await
            .map_err(|e| Refusal::Failed { tried: format!("start the rig '{name}'"), what: e.to_string() })
    }

    /// A rig may be closed and opened while no run is going on.
    ///
    /// # Errors
    /// No such rig; a run going on.
    pub fn may_pause(&self, name: &str) -> Result<(), Refusal> {
        let state = self.states().into_iter().find(|s| s.rig == name);
        let state = state.ok_or_else(|| Refusal::UnknownRig(name.to_owned()))?;
        if state.driving {
            return Err(Refusal::Refused {
                rig: name.to_owned(),
                reason: "a run is going on: wait until it is measured".to_owned(),
            });
        }
        Ok(())
    }

    fn may_be_changed(&self, name: &str) -> Result<(), Refusal> {
        self.may_pause(name)?;
        if settings::rig_path(&self.folder, name).exists() {
            return Ok(());
        }
        Err(Refusal::Refused {
            rig: name.to_owned(),
            reason: "it stands in the settings file: change it there and start boltscribed again".to_owned(),
        })
    }

    /// Looks at the seat of one rig.
    pub(super) fn at(&self, name: &str, look: impl FnOnce(&Seat)) {
        let rigs = self.rigs.read().unwrap_or_else(PoisonError::into_inner);
        if let Some(rig) = rigs.iter().find(|rig| rig.seat.name == name) {
            look(&rig.seat);
        }
    }

    /// One look at every rig. `still` says for how long a thread has not turned, where that is too long. Of a rig
    /// of which a part has ended, all parts are taken.
    pub(super) fn look_after(&self, still: impl Fn(&Pulse) -> Option<u64>) -> Vec<(String, Seen)> {
        let mut rigs = self.rigs.write().unwrap_or_else(PoisonError::into_inner);
        let look = |rig: &mut Running| {
            let ended = rig.tasks.as_ref()?.ended();
            let seen = match (ended, still(&rig.pulse)) {
                (Some(part), _) => Seen::Ended(part, rig.tasks.take()?),
                (None, Some(still_ns)) => Seen::Still(still_ns),
                (None, None) => Seen::Well,
            };
            Some((rig.seat.name.clone(), seen))
        };
        rigs.iter_mut().filter_map(look).collect()
    }

    /// Asks all that works for a rig to end.
    pub(super) fn ask_to_end(&self, name: &str) {
        let rigs = self.rigs.read().unwrap_or_else(PoisonError::into_inner);
        for rig in rigs.iter().filter(|rig| rig.seat.name == name) {
            let _ = rig.stop.send(true);
        }
    }

    /// How a rig that has no tasks was set; none where it was taken away meanwhile.
    pub(super) fn as_set(&self, name: &str) -> Option<(settings::Rig, Line, Option<StreamId>)> {
        let rigs = self.rigs.read().unwrap_or_else(PoisonError::into_inner);
        let rig = rigs.iter().find(|rig| rig.seat.name == name && rig.tasks.is_none())?;
        Some((rig.settings.clone(), rig.line, rig.stream))
    }

    /// Puts a rig that was started again in its place.
    pub(super) fn put_back(&self, running: Running) {
        let mut rigs = self.rigs.write().unwrap_or_else(PoisonError::into_inner);
        if let Some(rig) = rigs.iter_mut().find(|rig| rig.seat.name == running.seat.name) {
            *rig = running;
        }
    }

    async fn end_one(&self, name: &str) -> Result<(), Refusal> {
        let running = {
            let mut rigs = self.rigs.write().unwrap_or_else(PoisonError::into_inner);
            rigs.iter().position(|r| r.seat.name == name).map(|at| rigs.remove(at))
        };
        let Some(running) = running else { return Ok(()) };
        let _ = running.stop.send(true);
        // The port must be free before another reader opens it.
        timeout(ENDS_WITHIN, ended(name, running.tasks)).await.map_err(|_| Refusal::Failed {
            tried: format!("end the reader of rig '{name}'"),
            what: "it did not end within 2 s".to_owned(),
        })
    }

    /// Ends all rigs; returns once their streams are closed.
    pub async fn end(&self) {
        let rigs = std::mem::take(&mut *self.rigs.write().unwrap_or_else(PoisonError::into_inner));
        for rig in &rigs {
            let _ = rig.stop.send(true);
        }
        for rig in rigs {
            ended(&rig.seat.name, rig.tasks).await;
        }
    }
}

async fn ended(name: &str, tasks: Option<Tasks>) {
    // The postman still waits for commits; whoever needs them waits for the store.
    for task in tasks.into_iter().flat_map(|tasks| [Some(tasks.thread), tasks.port]).flatten() {
        if let Err(e) = task.await {
            tracing::error!("rig '{name}': its reader broke off: {e}");
        }
    }
}
