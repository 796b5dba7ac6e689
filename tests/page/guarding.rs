//! What is not let in: other hosts, other pages, forms, large bodies; and copies that stay as they are.
//!
//! Must not know how the guard is built: requests go in, statuses come out.

use crate::sample::{T0_NS, begin, put, result, whole};
use crate::support::{House, ask};
use axum::body::Body;
use axum::http::{Method, Request, StatusCode};
use boltscribe::http::access::{Access, Kept, Role};
use boltscribe::http::guard::{Guard, guarded};
use boltscribe::http::{State, router};
use boltscribe::store::open_read_only;
use serde_json::{Value, json};
use std::sync::Arc;
use tower::ServiceExt;

async fn status(router: &axum::Router, method: Method, path: &str, headers: &[(&str, &str)]) -> u16 {
    let mut request = Request::builder().method(method).uri(path);
    for (name, value) in headers {
        request = request.header(*name, *value);
    }
    let request = request.body(Body::from(r#"{"who": "Ana"}"#)).unwrap();
    router.clone().oneshot(request).await.unwrap().status().as_u16()
}

#[tokio::test]
async fn over_the_network_only_this_host_and_this_page_get_in() {
    let house = House::new();
    let guard = Guard { port: 7483, open: false, host: None, access: None };
    let router = guarded(house.router.clone(), guard);
    for (host, expected) in [
        ("127.0.0.1:7483", 200),
        ("LocalHost:7483", 200),
        ("[::1]:7483", 200),
        ("localhost", 403),
        ("localhost:7484", 403),
        ("rebound.example:7483", 403),
        ("localhost:7483.example", 403),
    ] {
        assert_eq!(status(&router, Method::GET, "/api/v1/rigs", &[("host", host)]).await, expected, "{host}");
    }
    assert_eq!(status(&router, Method::GET, "/api/v1/rigs", &[]).await, 403);
    let ours = ("host", "localhost:7483");
    let json = ("content-type", "application/json");
    let zero = "/api/v1/rigs/bench/zero";
    for (headers, expected) in [
        (vec![], 200),
        (vec![("origin", "http://localhost:7483")], 200),
        (vec![("origin", "http://127.0.0.1:7483"), ("sec-fetch-site", "same-origin")], 200),
        (vec![("origin", "https://localhost:7483")], 403),
        (vec![("origin", "http://elsewhere.example")], 403),
        (vec![("origin", "null")], 403),
        (vec![("sec-fetch-site", "cross-site")], 403),
        (vec![("sec-fetch-site", "same-site")], 403),
        (vec![("origin", "http://localhost:7483"), ("origin", "http://elsewhere.example")], 403),
    ] {
        let mut all = vec![ours, json];
        all.extend(&headers);
        assert_eq!(status(&router, Method::POST, zero, &all).await, expected, "{headers:?}");
    }
    assert_eq!(house.rigs.told.lock().unwrap().len(), 3, "a refused change reaches nobody");
}

#[tokio::test]
async fn a_form_and_a_large_body_are_not_read() {
    let house = House::new();
    let zero = "/api/v1/rigs/bench/zero";
    for kind in ["text/plain", "application/x-www-form-urlencoded", "application/jsonx"] {
        assert_eq!(status(&house.router, Method::POST, zero, &[("content-type", kind)]).await, 415);
    }
    assert_eq!(status(&house.router, Method::POST, zero, &[]).await, 415);
    let large = json!({"who": "Ana", "why": "x".repeat(70_000)});
    let (status, detail) = house.refused(Method::POST, "/api/v1/runs/1/exclude", Some(large)).await;
    assert_eq!(status, 413, "{detail}");
    assert!(house.rigs.told.lock().unwrap().is_empty());
}

#[tokio::test]
async fn what_cannot_be_meant_is_told_as_a_problem() {
    let house = House::new();
    house.furnish().await;
    let stream = begin(&house.store, "bench");
    put(&house.store, "bench", whole(stream, result(1), 8000));
    let line = |coefficients: Value| json!({"who": "Ana", "calibration": {"id": "c", "nominal": true, "coefficients_kN": coefficients}});
    for (method, path, body, code, said) in [
        (Method::POST, "runs/1/exclude", Some(json!(["Ana", "an array"])), 422, "expected a JSON object"),
        (Method::POST, "rigs/bench/calibrate", Some(line(json!([0.0, 1e300]))), 422, "expected a slope of"),
        (Method::GET, "trials/%ff", None, 400, "/api/v1/trials/%ff"),
        (Method::GET, "tools/wrench/acceptance?runs=1", None, 422, "runs: expected 2 to 200, found 1"),
        (
            Method::GET,
            "tools/wrench/acceptance?reference=big&percent=NaN",
            None,
            422,
            "percent: expected above 0",
        ),
        (Method::GET, "tools/wrench/acceptance?reference=big&percent=-5", None, 422, "found -5"),
        (
            Method::GET,
            "tools/wrench/acceptance?reference=wrench&percent=9",
            None,
            422,
            "expected another tool",
        ),
        (
            Method::GET,
            "tools/wrench/history?least_kN=5&most_kN=1",
            None,
            422,
            "expected more than least_kN, 5",
        ),
        (Method::GET, "tools/wrench/history?base=0", None, 422, "base: expected at least 3 runs"),
        (Method::GET, "budget?runs=1,1", None, 422, "expected each once, found 1 again"),
        (Method::GET, "budget?runs=1&against=1", None, 422, "found 1 in both"),
    ] {
        let path = format!("/api/v1/{path}");
        let (status, detail) = house.refused(method, &path, body).await;
        assert_eq!(status, code, "{path}: {detail}");
        assert!(detail.contains(said), "{path}: {detail}");
    }
    assert!(house.rigs.told.lock().unwrap().is_empty(), "nothing reached a rig");
}

#[tokio::test]
async fn a_copy_opened_read_only_is_shown_but_not_changed() {
    let house = House::new();
    let stream = begin(&house.store, "bench");
    put(&house.store, "bench", whole(stream, result(1), 8000));
    let folder = house.store.folder().to_owned();
    let House { store, rigs, router: first, _folder, .. } = house;
    drop(first);
    store.close();
    let readers = open_read_only(&folder).unwrap();
    let router = router(State {
        readers,
        writer: None,
        rigs,
        now_utc_ns: Arc::new(|| T0_NS),
        zone: jiff::tz::TimeZone::UTC,
        limits: Arc::new([]),
        turns: Default::default(),
        trial_lines: Default::default(),
    });
    let (status, runs) = ask(&router, Method::GET, "/api/v1/runs", None).await;
    assert_eq!((status, runs["runs"].as_array().map(Vec::len)), (StatusCode::OK, Some(1)));
    let word = json!({"who": "Ana", "why": "w"});
    let (status, answer) = ask(&router, Method::POST, "/api/v1/runs/1/exclude", Some(word)).await;
    assert_eq!(status, StatusCode::FORBIDDEN, "{answer}");
    assert!(answer["detail"].as_str().unwrap().contains("read-only"));
}

#[tokio::test]
async fn a_get_changes_nothing() {
    let house = House::new();
    house.furnish().await;
    let stream = begin(&house.store, "bench");
    put(&house.store, "bench", whole(stream, result(1), 8000));
    let rows = |house: &House| house.store.readers().reader().unwrap().check().unwrap().rows;
    let before = rows(&house);
    for path in [
        "status",
        "doctor",
        "rigs",
        "ports",
        "runs",
        "runs/1",
        "runs/1/trace",
        "shelf/pieces",
        "shelf/pieces/ext",
        "shelf/setups",
        "shelf/tools",
        "shelf/sources",
        "shelf/bolts",
        "store/check",
    ] {
        house.get(&format!("/api/v1/{path}")).await;
    }
    assert_eq!(rows(&house), before);
    assert!(house.rigs.told.lock().unwrap().is_empty());
}

/// A file of three tokens, one of each role, named like it.
fn tokens() -> tempfile::NamedTempFile {
    let file = tempfile::NamedTempFile::new().unwrap();
    let roles = [Role::View, Role::Operate, Role::Correct];
    let lines: Vec<String> =
        roles.iter().map(|role| Kept::of(role.name(), *role, role.name()).line()).collect();
    std::fs::write(file.path(), lines.join("\n")).unwrap();
    file
}

#[tokio::test]
async fn where_tokens_are_asked_for_each_role_does_what_it_may() {
    let house = House::new();
    let file = tokens();
    let access = Some(Arc::new(Access::open(file.path(), Arc::new(|| T0_NS)).unwrap()));
    let guard = Guard { port: 7483, open: true, host: Some("rig.example".into()), access };
    let router = guarded(house.router.clone(), guard);
    let host = ("host", "rig.example:7483");
    let json = ("content-type", "application/json");
    // An address cannot be rebound to another machine, a strange name can.
    for (name, expected) in [
        ("192.0.2.7:7483", 200),
        ("[2001:db8::7]:7483", 200),
        ("rig.example:7483", 200),
        ("other.example:7483", 403),
    ] {
        assert_eq!(status(&router, Method::GET, "/", &[("host", name)]).await, expected, "{name}");
    }
    assert_eq!(status(&router, Method::GET, "/api/v1/rigs", &[host]).await, 401);
    assert_eq!(status(&router, Method::GET, "/metrics", &[host]).await, 401);
    for (role, zero, exclude) in [("view", 403, 403), ("operate", 200, 403), ("correct", 200, 404)] {
        let cookie = format!("other=1; boltscribe={role}");
        let headers = [host, json, ("cookie", cookie.as_str())];
        assert_eq!(status(&router, Method::GET, "/api/v1/rigs", &headers).await, 200, "{role}");
        assert_eq!(status(&router, Method::POST, "/api/v1/rigs/bench/zero", &headers).await, zero, "{role}");
        let body = r#"{"who": "Ana", "why": "slipped"}"#;
        let request = Request::post("/api/v1/runs/99/exclude").header("host", host.1).header(json.0, json.1);
        let request =
            request.header("authorization", format!("Bearer {role}")).body(Body::from(body)).unwrap();
        assert_eq!(router.clone().oneshot(request).await.unwrap().status().as_u16(), exclude, "{role}");
    }
}

#[tokio::test]
async fn a_browser_comes_in_by_its_token_and_wrong_ones_keep_only_themselves_out() {
    let house = House::new();
    let file = tokens();
    let access = Some(Arc::new(Access::open(file.path(), Arc::new(|| T0_NS)).unwrap()));
    let router = guarded(house.router.clone(), Guard { port: 7483, open: true, host: None, access });
    let come_in = async |token: &str| {
        let request = Request::post("/api/v1/session").header("host", "192.0.2.7:7483");
        let request = request.header("content-type", "application/json");
        let request = request.body(Body::from(json!({ "token": token }).to_string())).unwrap();
        let response = router.clone().oneshot(request).await.unwrap();
        let cookie = response.headers().get("set-cookie").map(|value| value.to_str().unwrap().to_owned());
        (response.status().as_u16(), cookie)
    };
    let (status, cookie) = come_in(" operate\n").await;
    let cookie = cookie.unwrap();
    assert!(status == 200 && cookie.starts_with("boltscribe=operate;"), "{status} {cookie}");
    assert!(cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict"), "{cookie}");
    for _ in 0..5 {
        assert_eq!(come_in("guess").await, (401, None));
    }
    assert_eq!(come_in("guess").await, (429, None));
    assert_eq!(come_in("operate").await.0, 200, "a good one does not wait for what others try");
    // Without tokens there is nothing to come in by, and everybody here may do everything.
    let open = Guard { port: 7483, open: false, host: None, access: None };
    let router = guarded(house.router.clone(), open);
    let request =
        Request::get("/api/v1/session").header("host", "localhost:7483").body(Body::empty()).unwrap();
    let answer = router.oneshot(request).await.unwrap();
    let bytes = axum::body::to_bytes(answer.into_body(), 1000).await.unwrap();
    let document: serde_json::Value = serde_json::from_slice(&bytes).unwrap();
    assert_eq!(document, json!({ "tokens": false, "name": null, "role": "correct" }));
}
