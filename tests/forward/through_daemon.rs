//! The real daemon with a virtual rig: results reach a server in the end, and measuring does not notice whether
//! it is there.
//!
//! The token is seen by the server and by nobody else.

use crate::bench::{Bench, wait_for};
use crate::scripted::Scripted;
use std::net::TcpListener;
use std::os::unix::fs::PermissionsExt;

#[test]
fn results_are_measured_without_a_server_and_reach_it_when_it_is_there() {
    let address = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
    let token = tempfile::NamedTempFile::new().unwrap();
    std::fs::write(token.path(), "secret-word-7\n").unwrap();
    std::fs::set_permissions(token.path(), std::fs::Permissions::from_mode(0o600)).unwrap();
    let (url, token) = (format!("http://{address}"), token.path().display().to_string());
    let mut bench = Bench::with(&[
        ("BOLTSCRIBE__FORWARD__URL", &url),
        ("BOLTSCRIBE__FORWARD__TOKEN_FILE", &token),
        ("BOLTSCRIBE__FORWARD__HEALTH_S", "1"),
        ("BOLTSCRIBE__FORWARD__SETTLE_S", "1"),
    ]);
    bench.start_rig(3, &[]);
    let runs = bench.runs(3);
    for (run, truth) in runs.iter().zip(&bench.truth(3)) {
        let (held, held_true) = (run["held_kN"].as_f64().unwrap(), truth["held_kN"].as_f64().unwrap());
        assert!((held / held_true - 1.0).abs() < 0.002, "held {held} kN, played {held_true} kN");
    }
    assert_eq!(bench.rig()["counters"]["samples_missing"], 0);
    wait_for("all closings", || bench.cli(&["forward", "status"])["outbox"]["waiting"].as_u64() >= Some(6));
    let status = bench.cli(&["forward", "status"]);
    assert_eq!(
        (&status["outbox"]["forwarding"], &status["server"]["condition"]),
        (&true.into(), &"retrying".into())
    );
    assert!(status["server"]["trouble"].as_str().unwrap().to_lowercase().contains("refused"), "{status}");
    let doctor = bench.cli(&["doctor"]);
    let troubles = doctor["troubles"].to_string();
    assert!(troubles.contains("forwarding: retrying"), "{troubles}");

    let server = Scripted::at(address, &[]);
    wait_for("all runs at the server", || {
        assert_eq!(bench.cli(&["forward", "retry"])["woken"], true);
        server
            .taken()
            .iter()
            .filter(|(key, fields)| key.starts_with("boltscribe_run,") && fields.contains_key("closed_s"))
            .count()
            == 3
    });
    let taken = server.taken();
    for run in &runs {
        let id = format!("{}i", run["id"]);
        let (key, fields) =
            taken.iter().find(|(key, f)| key.starts_with("boltscribe_run,") && f["run"] == id).unwrap();
        assert!(key.starts_with("boltscribe_run,rig=bench,setup=direct "), "{key}");
        assert!(key.ends_with(&format!(" {}", run["utc_ns"])), "{key} {run}");
        for figure in ["held_kN", "peak_kN", "drive_time_s", "blow_rate_hz"] {
            let sent: f64 = fields[figure].parse().unwrap();
            assert_eq!(Some(sent), run[figure].as_f64(), "{figure}");
        }
        assert_eq!((fields["simulated"].as_str(), fields["counts"].as_str()), ("1i", "1i"));
    }
    wait_for("health", || server.taken().keys().any(|key| key.starts_with("boltscribe_rig,rig=bench ")));
    let heads = server.inner.requests.lock().unwrap().clone();
    assert!(heads.iter().all(|head| head.contains("authorization: token secret-word-7")), "{heads:?}");
    assert!(
        heads[0].starts_with("post /api/v2/write?bucket=boltscribe&org=boltscribe&precision=ns "),
        "{heads:?}"
    );

    nobody_else_sees_the_token(&bench);
    wait_for("the last rows to be safe", || {
        bench.cli(&["forward", "status"])["outbox"]["delivered"].as_u64() >= Some(6)
    });
    assert_eq!(bench.stop_daemon(), Some(0));
    assert_eq!(bench.cli(&["store", "check"])["ok"], true);
}

fn nobody_else_sees_the_token(bench: &Bench) {
    let command_line = std::fs::read_to_string(format!("/proc/{}/cmdline", bench.pid())).unwrap();
    let variables = std::fs::read_to_string(format!("/proc/{}/environ", bench.pid())).unwrap();
    let doctor = bench.cli(&["doctor"]).to_string();
    let status = bench.cli(&["forward", "status"]).to_string();
    for shown in [command_line, variables, doctor, status] {
        assert!(!shown.contains("secret-word"), "{shown}");
    }
}

#[test]
fn settings_to_forward_that_cannot_be_used_are_refused_before_the_store_is_touched() {
    let folder = tempfile::tempdir().unwrap();
    let (store, token) = (folder.path().join("store"), folder.path().join("token"));
    std::fs::write(&token, "secret-word-7\n").unwrap();
    std::fs::set_permissions(&token, std::fs::Permissions::from_mode(0o644)).unwrap();
    let file = folder.path().join("settings.toml");
    for (keys, expected) in [
        (format!("token_file = \"{}\"", token.display()), "found 0644"),
        ("token_file = \"/no/such/file\"".into(), "/no/such/file"),
        (format!("ca_file = \"{}\"", token.display()), "cannot read the certificates"),
    ] {
        let text = format!(
            "[store]\nfolder = \"{}\"\n[forward]\nurl = \"http://127.0.0.1:1\"\n{keys}\n",
            store.display()
        );
        std::fs::write(&file, text).unwrap();
        let daemon = env!("CARGO_BIN_EXE_boltscribed");
        let output = std::process::Command::new(daemon).arg("--config").arg(&file).output().unwrap();
        let told = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{told}");
        assert!(told.contains(expected) && !told.contains("secret-word"), "{told}");
        assert!(!store.exists(), "{told}");
    }
}
