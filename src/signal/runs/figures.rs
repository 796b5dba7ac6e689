//! What follows from the medians between blows: growth, how a tension was reached, what a blow brings.
//!
//! the manual, "What is measured" defines each. `energy index` and `limit index` are the two figures of
//! F₂² = (E + a·F₁²)/(a + b) that a run can show: E/(a + b), the step of F² from F = 0, and E/b, the F² at which
//! the mean blow no longer moves the nut. A stiffer test bolt divides a and b alike, so it takes the same part
//! off both indices of every setup, and their ratios to a baseline do not know the bolt. Must not know samples.

use super::kept::ROUNDING_VARIANCE;
use super::plateau::{self, Fits, Medians};
use super::record::Plateau;
use super::steps::{self, Fall, Growth, Step, Steps};
use boltscribe_model::units::Newtons;
use serde::{Deserialize, Serialize};
use std::ops::Range;
use utoipa::ToSchema;

/// A value with its standard error.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Estimate {
    /// The value, in the unit that the name of its field ends in.
    pub value: f64,
    /// Its standard error, in the same unit.
    pub se: f64,
}

/// Whether a stated tension was reached.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ReachedState {
    /// It was.
    Reached,
    /// The run ended below it.
    NeverReached,
    /// It ended too near to it for its noise, or samples are missing or clipped where it may have been reached,
    /// or the recording broke off below it.
    Unknown,
}

impl ReachedState {
    /// The word for it in documents and tables.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Reached => "reached",
            Self::NeverReached => "never-reached",
            Self::Unknown => "unknown",
        }
    }
}

/// How a stated tension was reached.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Reached {
    /// The tension, above the run's zero.
    pub tension: Newtons,
    /// Whether.
    pub state: ReachedState,
    /// From the first blow to the first whose median stands at it, seconds; where blows are not seen to where
    /// the line between 0.1 s medians crosses it.
    pub after_s: Option<f64>,
    /// Standard error of that, seconds.
    pub after_se_s: Option<f64>,
    /// Blows it took, the one that reached it included; none where blows are not seen or doubtful, or where noise
    /// leaves more than two of them possible.
    pub blows: Option<u32>,
}

/// The figures of one run. Each is none where the signal cannot bear it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Figures {
    /// Tension standing at the first blow above the rig's zero, newtons; none where that zero is not known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub preload_n: Option<Estimate>,
    /// Growth at each gate, newtons a second, in the order of the gates.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub growth_n_per_s: Vec<Option<Estimate>>,
    /// How each of the tensions asked for was reached.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub reached: Vec<Reached>,
    /// Held tension over the plateau.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub held_over_limit: Option<Estimate>,
    /// Step of F² from F = 0 that a mean blow makes, N² a blow; none where blows are not seen or doubtful.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub energy_index_n2_per_blow: Option<Estimate>,
    /// F² at which the mean blow no longer moves the nut, N².
    #[serde(skip_serializing_if = "Option::is_none")]
    pub limit_index_n2: Option<Estimate>,
    /// SD of the steps of F² about their line over the energy index: the scatter of the energy blow to blow.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub step_scatter: Option<Estimate>,
}

/// One median.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Median {
    /// Onset of the blow before it (begin of the 0.1 s where blows are not seen), seconds.
    pub from_s: f64,
    /// Time it stands for, seconds.
    pub at_s: f64,
    /// Tension above the run's zero, newtons.
    pub tension_n: f64,
}

/// What the figures are worked out from.
#[derive(Clone, Debug)]
pub struct Input<'a> {
    /// Medians from the first blow to the last, in order.
    pub medians: &'a [Median],
    /// They stand between blows; else each over 0.1 s.
    pub blows_seen: bool,
    /// No blow is missing or doubtful.
    pub blows_sure: bool,
    /// Median time between neighbouring blows; 0.1 s where they are not seen.
    pub interval_s: f64,
    /// SD of one median, newtons.
    pub median_noise_n: f64,
    /// First and last blow, seconds.
    pub driven_s: Range<f64>,
    /// Spacing of samples, seconds.
    pub spacing_s: f64,
    /// Gates after the first blow, seconds; none where the gate itself has no value.
    pub gates_s: &'a [Option<f64>],
    /// Tensions asked for, newtons.
    pub tensions_n: &'a [f64],
    /// The run's zero above that of the rig, newtons.
    pub zero_shift_n: Option<f64>,
    /// How far the zero may stand from the rig's zero without being taken for drift downwards, newtons.
    pub zero_shift_limit_n: f64,
    /// SD of the run's zero, newtons.
    pub zero_noise_n: f64,
    /// Tension just before the first blow, above the run's zero, newtons: a nut seated or run down after that zero.
    pub standing_n: f64,
    /// SD of that, newtons.
    pub standing_noise_n: f64,
    /// Held tension, newtons.
    pub held_n: Option<f64>,
    /// Samples are missing or clipped in the run, or its recording broke off.
    pub torn: bool,
}

/// Greatest standard error of a limit index that is given, part of it: that of a plateau, squared.
const LIMIT_SE_MAX: f64 = 0.2;
/// Greatest standard error of an energy index that is given, part of it.
const ENERGY_SE_MAX: f64 = 0.25;
/// Where noise alone would give more than this part of the scatter, what is left of it is not the tool's.
const NOISE_SHARE_MAX: f64 = 0.5;
/// Fewest steps whose SD is given: below sixteen its own error is not symmetrical.
const SCATTER_STEPS_MIN: usize = 16;
/// Intervals longer or shorter than these parts of the median one hide a blow, or split one.
const WHOLE_INTERVAL: Range<f64> = 0.4..1.6;
/// Medians on each side of a gate that its growth is taken from.
const GROWTH_SIDE: f64 = 3.0;
/// Growth is taken over at least this to each side of the gate, seconds: two medians of 0.1 s.
const GROWTH_SIDE_MIN_S: f64 = 0.2;
/// Fewest medians for a growth: three would leave its scatter to two steps.
const GROWTH_MEDIANS_MIN: usize = 4;
/// A zero nearer to that of the rig than this many of its SD is the same zero.
const PRELOAD_SD: f64 = 4.0;
/// A tension nearer to the highest median than this many of its SD may have been reached or not.
const TOO_NEAR_SD: f64 = 4.0;
/// Variance of the slope of a straight line through n steps of independent scatter: 6/5 of that of their mean.
const SLOPE_VARIANCE: f64 = 1.2;

/// Limit and figures of a run.
#[must_use]
pub fn measure(input: &Input<'_>) -> (Option<Plateau>, Figures) {
    // A zero below that of the rig by more than drift is no preload, and one within its noise is not counted in.
    let preload = input.zero_shift_n.filter(|shift| *shift >= -input.zero_shift_limit_n);
    let preload_n = preload.filter(|shift| *shift > PRELOAD_SD * input.zero_noise_n).unwrap_or(0.0);
    let steps = steps_of(input, preload_n);
    let said = steps::fit(&steps, input.median_noise_n);
    let growth = said.map(|s| s.growth);
    // A soft start belongs to neither form.
    let from = said.filter(|s| s.soft > 0).map_or(0, |s| steps[s.soft - 1].to + 1);
    // After the last blow tension only creeps: that median counts as a step, but lies between no two blows.
    let between = input.medians.len().saturating_sub(usize::from(input.blows_seen));
    let between = &input.medians[from.min(between)..between];
    let times_s: Vec<f64> = between.iter().map(|m| m.at_s).collect();
    let tensions_n: Vec<f64> = between.iter().map(|m| m.tension_n).collect();
    let held_n = input.held_n.or(input.medians.last().map(|m| m.tension_n)).unwrap_or(0.0);
    let medians = Medians { times_s: &times_s, tensions_n: &tensions_n, preload_n, held_n };
    let fits = Fits::of(&medians);
    let line = match growth {
        Some(Growth::Line(steps)) if !fits.as_ref().is_some_and(Fits::contradict_energy) => Some(steps),
        _ => None,
    };
    let plateau = fits.zip(growth.as_ref()).and_then(|(fits, growth)| plateau::fit(&medians, fits, growth));
    let fall = line.and_then(|s| s.fall).filter(known_well);
    // Where the limit is not known, nothing tells growth by blows of one energy from another kind of growth.
    let a_blow = line.filter(|_| input.blows_seen && input.blows_sure && fall.is_some());
    let figures = Figures {
        preload_n: preload.map(|shift| Estimate {
            value: shift + input.standing_n,
            se: input.zero_noise_n.hypot(input.standing_noise_n),
        }),
        growth_n_per_s: input.gates_s.iter().map(|gate| gate.and_then(|g| growth_at(input, g))).collect(),
        reached: input.tensions_n.iter().map(|tension| reached(input, *tension)).collect(),
        held_over_limit: plateau.zip(input.held_n).map(|(p, held)| {
            let value = held / p.limit.get();
            let own = input.median_noise_n / p.limit.get();
            Estimate { value, se: (value * p.limit_se.get() / p.limit.get()).hypot(own) }
        }),
        energy_index_n2_per_blow: a_blow
            .filter(|s| s.gain_se <= ENERGY_SE_MAX * s.gain)
            .map(|s| Estimate { value: s.gain, se: s.gain_se }),
        limit_index_n2: fall.map(|f| Estimate { value: f.limit, se: f.limit_se }),
        step_scatter: a_blow
            .filter(scatter_is_the_tools)
            .map(|s| Estimate { value: s.scatter, se: s.scatter_se }),
    };
    (plateau, figures)
}

fn known_well(fall: &Fall) -> bool {
    fall.limit_se <= LIMIT_SE_MAX * fall.limit
}

fn scatter_is_the_tools(steps: &Steps) -> bool {
    steps.known >= SCATTER_STEPS_MIN && steps.scatter_of_noise <= NOISE_SHARE_MAX * steps.scatter
}

/// Steps between neighbouring medians; the first from what stood before the first blow, where blows are seen.
fn steps_of(input: &Input<'_>, preload_n: f64) -> Vec<Step> {
    let medians = input.medians;
    let step =
        |from: f64, to: usize| Step { from_n: from + preload_n, to_n: medians[to].tension_n + preload_n, to };
    // A hidden blow spoils the step into its interval and the one out of it.
    let whole = |i: usize| {
        let next = input.medians.get(i + 1).filter(|_| input.blows_seen);
        next.is_none_or(|m| {
            WHOLE_INTERVAL.contains(&((m.from_s - input.medians[i].from_s) / input.interval_s))
        })
    };
    let first = (input.blows_seen && !medians.is_empty() && whole(0)).then(|| step(input.standing_n, 0));
    let both = |i: &usize| whole(*i) && whole(i + 1);
    let rest = (0..medians.len().saturating_sub(1)).filter(both);
    first.into_iter().chain(rest.map(|i| step(medians[i].tension_n, i + 1))).collect()
}

/// Slope of the medians around a gate, by least squares over a window that lies evenly about it.
///
/// The standard error is that of a slope through a walk whose steps scatter as those found do: SD of steps ×
/// √(6/5 / steps) a spacing (that of the least-squares slope of a random walk; white noise adds less).
fn growth_at(input: &Input<'_>, after_s: f64) -> Option<Estimate> {
    let gate_s = input.driven_s.start + after_s;
    let side = (GROWTH_SIDE * input.interval_s).max(GROWTH_SIDE_MIN_S);
    let side = side.min(after_s).min(input.driven_s.end - gate_s);
    let near: Vec<&Median> = input.medians.iter().filter(|m| (m.at_s - gate_s).abs() <= side).collect();
    if near.len() < GROWTH_MEDIANS_MIN {
        return None;
    }
    let n = near.len() as f64;
    let (t, f) = near.iter().fold((0.0, 0.0), |(t, f), m| (t + m.at_s / n, f + m.tension_n / n));
    let spread: f64 = near.iter().map(|m| (m.at_s - t) * (m.at_s - t)).sum();
    let value = near.iter().map(|m| (m.at_s - t) * (m.tension_n - f)).sum::<f64>() / spread;
    let steps: Vec<f64> = near.windows(2).map(|w| w[1].tension_n - w[0].tension_n).collect();
    let spacing_s = (near[near.len() - 1].at_s - near[0].at_s) / steps.len() as f64;
    let noise = core::f64::consts::SQRT_2 * input.median_noise_n;
    let sd = boltscribe_numerics::sd(&steps)?.max(noise);
    let se = sd * (SLOPE_VARIANCE / steps.len() as f64).sqrt() / spacing_s;
    (spacing_s > 0.0).then_some(Estimate { value, se })
}

/// When and by which blow a tension was reached. Medians within four SD of it may stand on either side.
fn reached(input: &Input<'_>, tension_n: f64) -> Reached {
    let open =
        |state| Reached { tension: Newtons(tension_n), state, after_s: None, after_se_s: None, blows: None };
    let medians = input.medians;
    let doubt_n = TOO_NEAR_SD * input.median_noise_n;
    let first_at = |level: f64| medians.iter().position(|m| m.tension_n >= level);
    let highest = medians.iter().map(|m| m.tension_n).chain(input.held_n).fold(f64::MIN, f64::max);
    // The last 0.1 s has no median of its own where blows are not seen: it may have grown as the one before.
    let last_step = match medians {
        [.., a, b] if !input.blows_seen => (b.tension_n - a.tension_n).abs(),
        _ => 0.0,
    };
    if highest + doubt_n.max(last_step) < tension_n && !input.torn {
        return open(ReachedState::NeverReached);
    }
    let sure = first_at(tension_n - doubt_n).zip(first_at(tension_n)).zip(first_at(tension_n + doubt_n));
    let Some(((maybe, i), surely)) = sure.filter(|_| !input.torn) else {
        return open(ReachedState::Unknown);
    };
    let before = i.checked_sub(1).map(|j| &medians[j]);
    let (at_s, grid_s) = match before {
        _ if input.blows_seen => (medians[i].from_s, input.spacing_s),
        None => (medians[i].at_s, input.interval_s),
        Some(b) => {
            let share = (tension_n - b.tension_n) / (medians[i].tension_n - b.tension_n);
            (b.at_s + share * (medians[i].at_s - b.at_s), input.interval_s)
        }
    };
    // SD of a time rounded to a grid, or lying anywhere in a stretch, is 1/√12 of it.
    let unsure_s = medians[surely].from_s - medians[maybe].from_s;
    let one_blow = input.blows_seen && input.blows_sure && surely - maybe <= 1;
    Reached {
        after_s: Some((at_s - input.driven_s.start).max(0.0)),
        after_se_s: Some(grid_s.hypot(unsure_s) / ROUNDING_VARIANCE.sqrt()),
        blows: one_blow.then_some(i as u32 + 1),
        ..open(ReachedState::Reached)
    }
}

#[cfg(test)]
#[path = "figures_tests.rs"]
mod tests;
