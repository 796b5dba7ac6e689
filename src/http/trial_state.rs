//! A trial as it stands: its plan, what was said, the runs that were taken, the next step.
//!
//! What follows from them is worked out by `trial`; here they are read and worded.

use super::coupled::Coupled;
use super::problem::Problem;
use super::tags::{chain_named, if_on_shelf, on_shelf, pieces};
use super::trial_shown::{NextRun, NotCounted, Stands, StepShown, TrialShown, WarmUp};
use boltscribe_analysis::results::{Flag, Measure};
use boltscribe_analysis::trial::{
    Go, Mountings, Phase, Plan, Progress, Said, Standing, Step, Taken, progress,
};
use boltscribe_model::setups::{Chain, Tool, fit};
use boltscribe_numerics::steadiness::{Look, PATIENCE, SLOPE_MAX_PERCENT, Steadiness, VALUES_MIN};
use boltscribe_store::{Reader, RunId, RunLine, ShelfKind, TrialEntry, TrialRow};
use serde::Serialize;
use std::collections::HashSet;
use utoipa::ToSchema;

/// A trial with all that is stored of it.
pub(super) struct Trial {
    pub(super) row: TrialRow,
    pub(super) entries: Vec<TrialEntry>,
    /// Each go with the run that took it.
    pub(super) runs: Vec<(u32, RunLine)>,
}

/// A run as a comparison takes it.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = TrialReading)]
pub(super) struct Reading {
    /// Its number in the store.
    pub(super) run: RunId,
    /// Since the trial's first run, seconds.
    pub(super) time_s: f64,
    /// Its setup, corrections applied.
    pub(super) setup: Option<String>,
    /// Its tool, corrections applied.
    pub(super) tool: Option<String>,
    /// The figure that is compared, kN; null where it has none.
    #[serde(rename = "value_kN")]
    pub(super) value_kn: Option<f64>,
    /// The setup's chain, as the shelf had it when the run got its setup.
    pub(super) pieces: Vec<String>,
    /// Which mounting of the setup it belongs to; null where the plan does not say when the coupling is taken off.
    pub(super) mounting: Option<String>,
    /// Of a reading by hand: the smallest step of the dial, kN.
    #[serde(rename = "resolution_kN")]
    pub(super) resolution_kn: Option<f64>,
    #[serde(skip)]
    pub(super) calibration: Option<String>,
    /// Why it does not count; null where it does.
    pub(super) excluded: Option<String>,
}

/// Reads one.
///
/// # Errors
/// None of this name; the store's.
pub(super) fn load(reader: &Reader, name: &str) -> Result<Trial, Problem> {
    let row = reader.trial(name)?.ok_or_else(|| {
        Problem::not_found(format!("cannot find the trial '{name}'"))
            .hint("`boltscribe trial list` shows them")
    })?;
    let entries = reader.trial_entries(row.id)?;
    let runs = reader.trial_runs(row.id)?;
    Ok(Trial { row, entries, runs })
}

/// The figure of a run that is compared.
pub(super) fn figure(run: &RunLine, measure: Measure) -> Option<f64> {
    let gate_kn = run.gates.first().and_then(|gate| gate.tension_kn);
    figure_of([gate_kn, run.held_kn, run.peak_kn, run.plateau_kn], measure)
}

/// The same of its tension at the first gate, held tension, peak and fitted limit.
pub(super) const fn figure_of(figures_kn: [Option<f64>; 4], measure: Measure) -> Option<f64> {
    let [gate, held, peak, plateau] = figures_kn;
    match measure {
        Measure::Gate => gate,
        Measure::Held => held,
        Measure::Peak => peak,
        Measure::Plateau => plateau,
    }
}

/// Why a run leaves its step open. That the rig was cold is what a warm-up is for.
pub(super) fn left_out(because: &[String]) -> Vec<String> {
    because.iter().filter(|why| *why != Flag::Cold.name()).cloned().collect()
}

impl Trial {
    /// How far it is.
    pub(super) fn progress(&self) -> Progress {
        let plan = &self.row.plan;
        let said: Vec<Said> = self.entries.iter().map(|entry| entry.said.clone()).collect();
        let taken: Vec<Taken> = self
            .runs
            .iter()
            .map(|(go, run)| Taken {
                go: *go,
                run: run.id.0,
                setup: run.setup.clone(),
                tool: run.tool.clone(),
                value: figure(run, plan.measure),
                left_out_because: left_out(&run.left_out_because),
            })
            .collect();
        progress(plan, &said, &taken)
    }

    /// The whole of it for people.
    pub(super) fn shown(&self, reader: &Reader) -> Result<TrialShown, Problem> {
        let found = self.progress();
        let next = match &found.standing {
            Standing::Awaiting(go) | Standing::Next(go) => Some(self.next(reader, go, &found)?),
            Standing::Done | Standing::Aborted => None,
        };
        let plan = &self.row.plan;
        let step = |step: &Step| {
            let run = found.done.iter().find(|(done, _)| done.number == step.number).map(|(_, run)| *run);
            let line =
                run.and_then(|run| self.runs.iter().find(|(_, line)| line.id.0 == run)).map(|(_, line)| line);
            StepShown {
                number: step.number,
                phase: step.phase,
                tool: step.tool.clone(),
                setup: step.setup.clone(),
                block: step.block,
                run,
                skipped: found.skipped.contains(&step.number),
                value_kn: line.and_then(|line| figure(line, plan.measure)),
            }
        };
        let lost = self
            .runs
            .iter()
            .filter(|(_, run)| !found.done.iter().any(|(_, done)| *done == run.id.0))
            .filter(|(_, run)| !run.flags.iter().any(|flag| flag == Flag::Cold.name()))
            .map(|(go, run)| NotCounted { go: *go, run: run.id.0, why: self.why_not(*go, run) });
        Ok(TrialShown {
            trial: plan.name.clone(),
            planned_utc_ns: self.row.utc_ns,
            planned_by: self.row.who.clone(),
            plan: plan.clone(),
            standing: Stands::from(&found.standing),
            next,
            steps: found.steps.iter().map(step).collect(),
            steps_done: found.done.len(),
            steps_skipped: found.skipped.len(),
            steps_total: found.steps.len(),
            warm: found.warm,
            warm_up: found.warm_up.as_ref().map(|(values, look)| warm_up(values, look)),
            automatic: found.automatic,
            not_counted: lost.collect(),
            entries: self.entries.clone(),
        })
    }

    /// Why a run did not take the step of its go.
    fn why_not(&self, go: u32, run: &RunLine) -> String {
        let step = self.entries.iter().find_map(|entry| match &entry.said {
            Said::Ready(found) if found.go == go => Some(&found.step),
            _ => None,
        });
        let repeated = self.entries.iter().find_map(|entry| match &entry.said {
            Said::Repeat { go: other, why } if *other == go => Some(why.clone()),
            _ => None,
        });
        let skipped = self.entries.iter().find_map(|entry| match &entry.said {
            Said::Skip { number, why } if step.is_some_and(|step| step.number == *number) => Some(why),
            _ => None,
        });
        if let (None, Some(why)) = (&repeated, skipped) {
            return format!("its step was left out: {why}");
        }
        match (repeated, step) {
            (Some(why), _) => format!("repeated: {why}"),
            (None, _) if run.excluded => run.left_out_because.join("; "),
            (None, Some(step)) if run.setup.as_ref() != Some(&step.setup) => {
                format!("tagged with the setup '{}'", run.setup.as_deref().unwrap_or("none"))
            }
            (None, Some(step)) if run.tool.as_ref() != Some(&step.tool) => {
                format!("tagged with the tool '{}'", run.tool.as_deref().unwrap_or("none"))
            }
            _ if figure(run, self.row.plan.measure).is_none() => {
                format!("it has no figure '{}'", self.row.plan.measure.name())
            }
            _ => "its step was taken by another run".to_owned(),
        }
    }

    fn next(&self, reader: &Reader, go: &Go, found: &Progress) -> Result<NextRun, Problem> {
        // What has left the shelf since is told to whoever says "ready"; the trial can be looked at without it.
        let chain: Option<Chain> = if_on_shelf(reader, ShelfKind::Setups, &go.step.setup)?;
        let tool: Option<Tool> = if_on_shelf(reader, ShelfKind::Tools, &go.step.tool)?;
        Ok(NextRun {
            go: go.go,
            number: go.step.number,
            phase: go.step.phase,
            tool: go.step.tool.clone(),
            setup: go.step.setup.clone(),
            pieces: chain.map(|chain| chain.pieces).unwrap_or_default(),
            source: tool.map(|tool| tool.source),
            fresh_source_due: found.fresh_due,
            remount_due: found.remount_due,
            air_kpa: self.row.plan.air_kpa,
            rest_s: self.row.plan.rest_s,
        })
    }

    /// Runs as a comparison takes them: those of baseline and setups, with why one does not count.
    pub(super) fn readings(&self, reader: &Reader, measure: Measure) -> Result<Vec<Reading>, Problem> {
        let warm_ups: HashSet<u32> = self
            .entries
            .iter()
            .filter_map(|entry| match &entry.said {
                Said::Ready(found) if found.step.phase == Phase::WarmUp => Some(found.go),
                _ => None,
            })
            .collect();
        let start_ns = self.runs.first().map_or(0, |(_, run)| run.utc_ns);
        let done: HashSet<i64> = self.progress().done.into_iter().map(|(_, run)| run).collect();
        let lines: Vec<&RunLine> = self.runs.iter().map(|(_, run)| run).collect();
        let coupled = Coupled::of(reader, &lines)?;
        let mut rows = Vec::new();
        let mut mountings = Mountings::new(self.row.plan.remount);
        for (go, run) in &self.runs {
            let mounting = mountings.next(run.tool.as_deref(), run.setup.as_deref());
            if warm_ups.contains(go) {
                continue;
            }
            let value = figure(run, measure);
            // The figure asked for may be another than that of the plan.
            let excluded = match (done.contains(&run.id.0), value) {
                (false, _) => Some(self.why_not(*go, run)),
                (true, None) => Some(format!("it has no figure '{}'", measure.name())),
                (true, Some(_)) => coupled.other_chain(run),
            };
            rows.push(Reading {
                run: run.id,
                time_s: (run.utc_ns - start_ns) as f64 / 1e9,
                setup: run.setup.clone(),
                tool: run.tool.clone(),
                value_kn: value,
                pieces: coupled.pieces(run).to_vec(),
                mounting,
                resolution_kn: run.resolution_kn,
                calibration: run.calibration.clone(),
                excluded,
            });
        }
        Ok(rows)
    }

    /// The gate of its runs, where the measure is one.
    pub(super) fn gate_s(&self, measure: Measure) -> Option<f64> {
        let first = self.runs.iter().find_map(|(_, run)| run.gates.first().map(|gate| gate.after_s));
        first.filter(|_| measure == Measure::Gate)
    }
}

pub(super) fn warm_up(values: &[f64], look: &Look) -> WarmUp {
    let words = match look.steadiness {
        Steadiness::TooFew => format!("{} of at least {VALUES_MIN} runs", values.len()),
        Steadiness::NotYet => format!("not steady yet after {} runs (at most {PATIENCE})", values.len()),
        Steadiness::Steady => format!("steady: the slope lies within ±{SLOPE_MAX_PERCENT} % a run"),
        Steadiness::GoOn => {
            format!("not shown to be steady in {PATIENCE} runs: goes on, the drift carries it")
        }
    };
    WarmUp {
        runs: values.len(),
        values_kn: values.to_vec(),
        words,
        slope_percent_low: look.slope_percent.map(|s| s.0),
        slope_percent_high: look.slope_percent.map(|s| s.1),
        range_percent: look.range_percent,
        von_neumann_ratio: look.von_neumann_ratio,
    }
}

/// Looks at all names of a plan: they are on the shelf, and each setup fits each tool.
///
/// # Errors
/// The first name that is not there or chain that does not fit.
pub(super) fn check_names(reader: &Reader, plan: &Plan) -> Result<(), Problem> {
    plan.check().map_err(|error| Problem::unprocessable(error.to_string()))?;
    let known = pieces(reader)?;
    for name in &plan.tools {
        let tool: Tool = on_shelf(reader, ShelfKind::Tools, name)?;
        for setup in plan.setups.iter().chain([&plan.baseline]) {
            let chain = chain_named(reader, setup)?;
            fit(&chain, |piece| known.get(piece), Some(&tool))
                .map_err(|error| Problem::unprocessable(format!("tool '{name}': {error}")))?;
        }
    }
    if let Some(bolt) = &plan.bolt {
        on_shelf::<boltscribe_model::setups::TestBolt>(reader, ShelfKind::Bolts, bolt)?;
    }
    Ok(())
}
