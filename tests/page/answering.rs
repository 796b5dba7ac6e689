//! What is answered, against what the document at `/api/v1/openapi.json` says of it.
//!
//! Each answer of the whole interface is asked for once in one house and held to its schema by `support`; an answer
//! that is described and not given here is named. All figures are invented.

use crate::held::Kind;
use crate::sample::{T0_NS, begin, in_force, put, result_with, whole};
use crate::support::{House, answers};
use axum::body::Body;
use axum::http::{Method, Request};
use boltscribe::http::access::{Access, Kept, Role};
use boltscribe::http::guard::{Guard, guarded};
use boltscribe::store::{OutboxWrite, PruneWrite, RunId, StreamId, Write, Written};
use http_body_util::BodyExt;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::sync::Arc;
use tower::ServiceExt;

/// Calibrations come first: runs remember theirs by its name.
async fn calibrations(house: &House) {
    let load = |at: u32| {
        let counts = 20_000.0 * f64::from(at);
        let ripple = [0.001, -0.001, 0.0005, -0.0004, 0.0002][at as usize % 5];
        json!({"series": "one", "up": true, "reference_kN": counts * 1e-4 + ripple, "counts": counts,
               "position_deg": 0.0})
    };
    let taken = json!({
        "name": "cell-1", "degree": 1, "loads": (1..=50).map(load).collect::<Vec<_>>(),
        "reference": {"standard": "proving ring 7", "certificate": "c-1", "uncertainty_percent": 0.1,
                      "valid_until": "2027-01-31"},
        "performed_on": "2025-12-30", "performed_by": "Ana", "valid_until": "2026-12-30",
    });
    let body = json!({"who": "Ana", "calibration": taken});
    house.created("/api/v1/calibrations", body).await;
    house.get("/api/v1/calibrations").await;
    house.get("/api/v1/calibrations/cell-1").await;
    let line = json!({"id": "sheet", "coefficients_kN": [0.0, 1e-4], "nominal": true, "range_kN": null});
    let body = json!({"who": "Ana", "calibration": line});
    house.done(Method::POST, "/api/v1/rigs/bench/calibrate", body).await;
}

async fn shelf(house: &House) {
    house.furnish().await;
    let bolt = json!({
        "name": "M20", "thread": "M20x2.5", "diameter_mm": 20.0, "allowed_kN": 150.0, "due_after": 100,
        "factor": {"given": "measured", "factor_N_per_Nm": 312.5, "sd_N_per_Nm": 2.0, "tightenings": 5,
                   "wrench_uncertainty_percent": 1.0},
    });
    house.done(Method::PUT, "/api/v1/shelf/bolts/M20", json!({"who": "Ana", "document": bolt})).await;
    let spare = json!({"name": "spare", "kind": "battery", "serial": "17"});
    house.done(Method::PUT, "/api/v1/shelf/sources/spare", json!({"who": "Ana", "document": spare})).await;
    house.done(Method::DELETE, "/api/v1/shelf/sources/spare", json!({"who": "Ana", "why": "worn out"})).await;
}

async fn looked_at_on_the_shelf(house: &House) {
    for (kind, name) in
        [("pieces", "ext"), ("setups", "long"), ("tools", "wrench"), ("sources", "b1"), ("bolts", "M20")]
    {
        house.get(&format!("/api/v1/shelf/{kind}")).await;
        house.get(&format!("/api/v1/shelf/{kind}?uses=true")).await;
        house.get(&format!("/api/v1/shelf/{kind}/{name}")).await;
    }
}

fn run(house: &House, stream: StreamId, run_seq: u32, setup: &str, tool: &str) {
    put(&house.store, "bench", whole(stream, result_with(run_seq, in_force(setup, tool), &[]), 8000));
}

/// Runs from samples: shown, corrected, measured again, pruned.
async fn runs(house: &House, stream: StreamId) {
    for run_seq in 1..=4 {
        run(house, stream, run_seq, "bare", "wrench");
    }
    for run_seq in 5..=7 {
        run(house, stream, run_seq, "bare", "old one");
    }
    house.get("/api/v1/runs").await;
    house.get("/api/v1/runs?limit=2").await;
    house.get("/api/v1/runs/1/trace?points=10").await;
    let word = json!({"who": "Ana", "why": "slipped"});
    house.done(Method::POST, "/api/v1/runs/4/exclude", word.clone()).await;
    house.done(Method::POST, "/api/v1/runs/4/restore", word.clone()).await;
    house.done(Method::POST, "/api/v1/runs/4/tag", json!({"who": "Ana", "why": "w", "setup": "bare"})).await;
    for dry_run in [true, false] {
        let body = json!({"who": "Ana", "why": "again", "runs": [1, 99], "dry_run": dry_run});
        house.done(Method::POST, "/api/v1/runs/recompute", body).await;
    }
    let begin = PruneWrite::Begin {
        utc_ns: T0_NS,
        who: "Ana".into(),
        why: "room".into(),
        before_utc_ns: T0_NS + 1_000_000_000_000,
    };
    let Written::Pruning(pruning) = put(&house.store, "", vec![Write::Prune(begin)])[0] else { panic!() };
    put(&house.store, "", vec![Write::Prune(PruneWrite::Runs { pruning, runs: vec![RunId(2)] })]);
    for id in [1, 2, 4] {
        house.get(&format!("/api/v1/runs/{id}")).await;
    }
    let shown = house.get("/api/v1/runs/2").await;
    assert!(shown["samples_pruned"].is_object(), "{shown}");
}

async fn judged(house: &House) {
    let budget = "/api/v1/budget?measure=held&monte_carlo=100&runs=1,2";
    let alone = house.get(budget).await;
    assert!(alone["torque"].is_object() && alone["ratio"].is_null(), "{alone}");
    let ratio = house.get(&format!("{budget}&against=5,6")).await;
    assert!(ratio["ratio"]["cancels"].is_array(), "{ratio}");
    for asked in ["limit_kN=70", "limit_Nm=200&upper=true", "reference=old%20one&percent=95", "runs=3"] {
        house.get(&format!("/api/v1/tools/wrench/acceptance?measure=held&{asked}")).await;
    }
    house.get("/api/v1/limits").await;
    house.get("/api/v1/tools/wrench/history?measure=held&least_kN=70").await;
    house.get("/api/v1/tools/wrench/history?measure=held").await;
}

fn plan(name: &str, rig: &str, measure: &str) -> Value {
    json!({"name": name, "rig": rig, "tools": ["wrench"], "baseline": "bare", "setups": ["long"],
           "repeats": 4, "seed": 7, "baseline_every": 2, "measure": measure})
}

async fn said(house: &House, trial: &str, say: Value) {
    let path = format!("/api/v1/trials/{trial}/say");
    house.done(Method::POST, &path, json!({"who": "Ana", "say": say})).await;
}

/// A trial at a dial, walked to its end.
async fn trial_by_hand(house: &House) {
    let plan = plan("dialled", "press", "held");
    house
        .done(Method::POST, "/api/v1/trials", json!({"who": "Ana", "plan": plan.clone(), "dry_run": true}))
        .await;
    house.created("/api/v1/trials", json!({"who": "Ana", "plan": plan})).await;
    let path = "/api/v1/trials/dialled";
    house.done(Method::POST, &format!("{path}/ready"), json!({"who": "Ana"})).await;
    said(house, "dialled", json!({"entry": "repeat", "go": 1, "why": "not yet"})).await;
    said(house, "dialled", json!({"entry": "abort", "why": "lunch"})).await;
    said(house, "dialled", json!({"entry": "resume"})).await;
    said(house, "dialled", json!({"entry": "warm", "why": "it is"})).await;
    said(house, "dialled", json!({"entry": "skip", "number": 2, "why": "broken"})).await;
    for at in 0..20 {
        house.is_later(2 + at);
        let next = house.get(path).await["next"].clone();
        if next.is_null() {
            break;
        }
        house.done(Method::POST, &format!("{path}/ready"), json!({"who": "Ana", "go": next["go"]})).await;
        let level = if next["setup"] == "bare" { 80.0 } else { 76.0 };
        let reading = level + [0.2, -0.1, 0.1, -0.3, 0.0][at as usize % 5];
        let body = json!({"who": "Ana", "reading": format!("{reading:.1}")});
        house.created("/api/v1/rigs/press/readings", body).await;
    }
    assert_eq!(house.get(path).await["standing"], "done");
    house.get(&format!("{path}/readings")).await;
    let compared = house.get(&format!("{path}/comparison?difference=2")).await;
    assert!(compared["setups"][1]["verdict"].is_string(), "{compared}");
    let pieces = house.get(&format!("{path}/comparison?by=piece&predict=ext%2Bext%2Bsocket")).await;
    assert!(pieces["prediction"].is_object(), "{pieces}");
    let by_hand = house.get("/api/v1/runs?rig=press&limit=1").await["runs"][0]["id"].clone();
    house.get(&format!("/api/v1/runs/{by_hand}")).await;
}

/// A trial from samples with a warm-up, by the gate: the plateau stands beside it.
async fn trial_by_gate(house: &House, stream: StreamId) {
    let mut plan = plan("gated", "bench", "gate");
    plan["warm_up"] = true.into();
    house.created("/api/v1/trials", json!({"who": "Ana", "plan": plan})).await;
    for run_seq in 20..25 {
        // Just before its first blow.
        house.is_later(10 * i64::from(run_seq) - 1);
        if run_seq == 22 {
            said(house, "gated", json!({"entry": "warm", "why": "it is"})).await;
        }
        house.done(Method::POST, "/api/v1/trials/gated/ready", json!({"who": "Ana"})).await;
        let tags = house.store.readers().reader().unwrap().in_force("bench").unwrap().unwrap().in_force;
        put(&house.store, "bench", whole(stream, result_with(run_seq, tags, &[]), 8000));
    }
    assert!(house.get("/api/v1/trials/gated").await["warm_up"].is_object());
    house.get("/api/v1/trials").await;
    let compared = house.get("/api/v1/trials/gated/comparison").await;
    assert_eq!(compared["beside"]["measure"], "plateau", "{compared}");
    house.get("/api/v1/trials/gated/comparison?measure=gate").await;
}

async fn rigs(house: &House) {
    for path in ["rigs", "ports", "page/address", "session", "status", "doctor"] {
        house.get(&format!("/api/v1/{path}")).await;
    }
    let body = json!({"who": "Ana", "setup": "bare", "tool": "wrench", "bolt": "M20",
                      "source": {"kind": "battery", "id": "b1", "rested_v": 20.1, "fresh": true}});
    house.done(Method::POST, "/api/v1/rigs/bench/use", body).await;
    house.done(Method::POST, "/api/v1/rigs/bench/zero", json!({"who": "Ana"})).await;
    house.created("/api/v1/rigs", json!({"who": "Ana", "rig": {"name": "new"}})).await;
    house.done(Method::PUT, "/api/v1/rigs/bench", json!({"who": "Ana", "rig": {"name": "bench"}})).await;
    house.done(Method::DELETE, "/api/v1/rigs/bench", json!({"who": "Ana"})).await;
    house.done(Method::POST, "/api/v1/ports/hear", json!({"port": "/dev/ttyACM7"})).await;
}

async fn store(house: &House) {
    house.get("/api/v1/store/check").await;
    house.done(Method::POST, "/api/v1/store/check", json!({"who": "Ana"})).await;
    let report = house.done(Method::POST, "/api/v1/store/verify", json!({"who": "Ana"})).await;
    assert_eq!(report["ok"], true, "{report}");
    for dry_run in [true, false] {
        let before = T0_NS - 2 * boltscribe::http::upkeep::RECENT_NS;
        let body = json!({"who": "Ana", "why": "room", "before_utc_ns": before, "dry_run": dry_run});
        house.done(Method::POST, "/api/v1/store/prune", body).await;
    }
    house.get("/api/v1/doctor").await;
}

async fn forwarding(house: &House) {
    house.get("/api/v1/forward").await;
    put(&house.store, "", vec![Write::Outbox(OutboxWrite::Forwarding(true))]);
    house.done(Method::POST, "/api/v1/forward/retry", json!({"first_run": 2})).await;
    let refused = OutboxWrite::Quarantine { id: 1, reason: "too old".into() };
    put(&house.store, "", vec![Write::Outbox(refused)]);
    let rows = house.get("/api/v1/forward/quarantine").await;
    assert_eq!(rows["rows"].as_array().map(Vec::len), Some(1));
}

/// Where tokens are asked for, a browser comes in and goes out.
async fn session(house: &House) {
    let file = tempfile::NamedTempFile::new().unwrap();
    std::fs::write(file.path(), Kept::of("desk", Role::View, "open").line()).unwrap();
    let access = Some(Arc::new(Access::open(file.path(), Arc::new(|| T0_NS)).unwrap()));
    let router = guarded(house.router.clone(), Guard { port: 7483, open: true, host: None, access });
    for (method, body) in [(Method::POST, json!({"token": "open"})), (Method::DELETE, json!({}))] {
        let request = Request::builder().method(method.clone()).uri("/api/v1/session");
        let request = request.header("host", "192.0.2.7:7483").header("content-type", "application/json");
        let request = request.header("cookie", "boltscribe=open").body(Body::from(body.to_string()));
        let response = router.clone().oneshot(request.unwrap()).await.unwrap();
        let status = response.status();
        let bytes = response.into_body().collect().await.unwrap().to_bytes();
        let answer: Value = serde_json::from_slice(&bytes).unwrap();
        assert_eq!(status, 200, "{method}: {answer}");
        let kind = answers().await.hold(&method, "/api/v1/session", status, &answer);
        house.held.lock().unwrap().extend(kind);
    }
}

#[tokio::test]
async fn every_answer_whose_members_are_described_is_given_as_described() {
    let house = House::new();
    calibrations(&house).await;
    shelf(&house).await;
    let stream = begin(&house.store, "bench");
    runs(&house, stream).await;
    judged(&house).await;
    trial_by_hand(&house).await;
    trial_by_gate(&house, stream).await;
    rigs(&house).await;
    looked_at_on_the_shelf(&house).await;
    store(&house).await;
    forwarding(&house).await;
    session(&house).await;
    let held = house.held.lock().unwrap().clone();
    let missed: Vec<&Kind> = answers().await.kinds(true).into_iter().filter(|k| !held.contains(k)).collect();
    assert!(missed.is_empty(), "{missed:#?}");
    assert!(held.len() >= 48, "{}", held.len());
}

#[tokio::test]
async fn of_no_answer_but_the_document_itself_is_it_only_said_that_it_is_an_object() {
    let bare = answers().await.kinds(false);
    let paths: Vec<&str> = bare.iter().map(|(path, ..)| path.as_str()).collect();
    assert_eq!(paths, ["/api/v1/openapi.json"]);
}

/// OpenAPI 3.1 takes its schemas from JSON Schema 2020-12, where an object may have more members than are told.
#[tokio::test]
async fn no_object_of_an_answer_leaves_room_for_a_member_that_nobody_described() {
    let document = House::new().get("/api/v1/openapi.json").await;
    let mut open = BTreeSet::new();
    let mut seen = BTreeSet::new();
    for (path, item) in document["paths"].as_object().unwrap() {
        for (method, operation) in item.as_object().unwrap() {
            for status in ["200", "201"] {
                let schema = operation["responses"][status].pointer("/content/application~1json/schema");
                let at = format!("{method} {path}");
                schema.into_iter().for_each(|schema| left_open(&document, schema, &at, &mut seen, &mut open));
            }
        }
    }
    assert!(seen.len() > 100, "{}", seen.len());
    assert_eq!(open, BTreeSet::from(["get /api/v1/openapi.json".to_owned()]));
}

/// Looks for objects that may have any member, through all types that a schema refers to.
fn left_open(
    document: &Value,
    schema: &Value,
    at: &str,
    seen: &mut BTreeSet<String>,
    open: &mut BTreeSet<String>,
) {
    match schema {
        Value::Object(members) => {
            if let Some(name) = members.get("$ref").and_then(Value::as_str)
                && seen.insert(name.to_owned())
            {
                left_open(document, document.pointer(&name[1..]).unwrap(), name, seen, open);
            }
            let is_object = members.get("type").is_some_and(|kind| kind == "object");
            if is_object && !members.contains_key("additionalProperties") {
                open.insert(at.to_owned());
            }
            members.values().for_each(|value| left_open(document, value, at, seen, open));
        }
        Value::Array(items) => items.iter().for_each(|value| left_open(document, value, at, seen, open)),
        _ => {}
    }
}
