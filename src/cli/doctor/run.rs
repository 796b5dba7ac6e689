//! `doctor`: all that a bug report needs, in one document, even where the door does not open.
//!
//! Versions, settings, folder, socket, permissions and groups as this process sees them; then what
//! the daemon (or the store) says of itself. Exit 1 when something is wrong, each with a line.

use super::host::{client, file_facts, holder};
use super::troubles::of_host;
use crate::args::Common;
use crate::door::daemon_listens;
use crate::error::CliError;
use crate::output::{Cell, Rows, print};
use crate::place::Place;
use crate::store::flatten;
use crate::{forward, hints, local};
use serde_json::{Value, json};

/// Looks at everything and says what is wrong.
///
/// # Errors
/// Something is wrong (the answer is no), or standard output cannot take the report.
pub async fn run(common: &Common) -> Result<(), CliError> {
    let mut report = json!({ "client": client() });
    let mut troubles: Vec<String> = Vec::new();
    match Place::find(common) {
        Ok(place) => {
            report["settings"] = settings(&place);
            report["folder"] = file_facts(&place.folder);
            report["socket"] = file_facts(&place.socket);
            report["lock_holder"] = holder(&place.folder);
            report["restore_waits"] = json!(boltscribe_store::restore::waits(&place.folder));
            troubles.extend(of_host(&report));
            beyond_the_door(common, &place, &mut report, &mut troubles).await;
        }
        Err(e) => troubles.push(with_hint(&e)),
    }
    report["troubles"] = json!(troubles);
    print(common.format, &report, &rows(&report))?;
    if troubles.is_empty() {
        return Ok(());
    }
    Err(CliError::No { what: format!("doctor found {} trouble(s)", troubles.len()), hint: None })
}

async fn beyond_the_door(common: &Common, place: &Place, report: &mut Value, troubles: &mut Vec<String>) {
    let listens = match daemon_listens(&place.socket).await {
        Ok(listens) => listens,
        Err(e) => {
            troubles.push(with_hint(&e));
            return;
        }
    };
    report["daemon_listens"] = json!(listens);
    if !listens && !place.has_store() {
        // Opening would make an empty store, and doctor changes nothing.
        troubles.push(format!("no boltscribed listens, and there is no store in {}", place.folder.display()));
        return;
    }
    let door = match local::open_door(common, false).await {
        Ok(door) => door,
        Err(e) => {
            troubles.push(with_hint(&e));
            return;
        }
    };
    match door.get("doctor").await {
        Ok(document) => {
            troubles.extend(super::troubles::troubles(&document));
            troubles.extend(forward::troubles(&document["forward"]));
            report["daemon"] = document;
        }
        Err(e) => troubles.push(with_hint(&e)),
    }
    door.close();
}

fn with_hint(error: &CliError) -> String {
    match hints::hint(error) {
        Some(hint) => format!("{error}; {hint}"),
        None => error.to_string(),
    }
}

/// Keys whose value is nobody's business in a bug report.
const SECRET: [&str; 4] = ["token", "password", "secret", "credential"];

/// Every value in force with its source.
fn settings(place: &Place) -> Value {
    let values: Vec<Value> = place
        .values
        .iter()
        .map(|shown| {
            let last = shown.key.rsplit('.').next().unwrap_or_default();
            let secret = SECRET.iter().any(|word| last.contains(word)) && !last.ends_with("_file");
            let value = if secret { "(hidden)" } else { &shown.value };
            json!({ "key": shown.key, "value": value, "source": shown.source })
        })
        .collect();
    json!({ "file": place.config, "store_folder": place.folder, "socket": place.socket,
            "rigs": place.rig_names(), "values": values })
}

fn rows(report: &Value) -> Rows {
    let mut rows = Rows::new(&["what", "found"]);
    if let Some(map) = report.as_object() {
        for (key, value) in map.iter().filter(|(key, _)| *key != "troubles") {
            match (key.as_str(), value) {
                ("settings", settings) => settings_rows(&mut rows, settings),
                _ => flatten(&mut rows, key, value),
            }
        }
    }
    for trouble in report["troubles"].as_array().map_or(&[][..], Vec::as_slice) {
        rows.rows.push(vec![Cell::Text("TROUBLE".into()), Cell::text(trouble.as_str())]);
    }
    rows
}

/// One row a value, as in a settings file, with where it comes from.
fn settings_rows(rows: &mut Rows, settings: &Value) {
    for shown in settings["values"].as_array().map_or(&[][..], Vec::as_slice) {
        let word = |key: &str| shown[key].as_str().unwrap_or_default().to_owned();
        let found = format!("{}  # {}", word("value"), word("source"));
        rows.rows.push(vec![Cell::Text(format!("settings.{}", word("key"))), Cell::Text(found)]);
    }
    for key in ["file", "store_folder", "socket"] {
        rows.rows.push(vec![Cell::Text(format!("settings.{key}")), Cell::text_of(settings, key)]);
    }
}
