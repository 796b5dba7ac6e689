//! The caution that stands wherever a limit or a result is shown, and the mark of simulated data.
//!
//! README "Safety" has the long form. It goes to standard error for `table`, so that data stays
//! data; JSON and CSV carry no prose.

use super::output::{Format, say};

/// The short form of README "Safety".
pub const CAUTION: &str = "caution: a stretched bolt stores energy. Stay out of its line, wear eye and hearing \
protection, never pass the test bolt's allowed tension. Results compare tools on this rig; they are no basis for \
tightening a real connection.";

/// What is said of readings that come from no hardware.
pub const SIMULATED: &str = "SIMULATED";

/// Says where people read that what was answered is from a simulation, if it is.
pub fn mark(format: Format, document: &serde_json::Value) {
    if format == Format::Table && document["simulated"] == true {
        say(&format!("{SIMULATED}: some of it comes from no hardware"));
    }
}

/// Says the caution where people read.
pub fn show(format: Format) {
    if format == Format::Table {
        say(CAUTION);
    }
}
