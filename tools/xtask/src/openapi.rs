//! `cargo xtask openapi`: the document of the interface without a daemon, and the page's types of its answers.
//!
//! The document goes to `target/openapi.json`, the types to the page's sources, where they are committed: the page
//! is built without the programs. Must not know what the document says.

use crate::error::Failed;
use crate::page;
use crate::tree::{cargo, target};
use std::fs;

/// Writes both.
pub fn run(words: &[String]) -> Result<(), Failed> {
    if !words.is_empty() {
        return Err(Failed::usage(format!("expected nothing, found {words:?}")));
    }
    let mut tool = cargo();
    tool.args(["run", "--quiet", "--locked", "--package", "boltscribe", "--example", "openapi"]);
    let output = tool.output().map_err(|error| Failed::io("start cargo", error))?;
    if !output.status.success() {
        return Err(Failed::io("make the document", String::from_utf8_lossy(&output.stderr).trim()));
    }
    let file = target().join("openapi.json");
    fs::write(&file, &output.stdout)
        .map_err(|error| Failed::io(format!("write {}", file.display()), error))?;
    println!("{}", file.display());
    page::types(&file)
}
