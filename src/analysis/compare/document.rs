//! The answer as one JSON document; keys carry units, what is absent is null with a note.
//! Must not work anything out that this room's other files can, nor know whether a file or a store was asked.

use super::answer::{Comparison, Judged, SetupRow};
use super::arrangement::DriftLeft;
use super::equivalence::equivalence;
use super::observation::Drift;
use super::planning::{POWER, Wanted, detectable_percent, runs_needed};
use super::resolution::ROUNDING;
use super::told::{ChecksTold, FitTold, Head, LeftOut, OutlierTold, Planning, SetupCompared, SetupsCompared};
use super::told_design::{ArrangementTold, EquivalenceTold, MountingsTold, ResolutionTold};

/// What the values are, and what was asked besides the question.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Asked<'a> {
    /// Which measure of a run.
    pub measure: &'a str,
    /// `tension` or `torque`.
    pub quantity: &'a str,
    /// `kN` or `N·m`.
    pub unit: &'a str,
    /// The gate, where the measure is one.
    pub gate_s: Option<f64>,
    /// The setup that counts as 100 %.
    pub baseline: &'a str,
    /// The risk.
    pub alpha: f64,
    /// A difference that is to be shown, percent.
    pub difference: Option<f64>,
    /// SD of one run that is expected, percent.
    pub expected_sd: Option<f64>,
    /// A loss that is to be ruled out, percent.
    pub no_loss_above: Option<f64>,
}

/// Limits with the calibration's part, one a row of the answer.
#[derive(Clone, Debug, PartialEq)]
pub struct Totals {
    /// In order of the rows; none where there is none.
    pub limits: Vec<Option<(f64, f64)>>,
    /// What they hold, or why there are none.
    pub notes: Vec<String>,
}

impl Totals {
    /// What a table of values gives: none.
    #[must_use]
    pub fn none() -> Self {
        let note = "low and high cover repeatability only; low_total and high_total need runs with a calibration's budget";
        Self { limits: Vec::new(), notes: vec![note.to_owned()] }
    }
}

/// The whole document of a comparison of setups.
#[must_use]
pub fn of_setups(asked: &Asked<'_>, found: &Comparison, totals: &Totals) -> SetupsCompared {
    let total = |at: usize| totals.limits.get(at).copied().flatten();
    let claims = asked.no_loss_above.map(|loss| equivalence(found, loss)).unwrap_or_default();
    SetupsCompared {
        head: Head::of(asked),
        fit: FitTold::of(found.drift, found.drift_found, found.residual_sd_percent, found.degrees_of_freedom),
        no_loss_above_percent: asked.no_loss_above,
        resolution: found.resolution.map(ResolutionTold::of),
        mountings: found.mountings.map(MountingsTold::of),
        excluded: excluded(&found.excluded),
        setups: found
            .setups
            .iter()
            .enumerate()
            .map(|(at, row)| SetupCompared {
                percent_by_huber: found.robust_percent(at).map(|r| r.0),
                huber_disagrees: found.robust_percent(at).map(|r| r.1),
                equivalence: claims.get(at).copied().flatten().map(EquivalenceTold::of),
                ..setup(row, total(at), found.arrangement.drift_left.get(at).copied().flatten())
            })
            .collect(),
        checks: checks(found),
        arrangement: ArrangementTold::of(&found.arrangement),
        simulation: None,
        planning: planning(asked, found),
        notes: totals.notes.clone(),
    }
}

/// Runs left out, with why.
pub(super) fn excluded(runs: &[(u64, String)]) -> Vec<LeftOut> {
    runs.iter().map(|(run, why)| LeftOut { run: *run, why: Some(why.clone()) }).collect()
}

fn setup(row: &SetupRow, total: Option<(f64, f64)>, left: Option<DriftLeft>) -> SetupCompared {
    let judged = row.judged.as_ref();
    let of = |f: fn(&Judged) -> f64| judged.map(f);
    let limits = judged.and_then(|j| j.limits);
    let simultaneous = judged.and_then(|j| j.simultaneous);
    SetupCompared {
        setup: row.setup.clone(),
        tool: row.tool.clone(),
        runs: row.runs,
        mountings: row.mountings,
        percent_of_baseline: row.percent_of_baseline,
        low: limits.map(|l| l.0),
        high: limits.map(|l| l.1),
        low_simultaneous: simultaneous.map(|l| l.0),
        high_simultaneous: simultaneous.map(|l| l.1),
        low_total: total.map(|l| l.0),
        high_total: total.map(|l| l.1),
        t: of(|j| j.t),
        degrees_of_freedom: judged.map(|j| j.degrees_of_freedom),
        p_value: of(|j| j.p_value),
        p_adjusted: of(|j| j.p_adjusted),
        detectable_percent: judged.and_then(detectable_percent),
        percent_by_huber: None,
        huber_disagrees: None,
        drift_left_percent: left.map(|l| l.percent),
        drift_left_time_constant_s: left.map(|l| l.time_constant_s),
        verdict: row.verdict,
        equivalence: None,
        note: row.note,
    }
}

/// What the residuals look like; the runs are named by number.
fn checks(found: &Comparison) -> ChecksTold {
    let outlier = found.checks.outlier.and_then(|o| {
        let run = *found.counted.get(o.index)?;
        Some(OutlierTold { run, studentised: o.studentised, p_value: o.p_value })
    });
    ChecksTold {
        outlier,
        trend_p_value: found.checks.trend.map(|t| t.p_value),
        lag_1_correlation: found.checks.lag_1_correlation,
        von_neumann_ratio: found.checks.von_neumann_ratio,
    }
}

/// How many runs would show a difference; null where nobody asked.
fn planning(asked: &Asked<'_>, found: &Comparison) -> Option<Planning> {
    let difference_percent = asked.difference?;
    // Readings tell no scatter below that of their rounding.
    let least = found.resolution.filter(|r| r.counts).map_or(0.0, |r| ROUNDING * r.step_percent);
    let residual = found.residual_sd_percent.map(|s| s.max(least)).filter(|s| *s > 1e-9);
    // What a person says outweighs what a few repeats say.
    let (sd_percent, from) = match (asked.expected_sd, residual) {
        (Some(sd), _) => (Some(sd), "expected"),
        (None, Some(sd)) => (Some(sd), "residuals"),
        (None, None) => (None, "none"),
    };
    let tools: Vec<&Option<String>> = {
        let mut tools: Vec<_> = found.setups.iter().map(|s| &s.tool).collect();
        tools.dedup();
        tools
    };
    let comparisons =
        |tool: &Option<String>| found.setups.iter().filter(|s| s.tool == *tool).count().saturating_sub(1);
    let most = tools.into_iter().map(comparisons).max().unwrap_or(0);
    let runs = sd_percent.and_then(|sd_percent| {
        runs_needed(&Wanted {
            difference_percent,
            sd_percent,
            alpha: asked.alpha,
            comparisons: most,
            linear: found.drift == Drift::Linear,
        })
    });
    let note = match (sd_percent, runs) {
        (None, _) => Some("no spread is known: give --expected-sd, or repeat runs"),
        (_, None) => Some("more than 1000 runs of each setup"),
        _ => None,
    };
    Some(Planning { difference_percent, power: POWER, sd_percent, sd_from: from, runs_each: runs, note })
}
