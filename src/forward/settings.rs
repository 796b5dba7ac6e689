//! What forwarding needs to be told, after all checks; `Settings::default()` holds the built-in figures.
//!
//! Must not know files of settings, nor read the token: that is `token.rs`.

use std::path::PathBuf;

/// Where to forward to, and how.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Settings {
    /// `http://HOST:PORT` or `https://HOST:PORT`, without a path: the transport would drop it.
    pub url: String,
    /// Organisation, as the server calls it.
    pub org: String,
    /// Bucket, as the server calls it.
    pub bucket: String,
    /// File that holds the token; none: requests carry no token.
    pub token_file: Option<PathBuf>,
    /// Certificates in PEM that are trusted besides the well-known ones.
    pub ca_file: Option<PathBuf>,
    /// Seconds between points about health.
    pub health_s: u32,
    /// Most rows of the outbox in one request.
    pub batch_max: u32,
    /// Seconds after a yes of the server until a row is taken for safe.
    pub settle_s: u32,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            url: String::new(),
            org: "boltscribe".to_owned(),
            bucket: "boltscribe".to_owned(),
            token_file: None,
            ca_file: None,
            health_s: 60,
            batch_max: 500,
            settle_s: 60,
        }
    }
}
