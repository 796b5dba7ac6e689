//! The first hour at a rig: a board, a cable, the real programs, and a person at a terminal.
//!
//! Boards are virtual and what they send is invented. The person is played by answers to the questions as they
//! appear on a pseudo terminal.

// Helpers of a test fail like the test itself.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::disallowed_methods)]

mod bench;
mod terminal;

use bench::{Bench, Board, wait_for};
use terminal::Terminal;

#[test]
fn a_person_at_a_terminal_adds_a_board_that_prints_lines_and_finds_its_sign() {
    let bench = Bench::new();
    let board = Board::start(bench.path("tty"), Board::LINES, true);
    let mut person = Terminal::start(bench.command(&["rig", "add"]));
    person.answer("instrument [lines]:", "");
    person.answer("to look again [again]:", bench.path("tty").to_str().unwrap());
    person.answer("another baud rate [go on]:", "");
    assert!(person.text().contains("grows by 1000000 a second: taken for a clock"), "{}", person.text());
    person.answer("pattern of a line [{tick},{value}]:", "");
    person.answer("ticks a second [1000000]:", "");
    person.answer("decimals of the reading [0]:", "");
    person.answer("lines a second, by its data sheet [", "80");
    person.answer("name [bench-1]:", "bench-2");
    person.answer("full range of the cell, kN [unknown]:", "200");
    person.answer("calibration [sheet]:", "slope");
    person.answer("kN per count:", "2,5e-5");
    // The board has 9000 counts a kN; the sign is wrong on purpose.
    person.answer("found a comma in '2,5e-5'\r\nkN per count:", "-0.000111111111");
    person.answer("name of this calibration [bench-2 data sheet]:", "");
    person.expect("Live.");
    person.answer(" counts ", "");
    // A zero needs one and a half seconds of idle after the port was opened.
    std::thread::sleep(std::time::Duration::from_secs(2));
    person.answer("take the zero now [yes]:", "");
    person.expect("zero at -3.1");
    person.answer("do it [yes]:", "");
    person.expect("Now pull:");
    board.go();
    person.expect("turn the sign round [yes]:");
    // The push is a whole tightening here: the bolt must be loose again before the rig is taken up anew. With the
    // wrong sign its release may count as a run, which is over when the person is asked to try again.
    wait_for("the release", || bench.rig("bench-2")["tension_kN"].as_f64().is_some_and(|kn| kn.abs() < 6.0));
    person.answer("", "");
    person.insist("taken up anew", "Enter tries again.");
    person.answer("take the zero now [yes]:", "no");
    person.expect("Standing: nominal; no limit set; no bolt factor; no setup");
    assert_eq!(person.end(), Some(0));
    let file = std::fs::read_to_string(bench.path("store/rigs/bench-2.toml")).unwrap();
    assert!(file.contains("# Full range, kN"), "every key is explained: {file}");
    assert!(file.contains("coefficients_kN = [0.0, 0.000111111111]"), "{file}");
    board.go();
    let mut run = serde_json::Value::Null;
    // A release on the wrong sign may stand before it.
    wait_for("a run on the turned line", || {
        run = bench.run(1);
        run["calibration"] == "bench-2 data sheet turned"
    });
    let held = run["held_kN"].as_f64().unwrap();
    assert!(held > 20.0, "tension is positive when the bolt is pulled: {run}");
}

#[test]
fn a_rig_added_by_options_is_taken_up_at_once_and_taken_away_again() {
    let mut bench = Bench::new();
    let port = bench.path("tty");
    let _board = Board::start(port.clone(), Board::FRAMED, true);
    let words = |name: &str, more: &[&str]| -> Vec<String> {
        let all = ["rig", "add", name, "--port", port.to_str().unwrap(), "--instrument", "framed"];
        all.iter().chain(more).map(|w| (*w).to_owned()).collect()
    };
    let (code, _, said) = bench.cli_raw(&words("bench-1", &["--baud", "17"]));
    assert_eq!(code, Some(2), "{said}");
    assert!(said.contains("rig 'bench-1'") && said.contains("rig.baud") && said.contains("300"), "{said}");
    let good = words("bench-1", &["--rate-hz", "2000", "--range-kN", "200", "--kN-per-count", "5e-5"]);
    let (code, _, said) = bench.cli_raw(&good);
    assert_eq!(code, Some(0), "{said}");
    wait_for("a live reading", || bench.rig("bench-1")["tension_kN"].is_number());
    assert_eq!(bench.rig("bench-1")["standing"][0], "nominal");
    for (again, why) in [(good, "of this name"), (words("bench-2", &[]), "found '")] {
        let (code, _, said) = bench.cli_raw(&again);
        assert_eq!(code, Some(1), "{said}");
        assert!(said.contains(why), "{said}");
    }
    bench.restart();
    wait_for("the rig after a restart", || bench.rig("bench-1")["tension_kN"].is_number());
    assert_eq!(bench.cli_raw(&["rig", "remove", "bench-1"].map(str::to_owned)).0, Some(0));
    assert!(bench.rig("bench-1").is_null());
    assert!(!bench.path("store/rigs/bench-1.toml").exists());
    assert_eq!(bench.cli_raw(&["rig", "remove", "bench-1"].map(str::to_owned)).0, Some(1));
}

#[test]
fn a_nominal_calibration_is_put_in_force_and_means_one_line_for_ever() {
    let mut bench = Bench::new();
    let port = bench.path("tty");
    let board = Board::start(port.clone(), Board::FRAMED, true);
    let port = port.to_str().unwrap();
    let add = ["rig", "add", "bench-1", "--port", port, "--instrument", "framed", "--rate-hz", "2000"];
    bench.cli(&add);
    wait_for("counts", || bench.rig("bench-1")["counts"].is_number());
    assert!(bench.rig("bench-1")["tension_kN"].is_null(), "no calibration, no tension");
    assert_eq!(bench.rig("bench-1")["standing"][0], "no calibration");
    // Invented figures that make 5e-5 kN a count: 200 kN / (2 mV/V x 2^23 x 5 V / (V / gain) / 1000).
    let figures = ["--rated-kN", "200", "--rated-mV-V", "2", "--excitation-V", "5", "--bits", "24"];
    let full = ["--gain", "128", "--full-scale-V", "2.68435456"];
    let nominal: Vec<&str> =
        ["calibrate", "nominal", "sheet-1"].into_iter().chain(figures).chain(full).collect();
    let told = bench.cli(&nominal);
    let slope = told["calibration"]["coefficients_kN"][1].as_f64().unwrap();
    assert!((slope / 5e-5 - 1.0).abs() < 1e-12, "{told}");
    wait_for("tension", || bench.rig("bench-1")["tension_kN"].is_number());
    let other = ["calibrate", "nominal", "sheet-1", "--kN-per-count", "6e-5"].map(str::to_owned);
    let (code, _, said) = bench.cli_raw(&other);
    assert_eq!(code, Some(1));
    assert!(said.contains("expected the line it was before") && said.contains("name of its own"), "{said}");
    bench.restart();
    wait_for("the calibration after a restart", || bench.rig("bench-1")["calibration"] == "sheet-1");
    board.go();
    wait_for("a run going on", || bench.rig("bench-1")["running"].is_number());
    let (code, _, said) = bench.cli_raw(&["rig", "zero"].map(str::to_owned));
    assert_eq!(code, Some(1), "{said}");
    assert!(said.contains("expected an idle rig"), "{said}");
    let (code, _, said) =
        bench.cli_raw(&["calibrate", "nominal", "b", "--kN-per-count", "6e-5"].map(str::to_owned));
    assert_eq!(code, Some(1), "{said}");
    assert!(said.contains("one going on"), "{said}");
    let run = bench.run(1);
    assert_eq!(
        (&run["calibration"], run["flags"].to_string().contains("nominal")),
        (&"sheet-1".into(), true)
    );
}

#[test]
fn a_dial_is_added_without_a_port_and_takes_readings_at_once() {
    let bench = Bench::new();
    let mut person = Terminal::start(bench.command(&["rig", "add"]));
    person.answer("instrument [lines]:", "dial");
    person.answer("found 'dial'\r\ninstrument [lines]:", "typed");
    person.answer("kN, N, lbf, psi, bar, MPa [kN]:", "psi");
    person.answer("force or oil-pressure:", "oil-pressure");
    person.answer("area of the piston, mm²:", "5000");
    person.answer("smallest step that you can read, psi:", "0");
    person.answer("expected more than 0\r\nsmallest step that you can read, psi:", "50");
    person.answer("name [bench-1]:", "press-1");
    person.answer("full range of the cell, kN [unknown]:", "250");
    person.expect("Standing: ");
    person.expect("boltscribe runs enter FIGURE --rig press-1");
    assert_eq!(person.end(), Some(0));
    let file = std::fs::read_to_string(bench.path("store/rigs/press-1.toml")).unwrap();
    assert!(
        file.contains("dial_psi = \"oil-pressure\"") && file.contains("piston_area_mm2 = 5000"),
        "{file}"
    );
    bench.cli(&["runs", "enter", "2000", "--rig", "press-1"]);
    // 2000 lbf/in² of 6894.757293168 Pa on 5000 mm².
    let held = bench.run(1)["held_kN"].as_f64().unwrap();
    assert!((held - 68.947_572_931_68).abs() < 1e-9, "{held}");

    // The same by options; what is missing is told.
    let add = ["rig", "add", "press-2", "--instrument", "typed", "--dial-unit", "kN"];
    let (code, _, said) = bench.cli_raw(&add.map(str::to_owned));
    assert_eq!(code, Some(2), "{said}");
    assert!(said.contains("dial_resolution"), "{said}");
    let all: Vec<String> = add.iter().chain(&["--dial-resolution", "0.5"]).map(|w| (*w).to_owned()).collect();
    assert_eq!(bench.cli_raw(&all).0, Some(0));
    assert!(bench.rig("press-2")["dial"].is_object());
}

#[test]
fn loads_are_collected_step_by_step_and_the_same_command_goes_on_after_a_break() {
    let bench = Bench::new();
    let port = bench.path("tty");
    let _board = Board::start(port.clone(), Board::LINES, true);
    let port = port.to_str().unwrap();
    bench.cli(&[
        "rig",
        "add",
        "bench-1",
        "--port",
        port,
        "--instrument",
        "lines",
        "--pattern",
        "{tick},{value}",
        "--tick-hz",
        "1000000",
        "--rate-hz",
        "80",
    ]);
    wait_for("counts", || bench.rig("bench-1")["counts"].is_number());
    let file = bench.path("cell.csv");
    let file = file.to_str().unwrap();
    let words = ["calibrate", "collect", file, "--loads-kN", "0,50"];
    let mut person = Terminal::start(bench.command(&words));
    person.expect("3 loads in 1 series");
    person.answer("it stands; the reference shows, kN [0]:", "");
    person.expect("n 20)");
    person.answer("it stands; the reference shows, kN [50]:", "50,1");
    person.answer("found a comma in '50,1'\r\nit stands; the reference shows, kN [50]:", "50.1");
    person.expect("n 20)");
    person.expect("kN [0]:");
    assert_eq!(
        bench.rig("bench-1")["in_force"]["no_tool"],
        true,
        "loads of a calibration are no tool's runs"
    );
    drop(person);
    let text = std::fs::read_to_string(file).unwrap();
    assert_eq!(text.lines().count(), 3, "each load is on disk before the next is asked for: {text}");
    assert!(text.lines().nth(2).unwrap().starts_with("1,up,50.1,"), "{text}");

    let mut person = Terminal::start(bench.command(&words));
    person.expect("it goes on with load 3");
    person.answer("it stands; the reference shows, kN [0]:", "");
    person.expect("All taken.");
    assert_eq!(person.end(), Some(0));
    let text = std::fs::read_to_string(file).unwrap();
    // The board's zero is 3.1 kN of 9000 counts, whatever is said to hang on it.
    for line in text.lines().skip(1) {
        let counts: f64 = line.split(',').nth(3).unwrap().parse().unwrap();
        assert!((counts / 9000.0 - 3.1).abs() < 0.2, "{line}");
    }
    let (code, _, said) =
        bench.cli_raw(&["calibrate", "collect", file, "--loads-kN", "0,50", "--only-up"].map(str::to_owned));
    assert_eq!(code, Some(2), "{said}");
    assert!(said.contains("line 4: expected no further line by the plan"), "{said}");
}

#[test]
fn without_a_daemon_or_a_terminal_adding_says_what_is_missing() {
    let mut bench = Bench::new();
    let (code, _, said) = bench.cli_raw(&["rig", "add", "bench-1"].map(str::to_owned));
    assert_eq!(code, Some(2));
    assert!(said.contains("--port, --instrument") && said.contains("terminal"), "{said}");
    bench.stop();
    let (code, _, said) = bench.cli_raw(&["rig", "add"].map(str::to_owned));
    assert_eq!(code, Some(1), "{said}");
    assert!(said.contains("start boltscribed"), "{said}");
}

#[test]
fn a_port_that_another_process_holds_is_told_with_the_name_of_that_process() {
    let (bench, other) = (Bench::new(), Bench::new());
    let port = bench.path("tty");
    let _board = Board::start(port.clone(), Board::FRAMED, true);
    let add = ["rig", "add", "bench-1", "--port", port.to_str().unwrap(), "--instrument", "framed"];
    bench.cli(&add);
    wait_for("counts", || bench.rig("bench-1")["counts"].is_number());
    other.cli(&add);
    wait_for("the reason", || {
        other.rig("bench-1")["link_detail"]
            .as_str()
            .is_some_and(|why| why.contains("in use by process") && why.contains("(boltscribed)"))
    });
    assert_eq!(other.rig("bench-1")["link"], "down", "a state, not an exit");
    assert!(bench.rig("bench-1")["counts"].is_number(), "the first reader goes on");
}
