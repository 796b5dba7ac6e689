//! Who depends on whom among our crates, and where packages come from.
//!
//! Reads manifests line by line in the form they have here: a table a section, a dependency a line.

use super::broken::Broken;
use super::source::{File, Tree};
use super::table::{MANIFESTS, Manifest, OUR_CRATES, REGISTRY};

/// Holds the rules for all manifests, lock files and lists of pinned packages.
pub fn check(tree: &Tree, broken: &mut Vec<Broken>) {
    for file in &tree.files {
        let Some(text) = &file.text else { continue };
        let name = file.path.rsplit('/').next().unwrap_or(&file.path);
        if let Some(manifest) = MANIFESTS.iter().find(|m| m.path == file.path) {
            dependencies(manifest, text, broken);
        }
        let pinned = name.starts_with("requirements") && name.ends_with(".txt");
        if pinned || name.ends_with(".lock") || name.ends_with("-lock.json") {
            addresses(file, text, broken);
        }
    }
}

fn dependencies(manifest: &Manifest, text: &str, broken: &mut Vec<Broken>) {
    let mut section = Section::default();
    for (i, line) in text.lines().enumerate() {
        let line = line.trim();
        let named = if let Some(header) = line.strip_prefix('[') {
            section = Section::parse(header.trim_matches(['[', ']']));
            section.dependency.clone()
        } else if section.dependency.is_some() {
            None
        } else {
            line.split_once('=')
                .filter(|_| section.depends)
                .map(|(name, _)| name.split('.').next().unwrap_or(name).trim().trim_matches('"').to_owned())
        };
        let renamed = line.split_once("package").map(|(_, after)| after.trim_start_matches([' ', '=', '"']));
        let renamed = renamed.filter(|_| section.depends).and_then(|r| r.split('"').next());
        for name in named.as_deref().filter(|n| !n.starts_with('#')).into_iter().chain(renamed) {
            let ours = OUR_CRATES.contains(&name) && !manifest.ours.contains(&name);
            if !manifest.others || (ours && !section.development) {
                let allowed = match (manifest.others, manifest.ours) {
                    (false, _) => "no dependency at all".to_owned(),
                    (true, []) => "none of our crates".to_owned(),
                    (true, names) => format!("of our crates only {}", names.join(", ")),
                };
                broken.push(Broken::new("dependencies", manifest.path, i + 1, allowed, name));
            }
        }
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
        let at = header.find("dependencies");
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
