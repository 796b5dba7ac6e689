//! Where things are: the repository, cargo, the built programs.
//!
//! Must not know any command; nothing is looked up outside the repository and cargo's folders.

use std::path::{Path, PathBuf};
use std::process::Command;

/// The top of the repository.
pub fn root() -> PathBuf {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    here.ancestors().nth(2).unwrap_or(here).to_owned()
}

/// Cargo, as the one that runs us, in the repository.
pub fn cargo() -> Command {
    let mut cargo = Command::new(std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into()));
    cargo.current_dir(root());
    cargo
}

/// Where cargo builds.
pub fn target() -> PathBuf {
    // Cargo is run at the top, so a relative folder counts from there.
    let target = std::env::var_os("CARGO_TARGET_DIR").map_or_else(|| PathBuf::from("target"), PathBuf::from);
    root().join(target)
}

/// A built program of a profile (`debug` or `release`).
pub fn program(profile: &str, name: &str) -> PathBuf {
    target().join(profile).join(name)
}
