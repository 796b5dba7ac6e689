//! How a tool has been: its runs before the chart of `compare`, as a document or drawn.
//!
//! Must not judge a tool; that is `judging`.

use super::body::Asked;
use super::judging::{CHART_MAX, latest};
use super::openapi::Refused;
use super::problem::Problem;
use super::state::State;
use super::trial_state::figure;
use axum::Json;
use axum::extract::{Path, State as Shared};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use boltscribe_analysis::compare::history::{Capability, Chart, capability, chart, cpk};
use boltscribe_analysis::results::Measure;
use boltscribe_numerics::moments;
use boltscribe_report::history::svg;
use boltscribe_store::{Reader, RunId, RunLine};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

/// Greatest tension that may be demanded, kN.
const LIMIT_MAX_KN: f64 = 1e6;
/// Fewest runs that limits are drawn from.
const BASE_MIN: usize = 3;

/// What is charted.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct HistoryQuery {
    /// Runs with this setup; that of the newest run where nothing is said.
    setup: Option<String>,
    /// Runs at this rig; of all where nothing is said.
    rig: Option<String>,
    /// Which figure; `gate` where nothing is said.
    #[serde(default)]
    #[param(inline)]
    measure: Measure,
    /// Limits are drawn from so many of the oldest runs; from all where nothing is said.
    #[param(minimum = 3)]
    base: Option<usize>,
    /// Least tension that is demanded, kN: for the capability.
    #[param(minimum = 0, maximum = 1_000_000)]
    #[serde(rename = "least_kN")]
    least_kn: Option<f64>,
    /// Greatest tension that is allowed, kN: for the capability.
    #[param(minimum = 0, maximum = 1_000_000)]
    #[serde(rename = "most_kN")]
    most_kn: Option<f64>,
}

/// How a tool has been.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ToolHistory)]
pub struct HistoryShown {
    /// The tool.
    tool: String,
    /// The setup of the runs; null where they have none.
    setup: Option<String>,
    /// Which figure of them.
    measure: Measure,
    /// How many there are.
    runs: usize,
    /// One of them comes from a simulated device.
    simulated: bool,
    /// Centre of the chart, kN; null where runs are too few for one.
    #[serde(rename = "centre_kN")]
    centre_kn: Option<f64>,
    /// Its lower limit, kN.
    #[serde(rename = "low_kN")]
    low_kn: Option<f64>,
    /// Its upper limit, kN.
    #[serde(rename = "high_kN")]
    high_kn: Option<f64>,
    /// Mean of the moving ranges, kN.
    #[serde(rename = "mean_range_kN")]
    mean_range_kn: Option<f64>,
    /// Upper limit of a moving range, kN.
    #[serde(rename = "range_limit_kN")]
    range_limit_kn: Option<f64>,
    /// The runs, oldest first.
    points: Vec<HistoryPoint>,
    /// Against what is demanded; null where nothing was named, or there is no spread.
    capability: Option<CapabilityShown>,
    /// What the chart is.
    note: &'static str,
    /// What is in it besides the tool, a sentence each: several rigs, several calibrations.
    notes: Vec<String>,
}

/// One run of a chart.
#[derive(Debug, Serialize, ToSchema)]
struct HistoryPoint {
    /// Its number in the store.
    run: RunId,
    /// When it was, ISO 8601.
    utc: String,
    /// The rig it was at.
    rig: String,
    /// Its calibration; null where it has none.
    calibration: Option<String>,
    /// The figure, kN.
    #[serde(rename = "value_kN")]
    value_kn: f64,
    /// Patterns that end at it, and `other rig` or `other calibration` where that of the run before is another.
    remarks: Vec<&'static str>,
}

/// How the spread of runs compares with what is demanded.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Capability)]
struct CapabilityShown {
    /// Width that is allowed over six SDs of all runs; null where one side is named. In one short series it is also called Cm.
    pp: Option<f64>,
    /// Distance of the mean from the nearer side over three SDs of all runs; also Cmk.
    ppk: f64,
    /// Lower 95 % limit of that.
    ppk_low: f64,
    /// Upper 95 % limit of that.
    ppk_high: f64,
    /// The same by the spread from run to run (mean moving range over 2/√π), which slow changes do not make smaller;
    /// null with fewer than three runs.
    cpk: Option<f64>,
}

/// Runs of a tool that count, oldest first, with their chart.
///
/// # Errors
/// No runs; several setups and none named.
#[utoipa::path(
    get, path = "/tools/{tool}/history", operation_id = "tool_history", tag = "tools",
    params(("tool" = String, Path, description = "Name of the tool"), HistoryQuery),
    responses(
        (status = 200, body = HistoryShown,
         description = "Points with remarks, centre and limits of the chart, capability"),
        Refused
    )
)]
pub async fn history(
    Shared(state): Shared<State>,
    Path(tool): Path<String>,
    Asked(query): Asked<HistoryQuery>,
) -> Result<Json<HistoryShown>, Problem> {
    state.read(move |reader| Ok::<_, Problem>(charted(reader, &tool, &query)?.shown())).await.map(Json)
}

/// The chart of a tool as a drawing (SVG).
///
/// # Errors
/// No runs; several setups and none named; fewer runs than a chart needs.
#[utoipa::path(
    get, path = "/tools/{tool}/history/chart", operation_id = "draw_tool_history", tag = "tools",
    params(("tool" = String, Path, description = "Name of the tool"), HistoryQuery),
    responses(
        (status = 200, description = "The drawing", body = String, content_type = "image/svg+xml"),
        Refused
    )
)]
pub async fn drawn(
    Shared(state): Shared<State>,
    Path(tool): Path<String>,
    Asked(query): Asked<HistoryQuery>,
) -> Result<Response, Problem> {
    let found = state.read(move |reader| charted(reader, &tool, &query)).await?;
    let chart = found.chart.as_ref().ok_or_else(|| {
        let n = found.values.len();
        Problem::conflict(format!("tool '{}': expected at least 2 runs for a chart, found {n}", found.tool))
    })?;
    let marked: Vec<usize> = chart.remarks.iter().map(|(place, _)| *place).collect();
    let setup = found.setup.as_deref().unwrap_or("no setup");
    let mark = if found.is_simulated() { " (simulated: no number was measured on a real tool)" } else { "" };
    let title = format!("{}, {setup}, {}{mark}", found.tool, found.measure.name());
    let text = svg(&title, &found.values, chart, &marked);
    let headers = [
        (header::CONTENT_TYPE, "image/svg+xml"),
        (header::CONTENT_SECURITY_POLICY, "default-src 'none'; style-src 'unsafe-inline'"),
    ];
    Ok((headers, text).into_response())
}

/// Runs of a tool with their chart.
struct Charted {
    tool: String,
    setup: Option<String>,
    measure: Measure,
    runs: Vec<RunLine>,
    values: Vec<f64>,
    chart: Option<Chart>,
    capability: Option<(Capability, Option<f64>)>,
}

/// Checks what is demanded, and from how many runs the limits come.
fn is_possible(query: &HistoryQuery) -> Result<(), Problem> {
    for (name, found) in [("least_kN", query.least_kn), ("most_kN", query.most_kn)] {
        if let Some(found) = found.filter(|found| !(*found >= 0.0 && *found <= LIMIT_MAX_KN)) {
            let what = format!("{name}: expected 0 to {LIMIT_MAX_KN}, found {found}");
            return Err(Problem::unprocessable(what));
        }
    }
    if let (Some(least), Some(most)) = (query.least_kn, query.most_kn)
        && least >= most
    {
        return Err(Problem::unprocessable(format!(
            "most_kN: expected more than least_kN, {least}, found {most}"
        )));
    }
    match query.base {
        Some(base) if base < BASE_MIN => {
            Err(Problem::unprocessable(format!("base: expected at least {BASE_MIN} runs, found {base}")))
        }
        _ => Ok(()),
    }
}

fn charted(reader: &Reader, tool: &str, query: &HistoryQuery) -> Result<Charted, Problem> {
    is_possible(query)?;
    let mut runs = latest(reader, (tool, query.setup.as_deref()), query.measure, CHART_MAX, None)?;
    runs.retain(|run| query.rig.as_ref().is_none_or(|rig| run.rig == *rig));
    runs.reverse();
    let Some(newest) = runs.last() else {
        return Err(Problem::conflict(format!("tool '{tool}': expected runs that count, found none")));
    };
    let setup = query.setup.clone().or_else(|| newest.setup.clone());
    runs.retain(|run| run.setup == setup);
    let values: Vec<f64> = runs.iter().filter_map(|run| figure(run, query.measure)).collect();
    let chart = chart(&values, query.base);
    let capability = match (query.least_kn, query.most_kn, moments(&values)) {
        (None, None, _) | (_, _, None) => None,
        (least, most, Some(m)) => {
            let by_range = chart.as_ref().and_then(|chart| cpk(m.mean, chart, least, most));
            let found = m.sd.and_then(|sd| capability(m.mean, sd, values.len(), least, most));
            found.map(|found| (found, by_range))
        }
    };
    Ok(Charted { tool: tool.to_owned(), setup, measure: query.measure, runs, values, chart, capability })
}

impl Charted {
    fn is_simulated(&self) -> bool {
        self.runs.iter().any(|run| run.simulated)
    }

    /// What of the run before is another than of this one.
    fn changes(&self, at: usize) -> impl Iterator<Item = &'static str> {
        let two = at.checked_sub(1).map(|before| (&self.runs[before], &self.runs[at]));
        let rig = two.is_some_and(|(a, b)| a.rig != b.rig);
        let calibration = two.is_some_and(|(a, b)| a.calibration != b.calibration);
        rig.then_some("other rig").into_iter().chain(calibration.then_some("other calibration"))
    }

    /// What is in the chart besides the tool.
    fn notes(&self) -> Vec<String> {
        let list = |of: &dyn Fn(&RunLine) -> String| {
            let mut names: Vec<String> = self.runs.iter().map(of).collect();
            names.sort_unstable();
            names.dedup();
            names
        };
        let rigs = list(&|run| run.rig.clone());
        let calibrations = list(&|run| run.calibration.clone().unwrap_or_else(|| "none".to_owned()));
        let several = |what: &str, names: &[String]| {
            (names.len() > 1).then(|| {
                format!(
                    "runs of several {what} are in one chart ({}): where one follows another, the step is not the tool's alone",
                    names.join(", ")
                )
            })
        };
        several("rigs", &rigs).into_iter().chain(several("calibrations", &calibrations)).collect()
    }

    fn shown(self) -> HistoryShown {
        let chart = self.chart.as_ref();
        let remarks = |at: usize| -> Vec<&'static str> {
            let all = chart.iter().flat_map(|chart| &chart.remarks);
            let patterns = all.filter(|(place, _)| *place == at).map(|(_, pattern)| pattern.name());
            patterns.chain(self.changes(at)).collect()
        };
        let point = |(at, (run, value)): (usize, (&RunLine, &f64))| HistoryPoint {
            run: run.id,
            utc: run.utc.clone(),
            rig: run.rig.clone(),
            calibration: run.calibration.clone(),
            value_kn: *value,
            remarks: remarks(at),
        };
        HistoryShown {
            points: self.runs.iter().zip(&self.values).enumerate().map(point).collect(),
            measure: self.measure,
            runs: self.values.len(),
            simulated: self.is_simulated(),
            centre_kn: chart.map(|c| c.centre),
            low_kn: chart.map(|c| c.limits.0),
            high_kn: chart.map(|c| c.limits.1),
            mean_range_kn: chart.map(|c| c.mean_range),
            range_limit_kn: chart.map(|c| c.range_limit),
            capability: self.capability.map(|(c, cpk)| CapabilityShown {
                pp: c.pp,
                ppk: c.ppk,
                ppk_low: c.ppk_limits.0,
                ppk_high: c.ppk_limits.1,
                cpk,
            }),
            notes: self.notes(),
            note: "individuals and moving range; the patterns are those of ISO 7870-2 from memory",
            tool: self.tool,
            setup: self.setup,
        }
    }
}
