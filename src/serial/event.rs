//! What a port tells: it came, it brought bytes, it went, and why.
//!
//! Reasons are worded for an operator; what to do about them is said beside them by `advice`. This
//! file must not know what bytes mean.

use super::holder::Holder;
use boltscribe_model::time::MonoNs;

/// News of one port, in order of time.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PortEvent {
    /// Opened; what follows starts somewhere inside a frame.
    Up {
        /// When.
        at: MonoNs,
    },
    /// Bytes arrived; at most [`super::READ_BYTES_MAX`].
    Bytes {
        /// When the read that brought the last of them returned.
        at: MonoNs,
        /// The bytes.
        bytes: Vec<u8>,
    },
    /// Lost, or cannot be opened; told once for each new reason, then tried again for ever.
    Down {
        /// When.
        at: MonoNs,
        /// Why.
        reason: PortError,
    },
}

/// Why a port is not there.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PortError {
    /// Nothing of this name.
    #[error("{path}: no such port")]
    Missing {
        /// The port.
        path: String,
    },
    /// Not allowed.
    #[error("{path}: no permission to read and write")]
    NoPermission {
        /// The port.
        path: String,
        /// The group that may, where there is one.
        group: Option<String>,
    },
    /// Somebody else has it.
    #[error("{path}: in use{}", by(.holders))]
    Busy {
        /// The port.
        path: String,
        /// Who, as far as this process may see.
        holders: Vec<Holder>,
    },
    /// Something else than a serial port.
    #[error("{path}: expected a serial port, found something else")]
    NotSerial {
        /// The port.
        path: String,
    },
    /// It was open and is gone.
    #[error("{path}: unplugged or closed at the other end")]
    Gone {
        /// The port.
        path: String,
    },
    /// Anything else the system said.
    #[error("{path}: {what}")]
    Other {
        /// The port.
        path: String,
        /// In the system's words.
        what: String,
    },
}

fn by(holders: &[Holder]) -> String {
    if holders.is_empty() {
        return " by another program".to_owned();
    }
    let names: Vec<String> = holders.iter().map(ToString::to_string).collect();
    format!(" by {}", names.join(", "))
}

impl PortError {
    /// What the operator can do about it.
    #[must_use]
    pub fn advice(&self) -> Option<String> {
        match self {
            Self::Missing { .. } | Self::Gone { .. } => {
                Some("plug the device in; it is taken up by itself".to_owned())
            }
            Self::NoPermission { path, group } => Some(match group {
                Some(group) => format!(
                    "add the user to the group '{group}' (sudo usermod -aG {group} USER), then log in again"
                ),
                None => format!("let a udev rule give {path} to the group 'dialout'"),
            }),
            Self::Busy { .. } => Some("end the other program; a port has one reader".to_owned()),
            Self::NotSerial { .. } => Some("choose a port from the list of ports".to_owned()),
            Self::Other { .. } => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reason_names_the_port_and_who_has_it() {
        let path = || "/dev/ttyUSB0".to_owned();
        let holder = Holder { pid: 812, name: "cat".into() };
        let busy = PortError::Busy { path: path(), holders: vec![holder] };
        assert_eq!(busy.to_string(), "/dev/ttyUSB0: in use by process 812 (cat)");
        let unseen = PortError::Busy { path: path(), holders: vec![] };
        assert_eq!(unseen.to_string(), "/dev/ttyUSB0: in use by another program");
        let denied = PortError::NoPermission { path: path(), group: Some("dialout".into()) };
        assert_eq!(
            denied.advice().unwrap(),
            "add the user to the group 'dialout' (sudo usermod -aG dialout USER), then log in again"
        );
    }
}
