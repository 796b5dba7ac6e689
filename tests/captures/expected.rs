//! Each recording gives its expected document, through the library and through the real binary.
//!
//! Catches unintended changes; `BOLTSCRIBE_UPDATE_CAPTURES=1` writes them anew, fails on purpose, and the
//! difference is then reviewed and explained in the commit.

use crate::support::all;
use boltscribe::cli::analyze::document;
use serde_json::Value;
use std::process::Command;

fn pretty(document: &Value) -> String {
    serde_json::to_string_pretty(document).unwrap() + "\n"
}

#[test]
fn every_recording_gives_its_expected_document() {
    let update = std::env::var_os("BOLTSCRIBE_UPDATE_CAPTURES").is_some();
    let mut wrong = Vec::new();
    for recording in all() {
        let found = pretty(&document(recording.settings.clone(), &recording.capture.entries).unwrap());
        let expected = std::fs::read_to_string(recording.expected_file()).unwrap_or_default();
        if found != expected {
            if update {
                std::fs::write(recording.expected_file(), &found).unwrap();
            }
            let differs = found.lines().zip(expected.lines()).find(|(f, e)| f != e);
            wrong.push(format!("{}: first differing lines (found, expected): {differs:?}", recording.name));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(
        !update,
        "expected files were written anew: look at the difference, then run without the variable"
    );
}

#[test]
fn there_are_recordings_enough_and_none_is_large() {
    let recordings = all();
    assert!(recordings.len() >= 40, "{}", recordings.len());
    assert!(recordings.iter().filter(|r| r.carries_ticks()).count() >= 30);
    for recording in recordings {
        assert!(std::fs::metadata(&recording.file).unwrap().len() <= 150 * 1024, "{}", recording.name);
        assert!(recording.capture.notes[0].starts_with("simulated data"), "{}", recording.name);
    }
}

#[test]
fn the_real_binary_prints_the_expected_document() {
    for name in ["plain-2000", "reset", "lines-bursts"] {
        let recording = all().into_iter().find(|r| r.name == name).unwrap();
        let binary = env!("CARGO_BIN_EXE_boltscribe");
        let output =
            Command::new(binary).args(["analyze", "--format", "json"]).arg(&recording.file).output().unwrap();
        assert!(output.status.success(), "{name}: {}", String::from_utf8_lossy(&output.stderr));
        let printed: Value = serde_json::from_slice(&output.stdout).unwrap();
        let expected = std::fs::read_to_string(recording.expected_file()).unwrap();
        assert_eq!(pretty(&printed), expected, "{name}");
    }
}
