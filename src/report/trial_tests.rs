//! What a report of a trial says, and that it stands alone.
//!
//! All figures are invented.

use super::*;
use boltscribe_analysis::compare::{Observation, Question, Totals, compare, piece_effects};
use boltscribe_model::setups::SourceKind;
use boltscribe_store::{GateLine, RunId, RunLine};
use jiff::civil::date;

fn plan() -> Plan {
    Plan {
        name: "couplings <1>".into(),
        tools: vec!["wrench".into()],
        setups: vec!["ext".into()],
        repeats: 4,
        ..boltscribe_analysis::fixtures::plan()
    }
}

fn line(id: i64, setup: &str, kn: f64) -> RunLine {
    RunLine {
        id: RunId(id),
        utc: format!("2026-05-04T09:{id:02}:00Z"),
        utc_ns: id * 60_000_000_000,
        setup: Some(setup.into()),
        tool: Some("wrench".into()),
        calibration: Some("nominal-1".into()),
        gates: vec![GateLine { after_s: 3.0, tension_kn: Some(kn), torque_nm: None }],
        ..RunLine::default()
    }
}

/// Baseline and extension in turn, the extension near 95 %.
fn runs() -> Vec<Run> {
    let values = [80.1, 76.2, 79.8, 75.9, 80.3, 76.1, 79.9, 76.0];
    let run = |(at, kn): (usize, &f64)| {
        let setup = if at % 2 == 0 { "direct" } else { "ext" };
        Run { line: line(at as i64 + 1, setup, *kn), value_kn: Some(*kn), excluded: None, warm_up: false }
    };
    values.iter().enumerate().map(run).collect()
}

fn observations(runs: &[Run]) -> Vec<Observation> {
    let of = |run: &Run| Observation {
        run: run.line.id.0 as u64,
        time_s: run.line.utc_ns as f64 / 1e9,
        setup: run.line.setup.clone().unwrap(),
        tool: run.line.tool.clone(),
        value: run.value_kn.unwrap(),
        pieces: if run.line.setup.as_deref() == Some("ext") {
            vec!["long".into(), "socket".into()]
        } else {
            vec!["socket".into()]
        },
        mounting: None,
        resolution: None,
        excluded: run.excluded.clone(),
    };
    runs.iter().map(of).collect()
}

fn written(change: impl FnOnce(&mut Sheet<'_>)) -> String {
    let mut runs = runs();
    runs[5].excluded = Some("repeated: <script>socket slipped</script>".into());
    let observations = observations(&runs);
    let question = Question { baseline: "direct".into(), drift: None, alpha: 0.05 };
    let found = compare(&observations, &question).unwrap();
    let pieces = piece_effects(&observations, &question, None).unwrap();
    let row = TrialRow { id: 1, utc_ns: 0, who: "ana".into(), plan: plan() };
    let tool = Tool {
        name: "wrench".into(),
        anvil: "3/4 in".parse().unwrap(),
        source: SourceKind::Air,
        serial: Some("S-1".into()),
        class: None,
    };
    let totals = Totals::none();
    let mean = Mean {
        tool: "wrench".into(),
        setup: "direct".into(),
        runs: 4,
        tension_kn: 80.025,
        sd_kn: Some(0.22),
        expanded_kn: Some((0.41, 2.1)),
        torque_nm: Some(272.1),
        torque_expanded_nm: None,
    };
    let letterhead = Letterhead { customer: Some("an invented depot".into()), ..Letterhead::default() };
    let said =
        [Said { utc: "2026-05-04T09:10:00Z".into(), who: "ben".into(), what: "go 6 is repeated".into() }];
    let statement = Statement {
        tool: "wrench".into(),
        words: "at least 75 kN".into(),
        decision: "conforms",
        probability: Some(0.998),
    };
    let trace = Trace {
        tool: "wrench".into(),
        name: "direct (run 1)".into(),
        points: vec![(0.0, 0.0), (1.0, 60.0), (3.0, 80.0)],
    };
    let (tools, chains) = ([tool], [("direct".to_owned(), vec!["socket".to_owned()])]);
    let calibrations = [("nominal-1".to_owned(), None)];
    let mut sheet = Sheet {
        row: &row,
        letterhead: &letterhead,
        today: date(2026, 5, 5),
        digest: "abc",
        units: Units::Newtons,
        alpha: 0.05,
        measure: Measure::Gate,
        gate_s: Some(3.0),
        standing: "done",
        warm_up: None,
        runs: &runs,
        tools: &tools,
        chains: &chains,
        bolt: None,
        calibrations: &calibrations,
        said: &said,
        compared: Ok((&found, &totals)),
        beside: None,
        pieces: Ok(&pieces),
        means: &[mean],
        traces: &[trace],
        statements: &[statement],
    };
    change(&mut sheet);
    html(&sheet)
}

#[test]
fn a_report_says_what_the_standard_asks_for_and_stands_alone() {
    let text = written(|_| ());
    let mut from = 0;
    // ISO/IEC 17025:2017, 7.8.2 to 7.8.6, from memory: these in this order.
    for heading in [
        "Who and when",
        "What was tested",
        "Method",
        "Rig, calibration and test bolt",
        "Results",
        "Runs in their order",
        "Traces",
        "What each piece lets through",
        "Deviations from the plan",
        "Statement of conformity",
        "What it holds for",
    ] {
        let at = text.find(&format!("<h2>{heading}</h2>")).unwrap_or_else(|| panic!("{heading}"));
        assert!(at >= from, "{heading} comes too early");
        from = at;
    }
    for part in [
        "an invented depot",
        "drawn from seed",
        "nominal, not against a reference",
        "S-1",
        "99.8 %",
        "go 6 is repeated",
    ] {
        assert!(text.contains(part), "{part}");
    }
    assert!(!text.contains("<script") && !text.contains("http") && !text.contains("NaN"));
    assert_eq!(text.matches("<svg").count(), 5, "intervals, order, traces with key, pieces");
}

#[test]
fn the_percent_in_the_table_is_that_of_the_comparison() {
    let text = written(|_| ());
    let runs = runs();
    let mean_ln = |setup: &str| {
        let all: Vec<f64> = runs
            .iter()
            .filter(|run| run.line.setup.as_deref() == Some(setup) && run.line.id.0 != 6)
            .map(|run| run.value_kn.unwrap().ln())
            .collect();
        all.iter().sum::<f64>() / all.len() as f64
    };
    let plain = 100.0 * (mean_ln("ext") - mean_ln("direct")).exp();
    // Without drift the ratio of geometric means is the answer; here drift is taken out, and there is next to none.
    let cell = text.split("<td>ext</td><td>3</td><td>").nth(1).unwrap().split('<').next().unwrap();
    assert!((cell.parse::<f64>().unwrap() - plain).abs() < 0.15, "{cell} against {plain}");
    assert!(text.contains(">lower</td>"));
}

#[test]
fn pounds_follow_the_choice_and_what_is_missing_is_said() {
    let text = written(|sheet| {
        sheet.units = Units::Pounds;
        sheet.compared = Err("too few runs");
        sheet.pieces = Err("too few runs");
        sheet.statements = &[];
        sheet.standing = "laid aside";
    });
    // 80.025 kN / 4.4482216152605 N (exact) = 17990.3 lbf.
    assert!(text.contains("<td>17990</td>") && text.contains("tension lbf"));
    for part in ["There is no comparison: too few runs.", "No", "None was asked for", "it is laid aside"] {
        assert!(text.contains(part), "{part}");
    }
}
