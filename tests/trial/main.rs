//! Trials through the real programs: planned, walked step by step, corrected, resumed, compared.
//!
//! By hand at a dial, where no daemon is needed, and by a fixture at a virtual rig. All figures are invented.

// Helpers of a test fail like the test itself.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::disallowed_methods)]

#[path = "../daemon_pty/bench.rs"]
#[allow(dead_code)]
mod bench;
mod comparing;
#[path = "../typed/desk.rs"]
#[allow(dead_code)]
mod desk;
mod judging;
mod reporting;

use bench::{Bench, wait_for};
use desk::Desk;
use serde_json::{Value, json};

const DIAL: &str = "[[rig]]\nname = \"press\"\ninstrument = \"typed\"\ndial_unit = \"kN\"\ndial_resolution = 0.1\nrange_kN = 250\n";

fn dial() -> Desk {
    let desk = Desk::new(DIAL);
    filled(&desk);
    desk
}

fn filled(desk: &Desk) {
    desk.fill("press");
    for words in [
        &["setup", "piece", "add", "long", "--kind", "extension", "--drive-in", "1/2", "--drive-out", "1/2"]
            [..],
        &["setup", "piece", "add", "big", "--kind", "socket", "--drive-in", "3/4"],
        &["setup", "chain", "add", "ext", "long", "socket 30"],
        &["setup", "chain", "add", "wrong", "big"],
    ] {
        desk.done(words);
    }
}

fn plan<'a>(more: &[&'a str]) -> Vec<&'a str> {
    let base =
        ["trial", "new", "couplings", "--tools", "wrench", "--baseline", "direct", "--setups", "ext,other"];
    [&base[..], &["--measure", "held", "--seed", "7"], more].concat()
}

/// What a setup gives here: invented.
fn figure(setup: &str, go: u64) -> String {
    let level = match setup {
        "direct" => 80.0,
        "ext" => 76.0,
        _ => 79.6,
    };
    let ripple = [0.2, -0.1, 0.1, -0.3, 0.0][(go % 5) as usize];
    format!("{:.1}", level + ripple)
}

/// Does the next step: ready, then a reading.
fn step(desk: &Desk) -> Value {
    let next = desk.json(&["trial", "next"])["next"].clone();
    let go = next["go"].to_string();
    desk.json(&["trial", "ready", "--go", &go]);
    let reading = figure(next["setup"].as_str().unwrap(), next["go"].as_u64().unwrap());
    desk.json(&["runs", "enter", &reading]);
    next
}

#[test]
fn a_trial_by_hand_is_walked_corrected_and_compared_like_a_file() {
    let desk = dial();
    let planned = desk.json(&plan(&["--repeats", "3"]));
    let total = planned["steps"].as_array().unwrap().len() as u64;
    // Two setups three times, the baseline √2 times as often as one of them and once more, so that it has both ends.
    assert_eq!((total, &planned["steps"][0]["setup"]), (11, &json!("direct")));
    let words: Vec<&str> = plan(&["--repeats", "3"])
        .into_iter()
        .map(|word| match word {
            "new" => "plan",
            "couplings" => "again",
            other => other,
        })
        .collect();
    let setups = |document: &Value| -> Vec<String> {
        document["steps"].as_array().unwrap().iter().map(|step| step["setup"].to_string()).collect()
    };
    assert_eq!(setups(&desk.json(&words)), setups(&planned), "the same seed gives the same order");
    assert!(desk.fails(1, &plan(&[])).contains("expected it once, found it stored before"));

    let first = step(&desk);
    assert_eq!((&first["phase"], &first["pieces"][0]), (&json!("baseline"), &json!("socket 30")));
    assert!(desk.fails(1, &["trial", "ready", "--go", "1"]).contains("somebody else was faster"));
    let go = desk.json(&["trial", "next"])["next"]["go"].to_string();
    let after = desk.json(&["trial", "ready", "--go", &go]);
    assert_eq!(after["standing"], "awaiting a run");
    assert!(desk.fails(1, &["trial", "ready"]).contains("the run of go 2 is awaited"));
    // That run never came.
    desk.json(&["trial", "repeat", "--why", "socket slipped"]);
    assert_eq!(desk.json(&["trial", "next"])["next"]["number"], 2);

    step(&desk);
    // The first baseline turns out to be bad: its step opens again and comes next.
    desk.done(&["runs", "exclude", "1", "--why", "socket not seated"]);
    let next = desk.json(&["trial", "next"]);
    assert_eq!((&next["next"]["number"], &next["steps_done"]), (&json!(1), &json!(1)));
    assert_eq!(next["not_counted"][0]["why"], "excluded by ana: socket not seated");
    while desk.json(&["trial", "next"])["standing"] != "done" {
        step(&desk);
    }
    let shown = desk.json(&["trial", "show", "couplings"]);
    assert_eq!((&shown["steps_done"], &shown["steps_total"]), (&json!(total), &json!(total)));
    assert!(desk.fails(1, &["trial", "ready"]).contains("is done"));

    let found = desk.json(&["compare", "couplings"]);
    assert!(!found["arrangement"]["notes"].to_string().contains("no look is planned"), "{found}");
    assert_eq!(found["excluded"][0]["run"], 1, "{found}");
    // The same runs as a file give the same answer.
    let mut csv = "run,time_s,setup,tool,mounting,tension_kN,excluded\n".to_owned();
    let rows: Vec<Value> =
        desk.json(&["runs", "list", "--all"])["runs"].as_array().unwrap().iter().rev().cloned().collect();
    let start = rows[0]["utc_ns"].as_i64().unwrap();
    for run in &rows {
        let why = run["left_out_because"][0].as_str().unwrap_or_default();
        let time_s = (run["utc_ns"].as_i64().unwrap() - start) as f64 / 1e9;
        csv.push_str(&format!(
            "{},{time_s},{},wrench,{},{},{why}\n",
            run["id"],
            run["setup"].as_str().unwrap(),
            run["id"],
            run["held_kN"]
        ));
    }
    let file = desk.path().join("runs.csv");
    std::fs::write(&file, csv).unwrap();
    let of_file = desk.json(&["compare", file.to_str().unwrap(), "--baseline", "direct"]);
    for key in ["setups", "drift", "drift_percent_per_hour", "residual_sd_percent", "degrees_of_freedom"] {
        assert_eq!(found[key], of_file[key], "{key}");
    }
    let ext = found["setups"].as_array().unwrap().iter().find(|row| row["setup"] == "ext").unwrap();
    assert!(
        (ext["percent_of_baseline"].as_f64().unwrap() - 95.0).abs() < 0.5 && ext["verdict"] == "lower",
        "{ext}"
    );
    let pieces = desk.json(&["compare", "couplings", "--by", "piece"]);
    assert_eq!(pieces["pieces"].as_array().unwrap().len(), 1, "{pieces}");
}

#[test]
fn a_plan_that_cannot_be_is_told_and_nothing_is_kept() {
    let desk = dial();
    let with = |from: &str, to: &'static str| -> Vec<&'static str> {
        plan(&["--repeats", "2"]).into_iter().map(|word| if word == from { to } else { word }).collect()
    };
    for (from, to, said) in [
        ("direct", "nothing", "cannot find 'nothing' among the setups"),
        ("ext,other", "wrong", "tool 'wrench'"),
        ("ext,other", "direct", "baseline 'direct' among them"),
        ("wrench", "hammer", "cannot find 'hammer' among the tools"),
        ("2", "0", "repeats: expected 1 to 50"),
        ("held", "gate", "expected held or peak, which a dial shows"),
    ] {
        let told = desk.fails(2, &with(from, to));
        assert!(told.contains(said), "{to}: {told}");
    }
    assert_eq!(desk.json(&["trial", "list"])["trials"], json!([]));
    desk.json(&plan(&[]));
    assert!(
        desk.fails(1, &["compare", "couplings"]).contains("expected runs with a figure 'held', found none")
    );
    assert!(desk.fails(1, &["compare", "nothing"]).contains("cannot find the trial 'nothing'"));
    assert!(
        desk.fails(2, &["trial", "skip", "--step", "99", "--why", "x"]).contains("expected a step from 1 to")
    );
    step(&desk);
    assert!(
        desk.fails(2, &["compare", "couplings"]).contains("expected at least one setup besides the baseline")
    );
}

#[test]
fn a_warm_up_is_recorded_flagged_and_never_compared() {
    let desk = dial();
    desk.json(&plan(&["--repeats", "1", "--warm-up"]));
    let mut warm_ups = 0;
    while desk.json(&["trial", "next"])["warm"] == false {
        let next = desk.json(&["trial", "next"]);
        assert_eq!(next["next"]["phase"], "warm-up");
        let reading = format!(
            "{:.1}",
            80.0 + 6.0 * (-f64::from(warm_ups) / 2.0).exp() + [0.0, 0.1, -0.1][warm_ups as usize % 3]
        );
        desk.json(&["trial", "ready"]);
        let run = desk.json(&["runs", "enter", &reading]);
        assert!(run["flags"].to_string().contains("cold"), "{run}");
        warm_ups += 1;
        assert!(warm_ups <= 25);
    }
    assert!(warm_ups >= 8, "{warm_ups}");
    let shown = desk.json(&["trial", "next"]);
    assert!(shown["warm_up"]["words"].as_str().unwrap().contains("steady"), "{shown}");
    let first = step(&desk);
    assert_eq!(first["phase"], "baseline");
    let runs = desk.json(&["runs", "list", "--all"])["runs"].clone();
    assert!(!runs[0]["flags"].to_string().contains("cold") && runs[1]["left_out_because"][0] == "cold");
    while desk.json(&["trial", "next"])["standing"] != "done" {
        step(&desk);
    }
    let found = desk.json(&["compare", "couplings"]);
    let counted: u64 =
        found["setups"].as_array().unwrap().iter().map(|row| row["runs"].as_u64().unwrap()).sum();
    assert_eq!(counted, shown["steps_total"].as_u64().unwrap(), "the warm-up is not in it");
}

#[test]
fn a_fresh_battery_is_asked_for_and_an_aborted_trial_goes_on() {
    let desk = dial();
    desk.json(&plan(&["--repeats", "1", "--fresh", "each-run"]));
    assert!(desk.fails(1, &["trial", "ready"]).contains("expected a fresh source"));
    let told = desk.fails(1, &["trial", "ready", "--battery", "b3"]);
    assert!(told.contains("battery 'b3' without its rested voltage"), "{told}");
    desk.json(&["trial", "ready", "--battery", "b3", "--rested-V", "19.8"]);
    let run = desk.json(&["runs", "enter", "80.1"]);
    assert_eq!(run["in_force"]["source"]["fresh"], true, "{run}");
    desk.json(&["trial", "abort", "--why", "lunch"]);
    assert!(desk.fails(1, &["trial", "ready"]).contains("laid aside"));
    assert_eq!(desk.json(&["trial", "resume"])["next"]["number"], 2);
    assert!(desk.fails(2, &["trial", "automatic"]).contains("without fresh sources"));
    let left = desk.json(&["trial", "skip", "--step", "2", "--why", "piece is broken"]);
    assert_eq!((&left["next"]["number"], &left["steps"][1]["skipped"]), (&json!(3), &json!(true)));
}

#[test]
fn a_fixture_walks_a_whole_trial_by_itself_over_a_restart() {
    let mut bench = Bench::new();
    for words in ["setup chain add again socket", "setup tool add wrench --anvil 3/4 --source mains"] {
        bench.cli(&words.split(' ').collect::<Vec<_>>());
    }
    let planned = "trial new alone --tools wrench --baseline direct --setups again --repeats 2 --seed 3";
    let planned = bench.cli(&planned.split(' ').collect::<Vec<_>>());
    let steps = planned["steps"].as_array().unwrap().len();
    assert_eq!(steps, 5);
    let on = bench.cli(&["trial", "automatic"]);
    assert_eq!(on["standing"], "awaiting a run");
    // The rig plays on, also while the daemon is away: on a busy machine it does not wait until somebody is ready, and
    // whatever nobody was ready for takes no step.
    bench.start_rig_over_and_over(21);
    wait_for("two steps", || bench.cli(&["trial", "next"])["steps_done"].as_u64() >= Some(2));
    // Without a word, also in the midst of a run: what was awaited is awaited still.
    bench.kill_daemon();
    bench.start_daemon();
    wait_for("the rest", || bench.cli(&["trial", "next"])["standing"] == "done");
    let shown = bench.cli(&["trial", "show", "alone"]);
    assert_eq!(shown["steps_done"], steps);
    for step in shown["steps"].as_array().unwrap() {
        let run = bench.cli(&["runs", "show", &step["run"].to_string()]);
        assert_eq!((&run["setup"], &run["tool"]), (&step["setup"], &step["tool"]));
        assert!(
            (run["gates"][0]["tension_kN"].as_f64().unwrap() - step["value_kN"].as_f64().unwrap()).abs()
                < 1e-12
        );
    }
    assert!(shown["entries"].to_string().contains("\"who\":\"automatic\""));
    assert_eq!(bench.cli(&["store", "check"])["ok"], true);
}

#[test]
fn a_run_cut_off_by_a_kill_keeps_its_trial_and_step() {
    let mut bench = Bench::new();
    for words in ["setup chain add again socket", "setup tool add wrench --anvil 3/4 --source mains"] {
        bench.cli(&words.split(' ').collect::<Vec<_>>());
    }
    let planned = "trial new cut --tools wrench --baseline direct --setups again --repeats 1 --seed 3";
    bench.cli(&planned.split(' ').collect::<Vec<_>>());
    bench.cli(&["trial", "ready"]);
    // Slow enough that the 250 ms which may be lost are a small part of a run.
    bench.start_rig_at(2.0, 2, &[]);
    wait_for("a run well under way", || {
        let rig = bench.rig();
        rig["running"] == 1 && rig["tension_kN"].as_f64().is_some_and(|kn| kn > 60.0)
    });
    bench.kill_daemon();
    // Asked of the store, which nobody has open: the run is not measured yet, and still awaited.
    assert_eq!(bench.cli(&["trial", "show"])["standing"], "awaiting a run");
    bench.start_daemon();
    let attempt = json!({"trial": "cut", "step": 1, "attempt": 1});
    for measured in ["at the start", "again"] {
        let run = bench.cli(&["runs", "show", "1"]);
        assert_eq!(run["in_force"]["attempt"], attempt, "measured {measured}: {run}");
        assert!(run["flags"].to_string().contains("interrupted"), "{run}");
        let shown = bench.cli(&["trial", "show"]);
        let lost = &shown["not_counted"][0];
        let why = lost["why"].as_str().unwrap();
        assert!(lost["run"] == 1 && why.contains("interrupted"), "measured {measured}: {shown}");
        assert_eq!((&shown["standing"], &shown["next"]["number"]), (&json!("ready to go on"), &json!(1)));
        bench.cli(&["runs", "recompute", "1", "--why", "to see"]);
    }
    // It has taken the attempt: the rig's next run is for no trial.
    assert_eq!(bench.rig()["in_force"]["attempt"], json!(null));
    assert!(bench.runs(2)[1]["left_out_because"].as_array().unwrap().is_empty());
    assert_eq!(bench.cli(&["trial", "show"])["not_counted"].as_array().unwrap().len(), 1);
    assert_eq!(bench.stop_daemon(), Some(0));
    assert_eq!(bench.cli(&["store", "check"])["ok"], true);
}

#[test]
fn two_trials_never_await_one_run() {
    let desk = dial();
    desk.json(&plan(&["--repeats", "1"]));
    let mut other = plan(&["--repeats", "1"]);
    other[2] = "again";
    desk.json(&other);
    let go = desk.json(&["trial", "ready", "couplings"])["next"]["go"].clone();
    let told = desk.fails(1, &["trial", "ready", "again"]);
    assert!(
        told.contains("expected no other to await a run at the rig 'press', found 'couplings'"),
        "{told}"
    );
    // Given back, laid aside or taken: then the other may.
    desk.done(&["trial", "repeat", "couplings", "--why", "not yet"]);
    desk.json(&["trial", "ready", "again"]);
    desk.json(&["runs", "enter", "80.1"]);
    desk.json(&["trial", "ready", "couplings"]);
    desk.done(&["trial", "abort", "couplings", "--why", "another day"]);
    desk.json(&["trial", "ready", "again"]);
    assert_eq!(go, 1);
}

#[test]
fn a_fresh_battery_is_still_due_where_its_run_never_came() {
    let desk = dial();
    desk.json(&plan(&["--repeats", "1", "--fresh", "each-setup"]));
    let fresh = ["trial", "ready", "couplings", "--battery", "b3", "--rested-V", "19.9"];
    desk.json(&fresh);
    desk.done(&["trial", "repeat", "couplings", "--why", "not yet"]);
    assert_eq!(desk.json(&["trial", "next", "couplings"])["next"]["fresh_source_due"], true);
    desk.json(&fresh);
    desk.json(&["runs", "enter", "80.1"]);
    assert_eq!(desk.json(&["trial", "show", "couplings"])["steps_done"], 1);
}
