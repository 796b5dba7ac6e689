//! What a tool of a class must give, as the settings say.
//!
//! Must not know which tools there are.

use super::acceptance::Limit;
use super::looks::Looks;
use crate::results::Measure;
use serde::Serialize;
use utoipa::ToSchema;

/// The unit a limit stands in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub enum LimitUnit {
    /// Tension, kN.
    #[serde(rename = "kN")]
    Kilonewtons,
    /// Equivalent torque, N·m.
    #[serde(rename = "Nm")]
    NewtonMetres,
}

/// The limit of a class of tools.
#[derive(Clone, Debug, PartialEq)]
pub struct ClassLimit {
    /// The class, as tools have it.
    pub class: String,
    /// The setup it holds for.
    pub setup: String,
    /// The figure.
    pub measure: Measure,
    /// The limit.
    pub limit: Limit,
    /// Its unit.
    pub unit: LimitUnit,
    /// After how many runs one may judge; none: once, after as many as one decides on beforehand.
    pub looks: Option<Looks>,
}
