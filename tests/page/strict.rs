//! Documents made strict: small ones, told here whole.
//!
//! What "strict" is for answers is said in `page::strict`.

use boltscribe::http::strict;
use serde_json::{Value, json};

/// A document of one path that takes one type and answers with others, made strict.
fn made_strict(asked: &str, told: &[&str], schemas: Value) -> Value {
    let of = |name: &str| {
        let schema = json!({"$ref": format!("#/components/schemas/{name}")});
        json!({"content": {"application/json": {"schema": schema}}})
    };
    let answers: serde_json::Map<String, Value> =
        told.iter().enumerate().map(|(at, name)| (format!("20{at}"), of(name))).collect();
    let mut document = json!({
        "paths": {"/x": {"post": {"requestBody": of(asked), "responses": answers}}},
        "components": {"schemas": schemas},
    });
    strict::answers(&mut document);
    document["components"]["schemas"].clone()
}

fn part(name: &str) -> Value {
    json!({"type": "object", "required": [name], "properties": {name: {"type": "string"}}})
}

#[test]
fn what_may_be_null_always_stands_and_nothing_stands_beside() {
    let told = json!({
        "type": "object", "required": ["a"],
        "properties": {
            "a": {"type": "number"},
            "b": {"type": ["number", "null"]},
            "c": {"oneOf": [{"type": "null"}, {"$ref": "#/components/schemas/Asked"}]},
            "d": {"type": "string"},
            "e": {"type": "string", "default": "x"},
            "f": {"type": "array", "items": {"type": "object", "properties": {"g": {"type": "null"}}}},
        },
    });
    let found = made_strict("Asked", &["Told"], json!({"Asked": part("x"), "Told": told}));
    assert_eq!(found["Told"]["required"], json!(["a", "b", "c", "e"]));
    assert_eq!(found["Told"]["additionalProperties"], false);
    let inside = &found["Told"]["properties"]["f"]["items"];
    assert_eq!((&inside["required"], &inside["additionalProperties"]), (&json!(["g"]), &json!(false)));
}

#[test]
fn parts_become_one_object_for_each_kind_that_a_part_may_be() {
    let schemas = json!({
        "Asked": part("x"),
        "Kind": {"oneOf": [part("a"), {"allOf": [part("b"), part("c")]}]},
        "Told": {"description": "Words.", "allOf": [{"$ref": "#/components/schemas/Kind"}, part("who")]},
    });
    let found = made_strict("Asked", &["Told"], schemas);
    let told = &found["Told"];
    let of = |at: usize| told["oneOf"][at]["required"].clone();
    assert_eq!((of(0), of(1), of(2)), (json!(["a", "who"]), json!(["b", "c", "who"]), Value::Null));
    assert_eq!(
        (&told["oneOf"][1]["additionalProperties"], &told["description"]),
        (&json!(false), &json!("Words."))
    );
    assert!(told.get("allOf").is_none());
    assert!(found.get("Kind").is_none(), "a part of others is no type of its own");
}

#[test]
fn of_a_type_that_is_asked_for_what_may_be_null_may_be_left_out() {
    let member = json!({"type": "object", "properties": {"a": {"type": ["string", "null"]}}});
    let found = made_strict("A", &["A", "B"], json!({"A": member, "B": member}));
    assert_eq!(found["A"].get("required"), None);
    assert_eq!(found["A"]["additionalProperties"], false);
    assert_eq!(found["B"]["required"], json!(["a"]));
}
