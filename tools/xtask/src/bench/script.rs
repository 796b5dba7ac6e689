//! The script that the daemon is compared with, and the Python it runs in.
//!
//! Must not know what the script does, nor how its packages get there.

use crate::error::Failed;
use crate::python;
use crate::tree::root;
use std::path::Path;

/// The arguments by which a bench starts the script: the Python and the script.
pub fn ready() -> Result<Vec<String>, Failed> {
    let python = python::ready(Path::new("tools/bench/requirements.txt"))?;
    let script = root().join("tools/bench/reader.py");
    Ok(vec![python.display().to_string(), script.display().to_string()])
}
