//! Who depends on whom among our crates, and where packages come from.
//!
//! Cargo holds the arrows; here they are compared with the map that a reader is shown, both ways. Reads manifests line
//! by line in the form they have here: a table a section, a dependency a line.

use super::broken::Broken;
use super::source::{File, Tree};
use super::table::{BARE, MAP, REGISTRY};
use std::collections::{BTreeMap, BTreeSet};

/// What each of our crates knows of the others, by package name.
type Arrows = BTreeMap<String, BTreeSet<String>>;

/// Holds the rules for all manifests, lock files and lists of pinned packages.
pub fn check(tree: &Tree, broken: &mut Vec<Broken>) {
    let manifests: Vec<Manifest<'_>> = tree.files.iter().filter_map(Manifest::read).collect();
    arrows(tree, &manifests, broken);
    for manifest in manifests.iter().filter(|m| m.path == BARE) {
        for (line, name) in &manifest.all {
            broken.push(Broken::new("dependencies", BARE, *line, "no dependency at all", name));
        }
    }
    for file in &tree.files {
        let Some(text) = &file.text else { continue };
        let name = file.path.rsplit('/').next().unwrap_or(&file.path);
        let pinned = name.starts_with("requirements") && name.ends_with(".txt");
        if pinned || name.ends_with(".lock") || name.ends_with("-lock.json") {
            addresses(file, text, broken);
        }
    }
}

/// The map and the manifests say the same.
fn arrows(tree: &Tree, manifests: &[Manifest<'_>], broken: &mut Vec<Broken>) {
    let ours: BTreeSet<&str> = manifests.iter().map(|m| m.package.as_str()).collect();
    let map = tree.files.iter().find(|f| f.path == MAP.0).and_then(|f| f.text.as_deref());
    let (line, map) = shown(map.unwrap_or_default());
    let words = |names: &BTreeSet<String>| {
        if names.is_empty() {
            "nothing".to_owned()
        } else {
            names.iter().cloned().collect::<Vec<_>>().join(" ")
        }
    };
    for manifest in manifests {
        let knows = manifest.used.iter().filter(|name| ours.contains(name.as_str()));
        let knows: BTreeSet<String> = knows.map(|name| short(name)).collect();
        match map.get(&short(&manifest.package)) {
            Some(shown) if *shown == knows => {}
            Some(shown) => {
                let expected = format!("what {} shows: {}", MAP.0, words(shown));
                broken.push(Broken::new("dependencies", manifest.path, 1, expected, words(&knows)));
            }
            None => {
                let expected = format!("'{}' in the map under '{}'", short(&manifest.package), MAP.1);
                broken.push(Broken::new("dependencies", MAP.0, line, expected, "none"));
            }
        }
    }
    for name in map.keys().filter(|name| !ours.iter().any(|one| short(one) == **name)) {
        broken.push(Broken::new("dependencies", MAP.0, line, "crates that there are", format!("'{name}'")));
    }
}

/// The map: lines `name -> names` of the first block under its heading, with the line it begins at.
fn shown(text: &str) -> (usize, Arrows) {
    let lines = || text.lines().enumerate();
    let heading = lines().find(|(_, l)| *l == MAP.1).map_or(usize::MAX, |(i, _)| i);
    let block = lines().filter(|(i, _)| *i > heading).skip_while(|(_, l)| !l.starts_with("```")).skip(1);
    let entries = block.take_while(|(_, l)| !l.starts_with("```")).filter_map(|(_, l)| l.split_once("->"));
    let arrows = entries.map(|(name, knows)| {
        (name.trim().to_owned(), knows.split_whitespace().map(str::to_owned).collect::<BTreeSet<_>>())
    });
    (heading.wrapping_add(1).max(1), arrows.collect())
}

/// The name without what all share.
fn short(package: &str) -> String {
    package.strip_prefix("boltscribe-").unwrap_or(package).to_owned()
}

/// What a manifest says.
struct Manifest<'a> {
    path: &'a str,
    package: String,
    /// What it names outside development dependencies.
    used: BTreeSet<String>,
    /// All dependencies with their lines.
    all: Vec<(usize, String)>,
}

impl<'a> Manifest<'a> {
    /// None for what is no manifest of a package.
    fn read(file: &'a File) -> Option<Self> {
        let name = file.path.rsplit('/').next()?;
        let text = file.text.as_deref().filter(|_| name == "Cargo.toml")?;
        let package = text
            .lines()
            .skip_while(|l| l.trim() != "[package]")
            .find_map(|l| l.trim().strip_prefix("name = \"")?.strip_suffix('"'))?
            .to_owned();
        let mut manifest = Self { path: &file.path, package, used: BTreeSet::new(), all: Vec::new() };
        let mut section = Section::default();
        for (i, line) in text.lines().enumerate() {
            let line = line.trim();
            let named = if let Some(header) = line.strip_prefix('[') {
                section = Section::parse(header.trim_matches(['[', ']']));
                section.dependency.clone()
            } else if section.dependency.is_some() {
                None
            } else {
                line.split_once('=').filter(|_| section.depends).map(|(name, _)| {
                    name.split('.').next().unwrap_or(name).trim().trim_matches('"').to_owned()
                })
            };
            let renamed =
                line.split_once("package").map(|(_, after)| after.trim_start_matches([' ', '=', '"']));
            let renamed = renamed.filter(|_| section.depends).and_then(|r| r.split('"').next());
            for name in named.as_deref().filter(|n| !n.starts_with('#')).into_iter().chain(renamed) {
                manifest.all.push((i + 1, name.to_owned()));
                if !section.development {
                    manifest.used.insert(name.to_owned());
                }
            }
        }
        Some(manifest)
    }
}

/// The table a line stands in.
#[derive(Default)]
struct Section {
    /// It lists dependencies, or describes one.
    depends: bool,
    /// They are for tests.
    development: bool,
    /// The one it describes.
    dependency: Option<String>,
}

impl Section {
    /// `dependencies`, `dev-dependencies.name`, `target.'cfg(unix)'.build-dependencies`, …
    fn parse(header: &str) -> Self {
        let at = header.find("dependencies").filter(|_| !header.starts_with("workspace"));
        let after = at.map(|at| header[at..].trim_start_matches("dependencies").trim_start_matches('.'));
        let before = at.map_or("", |at| &header[..at]);
        Self {
            depends: at.is_some(),
            development: before.ends_with("dev-"),
            dependency: after.filter(|name| !name.is_empty()).map(|name| name.trim_matches('"').to_owned()),
        }
    }
}

fn addresses(file: &File, text: &str, broken: &mut Vec<Broken>) {
    for (i, line) in text.lines().enumerate() {
        // Where npm's list says whom to pay, it names no place that a package comes from.
        let pays = file.path.ends_with("-lock.json") && line.trim_start().starts_with("\"url\": ");
        if !pays && line.replace(REGISTRY, "").contains("://") {
            broken.push(Broken::new(
                "addresses",
                &file.path,
                i + 1,
                format!("no address besides {REGISTRY}"),
                line.trim(),
            ));
        }
    }
}
