//! Python environments with pinned packages, for scripts that stand beside our own programs.
//!
//! One a list of packages, under target/python, made once and made anew when its list changes. Where the
//! system's Python cannot make environments, its package is installed by name if we may, else named.

use crate::error::Failed;
use crate::tree::{root, target};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// What Debian calls the part of Python that makes environments.
const PACKAGE: &str = "python3-venv";

/// `cargo xtask python FILE`: prints the interpreter.
pub fn run(words: &[String]) -> Result<(), Failed> {
    let [list] = words else {
        return Err(Failed::usage(
            "expected one file that lists packages, such as tools/tables/requirements.txt",
        ));
    };
    println!("{}", ready(Path::new(list))?.display());
    Ok(())
}

/// The interpreter of the environment of a list, named from the top of the repository.
pub fn ready(list: &Path) -> Result<PathBuf, Failed> {
    let wanted = root().join(list);
    let name = wanted.parent().and_then(Path::file_name).unwrap_or_default();
    let venv = target().join("python").join(name);
    let (python, installed) = (venv.join("bin/python"), venv.join("installed.txt"));
    let text =
        std::fs::read(&wanted).map_err(|error| Failed::io(format!("read {}", wanted.display()), error))?;
    // What was installed is written down last, so that a half-made folder is made again.
    if std::fs::read(&installed).ok().as_ref() != Some(&text) {
        eprintln!("installing {} into {}", wanted.display(), venv.display());
        can_make_environments()?;
        done(
            Command::new("python3").args(["-m", "venv", "--clear"]).arg(&venv),
            "make a Python environment",
        )?;
        let mut install = Command::new(&python);
        install.args(["-m", "pip", "install", "--quiet", "--disable-pip-version-check"]);
        install.args(["--only-binary", ":all:", "--requirement"]);
        done(install.arg(&wanted), "install the scripts' packages")?;
        std::fs::write(&installed, &text)
            .map_err(|error| Failed::io(format!("write {}", installed.display()), error))?;
    }
    Ok(python)
}

fn can_make_environments() -> Result<(), Failed> {
    let asked = || {
        let mut python = Command::new("python3");
        python.args(["-c", "import ensurepip, venv"]).stdin(Stdio::null());
        python.stdout(Stdio::null()).stderr(Stdio::null()).status().is_ok_and(|status| status.success())
    };
    if asked() {
        return Ok(());
    }
    let by_hand = format!("apt-get install --yes {PACKAGE}");
    if !is_root() {
        return Err(Failed::no(format!(
            "cannot make a Python environment: expected the package {PACKAGE}, found none; install it: sudo {by_hand}"
        )));
    }
    eprintln!("installing {PACKAGE}");
    crate::packages::install(&[PACKAGE]);
    if asked() {
        Ok(())
    } else {
        Err(Failed::no(format!("{PACKAGE} is installed, and python3 still cannot")))
    }
}

fn is_root() -> bool {
    let asked = Command::new("id").arg("-u").output();
    asked.is_ok_and(|said| said.stdout.trim_ascii() == b"0")
}

/// Runs a command whose words belong to us, not to whoever reads our standard output.
fn done(command: &mut Command, tried: &str) -> Result<(), Failed> {
    let output = command.stdin(Stdio::null()).stderr(Stdio::inherit()).output();
    let output = output.map_err(|error| Failed::io(tried, error))?;
    if output.status.success() {
        return Ok(());
    }
    eprint!("{}", String::from_utf8_lossy(&output.stdout));
    Err(Failed::io(tried, format!("it ended with {}", output.status)))
}
