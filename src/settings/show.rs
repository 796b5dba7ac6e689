//! Every value in force with its source, for a person who asks where a setting comes from.
//!
//! Values that are unset have no line. This file must not know what any key means.

use super::problem::Place;
use super::schema::{Key, SECTIONS};
use config::{Value, ValueKind};
use std::fmt;

/// One value and its source.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Shown {
    /// The key, such as `daemon.listen`, or `rig[0].port`.
    pub key: String,
    /// The value as TOML.
    pub value: String,
    /// `built-in`, `file:line:column`, or `environment VARIABLE`.
    pub source: String,
}

impl fmt::Display for Shown {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} = {}  # {}", self.key, self.value, self.source)
    }
}

/// The values of the merged layers in the order of the table of keys.
pub(super) fn shown(merged: &Value) -> Vec<Shown> {
    let mut lines = Vec::new();
    for section in SECTIONS {
        match get(merged, section.name).map(|value| value.kind) {
            Some(ValueKind::Array(items)) => {
                for (index, item) in items.iter().enumerate() {
                    table(
                        &mut lines,
                        &format!("{}[{index}]", section.name),
                        section.keys,
                        item,
                    );
                }
            }
            Some(kind) => table(&mut lines, section.name, section.keys, &Value::new(None, kind)),
            None => {}
        }
    }
    lines
}

fn table(lines: &mut Vec<Shown>, path: &str, keys: &[Key], value: &Value) {
    for key in keys {
        let Some(inner) = get(value, key.name) else {
            continue;
        };
        let full = format!("{path}.{}", key.name);
        if let super::kinds::Kind::Table(keys) = &key.kind {
            table(lines, &full, keys, &inner);
            continue;
        }
        lines.push(Shown {
            key: full,
            value: words(&inner.kind),
            source: inner
                .origin()
                .map_or_else(|| Place::BuiltIn.to_string(), str::to_owned),
        });
    }
}

fn get(value: &Value, name: &str) -> Option<Value> {
    match &value.kind {
        ValueKind::Table(table) => table.get(name).cloned(),
        _ => None,
    }
}

fn words(kind: &ValueKind) -> String {
    match kind {
        ValueKind::String(text) => toml::Value::String(text.clone()).to_string(),
        ValueKind::Float(number) => toml::Value::Float(*number).to_string(),
        ValueKind::Array(items) => {
            let items: Vec<String> = items.iter().map(|item| words(&item.kind)).collect();
            format!("[{}]", items.join(", "))
        }
        other => other.to_string(),
    }
}
