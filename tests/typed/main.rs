//! A rig without an amplifier: what a person reads from its dial becomes a run, through the real programs,
//! with a daemon and without one.

// Helpers of a test fail like the test itself.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod desk;

use desk::Desk;
use serde_json::{Value, json};
use std::io::{BufRead, BufReader};
use std::process::Stdio;

const PRESS: &str = "[[rig]]\nname = \"press\"\ninstrument = \"typed\"\ndial_unit = \"kN\"\n\
    dial_resolution = 0.5\nrange_kN = 250\n";

fn flags(run: &Value) -> Vec<&str> {
    run["flags"].as_array().unwrap().iter().map(|flag| flag.as_str().unwrap()).collect()
}

fn torque(run: &Value) -> f64 {
    run["equivalent_torque_Nm"].as_f64().unwrap()
}

#[test]
fn a_reading_becomes_a_run_without_a_daemon() {
    let desk = Desk::new(PRESS);
    desk.fill("press");
    let run = desk.json(&["runs", "enter", "100"]);
    // T = K·F·d (Shigley, eq. 8-27): 0.16 × 100,000 N × 0.02 m = 320 N·m.
    assert!((torque(&run) - 320.0).abs() < 1e-9, "{}", torque(&run));
    assert_eq!((&run["id"], &run["rig_run"], &run["held_kN"]), (&json!(1), &json!(1), &json!(100.0)));
    assert_eq!(
        (&run["setup"], &run["tool"], &run["bolt"]),
        (&json!("direct"), &json!("wrench"), &json!("m20"))
    );
    assert_eq!((&run["resolution_kN"], &run["entered_by"]), (&json!(0.5), &json!("ana")));
    assert_eq!(flags(&run), ["by-hand", "nominal"]);
    assert_eq!((&run["excluded"], &run["remarks"]), (&json!(false), &json!([])));
    for key in [
        "peak_kN",
        "peak_time_s",
        "peak_is_lower_bound",
        "drive_time_s",
        "first_blow_s",
        "last_blow_s",
        "blows",
        "blow_rate_hz",
        "plateau_kN",
        "time_constant_s",
        "timing",
        "calibration",
        "rate_hz",
        "noise_kN",
        "spikes",
        "closed_by",
        "note",
    ] {
        assert!(run[key].is_null() && run.as_object().unwrap().contains_key(key), "{key}: {}", run[key]);
    }
    let shown = desk.json(&["runs", "show", "1"]);
    assert_eq!(shown["reading"]["value"], 100.0);
    assert_eq!(shown["reading"]["of"], "held");
    let check = desk.json(&["store", "check"]);
    assert_eq!(check["ok"], true, "{check}");
}

#[test]
fn a_load_without_a_tool_is_kept_and_counts_nowhere_until_something_is_coupled() {
    let desk = Desk::new(PRESS);
    desk.fill("press");
    let told = desk.json(&["setup", "use", "--no-tool"]);
    assert_eq!((&told["in_force"]["no_tool"], &told["in_force"]["setup"]), (&json!(true), &json!(null)));
    assert_eq!(
        told["in_force"]["bolt"]["name"], "m20",
        "the bolt stays: its limit and its tightenings count"
    );
    let run = desk.json(&["runs", "enter", "100"]);
    assert_eq!(flags(&run), ["by-hand", "no-tool", "nominal"]);
    assert_eq!((&run["excluded"], &run["tool"]), (&json!(true), &json!(null)));
    assert!(desk.done(&["setup", "show"]).0.contains("no tool coupled"));
    let standing = desk.json(&["rig", "list"])["rigs"][0]["standing"].clone();
    assert!(standing.to_string().contains("no tool coupled") && !standing.to_string().contains("no setup"));
    // Another bolt does not couple a tool; a setup does.
    desk.json(&["runs", "enter", "90"]);
    assert_eq!(desk.json(&["runs", "list", "--all"])["runs"].as_array().unwrap().len(), 2);
    let tool = desk.json(&["setup", "list", "tool"])["tools"][0].clone();
    assert_eq!(tool["uses"]["runs"], 0, "{tool}");
    desk.json(&["setup", "use", "direct", "--tool", "wrench"]);
    let run = desk.json(&["runs", "enter", "100"]);
    assert_eq!((flags(&run), &run["excluded"]), (vec!["by-hand", "nominal"], &json!(false)));
    assert_eq!(run["pieces"], json!(["socket 30"]));
    assert!(desk.fails(2, &["setup", "use", "direct", "--no-tool"]).contains("--no-tool"));
    assert!(desk.fails(2, &["setup", "use"]).contains("NAME"));
}

#[test]
fn a_peak_is_kept_as_a_peak_and_shown_as_one() {
    let desk = Desk::new(PRESS);
    desk.fill("press");
    let run = desk.json(&["runs", "enter", "96.5", "--peak", "--note", "drag pointer", "--who", "ben"]);
    assert_eq!((&run["held_kN"], &run["peak_kN"]), (&Value::Null, &json!(96.5)));
    assert!(run["equivalent_torque_Nm"].is_null());
    // 0.16 × 96,500 N × 0.02 m.
    assert!((run["equivalent_torque_peak_Nm"].as_f64().unwrap() - 308.8).abs() < 1e-9);
    assert_eq!((&run["note"], &run["entered_by"]), (&json!("drag pointer"), &json!("ben")));
    let (table, said) = desk.done(&["runs", "list"]);
    assert!(table.contains("peak 96.50 kN") && table.contains('–') && !table.contains("0.00"), "{table}");
    assert!(said.contains("caution"), "{said}");
    let (table, _) = desk.done(&["runs", "show", "1"]);
    assert!(table.contains("peak, as typed") && table.contains("run 1 was read by hand"), "{table}");
    let (csv, _) = desk.done(&["--format", "csv", "runs", "list", "--all"]);
    let row: Vec<&str> = csv.lines().nth(1).unwrap().split(',').collect();
    let header: Vec<&str> = csv.lines().next().unwrap().split(',').collect();
    let cell = |name: &str| row[header.iter().position(|h| *h == name).unwrap()];
    assert_eq!((cell("peak_kN"), cell("held_kN"), cell("drive_time_s"), cell("blows")), ("96.5", "", "", ""));
    assert_eq!((cell("resolution_kN"), cell("entered_by"), cell("note")), ("0.5", "ben", "drag pointer"));
}

#[test]
fn what_cannot_be_a_reading_is_refused_and_says_what_was_read() {
    let desk = Desk::new(PRESS);
    desk.fill("press");
    for (words, told, hint) in [
        (&["81,5"][..], "'81,5': expected a number with a decimal point", "if 81.5 was meant, type 81.5"),
        (&["12,345"], "found a comma", "if 12.345 was meant, type 12.345; if 12345 was meant, type 12345"),
        (&["81.5kN"], "'81.5kN': expected a number", "type the number alone"),
        (&["inf"], "'inf': expected a number", "type the number alone"),
        (&["-3"], "reading of -3: expected zero or more", "its own zero"),
        (
            &["250.5"],
            "250.5 kN, which is 250.5 kN: expected at most the dial's range of 250 kN",
            "read the dial again",
        ),
        (&["60000", "--unit", "lbf"], "60000 lbf, which is 266.8", "is it in another unit?"),
        (&["81.5", "--unit", "kg"], "in 'kg': expected one of kN", "leave the unit out"),
        (
            &["81.5", "--unit", "psi"],
            "expected a dial whose psi are known, found one marked kN",
            "leave the unit out",
        ),
        (&["81.5", "--at", "2100-01-01T00:00:00Z"], "expected a moment that has passed", ""),
        (&["81.5", "--at", "yesterday"], "expected a time such as", ""),
        (&["81.5", "--note", ""], "note: expected 1 to 500", ""),
    ] {
        let said = desk.fails(2, &[&["runs", "enter"], words].concat());
        assert!(said.contains(told) && said.contains(hint), "{words:?}: {said}");
    }
    desk.fails(1, &["runs", "enter", "81.5", "--rig", "none"]);
    assert_eq!(desk.json(&["runs", "list"])["runs"], json!([]));
}

#[test]
fn a_reading_over_the_allowed_tension_is_taken_and_said_loudly() {
    let desk = Desk::new(PRESS);
    desk.fill("press");
    let (_, said) = desk.done(&["runs", "enter", "120"]);
    assert!(!said.contains("OVER LIMIT"), "{said}");
    let (_, said) = desk.done(&["--format", "json", "runs", "enter", "120.5"]);
    assert!(said.contains("OVER LIMIT") && said.contains("120 kN: stop and inspect the bolt"), "{said}");
    let run = desk.json(&["runs", "show", "2"]);
    assert_eq!(flags(&run), ["by-hand", "nominal", "over-limit"]);
    let (_, said) = desk.done(&["runs", "enter", "81.3"]);
    assert!(said.contains("81.3 lies between two steps of the dial"), "{said}");
}

#[test]
fn psi_means_what_the_dial_says_it_means() {
    // 10,000 psi scaled in force are 10,000 lbf = 44.482216152605 kN; times 0.16 × 0.02 m.
    let force = "[[rig]]\nname = \"force\"\ninstrument = \"typed\"\ndial_unit = \"psi\"\ndial_psi = \"force\"\n\
        dial_resolution = 50\n";
    // 2,500 psi under 4 in² are the same force; 4 in² are 2580.64 mm².
    let oil = |name: &str, area: &str| {
        format!(
            "[[rig]]\nname = \"{name}\"\ninstrument = \"typed\"\ndial_unit = \"psi\"\n\
             dial_psi = \"oil-pressure\"\ndial_resolution = 50\n{area}\n"
        )
    };
    let rigs =
        format!("{force}{}{}", oil("inches", "piston_area_in2 = 4"), oil("mm", "piston_area_mm2 = 2580.64"));
    let desk = Desk::new(&rigs);
    desk.fill("force");
    for rig in ["inches", "mm"] {
        desk.done(&["setup", "use", "direct", "--rig", rig, "--bolt", "m20"]);
    }
    for (rig, figure) in [("force", "10000"), ("inches", "2500"), ("mm", "2500")] {
        let run = desk.json(&["runs", "enter", figure, "--rig", rig]);
        assert!(
            (run["held_kN"].as_f64().unwrap() - 44.482_216_152_605).abs() < 1e-9,
            "{rig}: {}",
            run["held_kN"]
        );
        assert!((torque(&run) - 142.343_091_688_336).abs() < 1e-9, "{rig}: {}", torque(&run));
    }
    // Another unit is converted exactly, whatever stands on the dial.
    let run = desk.json(&["runs", "enter", "44.482216152605", "--unit", "kN", "--rig", "inches"]);
    assert_eq!(run["held_kN"], 44.482_216_152_605);
    let said = desk.fails(2, &["runs", "enter", "1000"]);
    assert!(said.contains("expected one, found 3: force, inches, mm"), "{said}");
}

#[test]
fn a_mistyped_reading_is_excluded_and_entered_again() {
    let desk = Desk::new(PRESS);
    let (_, said) = desk.done(&["runs", "enter", "18.5"]);
    assert!(said.contains("no setup was in force") && said.contains("runs exclude 1"), "{said}");
    let run = desk.json(&["runs", "show", "1"]);
    assert_eq!(flags(&run), ["by-hand", "no-limit", "nominal", "untagged"]);
    assert_eq!(run["left_out_because"], json!(["untagged"]));
    desk.fill("press");
    desk.done(&["runs", "tag", "1", "--setup", "direct", "--why", "told afterwards"]);
    assert_eq!(desk.json(&["runs", "show", "1"])["left_out_because"], json!([]));
    desk.done(&["runs", "exclude", "1", "--why", "mistyped"]);
    let again = desk.json(&["runs", "enter", "81.5"]);
    assert_eq!((&again["id"], &again["rig_run"], &again["held_kN"]), (&json!(2), &json!(2), &json!(81.5)));
    let first = desk.json(&["runs", "show", "1"]);
    assert_eq!((&first["held_kN"], &first["excluded"]), (&json!(18.5), &json!(true)));
    assert_eq!(desk.json(&["store", "check"])["ok"], true);
}

#[test]
fn a_moment_that_has_passed_takes_the_tags_of_that_moment() {
    let desk = Desk::new(PRESS);
    desk.fill("press");
    let before = desk.json(&["runs", "enter", "80"])["utc"].as_str().unwrap().to_owned();
    desk.done(&["setup", "use", "other", "--rig", "press"]);
    let run = desk.json(&["runs", "enter", "81", "--at", &before]);
    assert_eq!((&run["utc"], &run["setup"]), (&json!(before), &json!("direct")));
    let run = desk.json(&["runs", "enter", "82"]);
    assert_eq!(run["setup"], "other");
    let run = desk.json(&["runs", "enter", "83", "--at", "2020-01-01T00:00:00Z"]);
    assert!(run["setup"].is_null() && flags(&run).contains(&"untagged"));
}

#[test]
fn a_daemon_of_dials_alone_serves_them_and_tells_of_each_reading() {
    let press = |i: usize| PRESS.replace("press", &format!("press-{i}"));
    let rigs: String = (1..=32).map(press).collect();
    let mut desk = Desk::new(&rigs);
    desk.serve();
    desk.fill("press-1");
    let first = desk.json(&["runs", "enter", "80", "--rig", "press-1"]);
    assert_eq!((&first["id"], &first["setup"]), (&json!(1), &json!("direct")));

    let mut watch = desk.command(&["rig", "watch", "press-1"]).stdout(Stdio::piped()).spawn().unwrap();
    let mut lines = BufReader::new(watch.stdout.take().unwrap()).lines().map_while(Result::ok);
    let line = lines.next().unwrap();
    assert_eq!(line, "press-1  run 1 read by hand: held 80.00 kN by ana; flags: by-hand nominal");
    desk.done(&["runs", "enter", "85", "--rig", "press-2"]);
    desk.done(&["runs", "enter", "90", "--rig", "press-1", "--peak"]);
    let line = lines.next().unwrap();
    assert!(line.starts_with("press-1  run 3 read by hand: peak 90.00 kN by ana; flags: "), "{line}");
    watch.kill().unwrap();
    watch.wait().unwrap();

    let list = desk.json(&["rig", "list"]);
    let rig = &list["rigs"][0];
    assert_eq!((list["rigs"].as_array().unwrap().len(), &rig["link"]), (32, &json!("by-hand")));
    assert_eq!(
        (&rig["port"], &rig["tension_kN"], &rig["counters"]["runs"]),
        (&Value::Null, &Value::Null, &json!(2))
    );
    assert_eq!(rig["standing"], json!(["nominal"]));
    assert!(desk.done(&["rig", "list"]).0.contains("read by hand"));
    let said = desk.fails(1, &["rig", "zero", "press-1"]);
    assert!(
        said.contains("found a dial read by hand") && said.contains("hint: set the dial itself to zero"),
        "{said}"
    );
    let said = desk.fails(1, &["calibrate", "nominal", "x", "--rig", "press-1", "--kN-per-count", "1e-4"]);
    assert!(said.contains("expected counts to convert, found a dial read by hand"), "{said}");
    assert_eq!(desk.json(&["doctor"])["troubles"], json!([]));
    assert_eq!(desk.json(&["store", "check"])["ok"], true);
    // What is in force outlives the daemon, and so does the numbering.
    desk.stop();
    desk.serve();
    let run = desk.json(&["runs", "enter", "81", "--rig", "press-1"]);
    assert_eq!((&run["id"], &run["rig_run"], &run["setup"]), (&json!(4), &json!(3), &json!("direct")));
    desk.stop();
}

#[test]
fn without_a_daemon_a_dial_is_read_by_hand_too() {
    let desk = Desk::new(PRESS);
    desk.fill("press");
    assert_eq!(desk.json(&["rig", "list"])["rigs"][0]["link"], "by-hand");
    let said = desk.fails(1, &["rig", "zero"]);
    assert!(said.contains("found a dial read by hand"), "{said}");
    assert_eq!(desk.json(&["doctor"])["troubles"], json!([]));
}

#[test]
fn a_rig_with_an_amplifier_takes_no_reading() {
    let line = "[[rig]]\nname = \"bench\"\nport = \"/nowhere/port\"\ninstrument = \"framed\"\n";
    let desk = Desk::new(line);
    let said = desk.fails(2, &["runs", "enter", "81.5"]);
    assert!(said.contains("expected a rig whose dial is read by hand, found none"), "{said}");
    let said = desk.fails(1, &["runs", "enter", "81.5", "--rig", "bench"]);
    assert!(said.contains("found an amplifier") && said.contains("instrument = \"typed\""), "{said}");
}
