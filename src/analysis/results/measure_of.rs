//! Which figure of a run is meant, and what of it scatters from run to run.
//!
//! The lines that belong to one run alone: noise, zero, resolution, filter. Must not know calibrations.

use super::by_hand::Entry;
use crate::metrology::budget::Line;
use boltscribe_signal::runs::Record;
use boltscribe_signal::runs::lowpass::corner_hz;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A figure of a run.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Measure {
    /// Tension at the first gate.
    #[default]
    Gate,
    /// Settled tension.
    Held,
    /// Greatest filtered tension.
    Peak,
    /// Fitted limit.
    Plateau,
}

/// The standard error of a median over that of a mean, for normal noise: √(π/2).
const MEDIAN: f64 = 1.253_314_137_315_5;
/// Seconds over which zero and held are taken.
const HALF_SECOND: f64 = 0.5;
/// Overshoot of a step through the Butterworth low-pass of order 4, as a share of the step.
const OVERSHOOT: f64 = 0.108;
/// Name of the line of noise where the low-pass that measured the run is known, and where it is not.
const NOISE: [&str; 2] = ["noise", "noise (low-pass not known: nothing averaged)"];
/// The same for the zero.
const ZERO: [&str; 2] = ["zero", "zero (low-pass not known: nothing averaged)"];
/// Names of the lines of the smallest step that can be read: of a cell's counts, and of a dial.
const RESOLUTION: &str = "resolution";
const RESOLUTION_OF_DIAL: &str = "resolution of the dial";
/// Where blows are not seen, seconds.
const INTERVAL_UNSEEN_S: f64 = 0.1;

/// A figure with what is uncertain about it in this one run.
#[derive(Clone, Debug, PartialEq)]
pub struct Figure {
    /// kN above the zero.
    pub value_kn: f64,
    /// The zero in the calibration's terms, kN; none where nothing was converted.
    pub zero_kn: Option<f64>,
    /// Lines of this run alone, kN.
    pub lines: Vec<Line>,
}

impl Figure {
    /// The line of the smallest step that can be read; none where the figure has no such step.
    #[must_use]
    pub fn resolution(&self) -> Option<&Line> {
        self.lines.iter().find(|line| [RESOLUTION, RESOLUTION_OF_DIAL].contains(&line.name.as_str()))
    }
}

impl Measure {
    /// The word for it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Gate => "gate",
            Self::Held => "held",
            Self::Peak => "peak",
            Self::Plateau => "plateau",
        }
    }

    /// The figure of a run; `kn_per_count` is the slope of its line, where it has one, and `lowpass_hz` the cut-off
    /// that was set when it was measured, hertz. Where that is not known, nothing is averaged out of its noise: too
    /// large rather than too small. None: the run has no such figure.
    #[must_use]
    pub fn of(self, entry: &Entry, kn_per_count: Option<f64>, lowpass_hz: Option<f64>) -> Option<Figure> {
        match entry {
            Entry::Measured(run) => self.measured(&run.record, kn_per_count, lowpass_hz),
            Entry::ByHand(read) => {
                let value = match self {
                    Self::Held => read.held(),
                    Self::Peak => read.peak(),
                    Self::Gate | Self::Plateau => None,
                }?;
                let step = read.reading.resolution.kn();
                let lines = vec![Line::rectangular(RESOLUTION_OF_DIAL, 0.5 * step, 1.0)];
                Some(Figure { value_kn: value.kn(), zero_kn: None, lines })
            }
        }
    }

    fn measured(self, record: &Record, kn_per_count: Option<f64>, lowpass_hz: Option<f64>) -> Option<Figure> {
        let noise = record.noise.kn();
        let corner_hz = lowpass_hz.map(|set_hz| corner_hz(set_hz, record.rate_hz));
        let name = |names: [&'static str; 2]| names[usize::from(corner_hz.is_none())];
        // Of low-passed noise about two values a hertz and second are independent.
        let independent = |seconds: f64| corner_hz.map_or(1.0, |hz| (2.0 * hz * seconds).max(1.0));
        let averaged = |seconds: f64| noise / libm::sqrt(independent(seconds));
        let interval_s = record.blow_rate_hz.map_or(INTERVAL_UNSEEN_S, |hz| 1.0 / hz);
        let (value, mut lines) = match self {
            Self::Held => (record.held?, vec![Line::known(name(NOISE), MEDIAN * averaged(HALF_SECOND))]),
            Self::Gate => {
                (record.gates.first()?.tension?, vec![Line::known(name(NOISE), averaged(interval_s))])
            }
            Self::Peak => {
                let mut lines = vec![Line::known(NOISE[0], noise)];
                if let [.., before, last] = &record.blows[..] {
                    let step = (last.level.kn() - before.level.kn()).abs();
                    lines.push(Line::rectangular("overshoot of the low-pass", OVERSHOOT * step, 1.0));
                }
                (record.peak, lines)
            }
            Self::Plateau => {
                let plateau = record.plateau?;
                (plateau.limit, vec![Line::known("fit of the plateau", plateau.limit_se.kn())])
            }
        };
        lines.push(Line::known(name(ZERO), MEDIAN * averaged(HALF_SECOND)));
        if let Some(slope) = kn_per_count {
            // Of the figure and of its zero.
            lines.push(Line::rectangular(RESOLUTION, 0.5 * slope.abs(), libm::sqrt(2.0)));
        }
        Some(Figure { value_kn: value.kn(), zero_kn: Some(record.zero.kn()), lines })
    }
}
