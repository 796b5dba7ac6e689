//! A small package with a copy of the run finder, in which one constant is changed, and the truth bench.
//!
//! It stands in `target/sensitivity`. The finder's crate is copied, the crates that it needs are taken from the tree by
//! path, dependencies with the versions of the workspace's lock. Must not know which constants there are.

use super::constants::Constant;
use super::score::Score;
use crate::error::Failed;
use crate::tree::{cargo, target};
use std::collections::BTreeSet;
use std::fmt::Display;
use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::{Duration, Instant};

/// What the bench is built on; versions and features stand in the workspace.
const CRATES: [&str; 5] = ["fastrand", "libm", "serde", "serde_json", "utoipa"];

/// The folder of the finder's crate.
const CRATE: &str = "src/signal";

/// A changed constant may send the finder round in circles: this much longer than the tree takes is given up.
const STUCK: u32 = 10;

/// What came of playing.
pub enum Played {
    /// Played through: the counts, and all that was printed.
    Through { score: Score, text: String },
    /// Did not build, panicked, or did not end.
    Broken(&'static str),
}

impl Played {
    /// All that was printed.
    pub fn text(&self) -> Option<&str> {
        match self {
            Self::Through { text, .. } => Some(text),
            Self::Broken(_) => None,
        }
    }

    /// How large the change against the tree is; what is broken is larger than any.
    pub fn effect(&self, base: &Score) -> (i64, i64) {
        match self {
            Self::Through { score, .. } => score.minus(base).size(),
            Self::Broken(_) => (i64::MAX, 0),
        }
    }
}

/// The package.
pub struct Package {
    root: PathBuf,
    folder: PathBuf,
    /// The lock was made from the workspace's and holds nothing else.
    locked: bool,
    /// How long the tree as it is took.
    usual: Option<Duration>,
}

impl Package {
    /// Writes it, with an unchanged copy of the finder.
    ///
    /// # Errors
    /// A file cannot be read or written; the workspace does not name one of the crates.
    pub fn lay_out(root: &Path) -> Result<Self, Failed> {
        let folder = target().join("sensitivity");
        let package = Self { root: root.to_owned(), folder, locked: false, usual: None };
        let copy = package.folder.join("signal");
        if copy.exists() {
            fs::remove_dir_all(&copy).map_err(|e| Failed::io(format!("remove {}", copy.display()), e))?;
        }
        package.copy_folder(&root.join(CRATE), &copy)?;
        let own = read(&copy.join("Cargo.toml"))?;
        package.write("signal/Cargo.toml", &from_the_tree(&own, root))?;
        package.write("Cargo.toml", &manifest(root)?)?;
        package.write("lib.rs", &library(root))?;
        package.write("Cargo.lock", &read(&root.join("Cargo.lock"))?)?;
        Ok(package)
    }

    /// Scales one constant in the copy.
    ///
    /// # Errors
    /// The file cannot be read or written.
    pub fn change(&self, constant: &Constant, factor: f64) -> Result<(), Failed> {
        let text = read(&self.root.join(&constant.path))?;
        let text = constant
            .scaled(&text, factor)
            .ok_or_else(|| Failed::no(format!("{} was changed since the start", constant.path)))?;
        self.write(&format!("signal/runs/{}", constant.file()), &text)
    }

    /// Takes back what was changed.
    ///
    /// # Errors
    /// The file cannot be read or written.
    pub fn restore(&self, constant: &Constant) -> Result<(), Failed> {
        self.write(&format!("signal/runs/{}", constant.file()), &read(&self.root.join(&constant.path))?)
    }

    /// Builds the package as it is and plays these cases. The first time is that of the unchanged finder.
    ///
    /// # Errors
    /// Cargo cannot be started; dependencies are not those of the workspace.
    #[allow(clippy::disallowed_methods, reason = "what takes far longer than usual is given up")]
    pub fn play(&mut self, cases: usize, seed: u64) -> Result<Played, Failed> {
        let mut build = cargo();
        build.current_dir(&self.folder).env_remove("CARGO_TARGET_DIR");
        build.args(["build", "--release", "--quiet", "--bin", "truth"]);
        build.args(self.locked.then_some("--locked"));
        let built = build.output().map_err(|e| Failed::io("start cargo", e))?;
        if !built.status.success() {
            if self.usual.is_none() {
                eprint!("{}", String::from_utf8_lossy(&built.stderr));
            }
            return Ok(Played::Broken("does not build"));
        }
        if !self.locked {
            self.check_lock()?;
            self.locked = true;
        }
        let printed = self.folder.join("printed.txt");
        let file =
            File::create(&printed).map_err(|e| Failed::io(format!("write {}", printed.display()), e))?;
        let mut bench = Command::new(self.folder.join("target/release/truth"));
        bench.args(["--cases", &cases.to_string(), "--seed", &seed.to_string(), "--list"]);
        bench.stdout(file).stderr(std::process::Stdio::null());
        let start = Instant::now();
        if !self.ends(&mut bench)? {
            return Ok(Played::Broken("does not end"));
        }
        self.usual.get_or_insert_with(|| start.elapsed());
        let text = read(&printed)?;
        // The bench ends with 1 where more is untold than promised; a panic leaves no table.
        Ok(Score::read(&text).map_or(Played::Broken("panics"), |score| Played::Through { score, text }))
    }

    /// Runs it; whether it came to an end within what is usual.
    #[allow(clippy::disallowed_methods, reason = "what takes far longer than usual is given up")]
    fn ends(&self, bench: &mut Command) -> Result<bool, Failed> {
        let tried = |e| Failed::io("run the truth bench", e);
        let mut child = bench.spawn().map_err(tried)?;
        let start = Instant::now();
        while child.try_wait().map_err(tried)?.is_none() {
            if self.usual.is_some_and(|usual| start.elapsed() > usual * STUCK) {
                child.kill().and_then(|()| child.wait()).map_err(tried)?;
                return Ok(false);
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        Ok(true)
    }

    /// What cargo made of the workspace's lock is a part of it.
    fn check_lock(&self) -> Result<(), Failed> {
        let ours = read(&self.folder.join("Cargo.lock"))?;
        let workspace = read(&self.root.join("Cargo.lock"))?;
        let known: BTreeSet<_> = packages(&workspace).collect();
        match packages(&ours).find(|one| !known.contains(one) && one.0 != "boltscribe") {
            None => Ok(()),
            Some((name, version)) => Err(Failed::no(format!(
                "expected the versions of the workspace's Cargo.lock, found {name} {version}"
            ))),
        }
    }

    fn copy_folder(&self, from: &Path, to: &Path) -> Result<(), Failed> {
        let tried = |what: &Path, e: &dyn Display| Failed::io(format!("copy {}", what.display()), e);
        fs::create_dir_all(to).map_err(|e| tried(to, &e))?;
        for entry in fs::read_dir(from).map_err(|e| tried(from, &e))? {
            let path = entry.map_err(|e| tried(from, &e))?.path();
            let there = to.join(path.file_name().unwrap_or_default());
            if path.is_dir() {
                self.copy_folder(&path, &there)?;
            } else {
                fs::copy(&path, &there).map_err(|e| tried(&path, &e))?;
            }
        }
        Ok(())
    }

    fn write(&self, name: &str, text: &str) -> Result<(), Failed> {
        let path = self.folder.join(name);
        fs::write(&path, text).map_err(|e| Failed::io(format!("write {}", path.display()), e))
    }
}

fn read(path: &Path) -> Result<String, Failed> {
    fs::read_to_string(path).map_err(|e| Failed::io(format!("read {}", path.display()), e))
}

/// Name and version of each package of a lock.
fn packages(lock: &str) -> impl Iterator<Item = (&str, &str)> {
    lock.split("[[package]]").skip(1).filter_map(|block| {
        let field = |key: &str| block.lines().find_map(|line| line.strip_prefix(key)?.split('"').nth(1));
        Some((field("name = ")?, field("version = ")?))
    })
}

/// A manifest of the tree whose neighbours are found from elsewhere too.
fn from_the_tree(manifest: &str, root: &Path) -> String {
    let top = root.display();
    manifest
        .replace("path = \"../../", &format!("path = \"{top}/"))
        .replace("path = \"../", &format!("path = \"{top}/src/"))
}

/// The manifest, with what the workspace says of packages, dependencies and lints.
fn manifest(root: &Path) -> Result<String, Failed> {
    let workspace = read(&root.join("Cargo.toml"))?;
    let said: String = workspace
        .split("\n[")
        .filter(|section| section.starts_with("workspace."))
        .map(|section| format!("[{section}\n"))
        .collect();
    let known = |name: &&str| {
        let line = format!("\n{name} = ");
        said.contains(&line).then(|| format!("{name}.workspace = true\n"))
    };
    let crates = CRATES
        .iter()
        .map(|name| {
            known(name).ok_or_else(|| {
                Failed::no(format!("Cargo.toml: expected {name} of the workspace, found none"))
            })
        })
        .collect::<Result<String, _>>()?;
    let top = root.display();
    Ok(format!(
        "[package]\nname = \"boltscribe\"\nversion = \"0.0.0\"\nedition = \"2024\"\n\n[workspace]\n\n{said}\n\
         [lib]\npath = \"lib.rs\"\n\n[[bin]]\nname = \"truth\"\npath = \"{top}/tools/bench/truth.rs\"\n\n\
         [dependencies]\n{crates}boltscribe-model = {{ path = \"{top}/src/model\" }}\n\
         boltscribe-signal = {{ path = \"signal\" }}\nvirtual-rig = {{ path = \"{top}/tools/virtual-rig\" }}\n\n\
         [profile.release]\nincremental = true\n"
    ))
}

/// The library: what the bench names, the finder from the copy.
fn library(root: &Path) -> String {
    format!(
        "pub use boltscribe_model::{{constants, units}};\npub use boltscribe_signal::{{runs, tension}};\n\
         pub mod results {{\n    #[path = \"{}/src/analysis/results/flags.rs\"]\n    pub mod flags;\n}}\n",
        root.display()
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn packages_of_a_lock_are_name_and_version() {
        let lock = "version = 4\n\n[[package]]\nname = \"a\"\nversion = \"1.0.2\"\ndependencies = [\n \"b\",\n]\n\n\
                    [[package]]\nname = \"b\"\nversion = \"0.3.0\"\n";
        assert_eq!(packages(lock).collect::<Vec<_>>(), [("a", "1.0.2"), ("b", "0.3.0")]);
    }

    #[test]
    fn the_manifest_takes_its_dependencies_from_the_workspace() {
        let manifest = manifest(&crate::tree::root()).unwrap();
        for name in CRATES {
            assert!(manifest.contains(&format!("\n{name}.workspace = true\n")), "{name} in {manifest}");
        }
    }
}
