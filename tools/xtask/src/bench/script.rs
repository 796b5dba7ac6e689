//! The script that the daemon is compared with, and the Python it runs in.
//!
//! What it needs is installed by name and version into a folder of its own, once. Must not know what the
//! script does.

use crate::error::Failed;
use crate::tree::root;
use std::path::Path;
use std::process::{Command, Stdio};

/// The arguments by which a bench starts the script: the Python and the script.
pub fn ready() -> Result<Vec<String>, Failed> {
    let folder = root().join("tools/bench");
    let (wanted, venv) = (folder.join("requirements.txt"), folder.join(".venv"));
    let (python, installed) = (venv.join("bin/python"), venv.join("installed.txt"));
    let text =
        std::fs::read(&wanted).map_err(|error| Failed::io(format!("read {}", wanted.display()), error))?;
    // What was installed is written down last, so that a half-made folder is made again.
    if std::fs::read(&installed).ok().as_ref() != Some(&text) {
        println!("installing {} into {}", wanted.display(), venv.display());
        done(
            Command::new("python3").args(["-m", "venv", "--clear"]).arg(&venv),
            "make a Python environment",
        )?;
        let mut install = Command::new(&python);
        install.args(["-m", "pip", "install", "--quiet", "--only-binary", ":all:", "--requirement"]);
        done(install.arg(&wanted), "install the script's packages")?;
        std::fs::write(&installed, &text)
            .map_err(|error| Failed::io(format!("write {}", installed.display()), error))?;
    }
    let word = |path: &Path| path.display().to_string();
    Ok(vec![word(&python), word(&folder.join("reader.py"))])
}

fn done(command: &mut Command, tried: &str) -> Result<(), Failed> {
    let status = command.stdin(Stdio::null()).status().map_err(|error| Failed::io(tried, error))?;
    if status.success() { Ok(()) } else { Err(Failed::io(tried, format!("it ended with {status}"))) }
}
