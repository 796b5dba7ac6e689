//! Who has a port open: the processes whose open files under /proc lead to it.
//!
//! Only processes this user may look into are seen; others stay nameless. See proc(5), /proc/PID/fd.

use serde::{Deserialize, Serialize};
use std::fmt;
use std::path::Path;

/// Most holders told.
const HOLDERS_MAX: usize = 4;

/// A process that has the port open.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Holder {
    /// Its number.
    pub pid: u32,
    /// Its name as /proc/PID/comm tells it.
    pub name: String,
}

impl fmt::Display for Holder {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "process {} ({})", self.pid, self.name)
    }
}

/// The processes that have `port` open, lowest number first; empty where none can be seen.
#[must_use]
pub fn holders(port: &Path) -> Vec<Holder> {
    let (Ok(device), Ok(processes)) = (port.canonicalize(), std::fs::read_dir("/proc")) else {
        return Vec::new();
    };
    let mut found: Vec<Holder> = processes
        .flatten()
        .filter_map(|entry| {
            let pid: u32 = entry.file_name().to_str()?.parse().ok()?;
            let open = std::fs::read_dir(entry.path().join("fd")).ok()?;
            let holds = open
                .flatten()
                .any(|file| std::fs::read_link(file.path()).is_ok_and(|target| target == device));
            holds.then(|| Holder {
                pid,
                name: std::fs::read_to_string(entry.path().join("comm"))
                    .map_or_else(|_| "?".to_owned(), |name| name.trim().to_owned()),
            })
        })
        .collect();
    found.sort_by_key(|holder| holder.pid);
    found.truncate(HOLDERS_MAX);
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_process_that_has_the_file_open_is_found_through_a_link_too() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("port");
        let file = std::fs::File::create(&path).unwrap();
        let link = folder.path().join("link");
        std::os::unix::fs::symlink(&path, &link).unwrap();
        let me = std::process::id();
        assert!(holders(&link).iter().any(|holder| holder.pid == me));
        drop(file);
        assert_eq!(holders(&link), []);
        assert_eq!(holders(Path::new("/nowhere/at/all")), []);
    }
}
