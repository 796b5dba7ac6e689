//! Readings in steps: what a coarse dial leaves in a mean, however often it is read.
//!
//! Where repeats scatter by half a step and more, rounding is one more scatter and shrinks with the number of readings.
//! Where they scatter by less, all are rounded the same way, so a mean is as far off as one reading: step/√12, which
//! stays (JCGM 100, F.2.2.1). Must not know what was read.

use super::cells::Cell;
use super::observation::Observation;

/// SD of rounding, in steps: rectangular, 1/√12.
pub const ROUNDING: f64 = 0.288_675_134_594_812_9;
/// Scatter from which on rounding averages out, in steps: at half a step what is left is
/// exp(−2π²/4)/π of a step, 0.2 % (Sheppard's series).
pub const DITHERED: f64 = 0.5;

/// The step of readings against their scatter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ResolutionFound {
    /// The coarsest step, percent of its reading.
    pub step_percent: f64,
    /// Repeats scatter by less than half a step, so the rounding is in each limit and does not shrink.
    pub counts: bool,
}

/// The step of readings that scatter by `sd` (of ln); none where no step is known.
#[must_use]
pub fn resolution(
    observations: &[Observation],
    counted: &[usize],
    sd: Option<f64>,
) -> Option<ResolutionFound> {
    let steps = counted.iter().filter_map(|row| {
        let o = &observations[*row];
        o.resolution.map(|step| step / o.value)
    });
    let step = steps.fold(None, |most: Option<f64>, step| Some(most.map_or(step, |most| most.max(step))))?;
    Some(ResolutionFound { step_percent: 100.0 * step, counts: sd.is_none_or(|sd| sd < DITHERED * step) })
}

/// Standard uncertainty that rounding leaves in the mean ln(value) of a cell.
#[must_use]
pub fn rounding(observations: &[Observation], cell: &Cell) -> f64 {
    let step =
        |row: &usize| observations[*row].resolution.map_or(0.0, |step| step / observations[*row].value);
    ROUNDING * cell.rows.iter().map(step).fold(0.0, f64::max)
}
