//! The comparison of setups with a baseline: checks, then a fit or brackets.
//! Must not know where observations come from, nor how the answer is shown.

use super::answer::{Comparison, MountingsFound, SetupRow};
use super::arrangement::Arrangement;
use super::bracket;
use super::cells::Cells;
use super::mounting::{Mean, Mounted};
use super::observation::{CompareError, Drift, Observation, Question};
use super::regression::Fitted;

/// Compares the setups of each tool with that tool's baseline.
///
/// `observations` stand in time order. Percent is 100·exp of the difference of ln(value); low and high are
/// Student t on the residual degrees of freedom and cover repeatability only; p adjusted and the simultaneous
/// limits count all setups of one tool. Where mountings are noted, the mean of each is one reading.
///
/// # Errors
/// Observations that cannot be used, an unknown baseline, a tool without it, nothing to compare with it,
/// a drift that cannot be told from the setups, a run that no baseline brackets, mountings that cannot be.
pub fn compare(observations: &[Observation], question: &Question) -> Result<Comparison, CompareError> {
    let runs = Cells::new(observations, question)?;
    let drift = runs.drift(observations, question);
    let mean = if drift == Drift::Bracket { Mean::Arithmetic } else { Mean::Geometric };
    let mounted = Mounted::of(observations, mean)?;
    let excluded = observations.iter().filter_map(|o| o.excluded.clone().map(|why| (o.run, why))).collect();
    let Some(mounted) = mounted else {
        let found = of_readings(observations, &runs, drift, question, None)?;
        return Ok(Comparison { excluded, ..found });
    };
    let cells = Cells::new(&mounted.observations, question)?;
    let mut found = of_readings(&mounted.observations, &cells, drift, question, Some(&mounted))?;
    for (row, cell) in found.setups.iter_mut().zip(&runs.cells) {
        *row = SetupRow { mountings: Some(row.runs), runs: cell.rows.len(), ..row.clone() };
    }
    Ok(Comparison { excluded, ..found })
}

/// Compares readings, each of which stands for itself.
fn of_readings(
    observations: &[Observation],
    cells: &Cells,
    drift: Drift,
    question: &Question,
    mounted: Option<&Mounted>,
) -> Result<Comparison, CompareError> {
    let counted: Vec<u64> = cells.counted.iter().map(|row| observations[*row].run).collect();
    if drift == Drift::Bracket {
        let found = bracket::compare(observations, cells, &question.baseline, question.alpha)?;
        let mountings = mounted.map(|mounted| mountings(mounted, None));
        return Ok(Comparison { counted, mountings, ..found });
    }
    let fitted = Fitted::new(observations, cells, drift)?;
    let fitted = match mounted {
        Some(mounted) => fitted.of_mountings(cells, mounted),
        None => fitted,
    };
    let between = fitted.fit.residual_sd().map(|s| s * s);
    let mountings = mounted.map(|mounted| {
        let share = fitted.share_of_pulls(cells, &mounted.sizes);
        mountings(mounted, between.map(|between| (between, share)))
    });
    Ok(Comparison {
        drift,
        drift_found: fitted.drift(),
        residual_sd_percent: fitted.fit.residual_sd().map(|s| 100.0 * s),
        degrees_of_freedom: fitted.fit.degrees_of_freedom,
        resolution: fitted.resolution,
        mountings,
        counted,
        excluded: Vec::new(),
        setups: fitted.rows(cells, question.alpha),
        families: fitted.families(cells),
        robust: fitted.robust(question.alpha),
        checks: fitted.checks(cells),
        alpha: question.alpha,
        arrangement: Arrangement::new(observations, cells, |g| Ok(fitted.taken_up(cells, g)))?,
    })
}

/// How mountings scatter, from the variance of their means and the share of the pulls' own in it.
fn mountings(mounted: &Mounted, between: Option<(f64, f64)>) -> MountingsFound {
    let within = mounted.within_variance();
    let of_mountings =
        between.zip(within).map(|((between, share), within)| (between - share * within).max(0.0));
    let percent = |variance: f64| 100.0 * libm::sqrt(variance);
    MountingsFound {
        mountings: mounted.sizes.len(),
        sd_percent: of_mountings.map(percent),
        pull_sd_percent: within.map(percent),
    }
}
