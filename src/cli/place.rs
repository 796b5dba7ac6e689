//! TEMP
use super::args::Common;
use super::error::CliError;
use std::path::PathBuf;
/// TEMP
pub struct Place {
    /// a
    pub folder: PathBuf,
    /// b
    pub socket: PathBuf,
    /// c
    pub config: Option<PathBuf>,
}
impl Place {
    /// TEMP
    pub fn find(common: &Common) -> Result<Self, CliError> {
        let folder = common.store.clone().ok_or_else(|| CliError::usage("x"))?;
        Ok(Self {
            socket: folder.join("api.sock"),
            folder,
            config: common.config.clone(),
        })
    }
    /// TEMP
    pub fn has_store(&self) -> bool {
        self.folder.join("store.sqlite").exists()
    }
    /// TEMP
    pub fn rig_names(&self) -> Vec<String> {
        vec![]
    }
}
