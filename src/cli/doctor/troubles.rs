//! What is wrong in what the doctor found, each in a sentence with what to do about it.
//!
//! Limits are stated here. Must not look at anything by itself.

use serde_json::Value;

/// Less free room on the disk than this is a trouble: a night of 2,000 samples/s takes some tens of MB.
const FREE_BYTES_MIN: u64 = 512 << 20;
/// A log this long means that something keeps readers open.
const LOG_BYTES_MAX: u64 = 256 << 20;
/// A queue this full is about to drop.
const QUEUE_FULL_SHARE: f64 = 0.5;

/// All troubles in what the daemon, or the store in this process, says of itself.
#[must_use]
pub fn troubles(document: &Value) -> Vec<String> {
    let mut all: Vec<String> = version(document).into_iter().collect();
    all.extend(rigs(document));
    all.extend(store(document));
    all.extend(queues(document));
    all
}

/// A version that differs from ours is the first thing to look at.
fn version(document: &Value) -> Option<String> {
    let ours = env!("CARGO_PKG_VERSION");
    let theirs = document["version"].as_str().filter(|theirs| *theirs != ours)?;
    Some(format!("versions differ: boltscribe {ours}, boltscribed {theirs}; restart boltscribed"))
}

fn rigs(document: &Value) -> Vec<String> {
    let mut all = Vec::new();
    for rig in list(&document["rigs"]) {
        let name = rig["rig"].as_str().unwrap_or_default();
        if let Some(trouble) = rig["trouble"].as_str() {
            all.push(format!("rig '{name}' does not measure: {trouble}; send a bug report with the log"));
        } else if rig["link"] == "down" {
            let detail = rig["link_detail"].as_str().unwrap_or("no reason given");
            all.push(format!("rig '{name}': its line is down: {detail}"));
        } else if let (true, Some(detail)) = (silent(rig), rig["link_detail"].as_str()) {
            all.push(format!(
                "rig '{name}': {detail}; look at its converter and its supply, then switch it off and on"
            ));
        } else if silent(rig) {
            all.push(format!(
                "rig '{name}': its line is open, but silent; look at the device's power and its cable"
            ));
        }
    }
    for rig in list(&document["rigs"]).iter().filter(|rig| rig["awaits_rest"] == true) {
        all.push(format!(
            "rig '{}': no release was seen since the start, so what is driven is no run, or is left out; release \
             the bolt, or take the zero if nothing pulls: `boltscribe rig zero`",
            rig["rig"].as_str().unwrap_or_default()
        ));
    }
    for port in list(&document["ports"]).iter().filter(|port| port["rig"].is_string()) {
        if let (Some(path), Some(why)) = (port["path"].as_str(), port["not_allowed"].as_str()) {
            all.push(format!("port {path}: {why}"));
        }
    }
    all
}

/// The line is open, but no samples come.
fn silent(rig: &Value) -> bool {
    rig["stale"] == true && rig["link"] == "up"
}

fn store(document: &Value) -> Vec<String> {
    let mut all = Vec::new();
    let store = &document["store"];
    if let Some(failing) = document["writer"]["failing"].as_str() {
        all.push(format!(
            "the store cannot be written: {failing}; rows wait in memory, free some room before they are lost"
        ));
    }
    if let Some(free) = store["disk_free_bytes"].as_u64().filter(|free| *free < FREE_BYTES_MIN) {
        all.push(format!(
            "the disk of the store is nearly full: {} MiB free; `boltscribe store prune --help`",
            free >> 20
        ));
    }
    if let Some(log) = store["log_bytes"].as_u64().filter(|log| *log > LOG_BYTES_MAX) {
        all.push(format!(
            "the write-ahead log has {} MiB; end programs that keep the store open for reading",
            log >> 20
        ));
    }
    let check = store["facts"]["last_check"]["detail"].as_str();
    if let Some(detail) = check.filter(|detail| !detail.ends_with(": 0 fault(s)")) {
        all.push(format!(
            "the last check of the store found faults ({detail}); keep a copy of its folder, then check again"
        ));
    }
    let verify = store["facts"]["last_verify"]["detail"].as_str();
    if let Some(detail) = verify.filter(|detail| !detail.contains(": 0 fault(s) in ")) {
        all.push(format!(
            "rows of the store are not what was committed ({detail}); keep a copy of its folder, then `boltscribe store \
             verify` names them"
        ));
    }
    all
}

fn queues(document: &Value) -> Vec<String> {
    let mut all = Vec::new();
    let waiting = document["writer"]["waiting"].as_f64().unwrap_or(0.0);
    let limit = document["limits"]["store_queue_rows"].as_f64().unwrap_or(f64::INFINITY);
    if waiting > QUEUE_FULL_SHARE * limit {
        all.push(format!("{waiting} rows of at most {limit} wait to be stored; the disk may be too slow"));
    }
    let empty = serde_json::Map::new();
    let counters = document["counters"].as_object().unwrap_or(&empty);
    let lost = counters.iter().filter(|(name, _)| name.contains("_dropped_") && !name.contains("_news_"));
    for (name, count) in lost.filter_map(|(name, count)| Some((name, count.as_u64().filter(|n| *n > 0)?))) {
        all.push(if name == "boltscribe_log_lines_dropped_total" {
            format!(
                "{count} lines of the daemon's log were lost since its start: its standard error cannot be written \
                 (a closed or full pipe, a full disk); measuring goes on"
            )
        } else {
            format!("{name} is {count} since the start: a queue was full; look at the disk and the load")
        });
    }
    all
}

/// What this process itself found of the socket and its groups.
#[must_use]
pub fn of_host(report: &Value) -> Vec<String> {
    let mut all = Vec::new();
    let socket = &report["socket"];
    let mode = socket["mode"].as_str().and_then(|mode| u32::from_str_radix(mode, 8).ok());
    if socket["kind"] == "socket" && mode.is_some_and(|mode| mode & 0o007 != 0) {
        all.push(format!(
            "everybody may use the socket (mode {}); its permission is who may change the store: chmod o= it",
            socket["mode"].as_str().unwrap_or("?")
        ));
    }
    all
}

fn list(value: &Value) -> &[Value] {
    value.as_array().map_or(&[], Vec::as_slice)
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn a_silent_or_missing_rig_and_another_version_are_troubles() {
        let document = json!({"version": "0.0.0", "rigs": [
            {"rig": "a", "link": "down", "stale": true, "link_detail": "no such file"},
            {"rig": "b", "link": "up", "stale": true},
            {"rig": "c", "link": "up", "stale": false},
            {"rig": "d", "link": "not-served", "stale": true},
            {"rig": "e", "link": "up", "stale": true, "link_detail": "answers, but sends no samples"},
        ]});
        let troubles = troubles(&document);
        assert_eq!(troubles.len(), 4, "{troubles:?}");
        assert!(troubles[1].contains("no such file") && troubles[2].contains("silent"));
        assert!(troubles[3].contains("no samples"), "{troubles:?}");
    }

    #[test]
    fn a_full_disk_a_failing_store_a_bad_check_and_lost_rows_are_troubles() {
        let sound = json!({"version": env!("CARGO_PKG_VERSION"), "rigs": [],
            "store": {"disk_free_bytes": 1_u64 << 40, "log_bytes": 4096,
                      "facts": {"last_check": {"detail": "by ana: 0 fault(s)"},
                                "last_verify": {"detail": "by boltscribed: 0 fault(s) in 90 links"}}},
            "writer": {"failing": null, "waiting": 3}, "limits": {"store_queue_rows": 65536},
            "counters": {"boltscribe_rows_dropped_total": 0, "boltscribe_log_lines_dropped_total": 0,
                         "boltscribe_port_opens_total": 7}});
        assert_eq!(super::troubles(&sound), Vec::<String>::new());
        for (pointer, value, words) in [
            ("/store/disk_free_bytes", json!(1000), "nearly full"),
            ("/store/log_bytes", json!(1_u64 << 30), "write-ahead log"),
            ("/store/facts/last_check/detail", json!("by ana: 2 fault(s)"), "found faults"),
            (
                "/store/facts/last_verify/detail",
                json!("by boltscribed: 1 fault(s) in 90 links; first: runs 3: it is not what was committed"),
                "not what was committed",
            ),
            ("/writer/failing", json!("disk full"), "cannot be written: disk full"),
            ("/writer/waiting", json!(60_000), "wait to be stored"),
            ("/counters/boltscribe_rows_dropped_total", json!(2), "a queue was full"),
            ("/counters/boltscribe_log_lines_dropped_total", json!(5), "5 lines of the daemon's log"),
        ] {
            let mut ill = sound.clone();
            *ill.pointer_mut(pointer).unwrap() = value;
            let found = super::troubles(&ill);
            assert_eq!(found.len(), 1, "{pointer}: {found:?}");
            assert!(found[0].contains(words), "{found:?}");
        }
    }

    #[test]
    fn a_socket_for_everybody_is_a_trouble() {
        let report = |mode: &str| json!({"socket": {"kind": "socket", "mode": mode}});
        assert_eq!(of_host(&report("0666")).len(), 1);
        assert!(of_host(&report("0660")).is_empty());
    }
}
