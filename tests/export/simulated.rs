//! Whatever is exported of a simulated device says so in each row, in every kind of file.
//!
//! The recordings come from a virtual rig whose time runs as fast as the wall's; the invented runs have no device
//! that said anything.

use crate::desk::{Desk, INVENTED};
use serde_json::Value;

/// What is exported of one rig, and how many rows it has at least.
fn exports(desk: &Desk, rig: &str) -> Vec<Vec<String>> {
    let list = desk.done(&["--format", "json", "runs", "list", "--rig", rig]);
    let list: Value = serde_json::from_str(&list).unwrap();
    let run = list["runs"][0]["id"].to_string();
    let day = ["--from", "2026-01-01", "--to", "2026-01-02"];
    let words = |of: &[&str]| of.iter().map(|word| (*word).to_owned()).collect::<Vec<_>>();
    vec![
        words(&["export", "runs", "--all", "--rig", rig]),
        words(&["export", "blows", "--all", "--rig", rig]),
        words(&["export", "trace", &run, "--no-notes"]),
        words(&[&["export", "trace", "--no-notes", "--rig", rig], &day[..]].concat()),
    ]
}

/// Reads the mark of each row of a text.
type Marks = fn(&str) -> Vec<bool>;

/// Marks of the rows of a CSV; a file without the column has none.
fn in_csv(text: &str) -> Vec<bool> {
    let mut reader = csv::ReaderBuilder::new().from_reader(text.as_bytes());
    let at = reader.headers().unwrap().iter().position(|name| name == "simulated");
    reader.records().map(|row| at.is_some_and(|at| &row.unwrap()[at] == "true")).collect()
}

fn in_json_lines(text: &str) -> Vec<bool> {
    text.lines().map(|line| serde_json::from_str::<Value>(line).unwrap()["simulated"] == true).collect()
}

/// Points of the line protocol: the mark is a field.
fn in_points(text: &str) -> Vec<bool> {
    text.lines().map(|line| line.contains(",simulated=true") || line.contains(" simulated=true")).collect()
}

#[test]
fn each_row_of_csv_json_lines_and_line_protocol_carries_the_mark_and_none_of_others_does() {
    let desk = Desk::new();
    for (rig, mark) in [("plain-2000", true), (INVENTED, false)] {
        for words in exports(&desk, rig) {
            let words: Vec<&str> = words.iter().map(String::as_str).collect();
            for (kind, marks) in [("csv", in_csv as Marks), ("jsonl", in_json_lines), ("lp", in_points)] {
                // Line protocol has no notes that could be left out.
                let words: Vec<&str> =
                    words.iter().copied().filter(|w| kind == "csv" || *w != "--no-notes").collect();
                let done = desk.run(&[&words[..], &["--as", kind]].concat());
                let said = crate::desk::err(&done);
                assert!(done.status.success(), "{words:?} {kind}: {said}");
                let found = marks(&String::from_utf8(done.stdout).unwrap());
                assert!(!found.is_empty(), "{words:?} {kind}");
                assert!(found.iter().all(|found| *found == mark), "{words:?} {kind}: {found:?}");
            }
        }
    }
}

#[cfg(feature = "parquet")]
#[test]
fn each_row_of_a_parquet_file_carries_the_mark() {
    let desk = Desk::new();
    for words in exports(&desk, "plain-2000") {
        let words: Vec<&str> =
            words.iter().map(String::as_str).filter(|word| *word != "--no-notes").collect();
        desk.done(&[&words[..], &["--out", "it.parquet", "--force"]].concat());
        let found = crate::python::read_back(&desk.path("it.parquet"));
        let marks = found["columns"]["simulated"].as_array().unwrap();
        assert!(!marks.is_empty() && marks.iter().all(|mark| mark == true), "{words:?}: {marks:?}");
    }
}

#[test]
fn what_is_written_to_a_file_says_on_the_way_that_it_is_simulated() {
    let desk = Desk::new();
    for (rig, mark) in [("plain-2000", true), (INVENTED, false)] {
        for words in exports(&desk, rig) {
            let words: Vec<&str> = words.iter().map(String::as_str).collect();
            let said = crate::desk::err(&desk.run(&[&words[..], &["--out", "it.csv", "--force"]].concat()));
            assert_eq!(
                said.contains("SIMULATED: some of it comes from no hardware"),
                mark,
                "{words:?}: {said}"
            );
        }
    }
}
