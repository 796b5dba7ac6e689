//! Programs of the system that tests need, installed by their Debian names where they are missing and we may.
//!
//! What cannot be installed is told here and fails where it is needed, so that nothing is skipped unseen.

use std::path::PathBuf;
use std::process::{Command, Stdio};

/// Where a program lies.
pub fn find(program: &str) -> Option<PathBuf> {
    let paths = std::env::var_os("PATH").unwrap_or_default();
    std::env::split_paths(&paths).map(|folder| folder.join(program)).find(|path| path.is_file())
}

/// Installs packages; whether the system says that it did.
pub fn install(packages: &[&str]) -> bool {
    let mut install = vec!["install", "--yes", "--quiet", "--no-install-recommends"];
    install.extend(packages);
    for words in [&["update", "--quiet"][..], &install] {
        // What it says belongs to us, not to whoever reads our standard output.
        let done = Command::new("apt-get")
            .args(words)
            .env("DEBIAN_FRONTEND", "noninteractive")
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .status();
        if !done.is_ok_and(|status| status.success()) {
            eprintln!("apt-get {} did not work", words.join(" "));
            return false;
        }
    }
    true
}

/// Installs the package of a program that is missing.
pub fn ensure(program: &str, packages: &[&str], what_for: &str) {
    if find(program).is_none() {
        println!("\n== install: {}, for {what_for}", packages.join(" "));
        install(packages);
    }
}
