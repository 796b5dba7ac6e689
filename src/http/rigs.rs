//! What the page asks of whoever runs the rigs: the daemon, or nobody when a command runs alone.
//!
//! Must not know ports, pipelines or tasks; commands go out through [`Rigs`], news come in.

use boltscribe_analysis::results::{ByHand, Dial};
use boltscribe_model::control::{Command, InForce};
use boltscribe_pipeline::{Counters, Event, RunRow};
use boltscribe_signal::frames::Guess;
use boltscribe_store::RunId;
use serde::Serialize;
use serde_json::Value;
use std::collections::BTreeMap;
use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;
use tokio::sync::broadcast;
use utoipa::ToSchema;

/// The state of a rig's line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Link {
    /// Open.
    Up,
    /// The port is missing or does not open: a state, not an exit.
    Down,
    /// No daemon runs: the rig is only known from the settings.
    NotServed,
    /// It has no line: a person reads its dial.
    ByHand,
}

/// Who answers at the other end of a rig's line.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Identity {
    /// Serial number of the device.
    pub serial: String,
    /// Firmware version.
    pub firmware: String,
    /// Device seconds in a second here.
    pub time_scale: u16,
}

/// All that is shown of a rig.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct RigState {
    /// Its name.
    pub rig: String,
    /// Its port, as configured; null where a dial is read.
    pub port: Option<String>,
    /// State of the line.
    pub link: Link,
    /// Why the line is down, where it is.
    pub link_detail: Option<String>,
    /// Nothing came for max(1 s, 3 frames): the reading below is null then.
    pub stale: bool,
    /// The device says that it invents its counts: a simulation.
    pub simulated: bool,
    /// Who answers, once it has told.
    pub identity: Option<Identity>,
    /// Samples a second.
    pub rate_hz: Option<f64>,
    /// The live reading, kN; null when stale or without a calibration.
    #[serde(rename = "tension_kN")]
    pub tension_kn: Option<f64>,
    /// The live raw code; null when stale.
    pub counts: Option<i32>,
    /// The rig's zero, kN in the calibration's terms.
    #[serde(rename = "zero_kN")]
    pub zero_kn: Option<f64>,
    /// Number within the stream of the run going on.
    pub running: Option<u32>,
    /// That run is not measured yet: the tool may be driving.
    pub driving: bool,
    /// No release was seen since the start, though a tightening may have been going on: no run is found, or it
    /// is left out.
    pub awaits_rest: bool,
    /// What keeps the daemon from measuring at this rig, in words; null where nothing does.
    pub trouble: Option<String>,
    /// Tags that the next run will carry.
    pub in_force: InForce,
    /// Name of the calibration.
    pub calibration: Option<String>,
    /// That calibration comes from data sheets or a dial: absolute figures are approximate.
    pub nominal: bool,
    /// Full range, kN, where known.
    #[serde(rename = "range_kN")]
    pub range_kn: Option<f64>,
    /// Times after the first blow at which tension is read, seconds; empty for a dial.
    pub gates_s: Vec<f64>,
    /// The dial that is read by hand; null where the rig has a line.
    pub dial: Option<Dial>,
    /// What stands until somebody changes it, in words: never silence where a limit or a calibration is
    /// missing.
    pub standing: Vec<&'static str>,
    /// Accounts of the pipeline.
    pub counters: Counters,
}

impl RigState {
    /// A rig whose dial is read by hand.
    #[must_use]
    pub fn by_hand(rig: &str, dial: &Dial) -> Self {
        Self {
            rig: rig.to_owned(),
            port: None,
            link: Link::ByHand,
            link_detail: None,
            stale: false,
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
            in_force: InForce::default(),
            calibration: dial.correction.as_ref().map(|c| c.id.clone()),
            nominal: dial.is_nominal(),
            range_kn: dial.range_kn,
            gates_s: Vec::new(),
            dial: Some(dial.clone()),
            standing: Vec::new(),
            counters: Counters::default(),
        }
    }

    /// Words `standing` anew.
    pub fn word_standing(&mut self) {
        self.standing.clear();
        let mut say = |when: bool, words: &'static str| {
            if when {
                self.standing.push(words);
            }
        };
        // A dial without a correction reads all the same; `nominal` says what that means.
        say(self.calibration.is_none() && self.dial.is_none(), "no calibration");
        say(self.nominal, "nominal");
        let bolt = self.in_force.bolt.as_ref();
        say(bolt.and_then(|b| b.allowed_kn).is_none(), "no limit set");
        say(bolt.and_then(|b| b.factor).is_none(), "no bolt factor");
        say(self.in_force.no_tool, "no tool coupled");
        say(self.in_force.setup.is_none() && !self.in_force.no_tool, "no setup");
        say(self.trouble.is_some(), "nothing is measured");
        say(self.awaits_rest, "no release seen since the start");
    }
}

/// A serial port of this machine.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct PortState {
    /// Stable name to put into the settings.
    pub path: String,
    /// What is plugged in, as far as it tells.
    pub device: Option<String>,
    /// Why it cannot be opened, and what to do; null where it can.
    pub not_allowed: Option<String>,
    /// The rig that uses it.
    pub rig: Option<String>,
}

/// A port to listen at for a moment.
#[derive(Clone, Debug, PartialEq)]
pub struct Hear {
    /// Its path.
    pub port: String,
    /// Bits a second.
    pub baud: u32,
    /// Ask who is there, in our own protocol; else only listen.
    pub framed: bool,
    /// How long, seconds.
    pub for_s: f64,
}

/// What was heard at a port.
#[derive(Clone, Debug, Default, PartialEq, Serialize, ToSchema)]
pub struct Heard {
    /// Bytes that came.
    pub bytes: u64,
    /// The last lines, escaped, where it talks in lines.
    pub lines: Vec<String>,
    /// What the lines seem to be.
    pub guess: Option<Guess>,
    /// Who answered in our protocol.
    pub device: Option<String>,
    /// The rates it offers, samples a second.
    pub rates_hz: Vec<u32>,
    /// What a person should know.
    pub remarks: Vec<String>,
}

/// What a rig did with a command.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Reply {
    /// It is in force now.
    Done,
    /// No daemon runs: what is stored is taken up at its next start.
    AtNextStart,
}

/// Why a rig did not take a command.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Refusal {
    /// No rig of this name.
    #[error("cannot find the rig '{0}'")]
    UnknownRig(String),
    /// The command needs a running daemon.
    #[error("cannot do this to rig '{0}': expected a running daemon, found none")]
    NotServed(String),
    /// Its settings cannot be used; one sentence for each mistake.
    #[error("{}", .0.join("\n"))]
    Settings(Vec<String>),
    /// The system did not let it happen.
    #[error("cannot {tried}: {what}")]
    Failed {
        /// What was tried, and where.
        tried: String,
        /// What was found.
        what: String,
    },
    /// The pipeline refused, or cannot do it now.
    #[error("rig '{rig}' refused: {reason}")]
    Refused {
        /// Which.
        rig: String,
        /// Why.
        reason: String,
    },
}

/// News of a rig.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(tag = "news", rename_all = "kebab-case")]
pub enum News {
    /// Provisional: what the pipeline just saw.
    Event(Event),
    /// A row of a run, after it was stored.
    Run {
        /// Its number in the store.
        id: RunId,
        /// The row.
        row: Box<RunRow>,
    },
    /// A reading by hand, after it was stored as a run.
    Reading {
        /// Its number in the store.
        id: RunId,
        /// The reading.
        #[serde(flatten)]
        read: Box<ByHand>,
    },
    /// A run was corrected, or measured again from its samples.
    Changed {
        /// Its number in the store.
        id: RunId,
    },
    /// A trial was planned, or something was said of it.
    Trial {
        /// Its name.
        trial: String,
    },
    /// The line came or went.
    Link {
        /// New state.
        link: Link,
        /// Why.
        detail: Option<String>,
    },
}

/// One message of the live feed.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LiveMessage {
    /// The rig.
    pub rig: String,
    /// Wall time, nanoseconds since 1970 UTC.
    pub utc_ns: i64,
    /// What happened.
    #[serde(flatten)]
    pub news: News,
}

/// A future that may be sent between threads; a trait object cannot have an `async fn`.
pub type Later<'a, T> = Pin<Box<dyn Future<Output = T> + Send + 'a>>;

/// Whoever runs the rigs.
pub trait Rigs: Send + Sync {
    /// All rigs, running or only configured, in the order of the settings.
    fn rigs(&self) -> Vec<RigState>;

    /// Hands a command to a rig. The page has stored a `use` before it comes here; a `zero` is
    /// stored once it was taken.
    fn command<'a>(
        &'a self,
        rig: &'a str,
        who: &'a str,
        command: Command,
    ) -> Later<'a, Result<Reply, Refusal>>;

    /// Tells news to everybody who listens.
    fn tell(&self, rig: &str, utc_ns: i64, news: News);

    /// Writes down and starts a rig given as a document with the keys of `[[rig]]`; with `replace` in place
    /// of the one of its name. Answers with the path of its file, which opens with the line `head`.
    fn keep<'a>(
        &'a self,
        rig: &'a Value,
        replace: bool,
        head: &'a str,
    ) -> Later<'a, Result<String, Refusal>> {
        let _ = (replace, head);
        let name = rig["name"].as_str().unwrap_or_default().to_owned();
        Box::pin(async move { Err(Refusal::NotServed(name)) })
    }

    /// Takes a rig that was kept so away.
    fn drop_rig<'a>(&'a self, rig: &'a str) -> Later<'a, Result<(), Refusal>> {
        Box::pin(async move { Err(Refusal::NotServed(rig.to_owned())) })
    }

    /// Listens at a port that no rig has.
    fn hear<'a>(&'a self, at: &'a Hear) -> Later<'a, Result<Heard, Refusal>> {
        Box::pin(async move { Err(Refusal::NotServed(at.port.clone())) })
    }

    /// Tells of a reading by hand that was stored.
    fn was_read(&self, rig: &str, utc_ns: i64, id: RunId, read: ByHand) {
        let _ = (rig, utc_ns, id, read);
    }

    /// A receiver of the live feed; it may lag, and then misses messages.
    fn subscribe(&self) -> broadcast::Receiver<Arc<LiveMessage>>;

    /// The serial ports of this machine.
    fn ports(&self) -> Vec<PortState>;

    /// Facts for a bug report (versions, addresses, permissions): name and value.
    fn facts(&self) -> Vec<(String, String)> {
        Vec::new()
    }

    /// Further counters for `/metrics`: name (`boltscribe_..._total`) and value.
    fn counters(&self) -> BTreeMap<String, u64> {
        BTreeMap::new()
    }

    /// How forwarding goes; none where nothing is set up, or no daemon runs.
    fn forward(&self) -> Option<super::forward::ForwardState> {
        None
    }

    /// Asks for a try at once; whether there is somebody to try.
    fn forward_now(&self) -> bool {
        false
    }
}
