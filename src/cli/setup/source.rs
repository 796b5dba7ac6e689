//! `setup source add`, and the state of a source as typed at `setup use`.
//!
//! What nobody said stays unsaid: a battery is neither fresh nor not fresh until someone tells. Must not know
//! which readings belong to which kind; the API refuses those that do not.

use super::shelf::{By, Kind, put};
use crate::context::Context;
use crate::error::CliError;
use crate::tension_entry::positive;
use boltscribe_model::control::SourceState;
use boltscribe_model::setups::{self, Source};
use clap::{ArgGroup, Args, Subcommand, ValueEnum};

/// What can be done with energy sources.
#[derive(Debug, Subcommand)]
pub enum Verb {
    /// Put a battery, an air or a mains supply on the shelf.
    Add(Add),
}

/// Kinds of energy sources.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum SourceKind {
    /// A battery.
    Battery,
    /// Compressed air.
    Air,
    /// Mains.
    Mains,
}

impl SourceKind {
    /// The kind as the shelf words it.
    #[must_use]
    pub const fn kind(self) -> setups::SourceKind {
        match self {
            Self::Battery => setups::SourceKind::Battery,
            Self::Air => setups::SourceKind::Air,
            Self::Mains => setups::SourceKind::Mains,
        }
    }
}

/// Options of `setup source add`.
#[derive(Debug, Args)]
#[command(before_help = "Examples:\n  boltscribe setup source add b3 --kind battery --serial 17\n")]
pub struct Add {
    /// Its name.
    pub name: String,
    /// What it is.
    #[arg(long)]
    pub kind: SourceKind,
    /// Serial number or mark.
    #[arg(long)]
    pub serial: Option<String>,
    #[command(flatten)]
    #[allow(missing_docs)]
    pub by: By,
}

/// Puts it on the shelf.
///
/// # Errors
/// The API refuses it.
pub async fn add(add: &Add, context: &Context) -> Result<(), CliError> {
    let source = Source { name: add.name.clone(), kind: add.kind.kind(), serial: add.serial.clone() };
    put(Kind::Source, &add.name, &source, &add.by, context).await
}

/// The state of what drives the tool, as typed. One kind at a time.
#[derive(Debug, Default, Args)]
#[command(group = ArgGroup::new("energy").args(["battery", "air_kpa", "mains_v"]))]
pub struct State {
    /// Name of the battery.
    #[arg(long, value_name = "ID")]
    pub battery: Option<String>,
    /// Its voltage after rest, without load.
    #[arg(long = "rested-V", value_name = "V", requires = "battery", value_parser = positive)]
    pub rested_v: Option<f64>,
    /// It is freshly charged and rested.
    #[arg(long, requires = "battery", conflicts_with = "not_fresh")]
    pub fresh: bool,
    /// It is not freshly charged; runs are flagged.
    #[arg(long, requires = "battery")]
    pub not_fresh: bool,
    /// Air pressure at the tool while it runs, kPa.
    #[arg(long = "air-kPa", value_name = "KPA", value_parser = positive)]
    pub air_kpa: Option<f64>,
    /// Mains voltage, V.
    #[arg(long = "mains-V", value_name = "V", value_parser = positive)]
    pub mains_v: Option<f64>,
}

impl State {
    /// What was typed; none: nothing about the source.
    #[must_use]
    pub fn read(&self) -> Option<SourceState> {
        if let Some(id) = &self.battery {
            let fresh = match (self.fresh, self.not_fresh) {
                (true, _) => Some(true),
                (_, true) => Some(false),
                (false, false) => None,
            };
            return Some(SourceState::Battery { id: id.clone(), rested_v: self.rested_v, fresh });
        }
        if let Some(kpa) = self.air_kpa {
            return Some(SourceState::Air { dynamic_kpa: Some(kpa) });
        }
        self.mains_v.map(|v| SourceState::Mains { voltage_v: Some(v) })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_battery_nobody_spoke_of_as_fresh_is_neither_fresh_nor_not() {
        let state = State { battery: Some("b3".into()), rested_v: Some(19.8), ..State::default() };
        assert_eq!(
            state.read(),
            Some(SourceState::Battery { id: "b3".into(), rested_v: Some(19.8), fresh: None })
        );
        assert_eq!(State::default().read(), None);
    }
}
