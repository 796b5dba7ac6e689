//! What is drawn for one trace: the law of the blows, the tightenings, the chain of measurement.
//!
//! Data only; how it is drawn stands in `draw` and `families`, what comes of it in `motion` and `chain`.

use super::law::Law;

/// One trace to be played.
#[derive(Debug, Clone)]
pub struct Case {
    /// Seed of everything random in it.
    pub seed: u64,
    /// Kind of difficulty.
    pub family: &'static str,
    /// Samples a second.
    pub rate_hz: f64,
    /// What a blow does.
    pub law: Law,
    /// Limit of a blow of mean energy, kN.
    pub limit_kn: f64,
    /// Shares of tension lost by embedding within about 0.03, 0.3 and 3 s.
    pub embedding: [f64; 3],
    /// Tension standing when the trace begins, share of the limit.
    pub standing: f64,
    /// The tightenings in order.
    pub runs: Vec<Tightening>,
    /// Where the trace begins.
    pub begin: Begin,
    /// Share of the last drive at which the trace ends; none: after the last release.
    pub ends_in_drive: Option<f64>,
    /// From force to counts.
    pub chain: Chain,
}

/// Where a trace begins.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Begin {
    /// Before anything.
    Idle,
    /// At this share of the first drive.
    InDrive(f64),
    /// After the first drive, before its release.
    Standing,
}

/// One tightening with its release.
#[derive(Debug, Clone)]
pub struct Tightening {
    /// Idle before it, s.
    pub idle_s: f64,
    /// What happens to the nut before the tool's first blow.
    pub seat: Seat,
    /// A knock before the first blow.
    pub knock_before: Option<Knock>,
    /// A socket falls on the rig before it.
    pub dropped: bool,
    /// The pull.
    pub drive: Drive,
    /// A knock after the last blow.
    pub knock_after: Option<Knock>,
    /// A second pull on the tight nut.
    pub second: Option<SecondPull>,
    /// From the last blow to the release, s.
    pub hold_s: f64,
    /// How the bolt is let go.
    pub release: Release,
}

/// What happens to the nut before the tool's first blow. Shares are of the limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Seat {
    /// Nothing.
    Loose,
    /// The tool turns the nut without blows.
    RunDown {
        /// How long.
        seconds: f64,
        /// Tension where blows begin.
        share: f64,
    },
    /// A hand wrench in strokes, then a pause.
    ByHand {
        /// How many.
        strokes: u32,
        /// Tension at the end.
        share: f64,
        /// From the last stroke to the tool's first blow.
        pause_s: f64,
    },
}

/// A tool set on or taken off: ringing, and a short push.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Knock {
    /// From or to the blow it stands beside, s.
    pub apart_s: f64,
    /// Ringing over that of a mean blow.
    pub strength: f64,
    /// Height of the push, share of the limit.
    pub push: f64,
}

/// One pull of the trigger.
#[derive(Debug, Clone)]
pub struct Drive {
    /// First to last blow at most this far apart, s.
    pub seconds: f64,
    /// Mean blows a second.
    pub blow_hz: f64,
    /// Standard deviation of a blow's energy over its mean.
    pub scatter: f64,
    /// Standard deviation of an interval over its mean.
    pub jitter: f64,
    /// How energy and rate go over the pull.
    pub pattern: Pattern,
    /// Pauses: when, and how long no blow comes, s.
    pub pauses: Vec<(f64, f64)>,
}

/// How energy and rate go over a pull.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Pattern {
    /// Steady.
    Steady,
    /// Two hammers: energies and intervals lean to and fro by these shares.
    Twin {
        /// Of energy.
        energy: f64,
        /// Of intervals.
        interval: f64,
    },
    /// Energy and rate fall by these shares until the end.
    Sag {
        /// Of energy.
        energy: f64,
        /// Of the rate.
        rate: f64,
    },
    /// Energy rises from a share to all within some blows.
    SoftStart {
        /// Blows.
        blows: f64,
        /// Share of energy of the first.
        from: f64,
    },
    /// Energy rises from a share to all within a time.
    Feather {
        /// Share of energy of the first blow.
        from: f64,
        /// Time of the rise, s.
        rise_s: f64,
    },
    /// Energy falls in waves by at most a share.
    Waves {
        /// Waves a second.
        hz: f64,
        /// Share.
        depth: f64,
    },
}

/// A second pull.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SecondPull {
    /// After the last blow of the first, s.
    pub after_s: f64,
    /// How long, s.
    pub seconds: f64,
    /// Its energy over that of the first.
    pub energy: f64,
}

/// How the bolt is let go.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Release {
    /// A smooth ramp, s.
    Smooth(f64),
    /// Blows the other way, each lowering tension by this share.
    Reverse(f64),
    /// Strokes of a hand wrench.
    Hand(u32),
    /// Within some milliseconds.
    Drop,
    /// The bolt stays tight to the end of the trace.
    None,
}

/// From force to counts. Tensions in kN.
#[derive(Debug, Clone)]
pub struct Chain {
    /// The converter's filter.
    pub filter: Filter,
    /// Bits of a code, two's complement.
    pub bits: u32,
    /// Range of the transducer; the converter reaches 1.2 times as far.
    pub range_kn: f64,
    /// Standard deviation of a sample's white noise.
    pub noise_kn: f64,
    /// Reading of the unloaded rig.
    pub zero_kn: f64,
    /// Its drift a second.
    pub drift_kn_per_s: f64,
    /// Mains hum: frequency, amplitude of the fundamental, and shares of harmonics 2 and 3.
    pub hum: Hum,
    /// Noise while the trigger is held, over the idle noise.
    pub brush: f64,
    /// Trigger pressed this long before the first blow, s.
    pub brush_lead_s: f64,
    /// Ringing of the cell.
    pub cell: Mode,
    /// Ringing of the rig.
    pub rig: Mode,
    /// Time in which a blow's step is made, s.
    pub rise_s: f64,
    /// Wild samples.
    pub wild: Wild,
    /// A stretch of false codes while the first run is driven.
    pub glitch: Option<Glitch>,
}

/// Mains hum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hum {
    /// Fundamental.
    pub hz: f64,
    /// Its amplitude; 0 for none.
    pub kn: f64,
    /// Second and third harmonic over the first.
    pub harmonics: [f64; 2],
}

/// The converter's filter. Its delay at low frequency is taken off the time axis.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Filter {
    /// Points behind an anti-alias (Butterworth, order 4, 0.4 of the rate).
    Point,
    /// Mean over one sample.
    Boxcar,
    /// Three means one after the other.
    Sinc3,
    /// Four.
    Sinc4,
}

/// One ringing part, excited by every blow.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mode {
    /// Frequency.
    pub hz: f64,
    /// Share of critical damping.
    pub damping: f64,
    /// Amplitude a mean blow excites, kN.
    pub kn: f64,
    /// Scatter of that amplitude (of its logarithm).
    pub scatter: f64,
}

/// Wild samples.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wild {
    /// Mean number a second.
    pub per_s: f64,
    /// Samples side by side, 1 or 2.
    pub width: usize,
    /// Height, kN.
    pub kn: f64,
}

/// A stretch of false codes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Glitch {
    /// Where in the drive, as a share.
    pub at: f64,
    /// How long, s.
    pub seconds: f64,
    /// What is shown.
    pub shows: Shows,
}

/// What a converter shows that lost its signal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shows {
    /// Its greatest code.
    Rail,
    /// Code 0.
    Zero,
    /// Its least code.
    Floor,
}
