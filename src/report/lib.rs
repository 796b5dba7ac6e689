//! Reports: one self-contained HTML file each, with plots, to be printed or mailed.
//!
//! No script, no outside address; every text that came from outside is escaped. Must not know the daemon or the
//! network, nor what day it is.

pub mod calibration;
pub mod history;
pub mod html;
pub mod intervals;
pub mod svg;
pub mod trial;
mod trial_conditions;
mod trial_results;
pub mod units;
