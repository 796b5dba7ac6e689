//! Reports of trials, charts of tools and limits of classes, through the real command line.
//!
//! All figures are invented.

use super::desk::Desk;
use super::{DIAL, dial, filled, plan, step};

/// Walks the trial to its end.
fn walk(desk: &Desk) {
    while desk.json(&["trial", "next"])["standing"] != "done" {
        step(desk);
    }
}

#[test]
fn a_trial_becomes_one_page_that_says_who_and_for_whom() {
    let desk = dial();
    desk.json(&plan(&["--repeats", "3"]));
    step(&desk);
    let early = desk.done(&["report", "couplings"]).0;
    assert!(
        early.contains("The trial is not finished") && early.contains("There is no comparison"),
        "{early}"
    );
    // Looked at while runs are still to come: no risk counts that.
    while !desk.done(&["report", "couplings"]).0.contains("(Dunnett)") {
        step(&desk);
    }
    let looked = desk.done(&["report", "couplings"]).0;
    assert!(looked.contains("how often one is wrong is not promised"), "{looked}");
    walk(&desk);
    let file = desk.path().join("couplings.html");
    let words = [
        "report",
        "couplings",
        "--out",
        file.to_str().unwrap(),
        "--customer",
        "depot <b> & co",
        "--laboratory",
        "a bench",
    ];
    desk.done(&words);
    let text = std::fs::read_to_string(&file).unwrap();
    for part in [
        "depot &lt;b&gt; &amp; co",
        "a bench",
        "Statement of conformity",
        "None was asked for",
        "socket 30",
        "long + socket 30",
    ] {
        assert!(text.contains(part), "{part}");
    }
    assert!(!text.contains("http") && !text.contains("<script"));
    // The percents are those of the comparison, and so is what is promised of it.
    let found = desk.json(&["compare", "couplings"]);
    let promised = found["arrangement"]["risk_holds"] == true;
    assert_eq!(text.contains("that is the risk of a wrong one"), promised, "{}", found["arrangement"]);
    for row in found["setups"].as_array().unwrap() {
        let percent = format!("{:.2}", row["percent_of_baseline"].as_f64().unwrap());
        assert!(text.contains(&format!("<td>{percent}</td>")), "{percent}");
    }
    // A file that is there is not replaced unasked, and a stranger is told apart.
    assert!(desk.fails(1, &words).contains("couplings.html"));
    desk.done(&[&words[..], &["--force"]].concat());
    assert!(desk.fails(1, &["report", "nothing"]).contains("cannot find the trial 'nothing'"));
    let long = "x".repeat(65);
    assert!(desk.fails(2, &["report", "couplings", "--customer", &long]).contains("customer"));
    let pounds = desk.done(&["--units", "lbf", "report", "couplings"]).0;
    assert!(pounds.contains("tension lbf") && !pounds.contains("tension kN"));
}

#[test]
fn a_class_has_its_limit_in_the_settings() {
    let limit = "[[limit]]\nclass = \"depot 1/2\"\nsetup = \"direct\"\nmeasure = \"held\"\nleast_kN = 70\n";
    let desk = Desk::new(&format!("{limit}{DIAL}"));
    filled(&desk);
    for (name, class) in [("new", "depot 1/2"), ("odd", "other")] {
        desk.done(&["setup", "tool", "add", name, "--anvil", "1/2", "--source", "mains", "--class", class]);
        desk.done(&["setup", "use", "direct", "--tool", name]);
        for figure in ["80.1", "80.3", "79.9"] {
            desk.done(&["runs", "enter", figure]);
        }
    }
    // A dial without a calibration against a reference cannot be held against an absolute limit, which is told.
    let told = desk.fails(1, &["accept", "new", "--runs", "3"]);
    assert!(told.contains("cannot judge against an absolute limit"), "{told}");
    let told = desk.fails(2, &["accept", "odd", "--runs", "3"]);
    assert!(told.contains("its class is 'other'") && told.contains("found none"), "{told}");
    let told = desk.fails(2, &["accept", "new", "--runs", "3", "--measure", "peak"]);
    assert!(told.contains("measure: expected held, by which the limit of the class 'depot 1/2'"), "{told}");
}

#[test]
fn a_history_is_drawn_into_a_file_that_stands_alone() {
    let desk = dial();
    desk.json(&plan(&["--repeats", "3"]));
    walk(&desk);
    let file = desk.path().join("wrench.svg");
    let words = ["history", "wrench", "--setup", "ext", "--measure", "held", "--svg", file.to_str().unwrap()];
    let shown = desk.json(&words);
    let text = std::fs::read_to_string(&file).unwrap();
    let runs = shown["runs"].as_u64().unwrap() as usize;
    // Each run once above, each range once below.
    assert_eq!(text.matches("<circle").count(), runs + runs - 1, "{text}");
    assert!(text.starts_with("<svg xmlns=") && text.contains("wrench, ext, held"));
    assert!(desk.fails(1, &words).contains("wrench.svg"));
}

fn page(desk: &Desk) -> String {
    desk.done(&["report", "couplings"]).0
}

/// Another chain under the name of one that was used.
fn give_ext_a_joint(desk: &Desk) {
    desk.done(&[
        "setup",
        "piece",
        "add",
        "joint",
        "--kind",
        "universal-joint",
        "--drive-in",
        "1/2",
        "--drive-out",
        "1/2",
    ]);
    desk.done(&["setup", "chain", "add", "ext", "joint", "long", "socket 30"]);
}

#[test]
fn a_shelf_that_changes_afterwards_changes_no_trial_that_was_walked() {
    let desk = dial();
    desk.json(&plan(&["--repeats", "3"]));
    walk(&desk);
    let pieces = ["compare", "couplings", "--by", "piece"];
    let before = (page(&desk), desk.json(&pieces), desk.json(&["compare", "couplings"]));
    assert!(before.0.contains("long + socket 30"));
    // Another chain under the name, another tool under the name, and a bolt with another factor; then all are removed.
    give_ext_a_joint(&desk);
    desk.done(&["setup", "tool", "add", "wrench", "--anvil", "1/2", "--source", "air", "--class", "other"]);
    assert_eq!((page(&desk), desk.json(&pieces), desk.json(&["compare", "couplings"])), before);
    for kind_and_name in [["chain", "ext"], ["chain", "direct"], ["tool", "wrench"]] {
        desk.done(&[&["setup", "remove"], &kind_and_name[..], &["--why", "scrapped"]].concat());
    }
    assert_eq!((page(&desk), desk.json(&pieces), desk.json(&["compare", "couplings"])), before);
}

#[test]
fn a_setup_that_was_changed_within_a_trial_is_not_pooled_with_itself() {
    let desk = dial();
    desk.json(&plan(&["--repeats", "3"]));
    let of_ext = |desk: &Desk| {
        let shown = desk.json(&["trial", "show", "couplings"]);
        let all = shown["steps"].as_array().unwrap().clone();
        all.into_iter().filter(|step| step["setup"] == "ext" && !step["run"].is_null()).count()
    };
    while of_ext(&desk) < 2 {
        step(&desk);
    }
    give_ext_a_joint(&desk);
    walk(&desk);
    assert_eq!(of_ext(&desk), 3);
    let found = desk.json(&["compare", "couplings"]);
    let ext = found["setups"].as_array().unwrap().iter().find(|row| row["setup"] == "ext").unwrap().clone();
    assert_eq!(ext["runs"], 2, "{found}");
    let excluded = found["excluded"].as_array().unwrap();
    assert!(
        excluded.iter().any(|run| run["why"]
            == "setup 'ext' was [joint + long + socket 30] then, and [long + socket 30] for other runs of the trial"),
        "{excluded:?}"
    );
    // Said to have been the new chain all along: then all of them count as that.
    for run in desk.json(&["runs", "list", "--all"])["runs"].as_array().unwrap() {
        if run["setup"] == "ext" {
            desk.done(&[
                "runs",
                "tag",
                &run["id"].to_string(),
                "--setup",
                "ext",
                "--why",
                "joint was on from the start",
            ]);
        }
    }
    let found = desk.json(&["compare", "couplings"]);
    let ext = found["setups"].as_array().unwrap().iter().find(|row| row["setup"] == "ext").unwrap().clone();
    assert_eq!(ext["runs"], 3, "{found}");
    assert!(page(&desk).contains("joint + long + socket 30"));
}
