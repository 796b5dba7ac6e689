//! Reading: runs, traces, rigs, health.
//!
//! What is compared is the answer as a client gets it.

use crate::sample::{begin, codes, in_force, put, result, result_with, whole};
use crate::support::House;
use axum::body::Body;
use axum::http::{Method, Request};
use boltscribe::http::{LiveMessage, News};
use boltscribe::pipeline::Event;
use boltscribe::runs::RunFlag;
use boltscribe::store::RunId;
use http_body_util::BodyExt;
use std::sync::Arc;
use tower::ServiceExt;

#[tokio::test]
async fn a_run_in_a_list_has_its_figures_with_units_and_nulls_where_absent() {
    let house = House::new();
    let stream = begin(&house.store, "bench");
    put(&house.store, "bench", whole(stream, result(1), 8000));
    let list = house.get("/api/v1/runs").await;
    let run = &list["runs"][0];
    let record = result(1).record;
    assert_eq!(run["id"], 1);
    assert_eq!(run["utc"], "2026-01-01T00:00:10.000Z");
    assert_eq!((run["setup"].as_str(), run["tool"].as_str()), (Some("bare"), Some("tool A")));
    assert_eq!(run["held_kN"].as_f64(), record.held.map(|f| f.kn()));
    assert_eq!(run["peak_kN"].as_f64(), Some(record.peak.kn()));
    assert_eq!(run["first_blow_s"].as_f64(), Some(record.first_blow_s));
    assert_eq!(run["equivalent_torque_Nm"].as_f64(), result(1).torques.held.map(|t| t.get()));
    assert_eq!(run["plateau_kN"].as_f64(), record.plateau.map(|p| p.limit.kn()));
    assert_eq!(run["gates"][0]["after_s"], 1.0);
    assert_eq!(run["gates"][0]["tension_kN"].as_f64(), record.gates[0].tension.map(|f| f.kn()));
    assert!(run["gates"][1]["tension_kN"].is_null() && run["gates"][1]["torque_Nm"].is_null());
    assert_eq!(run["excluded"], false);
    assert_eq!(run["left_out_because"], serde_json::json!([]));
    assert!(list["next"].is_null());
    let whole = house.get("/api/v1/runs/1").await;
    assert_eq!(whole["held_kN"], run["held_kN"]);
    assert_eq!(whole["blow_list"].as_array().unwrap().len(), 3);
    assert_eq!(whole["closed_by"], "released");
    assert_eq!(house.refused(Method::GET, "/api/v1/runs/2", None).await.0, 404);
    assert_eq!(house.refused(Method::GET, "/api/v1/runs/x", None).await.0, 404);
}

#[tokio::test]
async fn the_cursor_leads_through_all_runs_once() {
    let house = House::new();
    let stream = begin(&house.store, "bench");
    for run_seq in 1..=25 {
        let setup = if run_seq % 2 == 0 { "long" } else { "bare" };
        let flags: &[RunFlag] = if run_seq == 4 { &[RunFlag::Short] } else { &[] };
        let result = result_with(run_seq, in_force(setup, "tool A"), flags);
        put(&house.store, "bench", vec![crate::sample::announced(stream, result)]);
    }
    for (filter, expected) in [
        ("", (1..=25).rev().collect::<Vec<i64>>()),
        ("&setup=long", (1..=12).rev().map(|n| 2 * n).collect()),
        ("&setup=long&excluded=true", vec![4]),
        ("&since=2026-01-01T00:03:50Z", vec![25, 24, 23]),
        ("&until=2026-01-01T00:00:20Z&rig=bench", vec![1]),
        ("&rig=other", vec![]),
    ] {
        let mut ids: Vec<i64> = Vec::new();
        let mut cursor = String::new();
        loop {
            let page = house.get(&format!("/api/v1/runs?limit=5{filter}{cursor}")).await;
            ids.extend(page["runs"].as_array().unwrap().iter().map(|run| run["id"].as_i64().unwrap()));
            match page["next"].as_i64() {
                Some(next) => cursor = format!("&before={next}"),
                None => break,
            }
        }
        assert_eq!(ids, expected, "{filter}");
    }
    for bad in ["limit=0", "limit=1001", "since=yesterday", "colour=red", "excluded=maybe"] {
        let (status, detail) = house.refused(Method::GET, &format!("/api/v1/runs?{bad}"), None).await;
        assert_eq!(status, 400, "{bad}: {detail}");
    }
}

#[tokio::test]
async fn a_thinned_trace_keeps_every_extreme_in_kilonewtons() {
    let house = House::new();
    let stream = begin(&house.store, "bench");
    put(&house.store, "bench", whole(stream, result(1), 8000));
    let zero = result(1).record.zero.kn();
    let kn = |code: i32| -0.1 + 1e-4 * f64::from(code) - zero;
    let all: Vec<f64> = codes(1, 8000).into_iter().map(kn).collect();
    for points in [1, 7, 100, 8000, 20_000] {
        let trace = house.get(&format!("/api/v1/runs/1/trace?points={points}")).await;
        let column = |key: &str| -> Vec<Option<f64>> {
            trace[key].as_array().unwrap().iter().map(|v| v.as_f64()).collect()
        };
        let (time, min, max) = (column("time_s"), column("min_kN"), column("max_kN"));
        let per_point = trace["samples_per_point"].as_u64().unwrap() as usize;
        assert_eq!(trace["samples"], 7998, "two of the samples are marked as missing");
        assert!(time.len() <= points && time.len() == min.len() && time.len() == max.len());
        for (index, stretch) in all.chunks(per_point).enumerate() {
            // Samples 503 and 504 are marked as missing.
            let kept: Vec<f64> = stretch
                .iter()
                .enumerate()
                .filter(|(i, _)| !(503..505).contains(&(index * per_point + i)))
                .map(|(_, kn)| *kn)
                .collect();
            let close = |found: Option<f64>, expected: Option<f64>| match (found, expected) {
                (Some(found), Some(expected)) => (found - expected).abs() < 1e-12,
                (found, expected) => found == expected,
            };
            assert!(close(min[index], kept.iter().copied().reduce(f64::min)), "{points}: {index}");
            assert!(close(max[index], kept.iter().copied().reduce(f64::max)), "{points}: {index}");
        }
        let first = time[0].unwrap();
        let expected = (20_000.0 + (per_point.min(8000) - 1) as f64 / 2.0) / 2000.0;
        assert!((first - expected).abs() < 1e-9, "{first} {expected}");
    }
    assert_eq!(house.refused(Method::GET, "/api/v1/runs/9/trace", None).await.0, 404);
    assert_eq!(house.refused(Method::GET, "/api/v1/runs/1/trace?points=0", None).await.0, 400);
}

#[tokio::test]
async fn rigs_ports_status_doctor_check_and_metrics_answer() {
    let house = House::new();
    let stream = begin(&house.store, "bench");
    put(&house.store, "bench", whole(stream, result(1), 8000));
    let rigs = house.get("/api/v1/rigs").await;
    assert_eq!(rigs["rigs"][0]["tension_kN"], 1.25);
    assert!(rigs["rigs"][1]["tension_kN"].is_null(), "a line that is down has no live value");
    assert!(rigs["rigs"][1]["counts"].is_null());
    assert_eq!(house.get("/api/v1/ports").await["ports"][0]["rig"], "bench");
    let status = house.get("/api/v1/status").await;
    assert_eq!(status["runs"], 1);
    assert!(status["writer"]["failing"].is_null());
    let doctor = house.get("/api/v1/doctor").await;
    assert_eq!(doctor["version"], env!("CARGO_PKG_VERSION"));
    assert_eq!(doctor["store"]["writable"], true);
    let check = house.get("/api/v1/store/check").await;
    assert_eq!((check["ok"].as_bool(), check["faults"].as_array().map(Vec::len)), (Some(true), Some(0)));
    let request = Request::get("/metrics").body(Body::empty()).unwrap();
    let response = house.router.clone().oneshot(request).await.unwrap();
    let text = response.into_body().collect().await.unwrap().to_bytes();
    let text = String::from_utf8(text.to_vec()).unwrap();
    assert!(text.contains("\nboltscribe_runs 1\n"), "{text}");
    assert!(text.contains("\nboltscribe_rig_bytes_total{rig=\"bench\"} 77\n"), "{text}");
    for line in text.lines() {
        let words = line.rsplit_once(' ').unwrap();
        assert!(line.starts_with("# ") || words.1.parse::<u64>().is_ok(), "{line}");
    }
}

#[tokio::test]
async fn what_is_not_there_is_a_problem_and_a_wrong_method_too() {
    let house = House::new();
    assert_eq!(house.refused(Method::GET, "/api/v1/nothing", None).await.0, 404);
    assert_eq!(house.refused(Method::GET, "/api/v1/shelf/hammers", None).await.0, 404);
    assert_eq!(house.refused(Method::DELETE, "/api/v1/runs", None).await.0, 405);
    assert_eq!(house.refused(Method::GET, "/api/v1/rigs/bench/zero", None).await.0, 405);
}

#[tokio::test]
async fn readings_of_other_rigs_are_left_out_of_a_feed_that_names_its_rig() {
    let house = House::new();
    let request = Request::get("/api/v1/events?live=bench").body(Body::empty()).unwrap();
    let mut body = house.router.clone().oneshot(request).await.unwrap().into_body();
    let say = |rig: &str, event| {
        let message = LiveMessage { rig: rig.into(), utc_ns: 7, news: News::Event(event) };
        house.rigs.news.send(Arc::new(message)).unwrap();
    };
    say("other", Event::Blow { run_seq: 1, at_s: 1.0 });
    say("other", Event::Stale { stale: true });
    say("bench", Event::Blow { run_seq: 2, at_s: 2.0 });
    let mut text = String::new();
    while !text.contains("\"run_seq\":2") {
        text.push_str(
            std::str::from_utf8(&body.frame().await.unwrap().unwrap().into_data().unwrap()).unwrap(),
        );
    }
    assert!(text.contains("\"stale\":true") && !text.contains("\"run_seq\":1"), "{text}");
}

#[tokio::test]
async fn a_correction_reaches_everybody_who_listens() {
    let house = House::new();
    let stream = begin(&house.store, "bench");
    put(&house.store, "bench", whole(stream, result(1), 8000));
    let mut news = house.rigs.news.subscribe();
    let word = serde_json::json!({ "who": "ana", "why": "slipped" });
    let (status, _) = house.ask(Method::POST, "/api/v1/runs/1/exclude", Some(word)).await;
    assert_eq!(status, 200);
    let told = news.recv().await.unwrap();
    assert_eq!((told.rig.as_str(), &told.news), ("bench", &News::Changed { id: RunId(1) }));
}

#[tokio::test]
async fn the_page_is_given_out_at_the_root_and_what_it_needs_is_told() {
    let house = House::new();
    let request = Request::get("/").body(Body::empty()).unwrap();
    let response = house.router.clone().oneshot(request).await.unwrap();
    assert_eq!(
        (response.status().as_u16(), &response.headers()["cache-control"]),
        (200, &"no-cache".parse().unwrap())
    );
    assert!(house.get("/api/v1/status").await["page_built"].is_boolean());
    assert_eq!(house.get("/api/v1/rigs").await["rigs"][0]["gates_s"], serde_json::json!([3.0]));
}

#[tokio::test]
async fn the_manual_is_given_out_with_its_own_style_and_every_chapter() {
    let house = House::new();
    let mut paths =
        vec!["/manual/".to_owned(), "/manual/all.html".to_owned(), "/manual/manual.css".to_owned()];
    let list = house.text("/manual/").await;
    let chapters: Vec<&str> =
        list.split("href=\"").skip(1).filter_map(|rest| rest.split('"').next()).collect();
    assert!(chapters.len() > 15, "{chapters:?}");
    paths
        .extend(chapters.iter().filter(|path| path.ends_with(".html")).map(|path| format!("/manual/{path}")));
    for path in paths {
        let request = Request::get(&path).body(Body::empty()).unwrap();
        let answer = house.router.clone().oneshot(request).await.unwrap();
        assert_eq!(answer.status(), 200, "{path}");
        let kind =
            if path.ends_with(".css") { "text/css; charset=utf-8" } else { "text/html; charset=utf-8" };
        assert_eq!(answer.headers()["content-type"], kind, "{path}");
    }
    let trial = house.text("/manual/trial.html").await;
    assert!(trial.contains("<h1 id=\"trial\">") && !trial.contains(".md\""), "{trial}");
}

#[tokio::test]
async fn the_feed_gives_news_as_they_come_and_says_what_it_skipped() {
    let house = House::new();
    let request = Request::get("/api/v1/events").body(Body::empty()).unwrap();
    let response = house.router.clone().oneshot(request).await.unwrap();
    assert_eq!(response.headers()["content-type"], "text/event-stream");
    let mut body = response.into_body();
    let say = |run_seq| {
        let event = Event::Blow { run_seq, at_s: 1.5 };
        let message = LiveMessage { rig: "bench".into(), utc_ns: 7, news: News::Event(event) };
        house.rigs.news.send(Arc::new(message)).unwrap();
    };
    say(1);
    let mut text = String::new();
    while !text.contains("data: ") {
        text.push_str(
            std::str::from_utf8(&body.frame().await.unwrap().unwrap().into_data().unwrap()).unwrap(),
        );
    }
    let data = text.split("data: ").nth(1).unwrap().trim_end();
    let message: serde_json::Value = serde_json::from_str(data).unwrap();
    assert_eq!((message["rig"].as_str(), message["event"].as_str()), (Some("bench"), Some("blow")));
    assert_eq!(message["run_seq"], 1);
    // The channel holds 16: a reader that sleeps misses the oldest and is told how many.
    for run_seq in 2..=40 {
        say(run_seq);
    }
    let mut text = String::new();
    while !text.contains("\"run_seq\":40") {
        text.push_str(
            std::str::from_utf8(&body.frame().await.unwrap().unwrap().into_data().unwrap()).unwrap(),
        );
    }
    assert!(text.contains(": skipped 23\n\n"), "{text}");
}
