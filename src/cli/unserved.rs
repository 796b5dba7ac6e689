//! The rigs while no daemon runs: known from the settings, not served.
//!
//! What is put in force is stored by the API and taken up at the daemon's next start; everything live is
//! refused in words.

use boltscribe_http::{Later, Link, LiveMessage, News, PortState, Refusal, Reply, RigState, Rigs};
use boltscribe_model::control::Command;
use boltscribe_pipeline::Counters;
use boltscribe_serial::list_ports;
use boltscribe_settings::Rig;
use boltscribe_store::{Readers, StoreError};
use std::sync::{Arc, Mutex, PoisonError};
use tokio::sync::broadcast;

/// The rigs of the settings.
pub struct Unserved {
    rigs: Mutex<Vec<RigState>>,
    feed: broadcast::Sender<Arc<LiveMessage>>,
}

impl Unserved {
    /// With the rigs of the settings.
    #[must_use]
    pub fn new(rigs: &[Rig]) -> Self {
        Self { rigs: Mutex::new(rigs.iter().map(not_served).collect()), feed: broadcast::channel(1).0 }
    }

    /// Takes up what is in force and the zeros from the store.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn take_up(&self, readers: &Readers) -> Result<(), StoreError> {
        let reader = readers.reader()?;
        for rig in self.rigs.lock().unwrap_or_else(PoisonError::into_inner).iter_mut() {
            if let Some(row) = reader.in_force(&rig.rig)? {
                rig.in_force = row.in_force;
            }
            if rig.dial.is_some() {
                continue;
            }
            rig.zero_kn = reader.zero_kn(&rig.rig)?;
            if let Some(calibration) = reader.calibrated(&rig.rig)? {
                rig.calibration = Some(calibration.id);
                rig.nominal = calibration.nominal;
            }
        }
        Ok(())
    }
}

fn not_served(rig: &Rig) -> RigState {
    if let Some(dial) = rig.dial() {
        return RigState::by_hand(&rig.name, dial);
    }
    RigState {
        rig: rig.name.clone(),
        port: rig.port().map(str::to_owned),
        link: Link::NotServed,
        link_detail: None,
        stale: true,
        simulated: false,
        identity: None,
        rate_hz: None,
        tension_kn: None,
        counts: None,
        zero_kn: None,
        running: None,
        driving: false,
        awaits_rest: false,
        trouble: None,
        in_force: boltscribe_model::control::InForce::default(),
        calibration: rig.calibration().map(|c| c.id.clone()),
        nominal: rig.calibration().is_some_and(|c| c.nominal),
        range_kn: rig.range_kn(),
        gates_s: Vec::new(),
        dial: None,
        standing: Vec::new(),
        counters: Counters::default(),
    }
}

impl Rigs for Unserved {
    fn rigs(&self) -> Vec<RigState> {
        self.rigs.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    fn command<'a>(
        &'a self,
        rig: &'a str,
        _who: &'a str,
        command: Command,
    ) -> Later<'a, Result<Reply, Refusal>> {
        Box::pin(async move {
            let mut rigs = self.rigs.lock().unwrap_or_else(PoisonError::into_inner);
            let Some(state) = rigs.iter_mut().find(|state| state.rig == rig) else {
                return Err(Refusal::UnknownRig(rig.to_owned()));
            };
            match command {
                Command::Use { in_force } => {
                    state.in_force = in_force;
                    // A reading by hand needs no daemon: it takes these tags at once.
                    Ok(if state.dial.is_some() { Reply::Done } else { Reply::AtNextStart })
                }
                Command::Calibrate { calibration } => {
                    state.calibration = Some(calibration.id);
                    state.nominal = calibration.nominal;
                    state.zero_kn = None;
                    Ok(Reply::AtNextStart)
                }
                Command::Zero | Command::RestoreZero { .. } | Command::AwaitRest { .. } => {
                    Err(Refusal::NotServed(rig.to_owned()))
                }
            }
        })
    }

    fn tell(&self, _: &str, _: i64, _: News) {
        // Nobody listens to one command.
    }

    fn subscribe(&self) -> broadcast::Receiver<Arc<LiveMessage>> {
        self.feed.subscribe()
    }

    fn ports(&self) -> Vec<PortState> {
        let rigs = self.rigs();
        list_ports()
            .into_iter()
            .map(|listed| {
                let is_it = |rig: &&RigState| {
                    rig.port
                        .as_ref()
                        .is_some_and(|port| *port == listed.path || listed.other_names.contains(port))
                };
                PortState {
                    rig: rigs.iter().find(is_it).map(|rig| rig.rig.clone()),
                    not_allowed: listed
                        .allowed
                        .err()
                        .map(|denied| format!("{}; {}", denied.why, denied.what_to_do)),
                    device: Some(listed.words).filter(|words| !words.is_empty()),
                    path: listed.path,
                }
            })
            .collect()
    }
}
