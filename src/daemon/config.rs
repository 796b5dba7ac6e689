//! From the command line to checked settings: the file, the environment, and what the options override.
//!
//! Overriding options go the way of a setting (the variable of the store's folder, the text of a rig's
//! file), so that the same rules check them.

use super::args::Args;
use super::error::DaemonError;
use super::forwarding;
use boltscribe_pipeline::Pipeline;
use boltscribe_settings::{Instrument, Problem, Settings, parse_rig};
use std::path::{Path, PathBuf};

/// The variable that names the store's folder.
const STORE_FOLDER: &str = "BOLTSCRIBE__STORE__FOLDER";

/// Loads and checks everything, each rig's pipeline included.
///
/// # Errors
/// Every mistake, one line each.
pub fn load(args: &Args) -> Result<Settings, DaemonError> {
    let mut environment: Vec<(String, String)> = std::env::vars_os()
        .filter_map(|(key, value)| Some((key.into_string().ok()?, value.into_string().ok()?)))
        .collect();
    if let Some(folder) = &args.store {
        let folder = absolute(folder)?;
        environment.retain(|(key, _)| key != STORE_FOLDER);
        environment.push((STORE_FOLDER.to_owned(), folder.display().to_string()));
    }
    let loaded = Settings::load(args.config.as_deref(), environment.into_iter()).map_err(lines)?;
    let mut settings = loaded.settings;
    for (name, port) in &args.rigs {
        override_rig(&mut settings, name, port)?;
    }
    check(&settings)?;
    Ok(settings)
}

fn lines(problems: Vec<Problem>) -> DaemonError {
    DaemonError::Settings(problems.iter().map(ToString::to_string).collect())
}

/// # Errors
/// The present folder cannot be told.
fn absolute(path: &Path) -> Result<PathBuf, DaemonError> {
    std::path::absolute(path).map_err(|source| DaemonError::System {
        tried: format!("find the folder {}", path.display()),
        source,
    })
}

fn override_rig(settings: &mut Settings, name: &str, port: &str) -> Result<(), DaemonError> {
    let port = absolute(Path::new(port))?.display().to_string();
    if let Some(rig) = settings.rigs.iter_mut().find(|rig| rig.name == name) {
        return match &mut rig.instrument {
            Instrument::Line(line) => {
                line.port = port;
                Ok(())
            }
            Instrument::Dial(_) => Err(DaemonError::Settings(vec![format!(
                "--rig {name}={port}: expected a rig with a port, found a dial read by hand"
            )])),
        };
    }
    let mut keys = toml::Table::new();
    for (key, value) in [("name", name), ("port", &port), ("instrument", "framed")] {
        keys.insert(key.to_owned(), toml::Value::String(value.to_owned()));
    }
    let rig = parse_rig("--rig", &keys.to_string(), &settings.measure).map_err(lines)?;
    settings.rigs.push(rig);
    Ok(())
}

/// What only shows when rigs are put together or pipelines are made.
fn check(settings: &Settings) -> Result<(), DaemonError> {
    let mut mistakes = Vec::new();
    if settings.rigs.len() > boltscribe_settings::RIGS_MAX {
        let most = boltscribe_settings::RIGS_MAX;
        mistakes.push(format!("--rig: expected at most {most} rigs, found {}", settings.rigs.len()));
    }
    for (at, rig) in settings.rigs.iter().enumerate() {
        let Some(line) = rig.line() else { continue };
        if let Some(other) = settings.rigs[..at].iter().find(|other| other.port() == rig.port()) {
            mistakes.push(format!(
                "rig '{}': port {}: expected a port of its own, found that of rig '{}'",
                rig.name, line.port, other.name
            ));
        }
        if let Err(e) = Pipeline::new(line.pipeline.clone()) {
            mistakes.push(format!("rig '{}': {e}", rig.name));
        }
    }
    if let Some(Err(mistake)) = settings.forward.as_ref().map(forwarding::check) {
        mistakes.push(mistake);
    }
    if mistakes.is_empty() { Ok(()) } else { Err(DaemonError::Settings(mistakes)) }
}
