//! Each run against the baseline runs before and after it, interpolated in time (as ABA weighing does).
//!
//! A visit is a stretch of a tool's runs with one setup. The baseline at a run's time lies on the line between
//! the means of the visits before and after. Percent is a ratio of means; its limits are Fieller's, with the
//! variance within visits, pooled over one tool. Must not know where the values come from.

use super::answer::{
    Comparison, FREEDOM_MIN, Family, Judged, NO_SPREAD, SPREAD_MIN, SetupRow, TOO_FEW, UNBOUNDED, Verdict,
};
use super::arrangement::Arrangement;
use super::cells::{Cell, Cells};
use super::checks::look;
use super::observation::{CompareError, Drift, Observation};
use super::resolution::{DITHERED, ROUNDING, resolution};
use boltscribe_numerics::distributions::{t_two_sided, t_two_sided_quantile};
use boltscribe_numerics::many_to_one::{Contrast, ManyToOne, Sides};
use boltscribe_numerics::two_samples::{Spread, fieller};

/// A stretch of a tool's runs with one setup.
struct Visit {
    rows: Vec<usize>,
    mean: f64,
    mean_s: f64,
    is_baseline: bool,
}

/// One tool's visits with their pooled spread.
struct Visits {
    all: Vec<Visit>,
    freedom: usize,
    variance: f64,
    /// Variance that rounding leaves in each mean; nothing where runs scatter over the steps.
    rounding: f64,
}

/// A setup's ratio: its mean over the interpolated baseline, with the share of each baseline visit.
struct Ratio {
    above: f64,
    below: f64,
    runs: usize,
    shares: Vec<f64>,
}

impl Visits {
    fn new(observations: &[Observation], cells: &Cells, tool: usize, baseline: &str) -> Self {
        let of_tool: Vec<usize> =
            cells.counted.iter().copied().filter(|r| observations[*r].tool == cells.tools[tool]).collect();
        let same = |a: &usize, b: &usize| observations[*a].setup == observations[*b].setup;
        let visit = |rows: &[usize]| {
            let mean = |f: fn(&Observation) -> f64| {
                rows.iter().map(|r| f(&observations[*r])).sum::<f64>() / rows.len() as f64
            };
            Visit {
                rows: rows.to_vec(),
                mean: mean(|o| o.value),
                mean_s: mean(|o| o.time_s),
                is_baseline: observations[rows[0]].setup == baseline,
            }
        };
        let all: Vec<Visit> = of_tool.chunk_by(same).map(visit).collect();
        let square =
            |v: &Visit| v.rows.iter().map(|r| (observations[*r].value - v.mean).powi(2)).sum::<f64>();
        let freedom = all.iter().map(|v| v.rows.len() - 1).sum();
        let variance = if freedom > 0 { all.iter().map(square).sum::<f64>() / freedom as f64 } else { 0.0 };
        let step = of_tool.iter().filter_map(|r| observations[*r].resolution).fold(0.0, f64::max);
        let counts = step > 0.0 && variance.sqrt() < DITHERED * step;
        let rounding = if counts { (ROUNDING * step).powi(2) } else { 0.0 };
        Self { all, freedom, variance, rounding }
    }

    fn baselines(&self) -> Vec<&Visit> {
        self.all.iter().filter(|v| v.is_baseline).collect()
    }

    /// The ratio of a cell to the baseline at its times.
    fn ratio(
        &self,
        cell: &Cell,
        observations: &[Observation],
        tool: Option<&str>,
    ) -> Result<Ratio, CompareError> {
        let baselines = self.baselines();
        let mut shares = vec![0.0; baselines.len()];
        let each = 1.0 / cell.rows.len() as f64;
        let mut above = 0.0;
        for row in &cell.rows {
            let o = &observations[*row];
            above += each * o.value;
            let missing =
                |side| CompareError::Bracket { row: *row, run: o.run, tool: tool.map(str::to_owned), side };
            let after = baselines.iter().position(|b| b.mean_s > o.time_s).ok_or_else(|| missing("after"))?;
            let before = after.checked_sub(1).ok_or_else(|| missing("before"))?;
            let (b0, b1) = (baselines[before].mean_s, baselines[after].mean_s);
            let along = (o.time_s - b0) / (b1 - b0);
            shares[before] += each * (1.0 - along);
            shares[after] += each * along;
        }
        let below = shares.iter().zip(&baselines).map(|(s, b)| s * b.mean).sum();
        Ok(Ratio { above, below, runs: cell.rows.len(), shares })
    }

    fn contrast(&self, ratio: &Ratio) -> Contrast {
        let load = |(share, b): (&f64, &Visit)| share / (b.rows.len() as f64).sqrt();
        let loads = ratio.shares.iter().zip(self.baselines()).map(load).collect();
        Contrast { own: 1.0 / ratio.runs as f64, loads }
    }
}

/// Compares by brackets.
///
/// # Errors
/// A run without baseline runs on both sides.
pub fn compare(
    observations: &[Observation],
    cells: &Cells,
    baseline: &str,
    alpha: f64,
) -> Result<Comparison, CompareError> {
    let (mut setups, mut families) = (Vec::new(), Vec::new());
    let (mut sum, mut freedom) = (0.0, 0);
    let mut off = vec![(0.0, 0.0); cells.counted.len()];
    for (tool, name) in cells.tools.iter().enumerate() {
        let visits = Visits::new(observations, cells, tool, baseline);
        for visit in &visits.all {
            let n = visit.rows.len() as f64;
            let logs: Vec<f64> = visit.rows.iter().map(|r| libm::log(observations[*r].value)).collect();
            let centre = logs.iter().sum::<f64>() / n;
            for (row, log) in visit.rows.iter().zip(&logs) {
                sum += (log - centre).powi(2);
                if let Ok(place) = cells.counted.binary_search(row) {
                    off[place] = (log - centre, 1.0 / n);
                }
            }
        }
        freedom += visits.freedom;
        let first = setups.len() + 1;
        let (rows, contrasts) = rows(&visits, observations, cells, tool, name.as_deref(), alpha)?;
        if rows.iter().any(|row| row.judged.is_some()) {
            families.push(Family { first, contrasts, freedom: visits.freedom as f64 });
        }
        setups.extend(rows);
    }
    let (residuals, leverages): (Vec<f64>, Vec<f64>) = off.into_iter().unzip();
    let sd = (freedom > 0).then(|| (sum / freedom as f64).sqrt());
    Ok(Comparison {
        drift: Drift::Bracket,
        drift_found: None,
        residual_sd_percent: sd.map(|sd| 100.0 * sd),
        degrees_of_freedom: freedom,
        resolution: resolution(observations, &cells.counted, sd),
        mountings: None,
        counted: Vec::new(),
        excluded: Vec::new(),
        setups,
        families,
        robust: None,
        checks: look(&residuals, &leverages, freedom),
        alpha,
        arrangement: Arrangement::new(observations, cells, |g| taken_up(observations, cells, baseline, g))?,
    })
}

/// What each ratio takes up of a disturbance that no bracket carries, one number a run that counts, by cell.
///
/// # Errors
/// A run without baseline runs on both sides.
pub fn taken_up(
    observations: &[Observation],
    cells: &Cells,
    baseline: &str,
    disturbance: &[f64],
) -> Result<Vec<f64>, CompareError> {
    let mean = |rows: &[usize]| {
        let places = rows.iter().filter_map(|row| cells.counted.binary_search(row).ok());
        places.map(|place| disturbance[place]).sum::<f64>() / rows.len() as f64
    };
    let mut all = Vec::new();
    for (tool, name) in cells.tools.iter().enumerate() {
        let visits = Visits::new(observations, cells, tool, baseline);
        all.push(0.0);
        for cell in cells.of_tool(tool).skip(1) {
            let ratio = visits.ratio(cell, observations, name.as_deref())?;
            let below: f64 =
                ratio.shares.iter().zip(visits.baselines()).map(|(s, b)| s * mean(&b.rows)).sum();
            all.push(mean(&cell.rows) - below);
        }
    }
    Ok(all)
}

fn rows(
    visits: &Visits,
    observations: &[Observation],
    cells: &Cells,
    tool: usize,
    name: Option<&str>,
    alpha: f64,
) -> Result<(Vec<SetupRow>, Vec<Contrast>), CompareError> {
    let of_tool: Vec<&Cell> = cells.of_tool(tool).collect();
    let ratios: Vec<Ratio> =
        of_tool.iter().skip(1).map(|c| visits.ratio(c, observations, name)).collect::<Result<_, _>>()?;
    let scale = visits.all.iter().fold(0.0_f64, |most, v| most.max(v.mean));
    let spread = visits.variance.sqrt() > SPREAD_MIN * scale || visits.rounding > 0.0;
    let note = match (visits.freedom >= FREEDOM_MIN, spread) {
        (false, _) => Some(TOO_FEW),
        (true, false) => Some(NO_SPREAD),
        (true, true) => None,
    };
    let contrasts: Vec<Contrast> = ratios.iter().map(|r| visits.contrast(r)).collect();
    let family = match note {
        None => ManyToOne::new(&contrasts, visits.freedom as f64, Sides::Two),
        Some(_) => None,
    };
    let critical = family.as_ref().map(|f| f.critical(alpha));
    let row = |cell: &Cell, percent_of_baseline, judged, verdict, note| SetupRow {
        setup: cell.setup.clone(),
        tool: name.map(str::to_owned),
        runs: cell.rows.len(),
        mountings: None,
        percent_of_baseline,
        judged,
        verdict,
        note,
    };
    let mut rows = Vec::new();
    if let Some(baseline) = of_tool.first() {
        rows.push(row(baseline, 100.0, None, Some(Verdict::Baseline), None));
    }
    for (cell, ratio) in of_tool.iter().skip(1).zip(&ratios) {
        let percent = 100.0 * ratio.above / ratio.below;
        let judged = family.as_ref().zip(critical).map(|(f, c)| judge(visits, ratio, f, c, alpha));
        let verdict = judged.map(|j| Verdict::of(j.p_adjusted, percent, alpha));
        let unbounded = judged.is_some_and(|j| j.limits.is_none()).then_some(UNBOUNDED);
        rows.push(row(cell, percent, judged, verdict, note.or(unbounded)));
    }
    Ok((rows, contrasts))
}

fn judge(visits: &Visits, ratio: &Ratio, family: &ManyToOne, critical: f64, alpha: f64) -> Judged {
    let share: f64 =
        ratio.shares.iter().zip(visits.baselines()).map(|(s, b)| s * s / b.rows.len() as f64).sum();
    let spread = Spread {
        above: visits.variance / ratio.runs as f64 + visits.rounding,
        below: visits.variance * share + visits.rounding,
        both: 0.0,
    };
    let df = visits.freedom as f64;
    let limits =
        |t: f64| fieller(ratio.above, ratio.below, spread, t).map(|(low, high)| (100.0 * low, 100.0 * high));
    // A ratio of 1 is tested as a difference of 0, which agrees with Fieller's limits exactly.
    let t = (ratio.above - ratio.below) / (spread.above + spread.below).sqrt();
    let relative = spread.above / (ratio.above * ratio.above) + spread.below / (ratio.below * ratio.below);
    Judged {
        t,
        degrees_of_freedom: visits.freedom,
        p_value: t_two_sided(t, df),
        p_adjusted: family.p_adjusted(t),
        limits: limits(t_two_sided_quantile(1.0 - alpha, df)),
        simultaneous: limits(critical),
        se_of_ln: relative.sqrt(),
        critical,
    }
}
