//! Answers against the schemas that the document at `/api/v1/openapi.json` gives for them.
//!
//! Every JSON answer that goes through `support` is held so: to the schema of its path, method and status, by a
//! validator of JSON Schema 2020-12, the dialect of OpenAPI 3.1.

use axum::http::{Method, StatusCode};
use jsonschema::{Draft, Validator};
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// Path as in the document, method, status.
pub type Kind = (String, String, String);

/// Schemas of the answers that are JSON.
pub struct Answers {
    all: BTreeMap<Kind, (Validator, bool)>,
}

impl Answers {
    /// Of a document.
    pub fn new(document: &Value) -> Self {
        let mut all = BTreeMap::new();
        for (path, item) in document["paths"].as_object().unwrap() {
            for (method, operation) in item.as_object().unwrap() {
                for status in ["200", "201"] {
                    let Some(schema) =
                        operation["responses"][status].pointer("/content/application~1json/schema")
                    else {
                        continue;
                    };
                    let kind = (path.clone(), method.to_uppercase(), status.to_owned());
                    all.insert(kind, (validator(document, schema), tells_members(document, schema)));
                }
            }
        }
        Self { all }
    }

    /// Those whose members are told, or those of which it is only said that they are objects.
    pub fn kinds(&self, told: bool) -> Vec<&Kind> {
        self.all.iter().filter(|(_, (_, tells))| *tells == told).map(|(kind, _)| kind).collect()
    }

    /// Holds an answer to its schema; gives its kind where its members are told.
    pub fn hold(&self, method: &Method, path: &str, status: StatusCode, answer: &Value) -> Option<Kind> {
        let asked: Vec<&str> = path.split('?').next().unwrap().split('/').collect();
        let is_of = |(template, its, code): &&Kind| {
            its == method.as_str() && code == status.as_str() && fits(template, &asked)
        };
        // A path without names comes before one with them.
        let kind = self.all.keys().filter(is_of).min_by_key(|(template, ..)| template.matches('{').count());
        let kind = kind.unwrap_or_else(|| panic!("{method} {path} {status}: no such answer is described"));
        let (validator, tells) = &self.all[kind];
        let wrong: Vec<String> = validator
            .iter_errors(answer)
            .map(|error| format!("{}: {error}", error.instance_path()))
            .collect();
        assert!(wrong.is_empty(), "{method} {path} {status}: {}\n{answer:#}", wrong.join("\n"));
        tells.then(|| kind.clone())
    }
}

fn fits(template: &str, asked: &[&str]) -> bool {
    let parts: Vec<&str> = template.split('/').collect();
    parts.len() == asked.len()
        && parts.iter().zip(asked).all(|(part, word)| part.starts_with('{') || part == word)
}

/// One schema with the types it refers to.
fn validator(document: &Value, schema: &Value) -> Validator {
    let whole = json!({ "allOf": [schema], "components": document["components"] });
    jsonschema::options().with_draft(Draft::Draft202012).build(&whole).unwrap()
}

/// Whether a schema says more than that something is an object.
fn tells_members(document: &Value, schema: &Value) -> bool {
    let schema = match schema["$ref"].as_str() {
        None => schema,
        Some(name) => document.pointer(name.strip_prefix('#').unwrap()).unwrap(),
    };
    let kinds = schema["oneOf"].as_array();
    schema["properties"].is_object()
        || schema["additionalProperties"].is_object()
        || schema["additionalProperties"] == false
        || kinds.is_some_and(|kinds| kinds.iter().all(|kind| tells_members(document, kind)))
}
