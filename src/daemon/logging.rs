//! Log lines on standard error; the journal reads them there.
//!
//! One line for each change of a state, not for each try. Must not know what is logged.

use tracing_subscriber::filter::LevelFilter;

/// Starts logging at this level: error, warn, info, debug or trace.
///
/// # Errors
/// A word that is no level, in words.
pub fn start(level: &str) -> Result<(), String> {
    let filter: LevelFilter = level
        .parse()
        .map_err(|_| format!("cannot log at '{level}': expected error, warn, info, debug or trace"))?;
    tracing_subscriber::fmt()
        .with_max_level(filter)
        .with_writer(std::io::stderr)
        .with_ansi(false)
        .with_target(false)
        .init();
    Ok(())
}
