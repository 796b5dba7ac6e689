//! Uncertainty budgets of runs: one value, the mean of several, or a ratio of two groups.
//!
//! Which calibration and which bolt factor belong to the runs is found here; how they are combined is
//! [`boltscribe_analysis::results::uncertainty`].

use super::body::Asked;
use super::budget_shown::{BudgetShown, MonteCarlo, Percent, Ratio, SimulatedShown, Tension, Torque};
use super::gains::{RatioOf, ratio_of};
use super::openapi::Refused;
use super::problem::Problem;
use super::runs::no_run;
use super::state::State;
use axum::Json;
use axum::extract::State as Shared;
use boltscribe_analysis::metrology::budget::Line;
use boltscribe_analysis::metrology::monte_carlo::{Distribution, Simulated, simulate};
use boltscribe_analysis::results::uncertainty::{
    KnownFactor, KnownLine, LEVEL, Value as Valued, tension, torque,
};
use boltscribe_analysis::results::{Entry, Figure, Measure};
use boltscribe_model::setups::{GivenFactor, TestBolt};
use boltscribe_store::{Reader, RunDetail, RunId, ShelfKind};
use serde::Deserialize;
use utoipa::IntoParams;

/// Most runs in one question.
const RUNS_MAX: usize = 200;
/// Most trials: an answer is expected within seconds.
const TRIALS_MAX: usize = 1_000_000;

/// Whose budget.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct BudgetQuery {
    /// Numbers of runs with commas between, at most 200.
    runs: String,
    /// Numbers of the runs they are compared with, likewise.
    against: Option<String>,
    /// Which figure of the runs; `gate` where nothing is said.
    #[serde(default)]
    #[param(inline)]
    measure: Measure,
    /// Trials of a simulation beside the budget; none: no simulation.
    #[param(minimum = 100, maximum = 1_000_000)]
    monte_carlo: Option<usize>,
    /// What the simulation is drawn from: the same seed, the same numbers.
    #[serde(default)]
    seed: u64,
}

/// The uncertainty budget of a run, of the mean of several, or of a ratio of two groups.
///
/// # Errors
/// No such run, a run without the measure, too many; the store's.
#[utoipa::path(
    get, path = "/budget", operation_id = "budget", tag = "runs",
    params(BudgetQuery),
    responses(
        (status = 200, body = BudgetShown,
         description = "Value, standard and expanded uncertainty, and the lines they are made of"),
        Refused
    )
)]
pub async fn budget(
    Shared(state): Shared<State>,
    Asked(query): Asked<BudgetQuery>,
) -> Result<Json<BudgetShown>, Problem> {
    if let Some(found) = query.monte_carlo.filter(|n| !(100..=TRIALS_MAX).contains(n)) {
        return Err(Problem::unprocessable(format!(
            "monte_carlo: expected 100 to {TRIALS_MAX} trials, found {found}"
        )));
    }
    state.read(move |reader| answer(reader, &query)).await.map(Json)
}

fn numbers(text: &str) -> Result<Vec<RunId>, Problem> {
    let all: Result<Vec<RunId>, Problem> = text
        .split(',')
        .map(|part| {
            part.trim().parse().map(RunId).map_err(|_| {
                Problem::unprocessable(format!("runs: expected numbers with commas between, found '{part}'"))
            })
        })
        .collect();
    let all = all?;
    let twice = all.iter().enumerate().find(|(at, run)| all[..*at].contains(run));
    if let Some((_, run)) = twice {
        return Err(Problem::unprocessable(format!("runs: expected each once, found {} again", run.0)));
    }
    if all.len() > RUNS_MAX {
        let found = all.len();
        return Err(Problem::unprocessable(format!("runs: expected at most {RUNS_MAX}, found {found}")));
    }
    Ok(all)
}

pub(super) fn details(reader: &Reader, ids: &[RunId]) -> Result<Vec<RunDetail>, Problem> {
    ids.iter().map(|id| reader.run(*id)?.ok_or_else(|| no_run(*id))).collect()
}

/// Whether one of these runs comes from a simulated device.
pub(super) fn any_simulated(runs: &[RunDetail]) -> bool {
    runs.iter().any(|run| run.line.simulated)
}

/// One word that all runs agree on; none where they differ or do not know it.
fn common<'a>(words: &[Option<&'a str>]) -> Option<&'a str> {
    let first = (*words.first()?)?;
    words.iter().all(|word| *word == Some(first)).then_some(first)
}

fn answer(reader: &Reader, query: &BudgetQuery) -> Result<BudgetShown, Problem> {
    let ids = numbers(&query.runs)?;
    let runs = details(reader, &ids)?;
    let others = query.against.as_deref().map(numbers).transpose()?;
    if let Some(run) = others.iter().flatten().find(|run| ids.contains(run)) {
        return Err(Problem::unprocessable(format!(
            "against: expected other runs than those of runs, found {} in both",
            run.0
        )));
    }
    let others = others.map(|ids| details(reader, &ids)).transpose()?;
    let all: Vec<&RunDetail> = runs.iter().chain(others.iter().flatten()).collect();
    let mut notes = Vec::new();
    let ratio = others.as_ref().map(|others| ratio_of(reader, &runs, others, query.measure, &mut notes));
    let (ratio, line, figures) = match ratio.transpose()? {
        Some(RatioOf { against, line, one_gain, a }) => (Some((against, one_gain)), line, a),
        None => {
            let line = line(reader, &all, &mut notes)?;
            let slope = line.as_ref().map(|line| line.fit.polynomial.coefficients[1]);
            let figures = figures(&runs, query.measure, slope)?;
            (None, line, figures)
        }
    };
    let found = tension(&figures, line.as_ref()).ok_or_else(|| Problem::unprocessable("runs: found none"))?;
    if found.outside {
        notes.push(
            "a figure lies outside the loads of the calibration: its uncertainty there is not known".into(),
        );
    }
    if let [only] = &runs[..]
        && matches!(only.result, Entry::Measured(_))
    {
        notes.push("one run: how runs scatter is not in it".into());
    }
    for run in all.iter().filter(|run| matches!(run.result, Entry::Measured(_)) && run.lowpass_hz.is_none()) {
        notes.push(format!(
            "run {} does not tell by which low-pass it was measured: nothing is averaged out of its noise",
            run.line.id.0
        ));
    }
    for run in all.iter().filter(|run| run.line.excluded) {
        let why = run.line.left_out_because.join("; ");
        notes.push(format!(
            "run {} is left out of results ({why}); it counts here because it was asked for",
            run.line.id.0
        ));
    }
    let factor = factor(reader, &all, &mut notes)?;
    let torque = factor.map(|factor| torque(&found.mean, runs.len(), factor));
    let simulated =
        query.monte_carlo.map(|trials| monte_carlo(&found.mean, torque.as_ref(), trials, query.seed));
    Ok(BudgetShown {
        runs: ids,
        measure: query.measure,
        simulated: all.iter().any(|run| run.line.simulated),
        tension: Tension::of(&found.mean, 1.0),
        torque: torque.as_ref().map(|torque| Torque::of(torque, 1.0)),
        ratio: ratio.as_ref().map(|(found, one_gain)| Ratio {
            percent: Percent::of(&found.ratio, 100.0),
            calibration_line_if_nothing_cancelled_percent: found.line_u_if_apart.map(|u| 100.0 * u),
            cancels: cancels(factor.is_some(), line.is_some(), *one_gain),
        }),
        monte_carlo: simulated.transpose()?,
        notes,
    })
}

/// What is common to both groups and so leaves no trace in their ratio.
fn cancels(factor: bool, line: bool, one_gain: bool) -> Vec<&'static str> {
    let mut words = Vec::new();
    if one_gain {
        words.push("gain of the cell and amplifier");
    }
    if one_gain && line {
        words.push("reference standard");
    }
    if factor {
        words.push("mean of the bolt factor");
    }
    words
}

pub(super) fn figures(
    runs: &[RunDetail],
    measure: Measure,
    slope: Option<f64>,
) -> Result<Vec<Figure>, Problem> {
    let of = |run: &RunDetail| {
        measure.of(&run.result, slope, run.lowpass_hz).ok_or_else(|| {
            Problem::conflict(format!(
                "run {}: expected a figure '{}', found none",
                run.line.id.0,
                measure.name()
            ))
        })
    };
    runs.iter().map(of).collect()
}

pub(super) fn line(
    reader: &Reader,
    runs: &[&RunDetail],
    notes: &mut Vec<String>,
) -> Result<Option<KnownLine>, Problem> {
    let names: Vec<Option<&str>> = runs.iter().map(|run| run.line.calibration.as_deref()).collect();
    line_of(reader, &names, notes)
}

/// The line of runs on these calibrations; none where they have no line against a reference in common, which a
/// note then says.
pub(super) fn line_of(
    reader: &Reader,
    calibrations: &[Option<&str>],
    notes: &mut Vec<String>,
) -> Result<Option<KnownLine>, Problem> {
    if calibrations.iter().all(Option::is_none) {
        notes.push("the runs have no calibration: nothing of one is in the budget".into());
        return Ok(None);
    }
    let Some(name) = common(calibrations) else {
        notes.push(
            "the runs are not all on one calibration: nothing of a calibration is in the budget".into(),
        );
        return Ok(None);
    };
    let Some(row) = reader.kept_calibration(name)? else {
        notes.push(format!(
            "the calibration '{name}' is not against a reference: kN and torque are approximate, and nothing of it is in the budget"
        ));
        return Ok(None);
    };
    let reference_share = row.kept.taken.reference.standard_share();
    match row.kept.taken.fit() {
        Ok(fit) => Ok(Some(KnownLine { fit, reference_share })),
        Err(error) => Err(Problem::conflict(format!("calibration '{name}': {error}"))),
    }
}

pub(super) fn factor(
    reader: &Reader,
    runs: &[&RunDetail],
    notes: &mut Vec<String>,
) -> Result<Option<KnownFactor>, Problem> {
    let bolts: Vec<Option<&str>> = runs.iter().map(|run| run.line.bolt.as_deref()).collect();
    let Some(name) = common(&bolts) else { return Ok(None) };
    let document = reader.shelf_entry(ShelfKind::Bolts, name)?.map(|row| row.document);
    let bolt: Option<TestBolt> = document.and_then(|document| serde_json::from_value(document).ok());
    let given = bolt.as_ref().and_then(|bolt| bolt.factor);
    let used = runs[0].result.in_force().bolt.as_ref().and_then(|bolt| bolt.factor);
    match given {
        Some(GivenFactor::Measured { n_per_nm, sd_n_per_nm, tightenings, wrench_uncertainty_percent })
            if used.is_some_and(|used| used.0 == n_per_nm) =>
        {
            Ok(Some(KnownFactor {
                factor: n_per_nm,
                sd: sd_n_per_nm,
                tightenings,
                wrench_share: wrench_uncertainty_percent / 200.0,
            }))
        }
        Some(GivenFactor::Measured { .. }) => {
            notes.push(format!(
                "bolt '{name}' has another factor now than the runs were measured with: no torque"
            ));
            Ok(None)
        }
        _ => {
            notes.push(format!(
                "the factor of bolt '{name}' was given, not measured (`calibrate bolt`): how far it scatters is not known, so there is no uncertainty of torque"
            ));
            Ok(None)
        }
    }
}

/// What a budget is made of as distributions about zero: Student's t where an uncertainty is itself from a sample.
/// Lines of one sample are drawn as one: their sum has one t, not the sum of two.
fn distributions(value: &Valued) -> Vec<Distribution> {
    let of = |line: &Line| {
        if line.degrees_of_freedom.is_finite() {
            Distribution::StudentT(0.0, line.contribution.abs(), line.degrees_of_freedom)
        } else {
            Distribution::Normal(0.0, line.contribution.abs())
        }
    };
    value.budget.parts().iter().map(of).collect()
}

fn monte_carlo(
    tension: &Valued,
    torque: Option<&Valued>,
    trials: usize,
    seed: u64,
) -> Result<MonteCarlo, Problem> {
    let run = |value: &Valued| {
        let model = |x: &[f64]| value.value + x.iter().sum::<f64>();
        simulate(model, &distributions(value), trials, seed, LEVEL)
            .map_err(|error| Problem::unprocessable(error.to_string()))
    };
    let shown = |found: Simulated| SimulatedShown {
        mean: found.mean,
        standard_uncertainty: found.standard_uncertainty,
        low: found.symmetric.0,
        high: found.symmetric.1,
    };
    Ok(MonteCarlo {
        trials,
        seed,
        level: LEVEL,
        tension_kn: shown(run(tension)?),
        torque_nm: torque.map(run).transpose()?.map(shown),
    })
}
