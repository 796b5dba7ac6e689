//! What `export` writes as line protocol, put into a real server by hand, as somebody would with any file.
//!
//! The server is the parser: what it holds is compared with the store.

use crate::bench::Bench;
use crate::central::Central;

#[test]
fn an_exported_file_is_taken_by_a_server_and_holds_what_the_store_holds() {
    let mut bench = Bench::new();
    bench.start_rig(2, &[]);
    let runs = bench.runs(2);
    let file = bench.path("runs.lp");
    bench.done(&["export", "runs", "--all", "--out", file.to_str().unwrap()]);
    let central = Central::new();
    let text = std::fs::read_to_string(&file).unwrap();
    assert_eq!(text.lines().count(), 2);
    central.post("/api/v2/write?precision=ns", &text);
    assert_eq!(
        (central.metric("vm_rows_invalid_total"), central.metric("vm_rows_ignored_total")),
        (0.0, 0.0)
    );
    let mut held = central.export();
    for _ in 0..100 {
        if !held.is_empty() {
            break;
        }
        // What was taken can be asked for a moment later.
        std::thread::sleep(std::time::Duration::from_millis(100));
        held = central.export();
    }
    for run in &runs {
        let at_ms = run["utc_ns"].as_i64().unwrap() / 1_000_000;
        for figure in ["held_kN", "peak_kN", "drive_time_s", "blow_rate_hz", "plateau_kN"] {
            let wanted = format!("__name__=boltscribe_runs_{figure};");
            let found: Vec<f64> = held
                .iter()
                .filter(|((series, time), _)| series.starts_with(&wanted) && *time == at_ms)
                .map(|(_, value)| *value)
                .collect();
            let [found] = found[..] else { panic!("{figure} of run {}: {found:?}", run["id"]) };
            let stored = run[figure].as_f64().unwrap();
            // The server keeps about 12 digits.
            assert!((found / stored - 1.0).abs() < 1e-11, "{figure}: {found}, stored {stored}");
        }
    }
}
