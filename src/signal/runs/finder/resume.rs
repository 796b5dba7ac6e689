//! What a run begins from, and a finder that goes on from there with the run's stored samples alone.
//!
//! A run's samples begin seconds before it, and may hold the whole run before. So recovery does not look for
//! a run in them: it takes up the one that was opened. Must not know where an opening was stored.

use super::super::record::{Settings, Timing};
use super::{Finder, Rest, State};
use boltscribe_model::units::Newtons;
use serde::{Deserialize, Serialize};

/// What the finder knew when it opened a run. Sample numbers count from the start of the stream; tensions are
/// in the calibration's terms.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Opening {
    /// Where low-passed tension crossed the start threshold for good.
    pub crossing: u64,
    /// From here on samples before the crossing are idle.
    pub idle_from: u64,
    /// The idle reading.
    pub zero: Newtons,
    /// Its noise.
    pub noise: Newtons,
    /// The start threshold above it.
    pub threshold: Newtons,
    /// What counted as the rig's zero.
    pub rig_zero: Option<Newtons>,
    /// Below which tension had to fall first and had not: the run is a part of a tightening.
    pub rest_missed: Option<Newtons>,
    /// Ends of the converter's range, codes, where they were known.
    pub range: Option<(i32, i32)>,
}

impl Finder {
    /// What the run that opens now begins from. The range is not known here.
    pub(super) fn opening(&self, crossing: u64) -> Opening {
        Opening {
            crossing,
            idle_from: self.idle_from,
            zero: Newtons(self.zero),
            noise: Newtons(self.noise),
            threshold: Newtons(self.threshold),
            rig_zero: self.rig_zero,
            rest_missed: self.rest.0.below().filter(|_| self.rest_missed()),
            range: None,
        }
    }

    /// A finder that waits for the samples of a run it has opened before: they begin with number
    /// `first_sample`, and `runs` runs were found before it.
    #[must_use]
    pub fn resume(
        settings: Settings,
        (rate_hz, timing): (f64, Timing),
        (first_sample, runs): (u64, u32),
        opening: &Opening,
    ) -> Self {
        let mut finder = Self::new(settings, rate_hz, timing, first_sample, runs);
        finder.idle_from = opening.idle_from.max(first_sample);
        finder.fresh = false;
        finder.zero = opening.zero.get();
        finder.noise = opening.noise.get();
        finder.threshold = opening.threshold.get();
        finder.rig_zero = opening.rig_zero;
        if let Some(below) = opening.rest_missed {
            finder.set_rest(Rest::Missed { below });
        }
        finder.state = State::Candidate { crossing: opening.crossing, seated: None };
        finder
    }
}
