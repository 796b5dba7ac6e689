//! One run as it is shown: its line in a list, and everything else that is known of it.
//!
//! Keys carry units; what is absent, or what a dial cannot tell, is null. Nothing is worked out here but how the
//! newest figures differ from those of the announcement.

use super::figures::{Difference, differences};
use boltscribe_analysis::results::{
    ByHand, Closed, Dial, DialUnit, Entry, FiguresShown, ReadingOf, RunResult,
};
use boltscribe_model::control::InForce;
use boltscribe_model::units::NewtonMetres;
use boltscribe_store::{CorrectionRow, RunDetail, RunLine, Tombstone, Version};
use serde::Serialize;
use utoipa::ToSchema;

/// One run with all that is known of it.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Run)]
pub struct RunShown {
    #[serde(flatten)]
    line: RunLine,
    #[serde(flatten)]
    measures: Measures,
    #[serde(flatten)]
    figures: FiguresShown,
    /// What was in force at its first blow, as it was told then.
    in_force: InForce,
    /// The pieces of its setup from the anvil on, as the shelf had them when the run got its setup; empty where they are
    /// not known.
    pieces: Vec<String>,
    /// What people said about it, oldest first.
    corrections: Vec<CorrectionRow>,
    /// What was measured again, oldest first.
    recomputations: Vec<Version>,
    /// How its newest figures differ from those of the announcement; null where it was not measured again.
    since_announcement: Option<Vec<Difference>>,
    /// What is left of its samples; null where they were not pruned.
    samples_pruned: Option<Tombstone>,
}

/// Figures that the line does not have; all but the reading and a torque are null where a dial was read.
#[derive(Debug, Default, Serialize, ToSchema)]
struct Measures {
    /// Samples a second.
    rate_hz: Option<f64>,
    /// How far the idle reading before the run stood from the rig's zero, kN.
    #[serde(rename = "zero_shift_kN")]
    zero_shift_kn: Option<f64>,
    /// Standard deviation of the idle signal, kN.
    #[serde(rename = "noise_kN")]
    noise_kn: Option<f64>,
    /// Median over the blows of the largest excursion, kN; null where blows are not seen.
    #[serde(rename = "ringing_kN")]
    ringing_kn: Option<f64>,
    /// Tension just after the last blow, kN.
    #[serde(rename = "level_kN")]
    level_kn: Option<f64>,
    /// Standard error of the time constant, seconds.
    time_constant_se_s: Option<f64>,
    /// Equivalent torque of the peak, N·m; null without a bolt factor.
    #[serde(rename = "equivalent_torque_peak_Nm")]
    equivalent_torque_peak_nm: Option<NewtonMetres>,
    /// Equivalent torque of the fitted limit, N·m; null without a bolt factor.
    #[serde(rename = "equivalent_torque_plateau_Nm")]
    equivalent_torque_plateau_nm: Option<NewtonMetres>,
    /// Single samples that were taken out.
    spikes: Option<u32>,
    /// Samples that were lost on the way.
    missing: Option<u32>,
    /// Samples at the ends of the converter's range.
    clipped: Option<u32>,
    /// When it closed, seconds since sample 0 of the stream; null while it has not.
    closed_s: Option<f64>,
    /// The tool was pulled again before the release.
    re_pulled: Option<bool>,
    /// Tension after that second pull, kN.
    #[serde(rename = "re_pulled_level_kN")]
    re_pulled_level_kn: Option<f64>,
    /// Its blows in order; empty where sampling cannot show them, null where a dial was read.
    blow_list: Option<Vec<BlowShown>>,
    /// What was read by hand; null where samples were measured.
    reading: Option<ReadingShown>,
}

/// One hammer impact.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Blow)]
struct BlowShown {
    /// Its onset, seconds since sample 0 of the stream.
    at_s: f64,
    /// Tension after it, kN.
    #[serde(rename = "level_kN")]
    level_kn: f64,
}

/// A reading by hand as it was typed.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Reading)]
struct ReadingShown {
    /// The figure.
    value: f64,
    /// The unit it was typed in.
    unit: DialUnit,
    /// Held tension or peak.
    of: ReadingOf,
    /// The dial as it was set then.
    dial: Dial,
}

impl RunShown {
    /// A run with the pieces it was coupled with.
    pub(super) fn new(run: RunDetail, pieces: Vec<String>) -> Self {
        let newest = run.result.measured();
        let changes =
            run.original.as_ref().zip(newest).map(|(original, newest)| differences(original, newest));
        let (measures, figures) = match &run.result {
            Entry::Measured(result) => {
                (measured(result, run.closed.as_ref()), FiguresShown::from(&result.record))
            }
            Entry::ByHand(read) => (by_hand(read), FiguresShown::default()),
        };
        Self {
            measures,
            figures,
            in_force: run.result.in_force().clone(),
            line: run.line,
            pieces,
            corrections: run.corrections,
            recomputations: run.versions,
            since_announcement: changes,
            samples_pruned: run.pruned,
        }
    }
}

fn measured(result: &RunResult, closed: Option<&Closed>) -> Measures {
    let record = &result.record;
    let closing = closed.map(|closed| &closed.closing);
    let blows = record.blows.iter().map(|blow| BlowShown { at_s: blow.at_s, level_kn: blow.level.kn() });
    Measures {
        rate_hz: Some(record.rate_hz),
        zero_shift_kn: Some(record.zero_shift.kn()),
        noise_kn: Some(record.noise.kn()),
        ringing_kn: record.ringing.map(|f| f.kn()),
        level_kn: record.level.map(|f| f.kn()),
        time_constant_se_s: record.plateau.map(|p| p.time_constant_se_s),
        equivalent_torque_peak_nm: result.torques.peak,
        equivalent_torque_plateau_nm: result.torques.plateau,
        spikes: Some(record.spikes),
        missing: Some(record.missing),
        clipped: Some(record.clipped),
        closed_s: closing.map(|c| c.closed_s),
        re_pulled: closing.map(|c| c.re_pulled),
        re_pulled_level_kn: closing.and_then(|c| c.re_pulled_level).map(|f| f.kn()),
        blow_list: Some(blows.collect()),
        reading: None,
    }
}

fn by_hand(read: &ByHand) -> Measures {
    let reading = &read.reading;
    Measures {
        equivalent_torque_peak_nm: read.peak_torque(),
        reading: Some(ReadingShown {
            value: reading.value,
            unit: reading.unit,
            of: reading.of,
            dial: reading.dial.clone(),
        }),
        ..Measures::default()
    }
}
