//! Answers told as strictly as they are given: what a schema of an answer does not list is never sent.
//!
//! The macros of the document describe a type as its reader would: what may be null need not stand, and more may
//! stand beside. An answer is written by this program alone, so all of its members are known and what is absent is
//! null. A member that may be left out is one that is never null (`#[schema(nullable = false)]`) and has no default.
//! Of types that are asked for too, what may be null may be left out as well; but no request takes more than is
//! listed. Schemas are those of JSON Schema 2020-12, as in OpenAPI 3.1. Must not know what a type means.

use serde_json::{Map, Value, json};
use std::collections::BTreeSet;

type Members = Map<String, Value>;

/// What a reference to a schema opens with.
const SCHEMAS: &str = "#/components/schemas/";
/// Deepest nesting of types that are put together; one in itself would have no end.
const DEPTH_MAX: usize = 16;

/// Makes the answers of a document strict.
pub fn answers(document: &mut Value) {
    let known = document["components"]["schemas"].as_object().cloned().unwrap_or_default();
    let asked = asked_for(document, &known);
    if let Some(schemas) = document["components"]["schemas"].as_object_mut() {
        for (name, schema) in schemas.iter_mut() {
            close(schema, &known, !asked.contains(name));
        }
    }
    for_operations(document, |operation| {
        for response in members(operation.get_mut("responses")) {
            for content in members(response.get_mut("content")) {
                content.get_mut("schema").into_iter().for_each(|schema| close(schema, &known, true));
            }
        }
    });
    drop_parts(document);
}

/// Drops the types that only stood for parts of others, so that nobody makes types of them.
fn drop_parts(document: &mut Value) {
    let known = document["components"]["schemas"].as_object().cloned().unwrap_or_default();
    let mut names = BTreeSet::new();
    referred(&document["paths"], &known, &mut names);
    referred(&document["components"]["responses"], &known, &mut names);
    if let Some(schemas) = document["components"]["schemas"].as_object_mut() {
        schemas.retain(|name, _| names.contains(name));
    }
}

fn members(of: Option<&mut Value>) -> impl Iterator<Item = &mut Value> {
    of.and_then(Value::as_object_mut).into_iter().flat_map(Members::values_mut)
}

fn for_operations(document: &mut Value, mut each: impl FnMut(&mut Value)) {
    for path in members(document.get_mut("paths")) {
        members(Some(path)).for_each(&mut each);
    }
}

/// Names of the types that requests are made of.
fn asked_for(document: &mut Value, known: &Members) -> BTreeSet<String> {
    let mut names = BTreeSet::new();
    for_operations(document, |operation| {
        referred(&operation["requestBody"], known, &mut names);
        referred(&operation["parameters"], known, &mut names);
    });
    names
}

fn referred(value: &Value, known: &Members, names: &mut BTreeSet<String>) {
    if let Some(name) = value["$ref"].as_str().and_then(|target| target.strip_prefix(SCHEMAS))
        && names.insert(name.to_owned())
        && let Some(schema) = known.get(name)
    {
        referred(schema, known, names);
    }
    match value {
        Value::Object(members) => members.values().for_each(|value| referred(value, known, names)),
        Value::Array(items) => items.iter().for_each(|value| referred(value, known, names)),
        _ => {}
    }
}

/// Lists all members of an object, at any depth; where it is `whole`, those that may be null stand too.
fn close(schema: &mut Value, known: &Members, whole: bool) {
    if schema["allOf"].is_array() {
        put_together(schema, known);
    }
    let Some(schema) = schema.as_object_mut() else { return };
    if let Some(properties) = schema.get("properties").and_then(Value::as_object) {
        let stands = |name: &String, listed: &[Value]| listed.iter().any(|other| other == name);
        let listed = schema.get("required").and_then(Value::as_array).cloned().unwrap_or_default();
        let all = properties
            .iter()
            .filter(|(name, member)| stands(name, &listed) || whole && always_stands(member));
        let required: Vec<&String> = all.map(|(name, _)| name).collect();
        let required = json!(required);
        if required != json!([]) {
            schema.insert("required".to_owned(), required);
        }
        schema.entry("additionalProperties").or_insert(Value::Bool(false));
    }
    for (key, value) in schema.iter_mut() {
        match key.as_str() {
            "properties" => members(Some(value)).for_each(|member| close(member, known, whole)),
            "oneOf" | "anyOf" | "prefixItems" => {
                value.as_array_mut().into_iter().flatten().for_each(|one| close(one, known, whole));
            }
            "items" | "additionalProperties" => close(value, known, whole),
            _ => {}
        }
    }
}

fn always_stands(member: &Value) -> bool {
    member.get("default").is_some() || may_be_null(member)
}

fn may_be_null(schema: &Value) -> bool {
    let is_null = |kind: &Value| kind == "null";
    let kinds = schema["type"].as_array().into_iter().flatten();
    let mut either = schema["oneOf"].as_array().into_iter().flatten();
    kinds.chain([&schema["type"]]).any(is_null) || either.any(may_be_null)
}

/// Makes one object, or one of several, out of parts of one: a part that is closed would refuse the others.
fn put_together(schema: &mut Value, known: &Members) {
    let mut made = alternatives(schema, known, DEPTH_MAX);
    let Some(mut whole) = made.pop() else { return };
    if !made.is_empty() {
        made.push(whole);
        whole = Members::from_iter([("oneOf".to_owned(), json!(made))]);
    }
    if let Some(description) = schema.get("description") {
        whole.insert("description".to_owned(), description.clone());
    }
    *schema = Value::Object(whole);
}

/// The objects that something may be; none where it cannot be told.
fn alternatives(schema: &Value, known: &Members, depth: usize) -> Vec<Members> {
    let Some(depth) = depth.checked_sub(1) else { return Vec::new() };
    let named = schema["$ref"].as_str().and_then(|target| target.strip_prefix(SCHEMAS));
    if let Some(named) = named.and_then(|name| known.get(name)) {
        return alternatives(named, known, depth);
    }
    if let Some(any) = schema["oneOf"].as_array() {
        return any.iter().flat_map(|one| alternatives(one, known, depth)).collect();
    }
    if let Some(parts) = schema["allOf"].as_array() {
        let start = vec![Members::from_iter([("type".to_owned(), json!("object"))])];
        return parts.iter().fold(start, |made, part| {
            let more = alternatives(part, known, depth);
            made.iter().flat_map(|one| more.iter().map(|other| both(one, other))).collect()
        });
    }
    schema.as_object().filter(|object| object.contains_key("properties")).cloned().into_iter().collect()
}

/// One object with the members of two.
fn both(one: &Members, other: &Members) -> Members {
    let mut whole = one.clone();
    let of = |part: &Members| part.get("properties").and_then(Value::as_object).cloned().unwrap_or_default();
    let mut properties = of(one);
    properties.extend(of(other));
    whole.insert("properties".to_owned(), Value::Object(properties));
    let listed = |part: &Members| part.get("required").and_then(Value::as_array).cloned().unwrap_or_default();
    whole.insert("required".to_owned(), Value::Array([listed(one), listed(other)].concat()));
    whole.remove("additionalProperties");
    whole
}
