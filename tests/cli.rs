//! The command line as a person or a script meets it: the real binary, its two streams, its exit codes.
//!
//! No daemon runs here: commands take the store's lock and run the API in their own process.

// Helpers of a test fail like the test itself.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use serde_json::Value;
use std::path::Path;
use std::process::{Command, Output, Stdio};

/// A folder with settings of one rig and a store beside them.
struct Desk {
    folder: tempfile::TempDir,
}

impl Desk {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let text = format!(
            "[store]\nfolder = \"{0}/store\"\n[[rig]]\nname = \"bench\"\nport = \"{0}/port\"\ninstrument = \"framed\"\n",
            folder.path().display()
        );
        std::fs::write(folder.path().join("settings.toml"), text).unwrap();
        Self { folder }
    }

    fn path(&self) -> &Path {
        self.folder.path()
    }

    fn run(&self, words: &[&str]) -> Output {
        Command::new(env!("CARGO_BIN_EXE_boltscribe"))
            .arg("--config")
            .arg(self.path().join("settings.toml"))
            .args(words)
            .env("USER", "ana")
            .env_remove("NO_COLOR")
            .stdin(Stdio::null())
            .output()
            .unwrap()
    }

    /// Runs a command that must succeed; gives its standard output.
    fn done(&self, words: &[&str]) -> String {
        let output = self.run(words);
        assert_eq!(output.status.code(), Some(0), "{words:?}: {}", err(&output));
        String::from_utf8(output.stdout).unwrap()
    }

    fn json(&self, words: &[&str]) -> Value {
        let mut all = vec!["--format", "json"];
        all.extend(words);
        serde_json::from_str(&self.done(&all)).unwrap()
    }

    /// Runs a command that must fail with this exit code and say nothing on standard output.
    fn fails(&self, code: i32, words: &[&str]) -> String {
        let output = self.run(words);
        assert_eq!(output.status.code(), Some(code), "{words:?}: {}", err(&output));
        assert!(output.stdout.is_empty(), "{words:?}: {}", String::from_utf8_lossy(&output.stdout));
        err(&output)
    }

    fn fill(&self) {
        for words in [
            &["setup", "piece", "add", "socket 30", "--kind", "socket", "--drive-in", "1/2"][..],
            &[
                "setup",
                "piece",
                "add",
                "ext",
                "--kind",
                "extension",
                "--drive-in",
                "1/2",
                "--drive-out",
                "1/2",
            ],
            &["setup", "chain", "add", "long", "ext", "socket 30"],
            &["setup", "tool", "add", "wrench", "--anvil", "1/2", "--source", "battery"],
            &["setup", "source", "add", "b3", "--kind", "battery"],
            &[
                "setup",
                "bolt",
                "add",
                "m20",
                "--thread",
                "M20x2.5",
                "--diameter-mm",
                "20",
                "--nut-factor",
                "0.16",
            ],
        ] {
            self.done(words);
        }
    }
}

fn err(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

#[test]
fn help_opens_with_examples_and_goes_to_standard_output() {
    let desk = Desk::new();
    for words in [
        &["--help"][..],
        &["setup", "--help"],
        &["setup", "bolt", "add", "--help"],
        &["runs", "tag", "--help"],
    ] {
        assert!(desk.done(words).starts_with("Examples"), "{words:?}");
    }
}

#[test]
fn wrong_usage_ends_with_2_and_a_missing_store_with_3() {
    let desk = Desk::new();
    desk.fails(2, &["no-such-verb"]);
    desk.fails(2, &["runs", "tag", "1", "--why", "x"]);
    let said = desk.fails(3, &["runs", "list"]);
    assert!(said.contains("error: cannot open the store") && said.contains("\nhint: "), "{said}");
    assert!(!desk.path().join("store").exists(), "a verb that reads makes no store");
}

#[test]
fn a_mistake_in_the_settings_is_told_with_its_place() {
    let desk = Desk::new();
    std::fs::write(desk.path().join("settings.toml"), "[daemon]\nlog = 3\n").unwrap();
    let said = desk.fails(2, &["runs", "list"]);
    assert!(said.contains("settings.toml:2:"), "{said}");
}

#[test]
fn what_is_put_on_the_shelf_comes_into_force_with_its_figures() {
    let desk = Desk::new();
    desk.fill();
    let put = desk.json(&[
        "setup",
        "use",
        "long",
        "--tool",
        "wrench",
        "--bolt",
        "m20",
        "--battery",
        "b3",
        "--fresh",
    ]);
    assert_eq!(put["reply"], "at-next-start");
    let shown = desk.json(&["setup", "show"]);
    let in_force = &shown["rigs"][0]["in_force"];
    assert_eq!(in_force["setup"], "long");
    assert_eq!(in_force["contacts"], 2);
    // T = K·d·F: factor = 1/(0.16 × 0.02 m).
    assert_eq!(in_force["bolt"]["factor_N_per_Nm"], 312.5);
    assert_eq!(in_force["source"]["fresh"], true);
    let said = err(&desk.run(&["setup", "use", "long"]));
    assert!(said.contains("no limit set") && said.contains("Stay out of its line"), "{}", said);
}

#[test]
fn pieces_that_do_not_fit_are_refused_with_the_rule_and_2() {
    let desk = Desk::new();
    desk.fill();
    let said = desk.fails(2, &["setup", "chain", "add", "bad", "socket 30", "ext"]);
    assert!(said.contains("expected a socket only as the last piece"), "{said}");
    let said = desk.fails(2, &["setup", "piece", "add", "odd", "--kind", "socket", "--drive-in", "5/7"]);
    assert!(said.contains("5/7"), "{said}");
}

#[test]
fn psi_without_a_terminal_is_an_error_that_says_what_to_type_and_is_right_when_told() {
    let desk = Desk::new();
    let bolt =
        ["setup", "bolt", "add", "b", "--thread", "M20x2.5", "--diameter-mm", "20", "--allowed", "2500 psi"];
    let said = desk.fails(2, &bolt);
    assert!(said.contains("hint: give `--psi-is force`"), "{said}");
    let mut oil = bolt.to_vec();
    oil.extend(["--psi-is", "oil", "--piston-area-in2", "4"]);
    desk.done(&oil);
    let stored = desk.json(&["setup", "list", "bolt"]);
    // 2500 lbf/in² on 4 in² are 10,000 lbf of 4.4482216152605 N.
    let allowed_kn = stored["bolts"][0]["allowed_kN"].as_f64().unwrap();
    assert!((allowed_kn - 44.482_216_152_605).abs() < 1e-9, "{allowed_kn}");
}

#[test]
fn no_run_of_that_number_is_the_answer_no() {
    let desk = Desk::new();
    desk.fill();
    desk.fails(1, &["runs", "show", "9"]);
    desk.fails(1, &["runs", "exclude", "9", "--why", "slipped"]);
    desk.fails(1, &["rig", "watch"]);
    assert_eq!(desk.json(&["runs", "list"])["runs"], serde_json::json!([]));
}

#[test]
fn csv_ends_its_lines_with_crlf_and_data_stays_apart_from_talk() {
    let desk = Desk::new();
    desk.fill();
    let text = desk.done(&["--format", "csv", "setup", "list", "piece"]);
    assert_eq!(
        text,
        "piece,kind,drive_in,drive_out,length_mm,mass_g,serial,runs,first,last\r\n\
         ext,extension,1/2 in,1/2 in,,,,0,,\r\nsocket 30,socket,1/2 in,,,,,0,,\r\n"
    );
    desk.fails(2, &["--format", "csv", "setup", "list"]);
}

#[test]
fn the_store_checks_out_and_a_damaged_copy_does_not() {
    let desk = Desk::new();
    desk.fill();
    assert_eq!(desk.json(&["store", "check"])["ok"], true);
    let copy = desk.path().join("copy.sqlite");
    std::fs::copy(desk.path().join("store/store.sqlite"), &copy).unwrap();
    let name = copy.display().to_string();
    assert_eq!(desk.json(&["--store", &name, "store", "check"])["ok"], true);
    let said =
        desk.fails(2, &["--store", &name, "setup", "tool", "add", "t", "--anvil", "1/2", "--source", "air"]);
    assert!(said.contains("read-only"), "{said}");
    let mut bytes = std::fs::read(&copy).unwrap();
    for byte in bytes.iter_mut().skip(4096).step_by(97) {
        *byte ^= 0x5a;
    }
    std::fs::write(&copy, bytes).unwrap();
    let output = desk.run(&["--store", &name, "store", "check"]);
    assert!(matches!(output.status.code(), Some(1 | 3)), "{}", err(&output));
}

#[test]
fn a_store_held_by_another_process_is_refused_and_the_process_is_named() {
    let desk = Desk::new();
    desk.fill();
    let lock = std::fs::File::options().write(true).open(desk.path().join("store/lock")).unwrap();
    lock.lock().unwrap();
    std::fs::write(desk.path().join("store/lock"), "4242\n").unwrap();
    let said = desk.fails(3, &["runs", "list"]);
    assert!(said.contains("4242"), "{said}");
}

#[test]
fn doctor_answers_without_a_daemon_and_says_no_where_there_is_no_store() {
    let desk = Desk::new();
    let output = desk.run(&["--format", "json", "doctor"]);
    assert_eq!(output.status.code(), Some(1));
    let report: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert!(report["troubles"][0].as_str().unwrap().contains("no store"), "{report}");
    assert_eq!(report["client"]["version"], env!("CARGO_PKG_VERSION"));
    desk.fill();
    let report = desk.json(&["doctor"]);
    assert_eq!(report["troubles"], serde_json::json!([]));
    assert_eq!(report["daemon"]["rigs"][0]["link"], "not-served");
}

#[test]
fn a_reader_that_goes_away_is_no_fault() {
    let desk = Desk::new();
    desk.fill();
    let mut child = Command::new(env!("CARGO_BIN_EXE_boltscribe"))
        .arg("--config")
        .arg(desk.path().join("settings.toml"))
        .args(["setup", "list"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    assert!(!err(&output).contains("panicked"), "{}", err(&output));
}
