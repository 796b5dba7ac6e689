//! Why the daemon does not start or did not end well, with its exit code.
//!
//! A missing port is no error: it is a state of its rig. Must not print.

/// Trouble at the start or at the end.
#[derive(Debug, thiserror::Error)]
pub enum DaemonError {
    /// The settings cannot be used; one line for each mistake.
    #[error("{}", .0.join("\n"))]
    Settings(Vec<String>),
    /// The store cannot be opened or read.
    #[error("{0}")]
    Store(#[from] boltscribe_store::StoreError),
    /// A row that everything else belongs to could not be stored.
    #[error("{0}")]
    Send(#[from] boltscribe_store::SendError),
    /// As before, refused by the store.
    #[error("{0}")]
    Refused(#[from] boltscribe_store::Refused),
    /// The system refused something.
    #[error("cannot {tried}: {source}")]
    System {
        /// What was tried, and where.
        tried: String,
        /// What it said.
        source: std::io::Error,
    },
    /// The tokens cannot be read.
    #[error("{0}")]
    Tokens(String),
    /// What was to be closed did not close in time; stored rows are safe.
    #[error("cannot stop in order: {0} did not end within its time")]
    Late(&'static str),
}

impl DaemonError {
    /// 2: wrong settings; 3: IO.
    #[must_use]
    pub const fn exit_code(&self) -> u8 {
        match self {
            Self::Settings(_) | Self::Tokens(_) => 2,
            Self::Store(_) | Self::Send(_) | Self::Refused(_) | Self::System { .. } | Self::Late(_) => 3,
        }
    }

    /// What to do about it, where there is something to do.
    #[must_use]
    pub fn hint(&self) -> Option<&'static str> {
        match self {
            Self::Settings(_) => Some("`boltscribed --check-config` checks a file without starting anything"),
            Self::Store(e) => e.hint(),
            Self::Tokens(_) => Some("`boltscribe access add NAME` makes the file and a first token"),
            _ => None,
        }
    }
}
