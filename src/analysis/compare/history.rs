//! How a tool has been over time: individuals and moving range chart, and capability on request.
//!
//! Shewhart's chart of individuals with the moving range of two (ISO 7870-2; ISO 22514-2 for capability). The
//! patterns are the standard's examples, written from memory of it: a point beyond the limits; seven in a row
//! on one side of the centre; seven in a row rising or falling. Must not know where values are kept.

/// Mean range of two normal values over their SD: 2/√π.
pub const D2: f64 = std::f64::consts::FRAC_2_SQRT_PI;
/// Upper limit of a moving range over its mean: 1 + 3·√(1 − 2/π)·√2/d2.
pub const D4: f64 = 3.266_531_919_288_586;
/// Values in a row that make a pattern.
pub const IN_A_ROW: usize = 7;
/// Fewest values for limits.
pub const VALUES_MIN: usize = 3;

/// What stands out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pattern {
    /// Beyond the limits.
    Beyond,
    /// The range to the value before is beyond its limit.
    Jump,
    /// The seventh or later in a row on one side of the centre.
    OneSide,
    /// The seventh or later in a row that rises, or falls.
    Trend,
}

impl Pattern {
    /// The words for it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Beyond => "beyond the limits",
            Self::Jump => "jump",
            Self::OneSide => "seven on one side",
            Self::Trend => "seven rising or falling",
        }
    }
}

/// A chart.
#[derive(Clone, Debug, PartialEq)]
pub struct Chart {
    /// Mean of the values.
    pub centre: f64,
    /// Limits of single values: centre ± 3·(mean range)/d2, with the exact d2.
    pub limits: (f64, f64),
    /// Mean of the moving ranges.
    pub mean_range: f64,
    /// Upper limit of the moving range.
    pub range_limit: f64,
    /// What stands out: place of the value, pattern.
    pub remarks: Vec<(usize, Pattern)>,
}

/// Draws the chart of values in time order; limits come from the first `base` values (all of them: none).
///
/// None with fewer than three values to take limits from, or values that are not finite.
#[must_use]
pub fn chart(values: &[f64], base: Option<usize>) -> Option<Chart> {
    let base = &values[..base.unwrap_or(values.len()).min(values.len())];
    if base.len() < VALUES_MIN || values.iter().any(|v| !v.is_finite()) {
        return None;
    }
    let ranges: Vec<f64> = values.windows(2).map(|w| (w[1] - w[0]).abs()).collect();
    let centre = boltscribe_numerics::mean(base)?;
    let mean_range = boltscribe_numerics::mean(&ranges[..base.len() - 1])?;
    let half = 3.0 * mean_range / D2;
    let limits = (centre - half, centre + half);
    let range_limit = D4 * mean_range;
    let mut remarks = Vec::new();
    let (mut side, mut on_side) = (0, 0);
    let (mut way, mut in_a_row) = (0, 1);
    for (i, value) in values.iter().enumerate() {
        let here = sign(value - centre);
        (side, on_side) = if here != 0 && here == side { (side, on_side + 1) } else { (here, 1) };
        if i > 0 {
            let step = sign(value - values[i - 1]);
            (way, in_a_row) = if step != 0 && step == way { (way, in_a_row + 1) } else { (step, 2) };
        }
        let found = [
            (Pattern::Beyond, *value < limits.0 || *value > limits.1),
            (Pattern::Jump, i > 0 && ranges[i - 1] > range_limit),
            (Pattern::OneSide, side != 0 && on_side >= IN_A_ROW),
            (Pattern::Trend, way != 0 && in_a_row >= IN_A_ROW),
        ];
        remarks.extend(found.iter().filter(|f| f.1).map(|f| (i, f.0)));
    }
    Some(Chart { centre, limits, mean_range, range_limit, remarks })
}

fn sign(v: f64) -> i8 {
    i8::from(v > 0.0) - i8::from(v < 0.0)
}

/// How a process fits between limits.
///
/// By the SD of all values about their mean: performance, Pp and Ppk (of one short series on one machine: Cm and Cmk;
/// ISO 22514, from memory). By the SD from value to value, mean range over d2: Cp and Cpk, which what moves slowly does
/// not make smaller.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Capability {
    /// Width of the limits over six SD of all values; none with one limit.
    pub pp: Option<f64>,
    /// Distance of the mean to the nearer limit over three SD of all values.
    pub ppk: f64,
    /// 95 % limits of Ppk (Bissell 1990).
    pub ppk_limits: (f64, f64),
}

/// Distance of the mean to the nearer limit over three SD.
fn nearer(mean: f64, sd: f64, least: Option<f64>, most: Option<f64>) -> Option<f64> {
    let sides = [least.map(|l| mean - l), most.map(|m| m - mean)];
    let nearest = sides.into_iter().flatten().min_by(f64::total_cmp)?;
    (sd > 0.0 && sd.is_finite()).then(|| nearest / (3.0 * sd))
}

/// Cpk: by the SD from value to value of a chart; none without a limit or a spread.
#[must_use]
pub fn cpk(mean: f64, chart: &Chart, least: Option<f64>, most: Option<f64>) -> Option<f64> {
    nearer(mean, chart.mean_range / D2, least, most)
}

/// Capability of a mean and SD of `n` values; none without a limit, a spread, or two values.
#[must_use]
pub fn capability(mean: f64, sd: f64, n: usize, least: Option<f64>, most: Option<f64>) -> Option<Capability> {
    if sd <= 0.0 || !sd.is_finite() || n < 2 {
        return None;
    }
    let ppk = nearer(mean, sd, least, most)?;
    let n = n as f64;
    // Written so that a Ppk of zero has limits too.
    let half = 1.959_963_984_540_054 * (1.0 / (9.0 * n) + ppk * ppk / (2.0 * (n - 1.0))).sqrt();
    Some(Capability {
        pp: least.zip(most).map(|(l, m)| (m - l) / (6.0 * sd)),
        ppk,
        ppk_limits: (ppk - half, ppk + half),
    })
}
