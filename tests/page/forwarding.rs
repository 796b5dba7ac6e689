//! Forwarding at the interface: what is told of the outbox, and what a word to try again does.
//!
//! Who carries is tested in tests/forward; here nobody does.

use crate::sample::{begin, put, result, whole};
use crate::support::House;
use axum::http::Method;
use boltscribe::store::{OutboxWrite, Write};
use serde_json::json;

fn change(house: &House, write: OutboxWrite) {
    put(&house.store, "", vec![Write::Outbox(write)]);
}

#[tokio::test]
async fn nothing_can_be_tried_again_where_nothing_is_set_up() {
    let house = House::new();
    let told = house.get("/api/v1/forward").await;
    assert_eq!((&told["outbox"]["forwarding"], &told["server"]), (&json!(false), &json!(null)));
    let (status, detail) = house.refused(Method::POST, "/api/v1/forward/retry", Some(json!({}))).await;
    assert_eq!((status, detail.as_str()), (409, "cannot forward: expected an address, found none set up"));
}

#[tokio::test]
async fn stored_runs_and_rows_in_quarantine_are_put_in_again_by_a_word() {
    let house = House::new();
    let stream = begin(&house.store, "rig-1");
    put(&house.store, "rig-1", whole(stream, result(1), 500));
    put(&house.store, "rig-1", whole(stream, result(2), 500));
    change(&house, OutboxWrite::Forwarding(true));
    let again = |body| house.done(Method::POST, "/api/v1/forward/retry", body);
    assert_eq!(again(json!({})).await, json!({"rows": 0, "woken": false}));
    assert_eq!(again(json!({"first_run": 2})).await["rows"], 2);
    assert_eq!(again(json!({"first_run": 1, "last_run": 2})).await["rows"], 2);
    change(&house, OutboxWrite::Quarantine { id: 1, reason: "too old".into() });
    let row = json!({"id": 1, "kind": "run", "run": 2, "reason": "too old"});
    assert_eq!(house.get("/api/v1/forward/quarantine").await, json!({"rows": [row]}));
    assert_eq!(house.get("/api/v1/doctor").await["forward"]["outbox"]["quarantined"], 1);
    assert_eq!(again(json!({"row": 1})).await["rows"], 1);
    assert_eq!(house.get("/api/v1/forward").await["outbox"]["waiting"], 4);
    for (body, expected) in [
        (json!({"first_run": 0}), 422),
        (json!({"first_run": 1, "last_run": 3}), 422),
        (json!({"last_run": 2}), 422),
        (json!({"row": 1, "quarantined": true}), 422),
        (json!({"rows": 1}), 422),
        (json!({"row": 1}), 404),
    ] {
        let (status, _) = house.refused(Method::POST, "/api/v1/forward/retry", Some(body.clone())).await;
        assert_eq!(status, expected, "{body}");
    }
}
