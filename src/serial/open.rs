//! Opening a port: told apart why it fails, locked against others, made not to hang up.
//!
//! The path is first opened as a plain file, which tells missing, forbidden and busy apart, and the
//! hang-up at the last close is switched off (termios HUPCL), so that a microcontroller is not reset by a
//! restart here. The serial crate then locks it (flock and TIOCEXCL). DTR is never set explicitly.

use super::event::PortError;
use super::holder::holders;
use super::settings::Settings;
use rustix::fs::OFlags;
use rustix::io::Errno;
use rustix::termios::{ControlModes, OptionalActions, tcgetattr, tcsetattr};
use std::os::unix::fs::{MetadataExt, OpenOptionsExt};
use std::path::Path;
use tokio_serial::{SerialPortBuilderExt, SerialStream};

/// Opens, locks and configures the port. Needs a tokio runtime with IO.
pub(super) fn open(settings: &Settings) -> Result<SerialStream, PortError> {
    prepare(&settings.path)?;
    tokio_serial::new(&settings.path, settings.baud).open_native_async().map_err(|error| match error.kind() {
        tokio_serial::ErrorKind::Io(std::io::ErrorKind::NotFound) => {
            PortError::Missing { path: settings.path.clone() }
        }
        // The serial crate words a failed lock and a vanished device alike; the file was there.
        tokio_serial::ErrorKind::NoDevice => busy(&settings.path),
        _ => PortError::Other { path: settings.path.clone(), what: error.to_string() },
    })
}

/// Opens the path once as a file, to know why it may fail and to switch off the hang-up.
fn prepare(path: &str) -> Result<(), PortError> {
    let flags = OFlags::NOCTTY | OFlags::NONBLOCK;
    let file = std::fs::OpenOptions::new()
        .read(true)
        .write(true)
        .custom_flags(flags.bits().cast_signed())
        .open(path)
        .map_err(|error| explain(path, &error))?;
    let mut modes = tcgetattr(&file).map_err(|errno| match errno {
        Errno::NOTTY | Errno::INVAL => PortError::NotSerial { path: path.to_owned() },
        other => explain(path, &other.into()),
    })?;
    if modes.control_modes.contains(ControlModes::HUPCL) {
        modes.control_modes.remove(ControlModes::HUPCL);
        // A driver that cannot is no reason to refuse the port.
        let _ = tcsetattr(&file, OptionalActions::Now, &modes);
    }
    Ok(())
}

fn busy(path: &str) -> PortError {
    PortError::Busy { path: path.to_owned(), holders: holders(Path::new(path)) }
}

/// An error of the system as a reason.
fn explain(path: &str, error: &std::io::Error) -> PortError {
    let owned = || path.to_owned();
    match Errno::from_io_error(error) {
        Some(Errno::NOENT | Errno::NXIO | Errno::NODEV | Errno::NOTDIR | Errno::LOOP) => {
            PortError::Missing { path: owned() }
        }
        // A pseudo terminal whose other end is closed; a USB adapter on its way out.
        Some(Errno::IO) => PortError::Gone { path: owned() },
        Some(Errno::ACCESS | Errno::PERM) => {
            PortError::NoPermission { path: owned(), group: group_of(Path::new(path)) }
        }
        Some(Errno::BUSY) => busy(path),
        Some(Errno::ISDIR) => PortError::NotSerial { path: owned() },
        _ => PortError::Other { path: owned(), what: error.to_string() },
    }
}

/// The group, other than root's, that may read and write the file.
pub(super) fn group_of(path: &Path) -> Option<String> {
    let meta = std::fs::metadata(path).ok()?;
    if meta.gid() == 0 || meta.mode() & 0o060 != 0o060 {
        return None;
    }
    let groups = std::fs::read_to_string("/etc/group").unwrap_or_default();
    Some(group_name(&groups, meta.gid()).unwrap_or_else(|| meta.gid().to_string()))
}

/// Finds the name of a group in the text of group(5): `name:password:number:members`.
fn group_name(groups: &str, gid: u32) -> Option<String> {
    groups.lines().find_map(|line| {
        let mut fields = line.split(':');
        let name = fields.next()?;
        let number: u32 = fields.nth(1)?.parse().ok()?;
        (number == gid).then(|| name.to_owned())
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reason(path: &str) -> PortError {
        prepare(path).unwrap_err()
    }

    #[test]
    fn a_missing_port_a_folder_and_a_file_are_told_apart() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("file");
        std::fs::write(&file, b"x").unwrap();
        assert!(matches!(reason("/dev/does-not-exist"), PortError::Missing { .. }));
        assert!(matches!(reason(folder.path().to_str().unwrap()), PortError::NotSerial { .. }));
        assert!(matches!(reason(file.to_str().unwrap()), PortError::NotSerial { .. }));
        assert!(matches!(reason("/dev/null"), PortError::NotSerial { .. }));
    }

    #[test]
    fn the_group_of_a_port_is_named_from_the_group_file() {
        let text = "root:x:0:\ndialout:x:20:ann,ben\nbroken\ntty:x:5:\n";
        assert_eq!(group_name(text, 20).as_deref(), Some("dialout"));
        assert_eq!(group_name(text, 5).as_deref(), Some("tty"));
        assert_eq!(group_name(text, 7), None);
    }

    #[test]
    fn errors_of_the_system_become_reasons() {
        let from = |errno: Errno| explain("/dev/x", &errno.into());
        assert!(matches!(from(Errno::NXIO), PortError::Missing { .. }));
        assert!(matches!(from(Errno::ACCESS), PortError::NoPermission { group: None, .. }));
        assert!(matches!(from(Errno::BUSY), PortError::Busy { .. }));
        assert!(matches!(from(Errno::IO), PortError::Gone { .. }));
        assert!(matches!(from(Errno::NOMEM), PortError::Other { .. }));
    }
}
