//! A reading typed from a dial, with its context: a run of which one figure is known.
//!
//! What a dial cannot tell (drive time, blows, gates, a plateau) has no place here. Torque is the
//! equivalent one, as in `result`. Must not know storage.

use super::dial::{Dial, DialUnit, Meaning};
use super::flags::Flag;
use super::result::{RunResult, context_flags};
use boltscribe_model::control::InForce;
use boltscribe_model::units::{NewtonMetres, Newtons};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Which tension a dial was read at.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ReadingOf {
    /// Where the pointer stood after the run.
    Held,
    /// Where a drag pointer or a peak hold had stayed.
    Peak,
}

/// What was typed, and what it means.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Reading {
    /// The figure as typed.
    pub value: f64,
    /// The unit it was typed in.
    pub unit: DialUnit,
    /// Held tension or peak.
    pub of: ReadingOf,
    /// The tension it means, newtons, corrected.
    pub tension: Newtons,
    /// The smallest step of the dial there, newtons; its standard uncertainty is this over √12.
    pub resolution: Newtons,
    /// The dial as it was set then.
    pub dial: Dial,
    /// Who typed it.
    pub who: String,
    /// What else there was to say.
    pub note: Option<String>,
}

/// One reading as it is stored.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ByHand {
    /// The reading.
    pub reading: Reading,
    /// What was in force when it was read.
    pub in_force: InForce,
    /// Equivalent torque; none where no bolt factor is known.
    #[serde(rename = "torque_Nm")]
    pub torque: Option<NewtonMetres>,
    /// Sorted, without repeats.
    pub flags: Vec<Flag>,
}

impl ByHand {
    /// Puts torque and flags to a reading.
    #[must_use]
    pub fn new(reading: Reading, in_force: InForce) -> Self {
        let factor = in_force.bolt.as_ref().and_then(|bolt| bolt.factor);
        let torque = factor.map(|factor| factor.torque(reading.tension));
        let mut flags = context_flags(&in_force, reading.tension);
        flags.push(Flag::ByHand);
        if reading.dial.is_nominal() {
            flags.push(Flag::Nominal);
        }
        flags.sort_unstable();
        Self { reading, in_force, torque, flags }
    }

    /// Name of what corrects the dial.
    #[must_use]
    pub fn calibration(&self) -> Option<&str> {
        self.reading.dial.correction.as_ref().map(|correction| correction.id.as_str())
    }

    /// The settled tension, where that was read.
    #[must_use]
    pub fn held(&self) -> Option<Newtons> {
        (self.reading.of == ReadingOf::Held).then_some(self.reading.tension)
    }

    /// The peak, where that was read.
    #[must_use]
    pub fn peak(&self) -> Option<Newtons> {
        (self.reading.of == ReadingOf::Peak).then_some(self.reading.tension)
    }

    /// Torque of the settled tension.
    #[must_use]
    pub fn held_torque(&self) -> Option<NewtonMetres> {
        self.held().and(self.torque)
    }

    /// Torque of the peak.
    #[must_use]
    pub fn peak_torque(&self) -> Option<NewtonMetres> {
        self.peak().and(self.torque)
    }
}

impl Reading {
    /// A figure that `dial` gave this meaning to.
    #[must_use]
    pub fn new(
        dial: Dial,
        (value, unit): (f64, DialUnit),
        meaning: Meaning,
        of: ReadingOf,
        who: String,
    ) -> Self {
        let Meaning { tension, resolution, .. } = meaning;
        Self { value, unit, of, tension, resolution, dial, who, note: None }
    }
}

/// The document of a run: measured from samples, or read by hand.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(untagged)]
pub enum Entry {
    /// Measured.
    Measured(Box<RunResult>),
    /// Read by hand.
    ByHand(Box<ByHand>),
}

impl From<RunResult> for Entry {
    fn from(run: RunResult) -> Self {
        Self::Measured(Box::new(run))
    }
}

impl From<ByHand> for Entry {
    fn from(read: ByHand) -> Self {
        Self::ByHand(Box::new(read))
    }
}

/// Tells a reading's document from a run's.
#[derive(Deserialize)]
struct Probe {
    reading: Option<serde::de::IgnoredAny>,
}

impl Entry {
    /// Reads a stored document.
    ///
    /// # Errors
    /// It is neither, or not whole.
    pub fn from_json(text: &str) -> Result<Self, serde_json::Error> {
        // Nearly all are measured; only what does not read so is looked at twice.
        let error = match serde_json::from_str(text) {
            Ok(run) => return Ok(Self::Measured(run)),
            Err(error) => error,
        };
        match serde_json::from_str::<Probe>(text) {
            Ok(Probe { reading: Some(_) }) => {
                serde_json::from_str(text).map(|read| Self::ByHand(Box::new(read)))
            }
            _ => Err(error),
        }
    }

    /// The measured run, where it is one.
    #[must_use]
    pub fn measured(&self) -> Option<&RunResult> {
        match self {
            Self::Measured(run) => Some(run),
            Self::ByHand(_) => None,
        }
    }

    /// The reading, where it is one.
    #[must_use]
    pub fn by_hand(&self) -> Option<&ByHand> {
        match self {
            Self::Measured(_) => None,
            Self::ByHand(read) => Some(read),
        }
    }

    /// What was in force.
    #[must_use]
    pub fn in_force(&self) -> &InForce {
        match self {
            Self::Measured(run) => &run.in_force,
            Self::ByHand(read) => &read.in_force,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use boltscribe_model::constants::BoltFactor;
    use boltscribe_model::control::{BoltInForce, SourceState};

    fn read(kn: f64, of: ReadingOf, in_force: InForce) -> ByHand {
        let dial =
            Dial { unit: DialUnit::Kn, piston_area: None, resolution: 0.5, range_kn: None, correction: None };
        let meaning = dial.read(kn, None).unwrap();
        ByHand::new(Reading::new(dial, (kn, DialUnit::Kn), meaning, of, "ana".into()), in_force)
    }

    fn tagged() -> InForce {
        InForce {
            setup: Some("direct".into()),
            source: Some(SourceState::Battery { id: "b3".into(), rested_v: None, fresh: Some(false) }),
            bolt: Some(BoltInForce {
                name: "m20".into(),
                factor: Some(BoltFactor::from_nut_factor(0.16, 0.02)),
                allowed_kn: Some(120.0),
            }),
            ..InForce::default()
        }
    }

    #[test]
    fn torque_is_nut_factor_times_tension_times_diameter() {
        // T = K·F·d (Shigley, eq. 8-27): 0.16 × 100,000 N × 0.02 m = 320 N·m.
        let held = read(100.0, ReadingOf::Held, tagged());
        assert!((held.held_torque().unwrap().0 - 320.0).abs() < 1e-9);
        assert_eq!((held.peak(), held.peak_torque()), (None, None));
        let peak = read(100.0, ReadingOf::Peak, tagged());
        assert_eq!((peak.held(), peak.held_torque()), (None, None));
        assert_eq!(peak.peak_torque(), held.held_torque());
    }

    #[test]
    fn flags_say_by_hand_and_what_was_in_force() {
        let names = |read: &ByHand| read.flags.iter().map(|f| f.name()).collect::<Vec<_>>();
        assert_eq!(names(&read(120.0, ReadingOf::Held, tagged())), ["nominal", "not-fresh", "by-hand"]);
        let over = read(120.5, ReadingOf::Held, tagged());
        assert_eq!(names(&over), ["over-limit", "nominal", "not-fresh", "by-hand"]);
        let bare = read(1.0, ReadingOf::Held, InForce::default());
        assert_eq!(names(&bare), ["no-limit", "untagged", "nominal", "by-hand"]);
        assert_eq!(bare.torque, None);
    }

    #[test]
    fn a_document_is_told_by_what_is_in_it() {
        let by_hand = read(100.0, ReadingOf::Held, tagged());
        let text = serde_json::to_string(&by_hand).unwrap();
        assert_eq!(Entry::from_json(&text).unwrap().by_hand(), Some(&by_hand));
        let cut = text.replace("\"tension\"", "\"tensio\"");
        let told = Entry::from_json(&cut).unwrap_err().to_string();
        assert!(told.contains("tensio"), "{told}");
        let told = Entry::from_json("{}").unwrap_err().to_string();
        assert!(told.contains("run_seq"), "{told}");
    }
}
