//! The results of a trial's report: percents with limits, means, run order, traces, pieces.
//!
//! Each plot stands beside a table with the same figures. Must not know the occasion.

use super::html::Document;
use super::intervals::{self, Row};
use super::svg::{Plot, Shape, keys};
use super::trial::{Run, Sheet, Trace};
use boltscribe_analysis::compare::{Comparison, PieceEffects, SetupRow, Totals, Verdict};

/// Fewest runs for a plot of their order.
const RUNS_MIN: usize = 2;

/// Writes them.
pub fn write(document: &mut Document, sheet: &Sheet<'_>) {
    document.section("Results", |d| {
        match sheet.compared {
            Ok((found, totals)) => comparison(d, found, totals, sheet),
            Err(why) => d.note(&format!("There is no comparison: {why}.")),
        }
        means(d, sheet);
    });
    document.section("Runs in their order", |d| order(d, sheet));
    if !sheet.traces.is_empty() {
        document.section("Traces", |d| traces(d, sheet));
    }
    document.section("What each piece lets through", |d| match sheet.pieces {
        Ok(found) => pieces(d, found, sheet.alpha),
        Err(why) => d.paragraph(&format!("Not to be told from these runs: {why}.")),
    });
}

/// The shape of a verdict: a disc where a difference is shown, a cross where none is, a square for the baseline.
fn shape(verdict: Option<Verdict>) -> Shape {
    match verdict {
        Some(Verdict::Baseline) => Shape::Square,
        Some(Verdict::Lower | Verdict::Higher) => Shape::Disc,
        Some(Verdict::NoDifferenceShown) | None => Shape::Cross,
    }
}

fn name(row: &SetupRow, many_tools: bool) -> String {
    match &row.tool {
        Some(tool) if many_tools => format!("{}, {tool}", row.setup),
        _ => row.setup.clone(),
    }
}

fn many_tools(found: &Comparison) -> bool {
    found.setups.iter().any(|row| row.tool != found.setups[0].tool)
}

fn limits(pair: Option<(f64, f64)>) -> String {
    pair.map_or_else(|| "–".to_owned(), |(low, high)| format!("{low:.2}\u{a0}to\u{a0}{high:.2}"))
}

fn comparison(d: &mut Document, found: &Comparison, totals: &Totals, sheet: &Sheet<'_>) {
    let many = many_tools(found);
    let total = |at: usize| totals.limits.get(at).copied().flatten();
    let rows: Vec<Row> = found
        .setups
        .iter()
        .enumerate()
        .map(|(at, row)| Row {
            name: name(row, many),
            value: row.percent_of_baseline,
            limits: row.judged.and_then(|judged| judged.simultaneous),
            wider: total(at),
            shape: shape(row.verdict),
        })
        .collect();
    d.figure(
        &intervals::draw("percent of the baseline", "percent of the baseline of the same tool", 100.0, &rows),
        "Percent of the baseline with its limits (thick) and its total limits (thin). A disc: a difference is shown; a \
         cross: none is shown, which is no proof that there is none; a square: the baseline.",
    );
    let with = sheet.beside.as_ref();
    let cells: Vec<Vec<String>> = found
        .setups
        .iter()
        .enumerate()
        .map(|(at, row)| {
            let other = with.and_then(|(_, other)| {
                other.setups.iter().find(|o| o.setup == row.setup && o.tool == row.tool)
            });
            vec![
                name(row, many),
                row.runs.to_string(),
                format!("{:.2}", row.percent_of_baseline),
                limits(row.judged.and_then(|judged| judged.simultaneous)),
                limits(total(at)),
                row.judged.map_or_else(|| "–".to_owned(), |judged| p(judged.p_adjusted)),
                row.verdict
                    .map_or_else(|| row.note.unwrap_or("–").to_owned(), |verdict| verdict.name().to_owned()),
                other.map_or_else(|| "–".to_owned(), |o| format!("{:.2}", o.percent_of_baseline)),
            ]
        })
        .collect();
    let beside = with.map_or_else(|| "by another figure".to_owned(), |(name, _)| format!("% by {name}"));
    let percent = format!("% by {}", sheet.measure.name());
    d.table(
        &format!(
            "Confidence {} % for all setups of a tool together, by which verdicts go. Totals add what the calibration leaves in a ratio.",
            100.0 * (1.0 - found.alpha)
        ),
        &["setup", "runs", &percent, "limits", "total limits", "p adjusted", "verdict", &beside],
        &cells,
    );
    spread(d, found);
    for (at, row) in found.setups.iter().enumerate() {
        if let Some((percent, true)) = found.robust_percent(at) {
            d.paragraph(&format!(
                "Note: by a fit that outliers pull less, {} gives {percent:.2} %, more than half an interval off.",
                name(row, many)
            ));
        }
    }
    for note in found.arrangement.notes().iter().chain(&totals.notes) {
        d.paragraph(&format!("Note: {note}."));
    }
}

/// How far runs scatter, what drift was taken out, the farthest run.
fn spread(d: &mut Document, found: &Comparison) {
    let mut facts = vec![(
        "SD of one run",
        found.residual_sd_percent.map_or_else(
            || "not known".to_owned(),
            |sd| format!("{sd:.2} %, {} degrees of freedom", found.degrees_of_freedom),
        ),
    )];
    if let Some(drift) = found.drift_found {
        let se =
            drift.se_percent_per_hour.map_or_else(String::new, |se| format!(" (standard error {se:.2})"));
        facts.push(("drift taken out", format!("{:+.2} % an hour{se}", drift.percent_per_hour)));
    }
    if let Some(outlier) = found.checks.outlier {
        facts.push((
            "farthest run from the rest",
            format!("Grubbs p = {}; no run is left out for that", p(outlier.p_value)),
        ));
    }
    d.facts(&facts);
}

fn p(value: f64) -> String {
    if value < 0.0001 { "< 0.0001".to_owned() } else { format!("{value:.4}") }
}

fn means(d: &mut Document, sheet: &Sheet<'_>) {
    let units = sheet.units;
    let with = |pair: Option<(f64, f64)>, of: fn(super::units::Units, f64) -> String| {
        pair.map_or_else(|| "–".to_owned(), |(u, k)| format!("{} (k = {k:.2})", of(units, u)))
    };
    let rows: Vec<Vec<String>> = sheet
        .means
        .iter()
        .map(|mean| {
            vec![
                format!("{}, {}", mean.setup, mean.tool),
                mean.runs.to_string(),
                units.tension(mean.tension_kn),
                mean.sd_kn.map_or_else(|| "–".to_owned(), |sd| units.tension(sd)),
                with(mean.expanded_kn, super::units::Units::tension),
                mean.torque_nm.map_or_else(|| "–".to_owned(), |torque| units.written_torque(torque)),
                with(mean.torque_expanded_nm, super::units::Units::written_torque),
            ]
        })
        .collect();
    if rows.is_empty() {
        return;
    }
    let (force, torque) = (units.force(), units.torque());
    d.table(
        "Means of the runs that count, drift not taken out. U is the expanded uncertainty of the mean (95 %): it needs a \
         calibration against a reference, and for torque a bolt factor that was measured.",
        &[
            "setup, tool",
            "runs",
            &format!("tension {force}"),
            &format!("SD {force}"),
            &format!("U {force}"),
            &format!("equivalent torque {torque}"),
            &format!("U {torque}"),
        ],
        &rows,
    );
}

fn order(d: &mut Document, sheet: &Sheet<'_>) {
    let units = sheet.units;
    let start = sheet.runs.first().map_or(0, |run| run.line.utc_ns);
    let minutes = |run: &Run| (run.line.utc_ns - start) as f64 / 60e9;
    let drawn: Vec<(&Run, (f64, f64))> =
        sheet.runs.iter().filter_map(|run| Some((run, (minutes(run), units.of_kn(run.value_kn?))))).collect();
    if drawn.len() >= RUNS_MIN {
        let times: Vec<f64> = drawn.iter().map(|(_, at)| at.0).collect();
        let values: Vec<f64> = drawn.iter().map(|(_, at)| at.1).collect();
        let label = format!("tension, {}", units.force());
        let mut plot = Plot::new(
            "tension in order of the runs",
            ("minutes since the first run", &times),
            (&label, &values),
        );
        let is_baseline = |run: &Run| run.line.setup.as_deref() == Some(sheet.row.plan.baseline.as_str());
        let pick = |wanted: &dyn Fn(&Run) -> bool| -> Vec<(f64, f64)> {
            drawn.iter().filter(|(run, _)| wanted(run)).map(|(_, at)| *at).collect()
        };
        plot.points(&pick(&|run| run.excluded.is_none() && !run.warm_up && !is_baseline(run)), Shape::Disc);
        plot.points(&pick(&|run| run.excluded.is_none() && !run.warm_up && is_baseline(run)), Shape::Square);
        plot.points(&pick(&|run| run.excluded.is_some() || run.warm_up), Shape::Cross);
        d.figure(
            &plot.finish(),
            "Squares: baseline. Discs: other setups. Crosses: warm-up, and runs that do not count. What squares do from \
             left to right is the drift.",
        );
    }
    let of = |text: &Option<String>| text.clone().unwrap_or_else(|| "none".to_owned());
    let rows: Vec<Vec<String>> = sheet
        .runs
        .iter()
        .map(|run| {
            let counts = match (&run.excluded, run.warm_up) {
                (_, true) => "warm-up".to_owned(),
                (Some(why), false) => format!("left out: {why}"),
                (None, false) => "counts".to_owned(),
            };
            vec![
                run.line.id.0.to_string(),
                run.line.utc.clone(),
                of(&run.line.tool),
                of(&run.line.setup),
                run.value_kn.map_or_else(|| "–".to_owned(), |kn| units.tension(kn)),
                counts,
                run.line.flags.join(", "),
            ]
        })
        .collect();
    d.table(
        &format!("Tension in {} by {}.", units.force(), sheet.measure.name()),
        &["run", "first blow (UTC)", "tool", "setup", "tension", "result", "flags"],
        &rows,
    );
}

fn traces(d: &mut Document, sheet: &Sheet<'_>) {
    let units = sheet.units;
    for tool in &sheet.row.plan.tools {
        let own: Vec<&Trace> = sheet.traces.iter().filter(|trace| trace.tool == *tool).collect();
        if own.is_empty() {
            continue;
        }
        let all = |pick: fn(&(f64, f64)) -> f64| -> Vec<f64> {
            own.iter().flat_map(|trace| trace.points.iter().map(pick)).collect()
        };
        let times = all(|point| point.0);
        let values: Vec<f64> = all(|point| point.1).into_iter().map(|kn| units.of_kn(kn)).collect();
        let label = format!("tension, {}", units.force());
        let title = format!("traces of one run of each setup, {tool}");
        let mut plot = Plot::new(&title, ("seconds after the first blow", &times), (&label, &values));
        for (nth, trace) in own.iter().enumerate() {
            let points: Vec<(f64, f64)> = trace.points.iter().map(|(s, kn)| (*s, units.of_kn(*kn))).collect();
            plot.curve(&points, nth);
        }
        let names: Vec<String> = own.iter().map(|trace| trace.name.clone()).collect();
        d.figure(
            &(plot.finish() + &keys("key to the traces", &names)),
            &format!(
                "{tool}: of each setup the run whose figure lies nearest to its mean, by the middle of the least and the \
                 greatest tension of each stretch."
            ),
        );
    }
}

fn pieces(d: &mut Document, found: &PieceEffects, alpha: f64) {
    let rows: Vec<Row> = found
        .pieces
        .iter()
        .map(|piece| Row {
            name: piece.label(),
            value: piece.percent,
            limits: piece.limits,
            wider: None,
            shape: if piece.p_adjusted.is_some_and(|p| p < alpha) { Shape::Disc } else { Shape::Cross },
        })
        .collect();
    if rows.is_empty() {
        d.paragraph("No piece tells one setup from another.");
        return;
    }
    d.figure(
        &intervals::draw("what each piece lets through", "percent that one such piece lets through", 100.0, &rows),
        "Percent of tension that one such piece lets through, with limits. A disc: less or more than 100 % is shown.",
    );
    let cells: Vec<Vec<String>> = found
        .pieces
        .iter()
        .map(|piece| {
            vec![
                piece.label(),
                format!("{:.2}", piece.percent),
                limits(piece.limits),
                piece.p_adjusted.map_or_else(|| "–".to_owned(), p),
                piece.note.unwrap_or_default().to_owned(),
            ]
        })
        .collect();
    d.table(
        "Pieces that never part are told together.",
        &["piece", "percent", "limits", "p adjusted", "note"],
        &cells,
    );
    if let Some(lack) = found.lack_of_fit {
        d.paragraph(&format!(
            "Lack of fit: F = {:.2}, p = {}. A small p says that pieces do more together than each alone.",
            lack.f,
            p(lack.p_value)
        ));
    }
}
