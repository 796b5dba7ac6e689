//! `doctor`: all that a bug report needs, in one document, even where the door does not open.
//!
//! Versions, settings, folder, socket, permissions and groups as this process sees them; then what
//! the daemon (or the store) says of itself. Exit 1 when something is wrong, each with a line.

use super::args::Common;
use super::door::daemon_listens;
use super::error::CliError;
use super::output::{Cell, Rows, print};
use super::place::Place;
use super::store::flatten;
use super::{forward, hints, local};
use serde_json::{Value, json};
use std::os::unix::fs::{FileTypeExt, MetadataExt};
use std::path::Path;

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
            troubles.extend(rig_troubles(&document));
            troubles.extend(forward::troubles(&document["forward"]));
            report["daemon"] = document;
        }
        Err(e) => troubles.push(with_hint(&e)),
    }
    door.close();
}

/// A version that differs from ours is the first thing to look at.
fn rig_troubles(document: &Value) -> Vec<String> {
    let mut troubles = Vec::new();
    let ours = env!("CARGO_PKG_VERSION");
    if let Some(theirs) = document["version"].as_str().filter(|v| *v != ours) {
        troubles.push(format!("versions differ: boltscribe {ours}, boltscribed {theirs}"));
    }
    for rig in document["rigs"].as_array().map_or(&[][..], Vec::as_slice) {
        let name = rig["rig"].as_str().unwrap_or_default();
        if rig["link"] == "down" {
            let detail = rig["link_detail"].as_str().unwrap_or("no reason given");
            troubles.push(format!("rig '{name}': its line is down: {detail}"));
        } else if rig["stale"] == true && rig["link"] == "up" {
            troubles.push(format!("rig '{name}': its line is open, but silent"));
        }
    }
    troubles
}

fn with_hint(error: &CliError) -> String {
    match hints::hint(error) {
        Some(hint) => format!("{error}; {hint}"),
        None => error.to_string(),
    }
}

fn client() -> Value {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let ids = |key: &str| -> Vec<String> {
        let line = status.lines().find_map(|line| line.strip_prefix(key));
        line.map_or_else(Vec::new, |l| l.split_whitespace().map(str::to_owned).collect())
    };
    json!({
        "version": env!("CARGO_PKG_VERSION"),
        "system": std::env::consts::OS,
        "machine": std::env::consts::ARCH,
        "kernel": std::fs::read_to_string("/proc/sys/kernel/osrelease").ok().map(|s| s.trim().to_owned()),
        "program": std::env::current_exe().ok(),
        "uid": ids("Uid:").first(),
        "groups": named_groups(&ids("Groups:")),
    })
}

/// Group ids with their names, where /etc/group tells.
fn named_groups(ids: &[String]) -> Vec<String> {
    let file = std::fs::read_to_string("/etc/group").unwrap_or_default();
    ids.iter()
        .map(|id| {
            let name = file.lines().find_map(|line| {
                let mut parts = line.split(':');
                let name = parts.next()?;
                (parts.nth(1)? == id).then_some(name)
            });
            name.map_or_else(|| id.clone(), |name| format!("{name}({id})"))
        })
        .collect()
}

fn settings(place: &Place) -> Value {
    json!({ "file": place.config, "store_folder": place.folder, "socket": place.socket, "rigs": place.rig_names() })
}

fn file_facts(path: &Path) -> Value {
    match std::fs::metadata(path) {
        Ok(meta) => json!({
            "path": path,
            "kind": if meta.is_dir() { "folder" } else if meta.file_type().is_socket() { "socket" } else { "file" },
            "mode": format!("{:04o}", meta.mode() & 0o7777),
            "uid": meta.uid(),
            "gid": meta.gid(),
        }),
        Err(e) => json!({ "path": path, "kind": Value::Null, "why": e.to_string() }),
    }
}

fn rows(report: &Value) -> Rows {
    let mut rows = Rows::new(&["what", "found"]);
    if let Some(map) = report.as_object() {
        for (key, value) in map.iter().filter(|(key, _)| *key != "troubles") {
            flatten(&mut rows, key, value);
        }
    }
    for trouble in report["troubles"].as_array().map_or(&[][..], Vec::as_slice) {
        rows.rows.push(vec![Cell::Text("TROUBLE".into()), Cell::text(trouble.as_str())]);
    }
    rows
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_silent_or_missing_rig_and_another_version_are_troubles() {
        let document = json!({"version": "0.0.0", "rigs": [
            {"rig": "a", "link": "down", "stale": true, "link_detail": "no such file"},
            {"rig": "b", "link": "up", "stale": true},
            {"rig": "c", "link": "up", "stale": false},
            {"rig": "d", "link": "not-served", "stale": true},
        ]});
        let troubles = rig_troubles(&document);
        assert_eq!(troubles.len(), 3, "{troubles:?}");
        assert!(troubles[1].contains("no such file") && troubles[2].contains("silent"));
    }

    #[test]
    fn a_missing_file_is_a_fact_with_its_reason() {
        let facts = file_facts(Path::new("/no/such/file"));
        assert!(facts["kind"].is_null() && facts["why"].is_string());
    }
}
