//! The settings after all checks: what the daemon hands to the rooms.
//!
//! `Settings::default()` is the one place of the built-in defaults; config/boltscribe.toml repeats them,
//! held by a test. This file must not know files or variables.

use super::rig::Rig;
use super::rules::SOCKET_NAME;
use boltscribe_analysis::compare::ClassLimit;
use boltscribe_forward as forward;
use boltscribe_signal::runs;
use serde::{Deserialize, Serialize};
use std::net::{Ipv4Addr, SocketAddr};
use std::path::PathBuf;

/// All settings.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Settings {
    /// The daemon itself.
    pub daemon: Daemon,
    /// Where data lie.
    pub store: Store,
    /// How runs are found and measured, the same for all rigs; its range is unset here.
    pub measure: runs::Settings,
    /// Where results are forwarded to; none: nowhere.
    pub forward: Option<forward::Settings>,
    /// What tools of a class must give, one a class.
    pub limits: Vec<ClassLimit>,
    /// 0 to 32 rigs with unique names and ports.
    pub rigs: Vec<Rig>,
}

/// The daemon itself.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Daemon {
    /// Address of page and API; with tokens it may be one that other machines reach.
    pub listen: SocketAddr,
    /// Name of this machine in its network.
    pub host: Option<String>,
    /// File of the tokens that are asked for; none: none is.
    pub tokens_file: Option<PathBuf>,
    /// Where a day begins for the people at the rigs; none: as the system says.
    pub time_zone: Option<jiff::tz::TimeZone>,
    /// What is logged.
    pub log: Log,
}

/// Least serious message that is logged.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Log {
    /// Errors only.
    Error,
    /// And warnings.
    Warn,
    /// And what an operator wants to know.
    Info,
    /// And what a developer wants to know.
    Debug,
    /// Everything.
    Trace,
}

impl Log {
    /// The word used in files.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Error => "error",
            Self::Warn => "warn",
            Self::Info => "info",
            Self::Debug => "debug",
            Self::Trace => "trace",
        }
    }
}

/// Where data lie.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Store {
    /// Folder of the store, absolute.
    pub folder: PathBuf,
}

impl Store {
    /// The database.
    #[must_use]
    pub fn database(&self) -> PathBuf {
        self.folder.join("store.sqlite")
    }

    /// The API's Unix socket.
    #[must_use]
    pub fn socket(&self) -> PathBuf {
        self.folder.join(SOCKET_NAME)
    }

    /// The lock that the one owner of the store holds.
    #[must_use]
    pub fn lock(&self) -> PathBuf {
        self.folder.join("lock")
    }

    /// Folder of the rig files.
    #[must_use]
    pub fn rigs(&self) -> PathBuf {
        self.folder.join("rigs")
    }
}

impl Default for Daemon {
    fn default() -> Self {
        Self {
            listen: SocketAddr::from((Ipv4Addr::LOCALHOST, 7483)),
            host: None,
            tokens_file: None,
            time_zone: None,
            log: Log::Info,
        }
    }
}

impl Default for Store {
    fn default() -> Self {
        Self { folder: PathBuf::from("/var/lib/boltscribe") }
    }
}
