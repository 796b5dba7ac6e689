//! The table of blows: one row a blow, with what tells its run.
//!
//! Runs whose sampling cannot show blows have no rows here. No figure but a difference is computed.

use super::table::{Cell, Column, Form, Table, When};
use boltscribe_store::{BlowExport, RunLine};
use serde::{Deserialize, Serialize};

/// The blows of one run, as they come from the API.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RunBlows {
    /// The run.
    pub run: RunLine,
    /// Its blows in order.
    pub blows: Vec<BlowExport>,
}

/// Its columns.
pub const COLUMNS: &[Column] = &[
    Column::new("run", Form::Whole, "number of the run in the store"),
    Column::new("rig", Form::Text, "rig"),
    Column::new("rig_run", Form::Whole, "number of the run at its rig"),
    Column::new("first_blow_utc", Form::Time, "wall time of the run's first blow"),
    Column::new("simulated", Form::Flag, "comes from a simulated device"),
    Column::new("setup", Form::Text, "setup, corrections applied"),
    Column::new("tool", Form::Text, "tool, corrections applied"),
    Column::new("blow", Form::Whole, "number of the blow in its run, from 1"),
    Column::real("at_s", "s", "onset, since sample 0 of the stream"),
    Column::real("after_first_blow_s", "s", "onset, after the run's first blow"),
    Column::real("level_kN", "kN", "median tension from this onset to the next"),
    Column::new("flags", Form::Words { between: " " }, "flags of the run"),
    Column::new("excluded", Form::Flag, "the run is left out of results"),
];

/// The table.
#[must_use]
pub fn table(notes: Vec<(String, String)>) -> Table {
    let when = When::After { time: "first_blow_utc", seconds: "after_first_blow_s" };
    Table { name: "blows", columns: COLUMNS, notes, when, tags: Vec::new() }
}

/// The rows of one run.
pub fn rows(of: &RunBlows) -> impl Iterator<Item = Vec<Cell>> + '_ {
    let run = &of.run;
    of.blows.iter().map(move |blow| {
        vec![
            Cell::Whole(run.id.0),
            Cell::Text(run.rig.clone()),
            Cell::Whole(run.rig_run),
            Cell::Time(run.utc_ns),
            Cell::Flag(run.simulated),
            Cell::text(run.setup.as_deref()),
            Cell::text(run.tool.as_deref()),
            Cell::Whole(blow.blow),
            Cell::real(Some(blow.at_s)),
            Cell::real(run.first_blow_s.map(|first| blow.at_s - first)),
            Cell::real(Some(blow.level_kn)),
            Cell::Words(run.flags.clone()),
            Cell::Flag(run.excluded),
        ]
    })
}
