//! The figures of a run that follow from its medians, with the unit in each name, as documents show them.
//!
//! One definition for the interface, `analyze`, tables and the page. No figure is computed here but its unit.

use boltscribe_signal::runs::{Estimate, Figures, Form, Reached, ReachedState, Record};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Newtons squared in one kilonewton squared.
const N2_PER_KN2: f64 = 1e6;
/// Newtons in one kilonewton.
const N_PER_KN: f64 = 1e3;

/// Figures that follow from the medians between blows; null where the signal cannot bear them.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(as = RunFigures)]
pub struct FiguresShown {
    /// Which form the plateau was fitted by.
    pub plateau_form: Option<Form>,
    /// Held tension over the plateau.
    pub held_over_limit: Option<f64>,
    /// Its standard error.
    pub held_over_limit_se: Option<f64>,
    /// Step of F² from F = 0 that a mean blow makes, kN² a blow; null where blows are not seen or doubtful.
    #[serde(rename = "energy_index_kN2_per_blow")]
    pub energy_index_kn2_per_blow: Option<f64>,
    /// Its standard error.
    #[serde(rename = "energy_index_se_kN2_per_blow")]
    pub energy_index_se_kn2_per_blow: Option<f64>,
    /// F² at which the mean blow no longer moves the nut, kN².
    #[serde(rename = "limit_index_kN2")]
    pub limit_index_kn2: Option<f64>,
    /// Its standard error.
    #[serde(rename = "limit_index_se_kN2")]
    pub limit_index_se_kn2: Option<f64>,
    /// Scatter of the energy blow to blow, percent of its mean; null where blows are not seen or doubtful.
    pub step_scatter_percent: Option<f64>,
    /// Its standard error.
    pub step_scatter_se_percent: Option<f64>,
    /// Tension standing at the first blow above the rig's zero, kN; null where that zero is not known.
    #[serde(rename = "preload_kN")]
    pub preload_kn: Option<f64>,
    /// Its standard error, of noise alone: how far the rig's zero may have drifted is not in it.
    #[serde(rename = "preload_se_kN")]
    pub preload_se_kn: Option<f64>,
    /// Growth at each gate.
    pub growth: Vec<GrowthShown>,
    /// When each of the stated tensions was reached; empty where none is stated.
    pub reached: Vec<ReachedShown>,
}

/// Growth at a gate.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(as = Growth)]
pub struct GrowthShown {
    /// The gate, seconds after the first blow.
    pub after_s: f64,
    /// Slope of the medians around it, kN a second; null where too few stand evenly about it.
    #[serde(rename = "growth_kN_per_s")]
    pub growth_kn_per_s: Option<f64>,
    /// Its standard error.
    #[serde(rename = "growth_se_kN_per_s")]
    pub growth_se_kn_per_s: Option<f64>,
}

/// How a stated tension was reached.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(as = Reached)]
pub struct ReachedShown {
    /// The tension above the run's zero, kN.
    #[serde(rename = "tension_kN")]
    pub tension_kn: f64,
    /// Whether it was reached.
    pub state: ReachedState,
    /// Seconds after the first blow; null where it was not, or where it is not known.
    pub after_s: Option<f64>,
    /// Its standard error.
    pub after_se_s: Option<f64>,
    /// Blows it took; null where blows are not seen or doubtful, or where noise leaves more than two possible.
    pub blows: Option<u32>,
}

impl From<&Record> for FiguresShown {
    fn from(record: &Record) -> Self {
        let gates_s = record.gates.iter().map(|gate| gate.after_s);
        Self::of(&record.figures, record.plateau.map(|p| p.form), gates_s)
    }
}

impl FiguresShown {
    /// The figures of a run with these gates.
    #[must_use]
    pub fn of(figures: &Figures, plateau_form: Option<Form>, gates_s: impl Iterator<Item = f64>) -> Self {
        let pair = |e: Option<Estimate>, unit: f64| (e.map(|e| e.value / unit), e.map(|e| e.se / unit));
        let (held_over_limit, held_over_limit_se) = pair(figures.held_over_limit, 1.0);
        let (energy, energy_se) = pair(figures.energy_index_n2_per_blow, N2_PER_KN2);
        let (limit, limit_se) = pair(figures.limit_index_n2, N2_PER_KN2);
        let (scatter, scatter_se) = pair(figures.step_scatter, 0.01);
        let (preload, preload_se) = pair(figures.preload_n, N_PER_KN);
        let growth = gates_s.enumerate().map(|(i, after_s)| {
            let (growth_kn_per_s, growth_se_kn_per_s) =
                pair(figures.growth_n_per_s.get(i).copied().flatten(), N_PER_KN);
            GrowthShown { after_s, growth_kn_per_s, growth_se_kn_per_s }
        });
        Self {
            plateau_form,
            held_over_limit,
            held_over_limit_se,
            energy_index_kn2_per_blow: energy,
            energy_index_se_kn2_per_blow: energy_se,
            limit_index_kn2: limit,
            limit_index_se_kn2: limit_se,
            step_scatter_percent: scatter,
            step_scatter_se_percent: scatter_se,
            preload_kn: preload,
            preload_se_kn: preload_se,
            growth: growth.collect(),
            reached: figures.reached.iter().map(ReachedShown::from).collect(),
        }
    }
}

impl From<&Reached> for ReachedShown {
    fn from(reached: &Reached) -> Self {
        Self {
            tension_kn: reached.tension.kn(),
            state: reached.state,
            after_s: reached.after_s,
            after_se_s: reached.after_se_s,
            blows: reached.blows,
        }
    }
}
