//! The tree as rules see it: every file that is not ignored, and the Rust sources among them taken apart.
//!
//! Ignored is what `.gitignore` at the top says. Only its plain forms are understood: `name`, `/path` and
//! `*.ending`; any other form is an error rather than a guess.

use super::lexer::{Token, tokens};
use super::parts::{TestParts, test_parts};
use crate::error::Failed;
use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

/// A file of the tree.
pub struct File {
    /// Path from the top of the repository, with `/`.
    pub path: String,
    /// Its text; none for what is no UTF-8.
    pub text: Option<String>,
}

/// All files.
pub struct Tree {
    /// Files, ordered by path.
    pub files: Vec<File>,
}

/// A Rust source.
pub struct Source<'a> {
    /// Path from the top of the repository.
    pub path: &'a str,
    /// Its text.
    pub text: &'a str,
    /// The text taken apart.
    pub tokens: Vec<Token>,
    /// What of it is for tests only.
    pub tests: TestParts,
}

impl Source<'_> {
    /// The folder right under `src/` that the file lies in: that of its crate.
    pub fn crate_folder(&self) -> Option<&str> {
        self.path.strip_prefix("src/")?.split_once('/').map(|(folder, _)| folder)
    }
}

impl Tree {
    /// Reads the tree below a folder.
    ///
    /// # Errors
    /// A folder or file that cannot be read; a line of `.gitignore` in no known form.
    pub fn read(root: &Path) -> Result<Self, Failed> {
        let ignored = Ignored::parse(&fs::read_to_string(root.join(".gitignore")).unwrap_or_default())?;
        let mut tree = Self { files: Vec::new() };
        tree.walk(root, "", &ignored)?;
        tree.files.sort_by(|a, b| a.path.cmp(&b.path));
        Ok(tree)
    }

    fn walk(&mut self, folder: &Path, prefix: &str, ignored: &Ignored) -> Result<(), Failed> {
        let told = |e| Failed::io(format!("read {}", folder.display()), e);
        for entry in fs::read_dir(folder).map_err(told)? {
            let entry = entry.map_err(told)?;
            let name = entry.file_name().to_string_lossy().into_owned();
            let path = format!("{prefix}{name}");
            if name == ".git" || ignored.has(&path, &name) {
                continue;
            }
            if entry.file_type().map_err(told)?.is_dir() {
                self.walk(&entry.path(), &format!("{path}/"), ignored)?;
            } else {
                let bytes = fs::read(entry.path()).map_err(|e| Failed::io(format!("read {path}"), e))?;
                self.files.push(File { path, text: String::from_utf8(bytes).ok() });
            }
        }
        Ok(())
    }

    /// The Rust sources, each with its test parts; a file declared for tests is one as a whole, and so is
    /// what lies in a folder `tests`.
    pub fn sources(&self) -> Vec<Source<'_>> {
        let rust = self.files.iter().filter(|f| f.path.ends_with(".rs"));
        let mut sources: Vec<Source<'_>> = rust
            .map(|f| {
                let text = f.text.as_deref().unwrap_or_default();
                let tokens = tokens(text);
                let tests = test_parts(&tokens);
                Source { path: &f.path, text, tokens, tests }
            })
            .collect();
        let declared: BTreeSet<String> = sources
            .iter()
            .flat_map(|s| {
                s.tests.modules.iter().flat_map(|(name, path)| places(s.path, name, path.as_deref()))
            })
            .collect();
        for source in &mut sources {
            source.tests.whole |= declared.contains(source.path) || in_tests(source.path);
        }
        sources
    }
}

/// Lies in a folder of tests of the repository or of one of its crates, never in one below `src/`.
fn in_tests(path: &str) -> bool {
    let outside = path.split("src/").next().unwrap_or(path);
    outside.split('/').any(|part| part == "tests")
}

/// Where the module `name`, declared in the file `of`, may lie.
fn places(of: &str, name: &str, path: Option<&str>) -> Vec<String> {
    let (folder, file) = of.rsplit_once('/').unwrap_or(("", of));
    if let Some(path) = path {
        return vec![format!("{folder}/{path}")];
    }
    let own = match file {
        "mod.rs" | "lib.rs" | "main.rs" => folder.to_owned(),
        other => format!("{folder}/{}", other.strip_suffix(".rs").unwrap_or(other)),
    };
    vec![format!("{own}/{name}.rs"), format!("{own}/{name}/mod.rs")]
}

/// What `.gitignore` leaves out.
struct Ignored {
    paths: Vec<String>,
    names: Vec<String>,
    endings: Vec<String>,
}

impl Ignored {
    fn parse(text: &str) -> Result<Self, Failed> {
        let mut ignored = Self { paths: Vec::new(), names: Vec::new(), endings: Vec::new() };
        for (i, line) in text.lines().map(str::trim).enumerate() {
            if line.is_empty() || line.starts_with('#') {
                continue;
            }
            let (anchored, bare) = (line.trim_end_matches('/'), line.trim_end_matches('/'));
            let plain = |s: &str| !s.contains(['*', '?', '[', '!', '\\']);
            match (anchored.strip_prefix('/'), bare.strip_prefix('*')) {
                (Some(path), _) if plain(path) => ignored.paths.push(path.to_owned()),
                (None, Some(ending)) if plain(ending) && !ending.contains('/') => {
                    ignored.endings.push(ending.to_owned());
                }
                (None, None) if plain(bare) && !bare.contains('/') => ignored.names.push(bare.to_owned()),
                _ => {
                    let n = i + 1;
                    let forms = "expected name, /path or *.ending";
                    return Err(Failed::no(format!(".gitignore:{n}: {forms}, found '{line}'")));
                }
            }
        }
        Ok(ignored)
    }

    fn has(&self, path: &str, name: &str) -> bool {
        self.paths.iter().any(|p| p == path)
            || self.names.iter().any(|n| n == name)
            || self.endings.iter().any(|e| name.ends_with(e))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_ignored_is_left_out_and_odd_forms_are_refused() {
        let ignored = Ignored::parse("# made\n/target\n__pycache__/\n*.pyc\n").unwrap();
        assert!(ignored.has("target", "target") && !ignored.has("src/target", "target"));
        assert!(ignored.has("a/__pycache__", "__pycache__") && ignored.has("a/b.pyc", "b.pyc"));
        assert!(Ignored::parse("a/**/b\n").is_err_and(|e| e.what.contains(".gitignore:1")));
    }

    #[test]
    fn a_folder_tests_below_src_is_no_folder_of_tests() {
        assert!(in_tests("tests/cli.rs") && in_tests("tools/virtual-rig/tests/common/mod.rs"));
        assert!(!in_tests("src/tests/mod.rs") && !in_tests("src/page/tests.rs"));
    }
}
