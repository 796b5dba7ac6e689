//! What may be written, row by row, and what comes back for each.
//!
//! All wall times are nanoseconds since 1970 UTC, given by the caller: the store reads no clock.

use boltscribe_analysis::results::{ByHand, RunResult};
use boltscribe_model::control::{Command, InForce};
use boltscribe_pipeline::{Block, RunRow, Settings};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Number of a stream: one pipeline from its start to its end.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct StreamId(pub i64);

/// Number of a run in this store, from 1 without gaps.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema,
)]
#[serde(transparent)]
pub struct RunId(pub i64);

/// What stands on the shelf.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ShelfKind {
    /// Sockets, extensions, joints, adapters.
    Pieces,
    /// Chains of pieces.
    Setups,
    /// Tools under test.
    Tools,
    /// Batteries, air and mains supplies.
    Sources,
    /// Test bolts.
    Bolts,
}

impl ShelfKind {
    /// All kinds.
    pub const ALL: [Self; 5] = [Self::Pieces, Self::Setups, Self::Tools, Self::Sources, Self::Bolts];

    /// The word used in paths and in the store.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Pieces => "pieces",
            Self::Setups => "setups",
            Self::Tools => "tools",
            Self::Sources => "sources",
            Self::Bolts => "bolts",
        }
    }

    /// The kind of this word.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.name() == name)
    }
}

/// Tags a person gives a run afterwards; none leaves a tag as it was.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct NewTags {
    /// Name of the setup.
    pub setup: Option<String>,
    /// Contacts of that setup, where known.
    pub contacts: Option<u32>,
    /// Name of the tool.
    pub tool: Option<String>,
    /// The shelf's newest row when these were looked up.
    pub shelf: Option<i64>,
}

/// What a person says about a stored run: always a new row, never a change.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "correction", rename_all = "kebab-case")]
pub enum Correction {
    /// Other tags than those in force at the first blow.
    Tag(NewTags),
    /// Leave the run out of results.
    Exclude,
    /// Undo the exclusion in force; where there is none, count the run in spite of its flags.
    Restore,
}

/// A run measured again, with whom, why and with what.
#[derive(Clone, Debug, PartialEq)]
pub struct Recomputed {
    /// Which run.
    pub run: RunId,
    /// When.
    pub utc_ns: i64,
    /// Who.
    pub who: String,
    /// Why.
    pub why: String,
    /// Version of the measuring program.
    pub program: String,
    /// How it was measured.
    pub settings: boltscribe_signal::runs::Settings,
    /// The line from codes to tension.
    pub line: boltscribe_model::constants::Calibration,
    /// What came out.
    pub result: RunResult,
}

/// One thing to store.
#[derive(Clone, Debug, PartialEq)]
pub enum Write {
    /// A pipeline starts; answered with its [`StreamId`].
    Stream {
        /// Start.
        started_utc_ns: i64,
        /// Its settings, calibration included.
        settings: Box<Settings>,
    },
    /// The device has told who it is.
    Identity {
        /// The stream it answers on.
        stream: StreamId,
        /// When.
        utc_ns: i64,
        /// Serial number.
        serial: String,
        /// Firmware version.
        firmware: String,
        /// Device seconds in a second here.
        time_scale: u16,
        /// The device says that it invents its counts: runs stored from here on carry the mark.
        simulated: bool,
    },
    /// A row of a run; an announcement is answered with its [`RunId`].
    Run {
        /// The stream it was found in.
        stream: StreamId,
        /// The row.
        row: RunRow,
        /// Wall time of the first blow; of no effect on a closing row.
        first_blow_utc_ns: i64,
    },
    /// Samples of a run, or idle time.
    Block {
        /// The stream they come from.
        stream: StreamId,
        /// Wall time at which the pipeline gave the block.
        utc_ns: i64,
        /// The block.
        block: Block,
    },
    /// A run that was cut off, measured ([`super::Unfinished`]): closed as interrupted; none: its samples are forgotten.
    Recovered {
        /// The stream it was recorded in.
        stream: StreamId,
        /// Its number there.
        run_seq: u32,
        /// What was found.
        result: Option<Box<RunResult>>,
        /// Wall time of the first blow (or of the opening).
        first_blow_utc_ns: i64,
    },
    /// A stream broke off: its announced runs are closed as interrupted; [`super::Readers::unfinished`] has the others.
    BrokeOff {
        /// The stream.
        stream: StreamId,
    },
    /// A run that a person read from a dial; answered with its [`RunId`].
    Reading {
        /// When it was read.
        utc_ns: i64,
        /// The reading with its context.
        reading: Box<ByHand>,
    },
    /// A person's command to a rig; a `use` counts from its row on.
    Command {
        /// When.
        utc_ns: i64,
        /// Who.
        who: String,
        /// What.
        command: Box<Command>,
    },
    /// The zero a rig took.
    Zero {
        /// When.
        utc_ns: i64,
        /// The idle reading that counts as zero, in the calibration's terms.
        zero_kn: f64,
    },
    /// Where a rig was last seen at rest.
    Rest {
        /// When.
        utc_ns: i64,
        /// The idle reading as a raw code.
        counts: f64,
    },
    /// A new version of a document on the shelf; none: it is taken off.
    Shelf {
        /// When.
        utc_ns: i64,
        /// Who.
        who: String,
        /// Why, where one was given.
        why: Option<String>,
        /// What kind.
        kind: ShelfKind,
        /// Its name.
        name: String,
        /// The document.
        document: Option<serde_json::Value>,
    },
    /// A plan of a trial.
    Trial {
        /// When.
        utc_ns: i64,
        /// Who.
        who: String,
        /// The plan.
        plan: Box<boltscribe_analysis::trial::Plan>,
    },
    /// What was said of a trial.
    TrialEntry {
        /// Number of the trial.
        trial: i64,
        /// When.
        utc_ns: i64,
        /// Who.
        who: String,
        /// What.
        said: boltscribe_analysis::trial::Said,
    },
    /// A calibration against a reference.
    Calibration {
        /// When.
        utc_ns: i64,
        /// Who.
        who: String,
        /// The calibration.
        kept: Box<boltscribe_analysis::metrology::KeptCalibration>,
    },
    /// A person's word on a stored run.
    Correct {
        /// Which.
        run: RunId,
        /// When.
        utc_ns: i64,
        /// Who.
        who: String,
        /// Why.
        why: String,
        /// What.
        correction: Correction,
    },
    /// A stored run measured again: a row of its own, which the views show from then on.
    Recompute(Box<Recomputed>),
    /// A part of a pruning of old samples.
    Prune(super::prune::PruneWrite),
    /// Something worth keeping: a fault, a state, a recovery.
    Event {
        /// When.
        utc_ns: i64,
        /// A short fixed word.
        kind: String,
        /// What happened.
        detail: String,
    },
    /// A change of the outbox.
    Outbox(super::outbox::OutboxWrite),
    /// Rows that belong together: all are stored or, where one is refused, none. Answered with the last one's answer.
    Many(Vec<Write>),
}

impl Write {
    /// Whether it may change which step of a trial comes next.
    pub(super) fn moves_trials(&self) -> bool {
        match self {
            Self::Run { .. }
            | Self::Recovered { .. }
            | Self::BrokeOff { .. }
            | Self::Reading { .. }
            | Self::Trial { .. }
            | Self::TrialEntry { .. }
            | Self::Correct { .. }
            | Self::Recompute(_) => true,
            Self::Many(writes) => writes.iter().any(Self::moves_trials),
            Self::Stream { .. }
            | Self::Identity { .. }
            | Self::Block { .. }
            | Self::Command { .. }
            | Self::Zero { .. }
            | Self::Rest { .. }
            | Self::Shelf { .. }
            | Self::Calibration { .. }
            | Self::Prune(_)
            | Self::Event { .. }
            | Self::Outbox(_) => false,
        }
    }
}

/// What a stored row is known by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Written {
    /// A stream.
    Stream(StreamId),
    /// An announced run.
    Run(RunId),
    /// A pruning that begins.
    Pruning(super::prune::PruningId),
    /// As many rows.
    Rows(u64),
    /// Anything else.
    Row,
}

/// Why one row was not stored; the rows around it were.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Refused {
    /// The same run was announced, closed or opened before.
    #[error("cannot store {0}: expected it once, found it stored before")]
    Duplicate(String),
    /// It speaks of a stream, run or document that is not stored.
    #[error("cannot store {what}: expected {of} to be stored before, found none")]
    Unknown {
        /// What was to be stored.
        what: String,
        /// What is missing.
        of: String,
    },
    /// A number that is not finite, or a document that does not read back the same.
    #[error("cannot store {0}: expected figures that read back the same, found some that do not")]
    NotRepresentable(String),
    /// A run that is still going on.
    #[error("cannot measure run {0} again: expected a closed run, found it open")]
    Open(i64),
    /// A restore of a run that counts.
    #[error("cannot restore run {0}: expected it to be left out, found that it counts")]
    NotLeftOut(i64),
    /// SQLite refused the row.
    #[error("cannot store {what}: {detail}")]
    Row {
        /// What was to be stored.
        what: String,
        /// What SQLite said.
        detail: String,
    },
}

impl Refused {
    /// The short fixed word of the counter it adds to.
    #[must_use]
    pub const fn reason(&self) -> &'static str {
        match self {
            Self::Duplicate(_) => "duplicate",
            Self::Unknown { .. } => "unknown",
            Self::NotRepresentable(_) => "not-representable",
            Self::Open(_) => "open",
            Self::NotLeftOut(_) => "not-left-out",
            Self::Row { .. } => "row",
        }
    }
}

/// What became of one [`Write`].
pub type Outcome = Result<Written, Refused>;

/// A run whose recording was cut off: what [`boltscribe_pipeline`] needs to measure it.
#[derive(Clone, Debug, PartialEq)]
pub struct Unfinished {
    /// The rig.
    pub rig: String,
    /// The stream.
    pub stream: StreamId,
    /// Number within the stream.
    pub run_seq: u32,
    /// Wall time of the stream's start.
    pub stream_started_utc_ns: i64,
    /// Wall time at which the run was opened.
    pub opened_utc_ns: i64,
    /// The stream's settings.
    pub settings: Settings,
    /// `Block::Open`.
    pub open: Block,
    /// `Block::Raw`, in order.
    pub raw: Vec<Block>,
}

/// A person's latest `use`, with who and when.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct InForceRow {
    /// The rig.
    pub rig: String,
    /// When it was told.
    pub utc_ns: i64,
    /// By whom.
    pub who: String,
    /// The tags.
    pub in_force: InForce,
}
