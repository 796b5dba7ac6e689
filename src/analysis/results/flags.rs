//! The one table of flags: name, plain words, and whether it leaves a run out of results.
//!
//! A flagged run is always kept and shown; the rule below only says which flags leave it out of
//! averages and comparisons, and the output says why.

use boltscribe_signal::runs::RunFlag;
use serde::{Deserialize, Serialize};

/// What a flag means for results.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// The run counts; the flag is shown beside it.
    Counts,
    /// The run is left out of results, with this flag as the reason.
    LeftOut,
}

macro_rules! flags {
    ($($variant:ident, $name:literal, $verdict:ident, $words:literal;)*) => {
        /// Everything that can be remarked on a run.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        pub enum Flag {
            $(#[doc = $words] #[serde(rename = $name)] $variant,)*
        }

        impl Flag {
            /// All flags, in the order of the table.
            pub const ALL: &'static [Self] = &[$(Self::$variant),*];

            /// The name used in outputs and in the store.
            #[must_use]
            pub const fn name(self) -> &'static str {
                match self { $(Self::$variant => $name),* }
            }

            /// What it means, in a sentence for an operator.
            #[must_use]
            pub const fn words(self) -> &'static str {
                match self { $(Self::$variant => $words),* }
            }

            /// Whether a run with this flag counts.
            #[must_use]
            pub const fn verdict(self) -> Verdict {
                match self { $(Self::$variant => Verdict::$verdict),* }
            }

            /// The flag of this name.
            #[must_use]
            pub fn from_name(name: &str) -> Option<Self> {
                Self::ALL.iter().copied().find(|f| f.name() == name)
            }
        }
    };
}

flags! {
    Clipped, "clipped", LeftOut, "samples stood at the end of the converter's range, so tension may have been higher";
    Gap, "gap", Counts, "samples are missing inside the run, or were false for a moment; the peak is a lower bound";
    Spike, "spike", Counts, "wild samples were removed";
    Short, "short", LeftOut, "the tool drove for less than the configured shortest time";
    Unsettled, "unsettled", LeftOut, "less than 0.2 s of settled tension was left after the last blow";
    RePulled, "re-pulled", Counts, "the tool was pulled again before the release; measures are of the first pull";
    BlowsWeak, "blows-weak", Counts, "ringing is under 6 times the noise, so the count of blows is doubtful";
    BlowsUnsure, "blows-unsure", Counts, "two ways of counting the blows differ by more than 1 %, so no count is given";
    StartUnsure, "start-unsure", Counts, "the first blow cannot be told from the signal, so gates are given only where that does not matter, and the drive time is an estimate";
    EndEstimated, "end-estimated", Counts, "single blows are not seen, or not surely the last: the last blow and the drive time are estimates";
    EndUnsure, "end-unsure", LeftOut, "the signal does not tell when the tool stopped, so the held tension may be of another moment";
    PeakUnsure, "peak-unsure", Counts, "a single sample makes the peak, and hardly another one stands out as far: it may be a wild one, and the peak too high";
    ZeroShift, "zero-shift", Counts, "the idle reading has moved away from the rig's zero";
    Seated, "seated", LeftOut, "small tension without blows upon which the tool drove later: it looks like a nut seated by hand";
    Interrupted, "interrupted", LeftOut, "the recording began or ended, or the device restarted, inside the run";
    OverLimit, "over-limit", Counts, "tension passed the test bolt's allowed tension: stop and inspect the bolt";
    NoLimit, "no-limit", Counts, "no allowed tension is set for the test bolt";
    Untagged, "untagged", LeftOut, "no setup was in force at the first blow";
    NoTool, "no-tool", LeftOut, "the rig was said to have no tool coupled: a calibration, a push by hand or a trial pull";
    SetupChanged, "setup-changed", LeftOut, "the setup in force was changed during the run";
    Cold, "cold", LeftOut, "the rig was not warmed up yet";
    Expired, "expired", Counts, "the calibration's validity has passed";
    Nominal, "nominal", Counts, "the calibration is nominal: absolute figures are approximate";
    BoltDue, "bolt-due", Counts, "the test bolt's factor is due to be measured again";
    NotFresh, "not-fresh", Counts, "the energy source was not fresh";
    ByHand, "by-hand", Counts, "the reading was typed from a dial";
    ClockSuspect, "clock-suspect", Counts, "the host's clock was stepped; durations are not affected";
    DeviceClock, "device-clock", LeftOut, "the device's clock and the computer's disagree over the run by more than 0.2 % and 30 ms, so times, gates and what is read at a time are doubtful";
}

impl From<RunFlag> for Flag {
    fn from(flag: RunFlag) -> Self {
        match flag {
            RunFlag::Clipped => Self::Clipped,
            RunFlag::Gap => Self::Gap,
            RunFlag::Spike => Self::Spike,
            RunFlag::Short => Self::Short,
            RunFlag::Unsettled => Self::Unsettled,
            RunFlag::RePulled => Self::RePulled,
            RunFlag::BlowsWeak => Self::BlowsWeak,
            RunFlag::BlowsUnsure => Self::BlowsUnsure,
            RunFlag::StartUnsure => Self::StartUnsure,
            RunFlag::EndEstimated => Self::EndEstimated,
            RunFlag::EndUnsure => Self::EndUnsure,
            RunFlag::PeakUnsure => Self::PeakUnsure,
            RunFlag::ZeroShift => Self::ZeroShift,
            RunFlag::Seated => Self::Seated,
            RunFlag::Interrupted => Self::Interrupted,
        }
    }
}

impl std::fmt::Display for Flag {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.name())
    }
}
