//! Runs and blows as CSV and JSON lines: every figure as the store has it, each filter, who is left out and why.
//!
//! Files are read back by the crates `csv` and `serde_json`, never by our own code.

use crate::desk::{Desk, INVENTED, INVENTED_RUNS};
use boltscribe::store::{RunExport, RunFilter};
use serde_json::Value;

/// A CSV as rows of (name, cell).
fn csv(text: &str) -> Vec<Vec<(String, String)>> {
    let mut reader = csv::ReaderBuilder::new().flexible(false).from_reader(text.as_bytes());
    let names = reader.headers().unwrap().clone();
    let row = |record: csv::StringRecord| {
        names.iter().zip(record.iter()).map(|(n, c)| (n.to_owned(), c.to_owned())).collect()
    };
    reader.records().map(|record| row(record.unwrap())).collect()
}

fn cell<'a>(row: &'a [(String, String)], name: &str) -> &'a str {
    &row.iter().find(|(n, _)| n == name).unwrap_or_else(|| panic!("no column {name}")).1
}

fn json_lines(text: &str) -> Vec<Value> {
    text.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

fn stored(desk: &Desk) -> Vec<RunExport> {
    desk.read(|reader| reader.runs_upward(&RunFilter::default(), 0, 1000).unwrap())
}

#[test]
fn every_figure_of_every_run_stands_in_json_lines_and_csv_to_the_last_bit() {
    let desk = Desk::new();
    let stored = stored(&desk);
    assert!(stored.len() > INVENTED_RUNS as usize + 2);
    let lines = json_lines(&desk.done(&["export", "runs", "--all", "--as", "jsonl"]));
    let rows = csv(&desk.done(&["export", "runs", "--all"]));
    assert_eq!((lines.len(), rows.len()), (stored.len(), stored.len()));
    let mut compared = 0;
    for ((run, line), row) in stored.iter().zip(&lines).zip(&rows) {
        let document = serde_json::to_value(run).unwrap();
        for (name, text) in row {
            let said = &line[name];
            let Some(figure) = document.get(name).filter(|_| name != "utc") else { continue };
            if name == "source" {
                assert_eq!(said, &figure["kind"]);
                assert_eq!(line["battery"], figure["id"]);
                assert_eq!(line["battery_rested_v"], figure["rested_v"]);
                assert_eq!(line["battery_fresh"], figure["fresh"]);
                continue;
            }
            assert_eq!(said, figure, "run {}: {name}", run.line.id.0);
            match figure {
                Value::Null => assert_eq!(text, "", "{name}"),
                // Bits, not digits: the text of a number is read back.
                Value::Number(n) => assert_eq!(text.parse::<f64>().ok(), n.as_f64(), "{name}"),
                Value::String(word) => assert_eq!(text.trim_start_matches('\''), word, "{name}"),
                Value::Bool(flag) => assert_eq!(text, &flag.to_string(), "{name}"),
                _ => {}
            }
            compared += 1;
        }
        let gates: Vec<(Value, Value, Value)> = (0..run.line.gates.len())
            .map(|g| (line["gates_s"][g].clone(), line["gates_kN"][g].clone(), line["gates_Nm"][g].clone()))
            .collect();
        let expected: Vec<(Value, Value, Value)> = run
            .line
            .gates
            .iter()
            .map(|g| (g.after_s.into(), g.tension_kn.into(), g.torque_nm.into()))
            .collect();
        assert_eq!(gates, expected);
        let stamp: jiff::Timestamp = cell(row, "utc").parse().unwrap();
        assert_eq!(stamp.as_nanosecond(), i128::from(run.line.utc_ns));
        assert!(cell(row, "utc").ends_with('Z'));
    }
    assert!(compared > 40 * stored.len(), "{compared}");
}

#[test]
fn gates_keep_every_bit_of_the_announcement() {
    let desk = Desk::new();
    let lines = json_lines(&desk.done(&["export", "runs", "--all", "--as", "jsonl"]));
    let line = lines.iter().find(|line| line["rig"] == INVENTED).unwrap();
    assert_eq!(line["gates_kN"], serde_json::json!([50_000.0 / 3.0 / 1000.0, null]));
    assert_eq!(line["gate_kN"], line["gates_kN"][0]);
}

#[test]
fn csv_has_crlf_quotes_guards_formulas_and_keeps_the_order() {
    let desk = Desk::new();
    let text = desk.done(&["export", "runs", "--rig", INVENTED]);
    assert!(text.lines().count() > 3);
    assert_eq!(text.matches('\n').count(), text.matches("\r\n").count());
    assert!(text.starts_with("id,rig,rig_run,utc,"), "{text}");
    assert!(text.contains("\"'=invented, \"\"rig\"\"\""), "{text}");
    assert!(text.contains("\"'+ext, 75\""), "{text}");
    let ids: Vec<i64> = csv(&text).iter().map(|row| cell(row, "id").parse().unwrap()).collect();
    assert!(ids.is_sorted());
}

#[test]
fn runs_that_are_left_out_come_with_their_reason_when_asked_for_and_never_else() {
    let desk = Desk::new();
    let all = json_lines(&desk.done(&["export", "runs", "--all", "--as", "jsonl"]));
    let counting = json_lines(&desk.done(&["--format", "json", "export", "runs"]));
    let out: Vec<&Value> = all.iter().filter(|run| run["excluded"] == true).collect();
    assert!(!out.is_empty() && counting.iter().all(|run| run["excluded"] == false));
    assert_eq!(counting.len() + out.len(), all.len());
    assert!(out.iter().all(|run| !run["left_out_because"].as_array().unwrap().is_empty()));
    let by_ana =
        out.iter().find(|run| run["left_out_because"][0] == "excluded by Ana: socket slipped; again");
    assert!(by_ana.is_some(), "{out:#?}");
    let rows = csv(&desk.done(&["export", "runs", "--all"]));
    let short = rows.iter().find(|row| cell(row, "flags").contains("short")).unwrap();
    assert_eq!(cell(short, "flags"), "blows-weak short");
}

#[test]
fn each_filter_keeps_what_it_names() {
    let desk = Desk::new();
    let all = stored(&desk);
    let ids = |words: &[&str]| -> Vec<i64> {
        let mut line = vec!["export", "runs", "--all", "--as", "jsonl"];
        line.extend(words);
        json_lines(&desk.done(&line)).iter().map(|run| run["id"].as_i64().unwrap()).collect()
    };
    let of = |keep: &dyn Fn(&RunExport) -> bool| -> Vec<i64> {
        all.iter().filter(|run| keep(run)).map(|run| run.line.id.0).collect()
    };
    assert_eq!(ids(&["--rig", "knock"]), of(&|run| run.line.rig == "knock"));
    assert_eq!(ids(&["--setup", "bare"]), of(&|run| run.line.setup.as_deref() == Some("bare")));
    assert_eq!(ids(&["--tool", "tool A"]), of(&|run| run.line.tool.as_deref() == Some("tool A")));
    let middle = boltscribe::export::table::utc(all.iter().map(|run| run.line.utc_ns).max().unwrap());
    let until = ids(&["--to", &middle]);
    let from = ids(&["--from", &middle]);
    assert!(!until.is_empty() && !from.is_empty());
    assert_eq!(until.len() + from.len(), all.len());
    assert!(ids(&["--rig", "nobody"]).is_empty());
    let nothing = desk.done(&["export", "runs", "--rig", "nobody"]);
    assert_eq!(nothing.lines().count(), 1, "the header stands also above nothing");
}

#[test]
fn every_blow_is_a_row_with_its_run() {
    let desk = Desk::new();
    let lines = json_lines(&desk.done(&["export", "blows", "--all", "--as", "jsonl"]));
    let mut expected = Vec::new();
    for run in stored(&desk) {
        let blows = desk.read(|reader| reader.blows(run.line.id).unwrap());
        expected.extend(blows.into_iter().map(|blow| (run.line.clone(), blow)));
    }
    assert!(lines.len() == expected.len() && lines.len() > 100, "{} {}", lines.len(), expected.len());
    for (line, (run, blow)) in lines.iter().zip(&expected) {
        assert_eq!(line["run"], run.id.0);
        assert_eq!(line["blow"], blow.blow);
        assert_eq!(
            (line["at_s"].as_f64(), line["level_kN"].as_f64()),
            (Some(blow.at_s), Some(blow.level_kn))
        );
        assert_eq!(line["after_first_blow_s"].as_f64(), run.first_blow_s.map(|first| blow.at_s - first));
    }
    let rows = csv(&desk.done(&["export", "blows", "--rig", "knock"]));
    assert!(rows.iter().all(|row| cell(row, "rig") == "knock") && !rows.is_empty());
}

/// Measurement with tags, and time: where a point stands at a server.
fn place(point: &str) -> (String, i64) {
    let bytes = point.as_bytes();
    let end = (1..bytes.len()).find(|&at| bytes[at] == b' ' && bytes[at - 1] != b'\\').unwrap();
    (point[..end].to_owned(), point.rsplit(' ').next().unwrap().parse().unwrap())
}

#[test]
fn every_run_blow_and_sample_is_a_point_with_a_place_of_its_own() {
    let desk = Desk::new();
    for words in [["runs", "--all"], ["blows", "--all"], ["trace", "1"]] {
        let rows = match words {
            ["trace", run] => csv(&desk.done(&["export", "trace", run, "--no-notes"])),
            [table, all] => csv(&desk.done(&["export", table, all])),
        };
        let text = desk.done(&["export", words[0], words[1], "--as", "lp"]);
        let mut places: Vec<(String, i64)> = text.lines().map(place).collect();
        assert_eq!(places.len(), rows.len());
        assert!(
            places.iter().all(|(series, _)| series.starts_with(&format!("boltscribe_{},rig=", words[0])))
        );
        places.sort();
        places.dedup();
        assert_eq!(places.len(), rows.len(), "points at one place would take each other's");
    }
    let runs = desk.done(&["export", "runs", "--all", "--as", "lp"]);
    assert_eq!(runs.lines().count(), stored(&desk).len());
    for (point, run) in runs.lines().zip(stored(&desk)) {
        assert_eq!(place(point).1, run.line.utc_ns);
        assert!(point.contains(&format!(" id={}i,", run.line.id.0)), "{point}");
    }
}
