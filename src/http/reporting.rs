//! The report of a trial: everything it says is gathered here, the page itself is written by `report`.
//!
//! Must not work anything out that `comparing`, `judging` and `budgets` can.

use super::body::Asked;
use super::budgets::{details, factor, figures, line};
use super::comparing::{ALPHA, Asking};
use super::comparison_query::ComparisonQuery;
use super::coupled::Coupled;
use super::judging::statement;
use super::openapi::Refused;
use super::problem::Problem;
use super::state::State;
use super::tags::{chain_named, on_shelf};
use super::trace::thin;
use super::trial_state::{Trial, figure, load, warm_up};
use axum::extract::{Path, State as Shared};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use boltscribe_analysis::compare::ClassLimit;
use boltscribe_analysis::results::Measure;
use boltscribe_analysis::results::uncertainty::{tension, torque};
use boltscribe_analysis::trial::{Said, Standing};
use boltscribe_model::setups::{TestBolt, Tool, check_text};
use boltscribe_numerics::moments;
use boltscribe_report::trial::{Letterhead, Mean, Run, Said as SaidLine, Sheet, Statement, Trace, html};
use boltscribe_report::units::Units;
use boltscribe_store::{Reader, RunId, RunLine, ShelfKind};
use jiff::civil::Date;
use serde::Deserialize;
use serde_json::json;
use sha2::{Digest, Sha256};
use std::sync::Arc;
use utoipa::IntoParams;

/// Points of a trace in a report.
const POINTS: usize = 300;
/// Most traces in a report.
const TRACES_MAX: usize = 40;
/// Seconds of a trace before the first blow and after the last.
const AROUND_S: f64 = 0.5;

/// What is told of the occasion.
#[derive(Debug, Default, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct ReportQuery {
    /// Who made the tests: 1 to 64 printable characters.
    laboratory: Option<String>,
    /// For whom, likewise.
    customer: Option<String>,
    /// Who answers for the report, likewise.
    authorised_by: Option<String>,
    /// A remark, likewise.
    remark: Option<String>,
    /// Units of the page; `kN` where nothing is said.
    #[serde(default)]
    #[param(inline)]
    units: Units,
}

/// The report of a trial: one self-contained HTML page.
///
/// # Errors
/// None of this name; a text that cannot be; the store's.
#[utoipa::path(
    get, path = "/trials/{name}/report", operation_id = "report_trial", tag = "trials",
    params(("name" = String, Path, description = "Name of the trial"), ReportQuery),
    responses((status = 200, description = "The page", body = String, content_type = "text/html"), Refused)
)]
pub async fn trial(
    Shared(state): Shared<State>,
    Path(name): Path<String>,
    Asked(query): Asked<ReportQuery>,
) -> Result<Response, Problem> {
    let texts = [
        ("laboratory", &query.laboratory),
        ("customer", &query.customer),
        ("authorised_by", &query.authorised_by),
        ("remark", &query.remark),
    ];
    for (what, text) in texts {
        if let Some(text) = text {
            check_text(what, text).map_err(|error| Problem::unprocessable(error.to_string()))?;
        }
    }
    let (today, limits) = (state.today(), Arc::clone(&state.limits));
    let text = state.read(move |reader| written(reader, &name, query, today, &limits)).await?;
    // It stands alone: nothing may be fetched or run, whatever a text in it says.
    let policy = "default-src 'none'; style-src 'unsafe-inline'";
    let headers =
        [(header::CONTENT_TYPE, "text/html; charset=utf-8"), (header::CONTENT_SECURITY_POLICY, policy)];
    Ok((headers, text).into_response())
}

fn written(
    reader: &Reader,
    name: &str,
    query: ReportQuery,
    today: Date,
    limits: &[ClassLimit],
) -> Result<String, Problem> {
    let trial = load(reader, name)?;
    let plan = &trial.row.plan;
    let runs = runs(reader, &trial)?;
    let counted: Vec<&Run> = runs.iter().filter(|run| run.excluded.is_none() && !run.warm_up).collect();
    let asked = ComparisonQuery::default();
    let compared =
        Asking::new(reader, &trial, &asked, plan.measure).and_then(|asking| asking.compared(reader));
    let pieces = Asking::new(reader, &trial, &asked, plan.measure).and_then(|asking| asking.effects(None));
    let other = if plan.measure == Measure::Plateau { Measure::Held } else { Measure::Plateau };
    // Where the other figure cannot be compared the planned one still can.
    let beside = Asking::new(reader, &trial, &asked, other).and_then(|asking| asking.compared(reader)).ok();
    let lines: Vec<&RunLine> = runs.iter().map(|run| &run.line).collect();
    let coupled = Coupled::of(reader, &lines)?;
    let setups: Vec<&String> = std::iter::once(&plan.baseline).chain(&plan.setups).collect();
    let chains = setups
        .iter()
        .map(|setup| {
            let known = coupled.pieces_of(setup).map(<[String]>::to_vec);
            // Before its first run a setup is what the shelf has.
            let pieces = known.map_or_else(|| chain_named(reader, setup).map(|chain| chain.pieces), Ok)?;
            Ok(((*setup).clone(), pieces))
        })
        .collect::<Result<Vec<_>, Problem>>()?;
    let tools = tools(reader, &plan.tools, (&coupled, &counted))?;
    let bolt: Option<TestBolt> =
        counted.first().map(|run| coupled.bolt(reader, &run.line)).transpose()?.flatten();
    let progress = trial.progress();
    let standing = match &progress.standing {
        Standing::Awaiting(_) => "awaiting a run",
        Standing::Next(_) => "ready to go on",
        Standing::Done => "done",
        Standing::Aborted => "laid aside",
    };
    let words = |values: &[f64], look| format!("{} runs, {}", values.len(), warm_up(values, look).words);
    let warm = progress.warm_up.as_ref().map(|(values, look)| words(values, look));
    let letterhead = Letterhead {
        laboratory: query.laboratory,
        customer: query.customer,
        authorised_by: query.authorised_by,
        remark: query.remark,
    };
    Ok(html(&Sheet {
        row: &trial.row,
        letterhead: &letterhead,
        today,
        digest: &digest(&runs, &coupled, (&tools, bolt.as_ref())),
        units: query.units,
        alpha: ALPHA,
        measure: plan.measure,
        gate_s: trial.gate_s(plan.measure),
        standing,
        warm_up: warm,
        runs: &runs,
        tools: &tools,
        chains: &chains,
        bolt: bolt.as_ref(),
        calibrations: &calibrations(reader, &counted)?,
        said: &said(&trial),
        compared: compared.as_ref().map(|(found, totals)| (found, totals)).map_err(|p| p.detail.as_str()),
        beside: beside.as_ref().map(|(found, _)| (other.name(), found)),
        pieces: pieces.as_ref().map_err(|problem| problem.detail.as_str()),
        means: &means(reader, &trial, &counted)?,
        traces: &traces(reader, &trial, &counted)?,
        statements: &statements(reader, &tools, &counted, limits),
    }))
}

/// The tools of a plan as the shelf had them when they drove; before its first run a tool is what the shelf has.
fn tools(
    reader: &Reader,
    names: &[String],
    (coupled, counted): (&Coupled, &[&Run]),
) -> Result<Vec<Tool>, Problem> {
    let as_it_drove = |name: &String| {
        let run = counted.iter().find(|run| run.line.tool.as_ref() == Some(name));
        let known = run.map(|run| coupled.tool(reader, &run.line)).transpose()?.flatten();
        known.map_or_else(|| on_shelf(reader, ShelfKind::Tools, name), Ok)
    };
    names.iter().map(as_it_drove).collect()
}

/// The runs of the trial in time order.
fn runs(reader: &Reader, trial: &Trial) -> Result<Vec<Run>, Problem> {
    let plan = &trial.row.plan;
    let readings = trial.readings(reader, plan.measure)?;
    let run = |line: &RunLine| {
        let reading = readings.iter().find(|reading| reading.run == line.id);
        Run {
            value_kn: figure(line, plan.measure),
            excluded: reading.and_then(|reading| reading.excluded.clone()),
            // Readings leave those out.
            warm_up: reading.is_none(),
            line: line.clone(),
        }
    };
    Ok(trial.runs.iter().map(|(_, line)| run(line)).collect())
}

/// SHA-256 of the figures that a report rests on, and of what the runs were coupled with and driven by.
fn digest(runs: &[Run], coupled: &Coupled, shelf: (&[Tool], Option<&TestBolt>)) -> String {
    let figures: Vec<_> = runs
        .iter()
        .map(|run| json!([run.line, run.value_kn, run.excluded, run.warm_up, coupled.pieces(&run.line)]))
        .collect();
    let bytes = serde_json::to_vec(&json!([figures, shelf])).unwrap_or_default();
    Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
}

/// Each calibration of the runs, once.
fn calibrations(
    reader: &Reader,
    counted: &[&Run],
) -> Result<Vec<(String, Option<boltscribe_analysis::metrology::KeptCalibration>)>, Problem> {
    let mut names: Vec<&str> = counted.iter().filter_map(|run| run.line.calibration.as_deref()).collect();
    names.sort_unstable();
    names.dedup();
    names
        .into_iter()
        .map(|name| Ok((name.to_owned(), reader.kept_calibration(name)?.map(|row| row.kept))))
        .collect()
}

/// What people said that is no plain "ready".
fn said(trial: &Trial) -> Vec<SaidLine> {
    let words = |said: &Said| {
        Some(match said {
            Said::Ready(_) | Said::Automatic { .. } => return None,
            Said::Repeat { go, why } => format!("go {go} is repeated: {why}"),
            Said::Skip { number, why } => format!("step {number} is left out: {why}"),
            Said::Warm { why } => format!("the rig counts as warm: {why}"),
            Said::Abort { why } => format!("laid aside: {why}"),
            Said::Resume => "goes on".to_owned(),
        })
    };
    let line = |entry: &boltscribe_store::TrialEntry| {
        let utc = jiff::Timestamp::from_nanosecond(i128::from(entry.utc_ns)).unwrap_or_default();
        Some(SaidLine { utc: format!("{utc:.0}"), who: entry.who.clone(), what: words(&entry.said)? })
    };
    trial.entries.iter().filter_map(line).collect()
}

/// Groups of runs by tool and setup, in the order of the plan.
fn groups<'a>(trial: &Trial, counted: &[&'a Run]) -> Vec<(String, String, Vec<&'a Run>)> {
    let plan = &trial.row.plan;
    let mut all = Vec::new();
    for tool in &plan.tools {
        for setup in std::iter::once(&plan.baseline).chain(&plan.setups) {
            let of =
                |run: &&&Run| run.line.tool.as_ref() == Some(tool) && run.line.setup.as_ref() == Some(setup);
            let own: Vec<&Run> = counted.iter().filter(of).copied().collect();
            if !own.is_empty() {
                all.push((tool.clone(), setup.clone(), own));
            }
        }
    }
    all
}

fn means(reader: &Reader, trial: &Trial, counted: &[&Run]) -> Result<Vec<Mean>, Problem> {
    let measure = trial.row.plan.measure;
    let mut means = Vec::new();
    for (tool, setup, own) in groups(trial, counted) {
        let ids: Vec<RunId> = own.iter().map(|run| run.line.id).collect();
        let runs = details(reader, &ids)?;
        let all: Vec<&_> = runs.iter().collect();
        let known = line(reader, &all, &mut Vec::new())?;
        let slope = known.as_ref().map(|known| known.fit.polynomial.coefficients[1]);
        let figures = figures(&runs, measure, slope)?;
        let Some(found) = tension(&figures, known.as_ref()) else { continue };
        let values: Vec<f64> = figures.iter().map(|figure| figure.value_kn).collect();
        let used = runs[0].result.in_force().bolt.as_ref().and_then(|bolt| bolt.factor);
        let measured = factor(reader, &all, &mut Vec::new())?;
        let expanded = |value: &boltscribe_analysis::results::uncertainty::Value| {
            (value.expanded.uncertainty, value.expanded.coverage_factor)
        };
        let whole = (!found.without_calibration).then_some(&found.mean);
        means.push(Mean {
            tool,
            setup,
            runs: runs.len(),
            tension_kn: found.mean.value,
            sd_kn: moments(&values).and_then(|m| m.sd),
            expanded_kn: whole.map(expanded),
            torque_nm: used.map(|factor| 1000.0 * found.mean.value / factor.0),
            torque_expanded_nm: whole
                .zip(measured)
                .map(|(mean, factor)| expanded(&torque(mean, runs.len(), factor))),
        });
    }
    Ok(means)
}

/// Of each tool and setup the run that lies nearest to the mean.
fn traces(reader: &Reader, trial: &Trial, counted: &[&Run]) -> Result<Vec<Trace>, Problem> {
    let groups = groups(trial, counted);
    let mut traces = Vec::new();
    for (tool, setup, own) in groups.into_iter().take(TRACES_MAX) {
        let values: Vec<f64> = own.iter().filter_map(|run| run.value_kn).collect();
        let Some(mean) = moments(&values).map(|m| m.mean) else { continue };
        let distance = |run: &&&Run| run.value_kn.map_or(f64::INFINITY, |value| (value - mean).abs());
        let nearest = own.iter().min_by(|a, b| distance(a).total_cmp(&distance(b)));
        let Some(run) = nearest else { continue };
        let Some(trace) = reader.trace(run.line.id)? else { continue };
        let Some(calibration) = trace.calibration.clone().filter(|_| !trace.blocks.is_empty()) else {
            continue;
        };
        let thinned = thin(run.line.id.0, &trace, &calibration, POINTS);
        let ends = (trace.first_blow_s - AROUND_S, trace.last_blow_s + AROUND_S);
        let points = thinned
            .time_s
            .iter()
            .zip(thinned.min_kn.iter().zip(&thinned.max_kn))
            .filter(|(at, _)| (ends.0..=ends.1).contains(*at))
            .filter_map(|(at, (least, most))| Some((at - trace.first_blow_s, 0.5 * ((*least)? + (*most)?))))
            .collect();
        traces.push(Trace { tool, name: format!("{setup} (run {})", run.line.id.0), points });
    }
    Ok(traces)
}

fn statements(reader: &Reader, tools: &[Tool], counted: &[&Run], limits: &[ClassLimit]) -> Vec<Statement> {
    let of = |tool: &Tool| {
        let limit = limits.iter().find(|limit| tool.class.as_deref() == Some(limit.class.as_str()))?;
        let runs: Vec<RunLine> = counted
            .iter()
            .filter(|run| run.line.tool.as_ref() == Some(&tool.name))
            .filter(|run| run.line.setup.as_ref() == Some(&limit.setup))
            .map(|run| run.line.clone())
            .collect();
        (!runs.is_empty()).then(|| statement(reader, &tool.name, limit, &runs))
    };
    tools.iter().filter_map(of).collect()
}
