//! The Python that reads files back, and what it found.
//!
//! `cargo xtask python` makes the environment, once, with pinned packages. Makes no claim of its own.

use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::OnceLock;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// The interpreter.
fn python() -> &'static Path {
    static PYTHON: OnceLock<PathBuf> = OnceLock::new();
    PYTHON.get_or_init(|| {
        let mut cargo = Command::new(env!("CARGO"));
        cargo.current_dir(root()).args(["run", "--quiet", "--locked", "--package", "xtask", "--"]);
        cargo.args(["python", "tools/tables/requirements.txt"]).stdin(Stdio::null());
        let done = cargo.output().unwrap();
        let said = String::from_utf8_lossy(&done.stderr);
        assert!(done.status.success(), "cargo xtask python: {said}");
        PathBuf::from(String::from_utf8(done.stdout).unwrap().lines().last().unwrap())
    })
}

/// Runs a script of tools/tables.
pub fn run(script: &str, words: &[&str]) -> String {
    let script = root().join("tools/tables").join(script);
    let done = Command::new(python()).arg(&script).args(words).stdin(Stdio::null()).output().unwrap();
    assert!(done.status.success(), "{}: {}", script.display(), String::from_utf8_lossy(&done.stderr));
    String::from_utf8(done.stdout).unwrap()
}

/// What pyarrow and pandas find in a file.
pub fn read_back(file: &Path) -> Value {
    serde_json::from_str(&run("read_back.py", &[file.to_str().unwrap()])).unwrap()
}
