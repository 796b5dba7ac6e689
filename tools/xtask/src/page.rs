//! `cargo xtask page`: builds the page of `src/page/web` by npm; with `--test`, tests it in a browser.
//!
//! Cargo packs the result into the programs. It is built only where a source is newer. Must not know what the page
//! shows, nor how it is tested.

use crate::error::Failed;
use crate::packages::find;
use crate::tree::{program, root, target};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::SystemTime;

/// The page's folder.
const WEB: &str = "src/page/web";
/// What the page is made from, inside its folder.
const SOURCES: [&str; 7] =
    ["src", "public", "index.html", "vite.config.ts", "tsconfig.json", "package.json", "package-lock.json"];
/// How to get what is missing.
const MISSING: &str =
    "expected node 20.19 or newer with npm, found none; get them from your system's packages (nodejs, npm)";
/// Programs that the page is tested with.
const PROGRAMS: [&str; 3] = ["boltscribed", "boltscribe", "virtual-rig"];

/// `cargo xtask page [--test]`.
pub fn run(words: &[String]) -> Result<(), Failed> {
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    match words[..] {
        [] => build(),
        ["--test"] => {
            build()?;
            test()
        }
        _ => Err(Failed::usage(format!("expected --test or nothing, found {words:?}"))),
    }
}

/// Whether it can be built here at all.
pub fn can_build() -> bool {
    find("npm").is_some() && find("node").is_some()
}

/// Builds the page where a source is newer than what was built.
pub fn build() -> Result<(), Failed> {
    if !can_build() {
        return Err(Failed::io("build the page", MISSING));
    }
    let web = root().join(WEB);
    install(&web)?;
    let sources: Vec<PathBuf> = SOURCES.iter().map(|name| web.join(name)).collect();
    if newest(&sources) > newest(&[web.join("dist/index.html")]) {
        eprintln!("building the page ...");
        done(npm(&web).args(["run", "--silent", "build"]), "build the page")?;
    }
    Ok(())
}

/// Makes the types of the answers that a document describes.
pub fn types(document: &Path) -> Result<(), Failed> {
    if !can_build() {
        return Err(Failed::io("make the page's types", MISSING));
    }
    let web = root().join(WEB);
    install(&web)?;
    done(npm(&web).args(["run", "--silent", "types", "--"]).arg(document), "make the page's types")
}

/// Installs the page's packages where they are older than what is asked for.
fn install(web: &Path) -> Result<(), Failed> {
    let installed = web.join("node_modules/.package-lock.json");
    if newest(&[web.join("package-lock.json")]) > newest(&[installed]) {
        eprintln!("installing the page's packages ...");
        done(npm(web).arg("ci"), "install the page's packages")?;
    }
    Ok(())
}

/// Tests it: its types and what is pure first, then everything in a browser on the programs as they were built for the tests.
fn test() -> Result<(), Failed> {
    let web = root().join(WEB);
    for name in PROGRAMS {
        if !program("debug", name).is_file() {
            return Err(Failed::no(format!(
                "expected {} to be built, found none; cargo build",
                program("debug", name).display()
            )));
        }
    }
    let types = tests(&mut npm(&web), "check");
    let unit = tests(&mut npm(&web), "unit");
    let browser = tests(npm(&web).env("PROGRAMS", target().join("debug")), "browser");
    types.and(unit).and(browser)
}

fn tests(npm: &mut Command, name: &str) -> Result<(), Failed> {
    let status = npm.args(["run", "--silent", name]).status().map_err(|e| Failed::io("start npm", e))?;
    if status.success() { Ok(()) } else { Err(Failed::no(format!("the page's {name} tests failed"))) }
}

fn npm(web: &Path) -> Command {
    let mut npm = Command::new("npm");
    npm.current_dir(web).stdin(Stdio::null());
    npm
}

/// Runs npm; what it says comes last, where it failed.
fn done(npm: &mut Command, tried: &str) -> Result<(), Failed> {
    let output = npm.output().map_err(|e| Failed::io(tried, e))?;
    if output.status.success() {
        return Ok(());
    }
    let said = [output.stdout, output.stderr].concat();
    Err(Failed::io(tried, String::from_utf8_lossy(&said).trim()))
}

/// When the newest of these files, and of those in these folders, was written; none where there is none.
fn newest(paths: &[PathBuf]) -> Option<SystemTime> {
    let of = |path: &PathBuf| -> Option<SystemTime> {
        if path.is_dir() {
            let inside: Vec<PathBuf> = fs::read_dir(path).ok()?.flatten().map(|entry| entry.path()).collect();
            return newest(&inside);
        }
        fs::metadata(path).ok()?.modified().ok()
    };
    paths.iter().filter_map(of).max()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_newest_file_of_a_folder_counts_and_nothing_is_older_than_anything() {
        let folder = target().join("xtask-test").join(format!("page-{}", std::process::id()));
        fs::create_dir_all(folder.join("inside")).unwrap();
        assert_eq!(newest(std::slice::from_ref(&folder)), None);
        let (old, new) = (folder.join("old"), folder.join("inside/new"));
        fs::write(&old, "1").unwrap();
        fs::write(&new, "2").unwrap();
        let early = SystemTime::UNIX_EPOCH + std::time::Duration::from_secs(1_000_000);
        fs::File::options().write(true).open(&old).unwrap().set_modified(early).unwrap();
        assert!(
            newest(std::slice::from_ref(&folder)) > newest(std::slice::from_ref(&old))
                && newest(&[old]) > newest(&[folder.join("none")])
        );
        fs::remove_dir_all(&folder).unwrap();
    }
}
