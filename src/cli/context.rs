//! What every verb gets: the door, the format, and small questions asked of the API in one way.
//!
//! Must not know which side of the door the store is on, nor what any one verb does.

use super::door::Door;
use super::error::CliError;
use super::output::Format;
use serde_json::Value;
use std::os::unix::fs::MetadataExt;

/// One command at work.
pub struct Context {
    /// The way to the store.
    pub door: Door,
    /// How data is written.
    pub format: Format,
}

impl Context {
    /// The array under `key` of the document at `path`.
    ///
    /// # Errors
    /// Nobody answers, a refusal, or a document without that array.
    pub async fn list(&self, path: &str, key: &'static str) -> Result<(Value, Vec<Value>), CliError> {
        let document = self.door.get(path).await?;
        match document[key].as_array().cloned() {
            Some(items) => Ok((document, items)),
            None => Err(CliError::Answer {
                request: format!("GET {path}"),
                expected: "a list",
                found: format!("a document without '{key}'"),
            }),
        }
    }

    /// The rig named, or the only one there is.
    ///
    /// # Errors
    /// None or several rigs and no name: the question cannot be guessed.
    pub async fn rig_or_only(&self, named: Option<&str>) -> Result<String, CliError> {
        if let Some(name) = named {
            return Ok(name.to_owned());
        }
        let (_, rigs) = self.list("rigs", "rigs").await?;
        let names: Vec<&str> = rigs.iter().filter_map(|r| r["rig"].as_str()).collect();
        match names.as_slice() {
            [only] => Ok((*only).to_owned()),
            [] => Err(CliError::usage_with(
                "cannot choose a rig: expected one in the settings, found none",
                "add a [[rig]] table to the settings file",
            )),
            several => Err(CliError::usage_with(
                format!("cannot choose a rig: expected one, found {}: {}", several.len(), several.join(", ")),
                "name the rig",
            )),
        }
    }
}

/// Who does it, for the record: as given, else the login name, else the account this process runs as.
///
/// # Errors
/// None of them is there.
pub fn who(given: Option<&str>) -> Result<String, CliError> {
    let login = || {
        ["USER", "LOGNAME"]
            .iter()
            .filter_map(|name| std::env::var(name).ok())
            .find(|name| !name.trim().is_empty())
    };
    given.map(str::to_owned).or_else(login).or_else(account).ok_or_else(|| {
        CliError::usage_with("cannot record who does this: expected a name, found none", "give `--who NAME`")
    })
}

/// Name of the account by /etc/passwd: name, password, uid.
fn account() -> Option<String> {
    let uid = std::fs::metadata("/proc/self").ok()?.uid().to_string();
    let accounts = std::fs::read_to_string("/etc/passwd").ok()?;
    accounts.lines().find_map(|line| {
        let mut parts = line.split(':');
        let name = parts.next()?;
        (parts.nth(1)? == uid).then(|| name.to_owned())
    })
}
