//! What this process sees of the machine: system, groups, files and their permissions, units, the clock.
//!
//! Reads only small files of the system. What cannot be told cheaply is null, never a guess.

use serde_json::{Value, json};
use std::os::unix::fs::{FileTypeExt, MetadataExt};
use std::path::Path;

/// Where a unit file of the daemon may lie, most particular first.
const UNITS: [&str; 3] = [
    "/etc/systemd/system/boltscribed.service",
    "/lib/systemd/system/boltscribed.service",
    "/usr/lib/systemd/system/boltscribed.service",
];
const RULES: [&str; 3] = [
    "/etc/udev/rules.d/70-boltscribe.rules",
    "/lib/udev/rules.d/70-boltscribe.rules",
    "/usr/lib/udev/rules.d/70-boltscribe.rules",
];
/// Made by systemd-timesyncd once the clock has been set from the network.
const SYNCHRONIZED: &str = "/run/systemd/timesync/synchronized";
const TIMESYNCD: &str = "/run/systemd/timesync";

/// The machine and who we are on it.
pub fn client() -> Value {
    let status = read("/proc/self/status").unwrap_or_default();
    let ids = |key: &str| -> Vec<String> {
        let line = status.lines().find_map(|line| line.strip_prefix(key));
        line.map_or_else(Vec::new, |l| l.split_whitespace().map(str::to_owned).collect())
    };
    json!({
        "version": env!("CARGO_PKG_VERSION"),
        "system": std::env::consts::OS,
        "machine": std::env::consts::ARCH,
        "kernel": read("/proc/sys/kernel/osrelease").map(|s| s.trim().to_owned()),
        "program": std::env::current_exe().ok(),
        "uid": ids("Uid:").first(),
        "groups": named_groups(&ids("Groups:")),
        "systemd": Path::new("/run/systemd/system").exists(),
        "unit_file": UNITS.iter().find(|path| Path::new(path).exists()),
        "udev_rule": RULES.iter().find(|path| Path::new(path).exists()),
        "clock_synchronized": synchronized(),
    })
}

/// Whether the clock was set from the network; none where this system does not tell cheaply.
fn synchronized() -> Option<bool> {
    Path::new(TIMESYNCD).exists().then(|| Path::new(SYNCHRONIZED).exists())
}

fn read(path: &str) -> Option<String> {
    std::fs::read_to_string(path).ok()
}

/// Group ids with their names, where /etc/group tells.
fn named_groups(ids: &[String]) -> Vec<String> {
    let file = read("/etc/group").unwrap_or_default();
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

/// Kind, owner and permissions of a file.
pub fn file_facts(path: &Path) -> Value {
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

/// The process that holds the store, by the number in the lock file and what the system calls it.
pub fn holder(folder: &Path) -> Value {
    let text = std::fs::read_to_string(folder.join(boltscribe_store::lock::LOCK_NAME)).unwrap_or_default();
    let Ok(pid) = text.trim().parse::<u32>() else { return Value::Null };
    match read(&format!("/proc/{pid}/comm")) {
        Some(name) => json!({ "process": pid, "name": name.trim() }),
        // The number of a process that is gone: the lock is free.
        None => Value::Null,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_missing_file_is_a_fact_with_its_reason() {
        let facts = file_facts(Path::new("/no/such/file"));
        assert!(facts["kind"].is_null() && facts["why"].is_string());
    }

    #[test]
    fn a_lock_of_a_process_that_is_gone_has_no_holder() {
        let folder = tempfile::tempdir().unwrap();
        assert!(holder(folder.path()).is_null());
        // Above what Linux gives out (PID_MAX_LIMIT, 2^22).
        std::fs::write(folder.path().join("lock"), "4194305\n").unwrap();
        assert!(holder(folder.path()).is_null());
        std::fs::write(folder.path().join("lock"), format!("{}\n", std::process::id())).unwrap();
        assert_eq!(holder(folder.path())["process"], std::process::id());
    }
}
