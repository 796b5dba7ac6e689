//! The recordings that the project's tests replay are what their plan gives, to the last byte.
//!
//! Catches a change of the model or of the plan that left the recordings behind.

#![allow(clippy::unwrap_used)]

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use virtual_rig::capture::record;
use virtual_rig::plan::Plan;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

fn plan() -> (Plan, toml::Table) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios/captures");
    let plan: Plan = toml::from_str(&std::fs::read_to_string(folder.join("plan.toml")).unwrap()).unwrap();
    let base = std::fs::read_to_string(folder.join(&plan.scenario)).unwrap();
    (plan, toml::from_str(&base).unwrap())
}

#[test]
fn the_plan_gives_the_recordings_of_the_tests_byte_for_byte() {
    let (plan, base) = plan();
    let mut names = BTreeSet::new();
    for case in &plan.capture {
        let text = record(case, &case.scenario(&base).unwrap(), &plan.date).unwrap();
        let file = root().join("tests/captures").join(format!("{}.capture", case.name));
        assert!(text == std::fs::read_to_string(&file).unwrap(), "{} is not what the plan gives", case.name);
        assert!(names.insert(case.name.clone()), "{} stands twice in the plan", case.name);
    }
    assert!(names.len() >= 28, "{} recordings", names.len());
    for entry in std::fs::read_dir(root().join("tests/captures")).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|e| e == "capture") {
            let name = path.file_stem().unwrap().to_str().unwrap().to_owned();
            assert!(names.contains(&name), "{name} is not in the plan");
        }
    }
}

#[test]
fn another_seed_gives_another_recording_of_the_same_runs() {
    let (plan, base) = plan();
    let case = &plan.capture[0];
    let mut scenario = case.scenario(&base).unwrap();
    let first = record(case, &scenario, &plan.date).unwrap();
    scenario.seed += 1;
    let second = record(case, &scenario, &plan.date).unwrap();
    let played = |text: &str| text.lines().filter(|line| line.starts_with("# played: ")).count();
    assert_eq!((played(&first), played(&second)), (1, 1));
    assert!(first != second);
}
