//! What people do: the shelf, what is in force, zeros, corrections.
//!
//! Requests and answers are JSON as any client sends and gets them.

use crate::sample::{announced, begin, put, result};
use crate::support::House;
use axum::http::Method;
use boltscribe::control::Command;
use serde_json::json;

#[tokio::test]
async fn a_document_goes_on_the_shelf_comes_back_and_goes_off() {
    let house = House::new();
    house.furnish().await;
    let pieces = house.get("/api/v1/shelf/pieces").await;
    let names: Vec<&str> =
        pieces["pieces"].as_array().unwrap().iter().map(|p| p["name"].as_str().unwrap()).collect();
    assert_eq!(names, ["ext", "socket"]);
    assert_eq!(house.get("/api/v1/shelf/tools/air%20one").await["source"], "air");
    let off = json!({"who": "Ana", "why": "lost"});
    let (status, detail) = house.refused(Method::DELETE, "/api/v1/shelf/pieces/ext", Some(off.clone())).await;
    assert_eq!(status, 409);
    assert!(detail.contains("setup 'long' is made of it"), "{detail}");
    house.done(Method::DELETE, "/api/v1/shelf/setups/long", off.clone()).await;
    house.done(Method::DELETE, "/api/v1/shelf/pieces/ext", off.clone()).await;
    assert_eq!(house.refused(Method::GET, "/api/v1/shelf/pieces/ext", None).await.0, 404);
    assert_eq!(house.refused(Method::DELETE, "/api/v1/shelf/pieces/ext", Some(off)).await.0, 404);
}

#[tokio::test]
async fn a_document_that_breaks_a_rule_is_refused_in_the_rules_words() {
    let house = House::new();
    house.furnish().await;
    let cases = [
        ("pieces/p", json!({"name": "q", "kind": "socket", "drive_in": "1/2"}), "expected the same name"),
        ("pieces/p", json!({"name": "p", "kind": "socket", "drive_in": "1/2", "colour": 1}), "unknown field"),
        ("pieces/p", json!({"name": "p", "kind": "socket", "drive_in": "1/2", "length_mm": -1.0}), "-1"),
        ("setups/s", json!({"name": "s", "pieces": ["socket", "ext"]}), "a socket only as the last piece"),
        ("setups/s", json!({"name": "s", "pieces": ["none"]}), "found no piece 'none'"),
        ("bolts/b", json!({"name": "b", "thread": "M20", "diameter_mm": 0.02}), "0.02"),
    ];
    for (path, document, words) in cases {
        let body = json!({"who": "Ana", "document": document});
        let (status, detail) = house.refused(Method::PUT, &format!("/api/v1/shelf/{path}"), Some(body)).await;
        assert_eq!(status, 422, "{path}: {detail}");
        assert!(detail.contains(words), "{path}: {detail}");
    }
    let nobody = json!({"who": "", "document": {"name": "p", "kind": "socket", "drive_in": "1/2"}});
    let (status, detail) = house.refused(Method::PUT, "/api/v1/shelf/pieces/p", Some(nobody)).await;
    assert_eq!((status, detail.contains("who")), (422, true), "{detail}");
}

#[tokio::test]
async fn a_use_resolves_names_is_stored_and_is_told_to_the_rig() {
    let house = House::new();
    house.furnish().await;
    let body = json!({
        "who": "Ana", "setup": "long", "tool": "wrench", "bolt": "m20",
        "source": {"kind": "battery", "id": "b1", "rested_v": 20.1, "fresh": true},
    });
    let answer = house.done(Method::POST, "/api/v1/rigs/bench/use", body).await;
    assert_eq!(answer["reply"], "done");
    assert_eq!(answer["in_force"]["contacts"], 2);
    assert_eq!(answer["in_force"]["bolt"]["allowed_kN"], 120.0);
    // T = K d F: 1 / (0.16 × 0.02 m) = 312.5 N per N·m.
    let factor = answer["in_force"]["bolt"]["factor_N_per_Nm"].as_f64().unwrap();
    assert!((factor - 312.5).abs() < 1e-9, "{factor}");
    let told = house.rigs.told.lock().unwrap().clone();
    let [(rig, who, Command::Use { in_force })] = told.as_slice() else {
        panic!("expected one use, found {told:?}")
    };
    assert_eq!((rig.as_str(), who.as_str()), ("bench", "Ana"));
    let stored = house.store.readers().reader().unwrap().in_force("bench").unwrap().unwrap();
    assert_eq!((&stored.in_force, stored.who.as_str()), (in_force, "Ana"));

    // Another coupling only: tool and bolt stay, what was read at the battery is not carried over.
    let answer =
        house.done(Method::POST, "/api/v1/rigs/bench/use", json!({"who": "Ana", "setup": "bare"})).await;
    let now = &answer["in_force"];
    assert_eq!((now["setup"].as_str(), now["contacts"].as_i64()), (Some("bare"), Some(1)));
    assert_eq!((now["tool"].as_str(), now["bolt"]["name"].as_str()), (Some("wrench"), Some("m20")));
    assert_eq!(now["source"]["id"], "b1");
    assert!(now["source"]["rested_v"].is_null() && now["source"]["fresh"].is_null());

    // A tool that a battery does not drive: the battery is not in force any more.
    let answer =
        house.done(Method::POST, "/api/v1/rigs/bench/use", json!({"who": "Ana", "tool": "air one"})).await;
    assert!(answer["in_force"]["source"].is_null(), "{answer}");
}

#[tokio::test]
async fn a_use_that_cannot_be_is_refused_and_nothing_is_stored_or_told() {
    let house = House::new();
    house.furnish().await;
    let cases = [
        ("bench", json!({"setup": "none"}), 422, "cannot find 'none' among the setups"),
        ("bench", json!({"setup": "bare", "tool": "big"}), 422, "tool 'big' does not drive socket 'socket'"),
        ("bench", json!({"bolt": "m99"}), 422, "cannot find 'm99' among the bolts"),
        (
            "bench",
            json!({"tool": "wrench", "source": {"kind": "air", "dynamic_kPa": 600.0}}),
            422,
            "tool 'wrench' takes battery",
        ),
        (
            "bench",
            json!({"tool": "air one", "source": {"kind": "air", "dynamic_kPa": 6.0}}),
            422,
            "dynamic_kPa from 50 to 2000, found 6",
        ),
        (
            "bench",
            json!({"source": {"kind": "battery", "id": "b9"}}),
            422,
            "cannot find 'b9' among the sources",
        ),
        ("nowhere", json!({"setup": "bare"}), 404, "cannot find the rig 'nowhere': found bench, other"),
    ];
    for (rig, mut body, expected, words) in cases {
        body["who"] = "Ana".into();
        let path = format!("/api/v1/rigs/{rig}/use");
        let (status, detail) = house.refused(Method::POST, &path, Some(body)).await;
        assert_eq!(status, expected, "{detail}");
        assert!(detail.contains(words), "{detail}");
    }
    assert!(house.rigs.told.lock().unwrap().is_empty());
    let reader = house.store.readers().reader().unwrap();
    assert_eq!(reader.check().unwrap().rows["commands"], 0);
}

#[tokio::test]
async fn without_a_daemon_a_use_waits_for_the_next_start_and_a_zero_is_refused() {
    let house = House::with(false);
    house.furnish().await;
    let body = json!({"who": "Ana", "setup": "bare"});
    let answer = house.done(Method::POST, "/api/v1/rigs/bench/use", body).await;
    assert_eq!(answer["reply"], "at-next-start");
    let reader = house.store.readers().reader().unwrap();
    assert!(reader.in_force("bench").unwrap().is_some());
    let zero = json!({"who": "Ana"});
    let (status, detail) = house.refused(Method::POST, "/api/v1/rigs/bench/zero", Some(zero)).await;
    assert_eq!((status, detail.contains("expected a running daemon")), (409, true), "{detail}");
    assert_eq!(reader.check().unwrap().rows["commands"], 1);
}

#[tokio::test]
async fn a_zero_is_told_and_kept_on_record() {
    let house = House::new();
    let answer = house.done(Method::POST, "/api/v1/rigs/bench/zero", json!({"who": "Ana"})).await;
    assert_eq!((answer["reply"].as_str(), answer["zero_kN"].as_f64()), (Some("done"), Some(0.5)));
    let told = house.rigs.told.lock().unwrap().clone();
    assert_eq!(told, [("bench".to_owned(), "Ana".to_owned(), Command::Zero)]);
    assert_eq!(house.store.readers().reader().unwrap().check().unwrap().rows["commands"], 1);
}

#[tokio::test]
async fn a_correction_needs_who_and_why_and_shows_at_once() {
    let house = House::new();
    house.furnish().await;
    let stream = begin(&house.store, "bench");
    put(&house.store, "bench", vec![announced(stream, result(1))]);
    let word = json!({"who": "Ana", "why": "socket slipped"});
    let answer = house.done(Method::POST, "/api/v1/runs/1/exclude", word.clone()).await;
    assert_eq!(answer["run"]["left_out_because"], json!(["excluded by Ana: socket slipped"]));
    let answer = house.done(Method::POST, "/api/v1/runs/1/restore", word.clone()).await;
    assert_eq!(answer["run"]["excluded"], false);
    assert_eq!(house.refused(Method::POST, "/api/v1/runs/1/restore", Some(word.clone())).await.0, 409);
    assert_eq!(house.refused(Method::POST, "/api/v1/runs/7/exclude", Some(word)).await.0, 404);
    let tag = json!({"who": "Ana", "why": "forgot to tell", "setup": "long", "tool": "wrench"});
    let answer = house.done(Method::POST, "/api/v1/runs/1/tag", tag).await;
    assert_eq!(
        (answer["run"]["setup"].as_str(), answer["run"]["contacts"].as_i64()),
        (Some("long"), Some(2))
    );
    for (body, expected) in [
        (json!({"who": "Ana", "why": "w"}), 422),
        (json!({"who": "Ana", "why": "w", "setup": "none"}), 422),
        (json!({"who": "Ana", "why": " ", "setup": "long"}), 422),
        (json!({"who": "Ana", "setup": "long"}), 422),
    ] {
        let (status, detail) = house.refused(Method::POST, "/api/v1/runs/1/tag", Some(body)).await;
        assert_eq!(status, expected, "{detail}");
    }
    assert_eq!(house.get("/api/v1/runs/1").await["corrections"].as_array().unwrap().len(), 3);
}
