//! The document at `/api/v1/openapi.json` against the OpenAPI Specification 3.1 and against the router it is about.
//!
//! Nothing is listed here that could go stale: the router is asked for its paths, and for the keys it would take
//! by a request with a key that it cannot know.

use crate::support::House;
use axum::body::Body;
use axum::http::{Method, Request, StatusCode};
use axum::response::Response;
use boltscribe::http::{recompute, runs, trace};
use http_body_util::BodyExt;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use tower::ServiceExt;
use utoipa::openapi::OpenApi;

const METHODS: [Method; 5] = [Method::GET, Method::POST, Method::PUT, Method::DELETE, Method::PATCH];
/// A key that no query and no body has.
const NO_SUCH_KEY: &str = "no_such_key";

async fn described(house: &House) -> Value {
    house.get("/api/v1/openapi.json").await
}

/// All operations: path, method, what is told of it.
fn operations(document: &Value) -> Vec<(String, Method, Value)> {
    let mut all = Vec::new();
    for (path, item) in document["paths"].as_object().unwrap() {
        for (word, operation) in item.as_object().unwrap() {
            let method = Method::from_bytes(word.to_uppercase().as_bytes()).unwrap();
            assert!(METHODS.contains(&method), "{path}: {word}");
            all.push((path.clone(), method, operation.clone()));
        }
    }
    assert!(all.len() > 40, "{}", all.len());
    all
}

/// The names in braces.
fn names_in(path: &str) -> BTreeSet<String> {
    path.split('{').skip(1).map(|rest| rest.split('}').next().unwrap().to_owned()).collect()
}

/// A path that can be asked for.
fn filled(path: &str) -> String {
    names_in(path)
        .iter()
        .fold(path.replace("{kind}", "pieces"), |path, name| path.replace(&format!("{{{name}}}"), "1"))
}

async fn ask(house: &House, method: &Method, path: &str, body: Option<&Value>) -> Response {
    let request = Request::builder().method(method.clone()).uri(path);
    let request = match body {
        None => request.body(Body::empty()),
        Some(body) => request.header("content-type", "application/json").body(Body::from(body.to_string())),
    };
    house.router.clone().oneshot(request.unwrap()).await.unwrap()
}

/// The sentence of a refusal; none where it was not refused for what it sent.
async fn refusal(response: Response) -> Option<String> {
    if !matches!(response.status(), StatusCode::BAD_REQUEST | StatusCode::UNPROCESSABLE_ENTITY) {
        return None;
    }
    let bytes = response.into_body().collect().await.unwrap().to_bytes();
    let problem: Value = serde_json::from_slice(&bytes).unwrap();
    Some(problem["detail"].as_str().unwrap().to_owned())
}

/// The keys that would have been taken, from the sentence that refuses one.
fn keys_expected(detail: &str) -> BTreeSet<String> {
    let (_, rest) = detail
        .split_once(&format!("unknown field `{NO_SUCH_KEY}`, expected"))
        .unwrap_or_else(|| panic!("{detail}"));
    rest.split('`').skip(1).step_by(2).map(str::to_owned).collect()
}

/// Names of the parameters at a place.
fn parameters(operation: &Value, place: &str) -> BTreeSet<String> {
    let all = operation["parameters"].as_array().into_iter().flatten();
    all.filter(|one| one["in"] == place).map(|one| one["name"].as_str().unwrap().to_owned()).collect()
}

fn resolved<'a>(document: &'a Value, schema: &'a Value) -> &'a Value {
    match schema["$ref"].as_str() {
        None => schema,
        Some(name) => document.pointer(name.strip_prefix('#').unwrap()).unwrap(),
    }
}

fn body_of<'a>(document: &'a Value, operation: &'a Value) -> Option<&'a Value> {
    let schema = operation.pointer("/requestBody/content/application~1json/schema")?;
    Some(resolved(document, schema))
}

fn references<'a>(value: &'a Value, found: &mut Vec<&'a str>) {
    match value {
        Value::Object(members) => {
            found.extend(members.get("$ref").and_then(Value::as_str));
            members.values().for_each(|value| references(value, found));
        }
        Value::Array(items) => items.iter().for_each(|value| references(value, found)),
        _ => {}
    }
}

fn drop_null_defaults(value: &mut Value) {
    match value {
        Value::Object(members) => {
            members.retain(|key, value| key != "default" || !value.is_null());
            members.values_mut().for_each(drop_null_defaults);
        }
        Value::Array(items) => items.iter_mut().for_each(drop_null_defaults),
        _ => {}
    }
}

/// Whether a schema, or one that it may be instead, says what it is.
fn says_what_it_is(schema: &Value) -> bool {
    let any = schema["oneOf"].as_array().into_iter().flatten();
    schema["description"].is_string() || any.into_iter().any(says_what_it_is)
}

#[tokio::test]
async fn the_document_is_one_of_openapi_3_1_and_reads_back_as_it_was() {
    let document = described(&House::new()).await;
    assert_eq!(boltscribe::http::router::document(), document, "it is the same where nothing is served");
    assert_eq!(document["openapi"], "3.1.0");
    assert_eq!(document["info"]["title"], "boltscribe");
    assert_eq!(document["info"]["version"], env!("CARGO_PKG_VERSION"));
    let read: OpenApi = serde_json::from_value(document.clone()).unwrap();
    let mut document = document;
    // Nothing as the default says what no default says, and is not kept by the types it is read into.
    drop_null_defaults(&mut document);
    assert_eq!(serde_json::to_value(&read).unwrap(), document);
}

#[tokio::test]
async fn every_reference_leads_somewhere() {
    let document = described(&House::new()).await;
    let mut found = Vec::new();
    references(&document, &mut found);
    assert!(found.len() > 40, "{}", found.len());
    for reference in found {
        let pointer = reference.strip_prefix('#').unwrap();
        assert!(document.pointer(pointer).is_some(), "{reference}");
    }
}

/// OpenAPI 3.1, sections 4.8.10 and 4.8.12: ids are unique, and each name in a path is a required parameter.
#[tokio::test]
async fn operations_keep_the_rules_of_the_specification_and_say_what_they_do() {
    let document = described(&House::new()).await;
    let mut ids = BTreeSet::new();
    for (path, method, operation) in operations(&document) {
        let id = operation["operationId"].as_str().unwrap().to_owned();
        assert!(ids.insert(id.clone()), "{id} stands twice");
        assert!(operation["summary"].as_str().is_some_and(|words| words.len() > 8), "{method} {path}");
        let tag = &operation["tags"][0];
        assert!(document["tags"].as_array().unwrap().iter().any(|known| known["name"] == *tag), "{tag}");
        assert_eq!(parameters(&operation, "path"), names_in(&path), "{method} {path}");
        for parameter in operation["parameters"].as_array().into_iter().flatten() {
            assert!(parameter["description"].is_string(), "{method} {path}: {parameter}");
            assert!(parameter["in"] != "path" || parameter["required"] == true, "{path}: {parameter}");
        }
        let done =
            ["101", "200", "201"].map(|status| operation["responses"][status]["description"].is_string());
        assert!(done.contains(&true), "{method} {path}");
        if let Some(body) = body_of(&document, &operation) {
            for (key, schema) in body["properties"].as_object().unwrap() {
                assert!(says_what_it_is(schema), "{method} {path}: {key}: {schema}");
            }
        }
    }
}

#[tokio::test]
async fn the_router_has_the_paths_of_the_document_and_no_others() {
    let house = House::new();
    let document = described(&house).await;
    let told: BTreeSet<&str> = document["paths"].as_object().unwrap().keys().map(String::as_str).collect();
    // The router shows its paths in words only: those of its first table, before that of the fallbacks.
    let words = format!("{:?}", house.router);
    let (_, table) = words.split_once("Node { paths: {").unwrap();
    let (table, _) = table.split_once("fallback_router").unwrap();
    let has: BTreeSet<&str> = table.split('"').skip(1).step_by(2).collect();
    assert_eq!(has, told);
}

#[tokio::test]
async fn each_path_takes_the_methods_of_the_document_and_no_others() {
    let house = House::new();
    let document = described(&house).await;
    let told = operations(&document);
    for path in document["paths"].as_object().unwrap().keys() {
        for method in &METHODS {
            let status = ask(&house, method, &filled(path), None).await.status();
            let taken = told.iter().any(|(other, its, _)| other == path && its == method);
            assert_eq!(status != StatusCode::METHOD_NOT_ALLOWED, taken, "{method} {path}: {status}");
        }
    }
}

#[tokio::test]
async fn queries_have_the_keys_of_the_document_and_no_others() {
    let house = House::new();
    let document = described(&house).await;
    let mut with_query = 0;
    for (path, method, operation) in operations(&document) {
        let asked = format!("{}?{NO_SUCH_KEY}=1", filled(&path));
        let told = parameters(&operation, "query");
        match refusal(ask(&house, &method, &asked, None).await).await {
            Some(detail) => {
                assert_eq!(told, keys_expected(&detail), "{method} {path}");
                with_query += 1;
            }
            None => assert!(told.is_empty(), "{method} {path}: {told:?}"),
        }
    }
    assert!(with_query > 10, "{with_query}");
}

#[tokio::test]
async fn bodies_have_the_keys_of_the_document_and_no_others() {
    let house = House::new();
    let document = described(&house).await;
    let mut with_body = 0;
    for (path, method, operation) in operations(&document) {
        let body = body_of(&document, &operation);
        // Who goes out says nothing more.
        let silent =
            method == Method::GET || (&method, path.as_str()) == (&Method::DELETE, "/api/v1/session");
        assert_eq!(body.is_some(), !silent, "{method} {path}");
        let Some(body) = body else { continue };
        let told: BTreeSet<String> = body["properties"].as_object().unwrap().keys().cloned().collect();
        let unknown = ask(&house, &method, &filled(&path), Some(&json!({ NO_SUCH_KEY: 1 }))).await;
        let detail = refusal(unknown).await.unwrap_or_else(|| panic!("{method} {path}"));
        assert_eq!(told, keys_expected(&detail), "{method} {path}");
        assert_eq!(body["additionalProperties"], false, "{method} {path}");
        let empty = refusal(ask(&house, &method, &filled(&path), Some(&json!({}))).await).await;
        let missing = empty.as_deref().and_then(|detail| detail.split("missing field `").nth(1));
        let missing = missing.map(|rest| rest.split('`').next().unwrap());
        let required: Vec<&str> =
            body["required"].as_array().into_iter().flatten().filter_map(Value::as_str).collect();
        assert_eq!(missing.is_some(), !required.is_empty(), "{method} {path}: {empty:?}");
        assert!(missing.is_none_or(|key| required.contains(&key)), "{method} {path}: {missing:?}");
        with_body += 1;
    }
    assert!(with_body > 15, "{with_body}");
}

#[tokio::test]
async fn what_is_answered_is_of_a_type_of_the_document() {
    let house = House::new();
    let document = described(&house).await;
    let mut types = BTreeSet::new();
    for (path, method, operation) in operations(&document) {
        let response = ask(&house, &method, &filled(&path), None).await;
        let status = response.status().as_str().to_owned();
        let told = &operation["responses"];
        let told = told.get(&status).unwrap_or(&told[format!("{}XX", &status[..1])]);
        let told = resolved(&document, told)["content"].as_object();
        let bare = |kind: &str| kind.split(';').next().unwrap().to_owned();
        let found = bare(response.headers()["content-type"].to_str().unwrap());
        let told: Vec<String> = told.into_iter().flatten().map(|(kind, _)| bare(kind)).collect();
        assert!(told.contains(&found), "{method} {path}: {status} {found}, expected {told:?}");
        types.insert(found);
    }
    for expected in
        ["application/json", "application/problem+json", "application/vnd.sqlite3", "text/event-stream"]
    {
        assert!(types.contains(expected), "{types:?}");
    }
}

#[tokio::test]
async fn ranges_end_where_the_router_refuses() {
    let house = House::new();
    let document = described(&house).await;
    let mut seen = 0;
    for (path, method, operation) in operations(&document) {
        for parameter in operation["parameters"].as_array().into_iter().flatten() {
            let name = parameter["name"].as_str().unwrap();
            let schema = &parameter["schema"];
            let (Some(least), Some(most)) = (schema["minimum"].as_i64(), schema["maximum"].as_i64()) else {
                continue;
            };
            for (value, expected) in [(least - 1, true), (least, false), (most, false), (most + 1, true)] {
                let asked = format!("{}?runs=1&{name}={value}", filled(&path));
                // Where `runs` is the key itself, or is none of its keys, it stands alone.
                let asked = match name == "runs" || !parameters(&operation, "query").contains("runs") {
                    true => asked.replace("runs=1&", ""),
                    false => asked,
                };
                let asked = if name == "runs" { format!("{asked}&limit_kN=1") } else { asked };
                let found = refusal(ask(&house, &method, &asked, None).await).await;
                assert_eq!(found.is_some(), expected, "{asked}: {found:?}");
            }
            seen += 1;
        }
    }
    assert_eq!(
        seen, 9,
        "runs, trace, budget, acceptance, both demands of a history and of its chart, a simulation"
    );
    let most = |pointer: &str| document.pointer(pointer).unwrap().as_u64().unwrap();
    let again = "/components/schemas/AgainBody/properties/runs/maxItems";
    assert_eq!(most(again), recompute::RUNS_A_REQUEST as u64);
    let of = |path: &str, name: &str| {
        let all = document["paths"][path]["get"]["parameters"].as_array().unwrap().clone();
        all.into_iter().find(|one| one["name"] == name).unwrap()["schema"]["maximum"].as_u64().unwrap()
    };
    assert_eq!(of("/api/v1/runs", "limit"), u64::from(runs::LIMIT_MAX));
    assert_eq!(of("/api/v1/runs/{id}/trace", "points"), trace::POINTS_MAX as u64);
}
