//! The serial ports of this machine under their most stable names, and whether each may be opened.
//!
//! A name under /dev/serial/by-id stays with the device, one under by-path with the socket it is
//! plugged into, and ttyUSB0 with neither. Nothing is opened here, because opening may reset a device.

use super::holder::holders;
use super::open::group_of;
use rustix::fs::{Access, access};
use std::path::{Path, PathBuf};
use tokio_serial::SerialPortType;

/// Most links read in one folder.
const LINKS_MAX: usize = 1024;

/// One serial port.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ListedPort {
    /// The most stable name: by-id, else by-path, else the device.
    pub path: String,
    /// The device itself, such as /dev/ttyUSB0.
    pub device: String,
    /// Its other names, stable ones first.
    pub other_names: Vec<String>,
    /// What the device says of itself, for a person.
    pub words: String,
    /// Whether it can be opened now, and if not, why and what to do.
    pub allowed: Result<(), Denied>,
}

/// Why a port cannot be opened.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{why}")]
pub struct Denied {
    /// The reason.
    pub why: String,
    /// What the operator can do about it.
    pub what_to_do: String,
}

/// Lists the serial ports of this machine, sorted by their most stable names.
#[must_use]
pub fn list_ports() -> Vec<ListedPort> {
    // The serial crate panics where this folder is missing, as in some containers.
    if !Path::new("/sys/class/tty").is_dir() {
        return Vec::new();
    }
    let found = tokio_serial::available_ports().unwrap_or_default();
    let devices: Vec<(PathBuf, String)> =
        found.into_iter().map(|port| (PathBuf::from(&port.port_name), words(&port.port_type))).collect();
    name_ports(Path::new("/dev/serial"), &devices)
}

/// Gives devices the names of the links under `serial` that lead to them.
fn name_ports(serial: &Path, devices: &[(PathBuf, String)]) -> Vec<ListedPort> {
    let links: Vec<(PathBuf, PathBuf)> =
        ["by-id", "by-path"].iter().flat_map(|folder| links_in(&serial.join(folder))).collect();
    let mut ports: Vec<ListedPort> = devices
        .iter()
        .map(|(device, words)| {
            let real = device.canonicalize().unwrap_or_else(|_| device.clone());
            let mut names: Vec<String> = links
                .iter()
                .filter(|(_, target)| *target == real)
                .map(|(link, _)| link.to_string_lossy().into_owned())
                .collect();
            names.push(device.to_string_lossy().into_owned());
            ListedPort {
                path: names.remove(0),
                device: device.to_string_lossy().into_owned(),
                other_names: names,
                words: words.clone(),
                allowed: allowed(device),
            }
        })
        .collect();
    ports.sort_by(|a, b| a.path.cmp(&b.path));
    ports
}

/// Links of one folder with what they lead to, sorted; empty where there is no such folder.
fn links_in(folder: &Path) -> Vec<(PathBuf, PathBuf)> {
    let Ok(entries) = std::fs::read_dir(folder) else {
        return Vec::new();
    };
    let mut links: Vec<(PathBuf, PathBuf)> = entries
        .flatten()
        .take(LINKS_MAX)
        .filter_map(|entry| Some((entry.path(), entry.path().canonicalize().ok()?)))
        .collect();
    links.sort();
    links
}

/// Whether this process may open the device, without opening it.
fn allowed(device: &Path) -> Result<(), Denied> {
    if access(device, Access::READ_OK | Access::WRITE_OK).is_err() {
        return Err(denied(group_of(device)));
    }
    let holders = holders(device);
    if holders.is_empty() {
        return Ok(());
    }
    let names: Vec<String> = holders.iter().map(ToString::to_string).collect();
    Err(Denied {
        why: format!("in use by {}", names.join(", ")),
        what_to_do: "end the other program; a port has one reader".to_owned(),
    })
}

fn denied(group: Option<String>) -> Denied {
    match group {
        Some(group) => Denied {
            why: format!("no permission: only root and the group '{group}' may open it"),
            what_to_do: format!(
                "add the user to the group (sudo usermod -aG {group} USER), then log in again"
            ),
        },
        None => Denied {
            why: "no permission: only root may open it".to_owned(),
            what_to_do: "let a udev rule give the port to the group 'dialout'".to_owned(),
        },
    }
}

fn words(kind: &SerialPortType) -> String {
    match kind {
        SerialPortType::UsbPort(usb) => {
            let told: Vec<&str> = [&usb.manufacturer, &usb.product, &usb.serial_number]
                .into_iter()
                .filter_map(|text| text.as_deref())
                .collect();
            format!("USB {:04x}:{:04x} {}", usb.vid, usb.pid, told.join(" ")).trim_end().to_owned()
        }
        SerialPortType::BluetoothPort => "Bluetooth".to_owned(),
        SerialPortType::PciPort => "PCI".to_owned(),
        SerialPortType::Unknown => "built in".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::os::unix::fs::symlink;

    #[test]
    fn the_most_stable_name_comes_first() {
        let folder = tempfile::tempdir().unwrap();
        let dev = folder.path();
        let serial = dev.join("serial");
        std::fs::create_dir_all(serial.join("by-id")).unwrap();
        std::fs::create_dir_all(serial.join("by-path")).unwrap();
        for name in ["ttyUSB0", "ttyUSB1", "ttyS0"] {
            std::fs::write(dev.join(name), b"").unwrap();
        }
        symlink("../../ttyUSB1", serial.join("by-id/usb-rig-7")).unwrap();
        symlink("../../ttyUSB1", serial.join("by-path/p1")).unwrap();
        symlink("../../ttyUSB0", serial.join("by-path/p0")).unwrap();
        symlink("../../gone", serial.join("by-id/usb-gone")).unwrap();
        let devices: Vec<(PathBuf, String)> =
            ["ttyUSB0", "ttyUSB1", "ttyS0"].iter().map(|name| (dev.join(name), String::new())).collect();
        let ports = name_ports(&serial, &devices);
        let text = |path: PathBuf| path.to_string_lossy().into_owned();
        let paths: Vec<&str> = ports.iter().map(|port| port.path.as_str()).collect();
        assert_eq!(
            paths,
            [text(serial.join("by-id/usb-rig-7")), text(serial.join("by-path/p0")), text(dev.join("ttyS0"))]
        );
        assert_eq!(ports[0].other_names, [text(serial.join("by-path/p1")), text(dev.join("ttyUSB1"))]);
        assert!(ports.iter().all(|port| port.allowed.is_ok()), "{ports:?}");
    }

    #[test]
    fn a_denied_port_names_the_group_that_may() {
        let named = denied(Some("dialout".into()));
        assert_eq!(named.to_string(), "no permission: only root and the group 'dialout' may open it");
        assert!(named.what_to_do.contains("usermod -aG dialout"));
        assert!(denied(None).what_to_do.contains("udev"));
    }

    #[test]
    fn a_port_somebody_reads_names_the_process() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("ttyUSB0");
        let _open = std::fs::File::create(&path).unwrap();
        let why = allowed(&path).unwrap_err().why;
        assert!(why.starts_with(&format!("in use by process {} (", std::process::id())), "{why}");
    }

    #[test]
    fn listing_this_machine_does_not_panic_and_is_sorted() {
        let ports = list_ports();
        assert!(ports.is_sorted_by(|a, b| a.path <= b.path));
    }
}
