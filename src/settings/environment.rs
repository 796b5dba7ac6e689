//! Variables BOLTSCRIBE__SECTION__KEY as a layer over the file.
//!
//! Every variable of the prefix must be known; the others are not looked at. Rigs are set in files only,
//! because a list cannot be changed in part. This file must not read the process's environment itself.

use super::problem::{Place, Problem, shorten, unknown};
use super::schema::{Key, SECTIONS, Section};
use config::{Map, Value};

const PREFIX: &str = "BOLTSCRIBE__";

/// Reads the variables of the prefix.
pub(super) fn layer(variables: impl Iterator<Item = (String, String)>) -> (Map<String, Value>, Vec<Problem>) {
    let known: Vec<(String, &Section, &Key)> = SECTIONS
        .iter()
        .filter(|section| !section.many)
        .flat_map(|section| {
            section
                .keys
                .iter()
                .map(move |key| (variable(section, key), section, key))
        })
        .collect();
    let names: Vec<&str> = known.iter().map(|(name, ..)| name.as_str()).collect();
    let mut tables: Map<String, Map<String, Value>> = Map::new();
    let mut problems = Vec::new();
    let mut ours: Vec<(String, String)> = variables.filter(|(name, _)| name.starts_with(PREFIX)).collect();
    ours.sort();
    for (name, text) in ours {
        let place = Place::Environment {
            variable: name.clone(),
        };
        let Some((_, section, key)) = known.iter().find(|(known, ..)| *known == name) else {
            let what = if name.starts_with("BOLTSCRIBE__RIG__") {
                "rigs are set in files only".to_owned()
            } else {
                unknown("variable", &name, &names)
            };
            problems.push(Problem {
                place,
                key: None,
                what,
            });
            continue;
        };
        match key.kind.read_plain(&text) {
            Ok(kind) => {
                let value = Value::new(Some(&place.to_string()), kind);
                tables
                    .entry(section.name.to_owned())
                    .or_default()
                    .insert(key.name.to_owned(), value);
            }
            Err(expected) => problems.push(Problem {
                place,
                key: Some(format!("{}.{}", section.name, key.name)),
                what: format!("expected {expected}, found '{}'", shorten(&text)),
            }),
        }
    }
    let layer = tables
        .into_iter()
        .map(|(name, table)| (name, Value::from(table)))
        .collect();
    (layer, problems)
}

fn variable(section: &Section, key: &Key) -> String {
    format!("{PREFIX}{}__{}", section.name, key.name).to_ascii_uppercase()
}
