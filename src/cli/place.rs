//! Where the store and its socket are: settings first, `--store` over them.
//!
//! `--store FILE` is a copy of a database and is opened read-only; `--store FOLDER` is another store,
//! with the socket of its own daemon in it. The store itself is not opened here.

use super::args::Common;
use super::error::CliError;
use boltscribe_analysis::compare::ClassLimit;
use boltscribe_settings::{Loaded, Rig, Settings, Shown};
use boltscribe_store::STORE_NAME;
use jiff::tz::TimeZone;
use std::path::{Path, PathBuf};

/// The settings of an installed daemon.
const INSTALLED: &str = "/etc/boltscribe/boltscribe.toml";
/// The variable that names the store's folder.
const STORE_FOLDER: &str = "BOLTSCRIBE__STORE__FOLDER";

/// Where things are.
pub struct Place {
    /// The store's folder; that of the file for a copy.
    pub folder: PathBuf,
    /// The daemon's socket.
    pub socket: PathBuf,
    /// A copy, to be read only.
    pub copy: Option<PathBuf>,
    /// The settings file that was read.
    pub config: Option<PathBuf>,
    /// The rigs of the settings.
    pub rigs: Vec<Rig>,
    /// File of the access tokens.
    pub tokens_file: Option<PathBuf>,
    /// Where a day begins for the people at the rigs.
    pub zone: TimeZone,
    /// What tools of a class must give.
    pub limits: Vec<ClassLimit>,
    /// Every value in force, with its source.
    pub values: Vec<Shown>,
}

impl Place {
    /// Finds it.
    ///
    /// # Errors
    /// Mistakes in the settings, each with its place.
    pub fn find(common: &Common) -> Result<Self, CliError> {
        let installed = Path::new(INSTALLED);
        let config = common.config.clone().or_else(|| installed.exists().then(|| installed.to_owned()));
        let store = common.store.as_deref().map(absolute).transpose()?;
        let copy = store.clone().filter(|path| path.is_file());
        let folder = store.filter(|_| copy.is_none());
        let Loaded { settings, values } = load(config.as_deref(), folder.as_deref())?;
        Ok(Self {
            folder: match copy.as_deref().and_then(Path::parent) {
                Some(parent) => parent.to_owned(),
                None => settings.store.folder.clone(),
            },
            socket: settings.store.socket(),
            copy,
            config,
            tokens_file: settings.daemon.tokens_file,
            rigs: settings.rigs,
            zone: settings.daemon.time_zone.unwrap_or_else(TimeZone::system),
            limits: settings.limits,
            values,
        })
    }

    /// Whether a database is there to be opened.
    #[must_use]
    pub fn has_store(&self) -> bool {
        self.copy.is_some() || self.folder.join(STORE_NAME).exists()
    }

    /// Names of the rigs of the settings.
    #[must_use]
    pub fn rig_names(&self) -> Vec<&str> {
        self.rigs.iter().map(|rig| rig.name.as_str()).collect()
    }
}

fn absolute(path: &Path) -> Result<PathBuf, CliError> {
    std::path::absolute(path).map_err(|source| CliError::File { tried: "find", path: path.into(), source })
}

fn load(config: Option<&Path>, folder: Option<&Path>) -> Result<Loaded, CliError> {
    let mut environment: Vec<(String, String)> = std::env::vars_os()
        .filter_map(|(key, value)| Some((key.into_string().ok()?, value.into_string().ok()?)))
        .collect();
    if let Some(folder) = folder {
        environment.retain(|(key, _)| key != STORE_FOLDER);
        environment.push((STORE_FOLDER.to_owned(), folder.display().to_string()));
    }
    Settings::load(config, environment.into_iter())
        .map_err(|problems| CliError::Config(problems.iter().map(ToString::to_string).collect()))
}
