//! What goes into a rig's pipeline and what comes out of it, and its settings.
//!
//! Must not know who sends, stores or shows them.

use boltscribe_analysis::results::{Closed, RunResult};
use boltscribe_model::constants::Calibration;
use boltscribe_model::control::{Command, InForce};
use boltscribe_model::time::MonoNs;
use boltscribe_model::units::{Counts, Newtons};
use boltscribe_signal::frames;
use boltscribe_signal::runs;
use boltscribe_signal::samples;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// All a pipeline needs to know before the first byte; written at the head of a recording.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Settings {
    /// How the amplifier talks.
    pub instrument: frames::Settings,
    /// Rate asked of the device, and what to expect where it cannot tell.
    pub samples: samples::Settings,
    /// How runs are found and measured.
    pub runs: runs::Settings,
    /// Counts to tension; none: counts are shown, nothing is measured.
    pub calibration: Option<Calibration>,
}

/// The state of the serial line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LinkState {
    /// Opened (again): what follows starts somewhere inside a frame.
    Up,
    /// Gone.
    Down,
}

/// What a pipeline is fed with, in order of time.
#[derive(Clone, Debug, PartialEq)]
pub enum Input<'a> {
    /// Bytes and when the read that brought them returned.
    Bytes {
        /// Arrival.
        at: MonoNs,
        /// Any number of bytes, split anywhere.
        bytes: &'a [u8],
    },
    /// Time passes.
    Tick {
        /// Now.
        at: MonoNs,
    },
    /// The port came or went.
    Link {
        /// Now.
        at: MonoNs,
        /// Which.
        state: LinkState,
    },
    /// A person's command.
    Command {
        /// Now.
        at: MonoNs,
        /// What was told.
        command: Command,
    },
}

/// What a pipeline answers.
#[derive(Clone, Debug, PartialEq)]
pub enum Output {
    /// Bytes for the device.
    Send(Vec<u8>),
    /// Something to show; provisional.
    Event(Event),
    /// A row of a run, made once.
    Run(RunRow),
    /// Samples to keep.
    Block(Block),
    /// Something went wrong; counted, and worth a line in the log.
    Fault(Fault),
}

/// The two rows a run has.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "row", rename_all = "kebab-case")]
pub enum RunRow {
    /// Measured and announced.
    Announced(Box<RunResult>),
    /// Released, timed out or interrupted.
    Closed(Closed),
}

/// Provisional news for whoever watches.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "event", rename_all = "kebab-case")]
pub enum Event {
    /// Who answers at the other end.
    Identity {
        /// Serial number of the device.
        serial: String,
        /// Firmware version, as the device words it.
        firmware: String,
        /// Bits of the converter.
        adc_bits: u8,
        /// Smallest count.
        count_min: i32,
        /// Largest count.
        count_max: i32,
        /// Rates offered, hertz.
        rates_hz: Vec<u32>,
        /// Device seconds in a second here; 1 on real hardware.
        time_scale: u16,
        /// It says that it invents its counts: all that comes from it is simulated.
        simulated: bool,
    },
    /// Samples flow at this rate.
    Rate {
        /// Hertz.
        rate_hz: f64,
    },
    /// Slow values the device told.
    Status {
        /// Samples the device dropped since its start.
        dropped: u32,
        /// Supply in volts.
        supply_v: Option<f64>,
        /// Temperature in degrees Celsius.
        #[serde(rename = "temperature_C")]
        temperature_c: Option<f64>,
    },
    /// The device stopped sending samples, or sends them again.
    Stale {
        /// True: no samples for max(1 s, 3 frames).
        stale: bool,
    },
    /// A stale device answers all the same: it does not sample. Or that is over.
    Unsampled {
        /// True: it answers, but no samples come.
        answers: bool,
    },
    /// At most 30 a second: the live reading.
    Live {
        /// Seconds since sample 0.
        at_s: f64,
        /// Mean since the last one.
        mean: Newtons,
        /// Least since the last one.
        min: Newtons,
        /// Greatest since the last one.
        max: Newtons,
        /// Mean raw code, for a rig without calibration.
        counts: Counts,
    },
    /// A run has begun.
    Started {
        /// Number within the stream.
        run_seq: u32,
        /// When tension crossed the threshold, seconds since sample 0.
        at_s: f64,
    },
    /// A blow was seen.
    Blow {
        /// Number within the stream.
        run_seq: u32,
        /// Onset, seconds since sample 0.
        at_s: f64,
    },
    /// The rig's zero was taken.
    Zeroed {
        /// The idle reading that counts as zero from now on.
        zero: Newtons,
    },
    /// No release was seen since the stream began, though a tightening may have been going on: no run is found,
    /// or it is left out. Or it was seen now.
    AwaitsRest {
        /// True: it is waited for.
        awaits: bool,
        /// Below which tension must fall and stand still.
        below: Newtons,
    },
    /// A command could not be obeyed.
    Refused {
        /// Why.
        reason: String,
    },
    /// New tags are in force.
    InForce(Box<InForce>),
}

impl From<&frames::Identity> for Event {
    fn from(identity: &frames::Identity) -> Self {
        Self::Identity {
            serial: identity.serial.clone(),
            firmware: identity.firmware.clone(),
            adc_bits: identity.adc_bits,
            count_min: identity.count_min,
            count_max: identity.count_max,
            rates_hz: identity.rates_hz.clone(),
            time_scale: identity.time_scale,
            simulated: identity.simulated,
        }
    }
}

/// Samples to keep.
#[derive(Clone, Debug, PartialEq)]
pub enum Block {
    /// A run was opened: what is needed to measure it should the program die before its end.
    Open {
        /// Number within the stream.
        run_seq: u32,
        /// Index in the stream of its first kept sample.
        first_sample: u64,
        /// Samples a second.
        rate_hz: f64,
        /// Tags at the opening.
        in_force: Box<InForce>,
        /// What the run begins from; none: an older program, which did not keep it, opened it.
        opening: Option<Box<runs::Opening>>,
    },
    /// Raw codes of an open run, in order and without overlap.
    Raw {
        /// The run.
        run_seq: u32,
        /// Index in the stream of the first code.
        first_sample: u64,
        /// The codes; where samples lack the last one is repeated and `missing` tells.
        counts: Vec<i32>,
        /// Missing samples inside this block: (offset, how many).
        missing: Vec<(u32, u32)>,
    },
    /// The run's samples are complete.
    End {
        /// The run.
        run_seq: u32,
    },
    /// Idle time, thinned.
    Idle {
        /// Index in the stream of the first sample covered.
        first_sample: u64,
        /// Samples a second.
        rate_hz: f64,
        /// Samples each point stands for.
        samples_per_point: u32,
        /// The points, in codes.
        points: Vec<Thin>,
    },
}

/// One thinned point, in raw codes.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Thin {
    /// Least code.
    pub min: i32,
    /// Greatest code.
    pub max: i32,
    /// Mean code.
    pub mean: f32,
}

/// Something that went wrong on the line or in the samples.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Fault {
    /// A short fixed word: the counter it adds to.
    pub kind: String,
    /// What happened, for the log.
    pub detail: String,
}

/// Closed accounts of one pipeline.
///
/// `bytes_in` = `bytes_parsed` + the sum of `bytes_discarded` + what waits in an unfinished frame;
/// `samples_in` = `samples_used` + the sum of `samples_dropped` + `samples_waiting`.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Counters {
    /// Bytes fed.
    pub bytes_in: u64,
    /// Bytes of good frames and their delimiters.
    pub bytes_parsed: u64,
    /// Bytes thrown away, by reason.
    pub bytes_discarded: BTreeMap<String, u64>,
    /// Bytes of a frame that is not whole yet.
    pub bytes_pending: u64,
    /// Good frames (or lines).
    pub frames: u64,
    /// Samples taken from frames.
    pub samples_in: u64,
    /// Samples not used, by reason (repeated frame, no calibration...).
    pub samples_dropped: BTreeMap<String, u64>,
    /// Samples the device or the line lost, as seen in ticks and sequence numbers.
    pub samples_missing: u64,
    /// Samples that went to runs or to thinned idle time.
    pub samples_used: u64,
    /// Samples held back while the spacing of an ASCII board is learned.
    pub samples_waiting: u64,
    /// Runs announced.
    pub runs: u64,
}
