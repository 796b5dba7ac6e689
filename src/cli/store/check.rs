//! `store check`: everything in the store is read, and what does not fit is said.
//!
//! The check itself is the API's; here its report becomes rows and an exit code. A report that cannot be
//! understood is never taken for a sound store.

use crate::context::{Context, who};
use crate::error::CliError;
use crate::output::{Cell, Rows, print};
use axum::http::Method;
use serde_json::{Value, json};

/// Reads everything and says what does not fit.
///
/// # Errors
/// Faults were found (the answer is no), or the store cannot be read.
pub async fn check(context: &Context) -> Result<(), CliError> {
    let report = on_record(context).await?;
    show(context, &report)
}

/// A report as rows; faults make the answer no.
///
/// # Errors
/// Faults were found, or the report cannot be understood.
pub(super) fn show(context: &Context, report: &Value) -> Result<(), CliError> {
    let mut rows = Rows::new(&["what", "found"]);
    if let Some(map) = report.as_object() {
        for (key, value) in map.iter().filter(|(key, _)| *key != "faults") {
            flatten(&mut rows, key, value);
        }
    }
    let faults = faults_of(report)?;
    for fault in &faults {
        rows.rows.push(vec![Cell::Text("FAULT".into()), Cell::Text(fault.clone())]);
    }
    print(context.format, report, &rows)?;
    if faults.is_empty() && report["ok"] == true {
        return Ok(());
    }
    let further = report["further_faults"].as_u64().unwrap_or_default();
    Err(CliError::No {
        what: format!("the store has {} fault(s)", faults.len() as u64 + further),
        hint: Some("keep a copy of the store's folder before anything else, and send `boltscribe doctor` with the report".into()),
    })
}

/// The check with an event that tells of it; a copy opened read-only keeps none.
async fn on_record(context: &Context) -> Result<Value, CliError> {
    let who = who(None).unwrap_or_else(|_| "unknown".to_owned());
    context.door.change(Method::POST, "store/check", &json!({ "who": who })).await
}

fn faults_of(report: &Value) -> Result<Vec<String>, CliError> {
    let Some(faults) = report["faults"].as_array() else {
        // Without the list nobody knows whether the store is sound, so that is not "no fault".
        return Err(CliError::Answer {
            request: "GET store/check".into(),
            expected: "a list of faults",
            found: "a report without 'faults'".into(),
        });
    };
    Ok(faults.iter().map(|f| f.as_str().map_or_else(|| f.to_string(), str::to_owned)).collect())
}

/// A nested document as rows `a.b`.
pub fn flatten(rows: &mut Rows, key: &str, value: &Value) {
    match value {
        Value::Object(map) if !map.is_empty() => {
            for (inner, value) in map {
                flatten(rows, &format!("{key}.{inner}"), value);
            }
        }
        Value::Array(items) if items.iter().any(|i| i.is_object() || i.is_array()) => {
            for (at, item) in items.iter().enumerate() {
                flatten(rows, &format!("{key}.{at}"), item);
            }
        }
        Value::Array(items) => {
            let words: Vec<String> =
                items.iter().map(|i| i.as_str().map_or_else(|| i.to_string(), str::to_owned)).collect();
            rows.rows.push(vec![Cell::Text(key.into()), Cell::Text(words.join(" "))]);
        }
        Value::String(text) => rows.rows.push(vec![Cell::Text(key.into()), Cell::Text(text.clone())]),
        Value::Null => rows.rows.push(vec![Cell::Text(key.into()), Cell::None]),
        other => rows.rows.push(vec![Cell::Text(key.into()), Cell::Text(other.to_string())]),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn a_report_without_a_list_of_faults_is_not_called_sound() {
        assert!(faults_of(&json!({"runs": 3})).is_err());
        assert_eq!(faults_of(&json!({"ok": true, "faults": []})).unwrap(), Vec::<String>::new());
        assert_eq!(faults_of(&json!({"ok": false, "faults": ["run 7 missing"]})).unwrap(), ["run 7 missing"]);
    }

    #[test]
    fn nested_reports_become_dotted_rows() {
        let mut rows = Rows::new(&["what", "found"]);
        flatten(&mut rows, "a", &json!({"b": [{"c": 1}], "d": null}));
        assert_eq!(rows.rows[0], vec![Cell::Text("a.b.0.c".into()), Cell::Text("1".into())]);
        assert_eq!(rows.rows[1], vec![Cell::Text("a.d".into()), Cell::None]);
    }
}
