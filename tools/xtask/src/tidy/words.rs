//! No text names a folder of one machine or a page that a reader of the repository cannot open.
//!
//! Holds for every file that is text, of whatever kind.

use super::broken::Broken;
use super::source::Tree;
use super::table::{HIDDEN_PAGES, MACHINE_PATHS};

/// Holds the rule for the whole tree.
pub fn check(tree: &Tree, broken: &mut Vec<Broken>) {
    for file in &tree.files {
        let Some(text) = &file.text else {
            if file.path.ends_with(".rs") {
                broken.push(Broken::new("words", &file.path, 1, "UTF-8", "other bytes"));
            }
            continue;
        };
        for (i, line) in text.lines().enumerate() {
            let lower = line.to_lowercase();
            for page in HIDDEN_PAGES.iter().filter(|p| lower.contains(*p)) {
                broken.push(Broken::new(
                    "words",
                    &file.path,
                    i + 1,
                    "no page from elsewhere",
                    format!("'{page}'"),
                ));
            }
            for start in MACHINE_PATHS.iter().filter(|start| has_absolute(line, start)) {
                broken.push(Broken::new(
                    "words",
                    &file.path,
                    i + 1,
                    "no path of one machine",
                    format!("'{start}'"),
                ));
            }
        }
    }
}

/// The beginning of a path stands here, and not in the middle of a longer one.
fn has_absolute(line: &str, start: &str) -> bool {
    line.match_indices(start).any(|(at, _)| {
        let before = line[..at].chars().next_back();
        before.is_none_or(|c| !(c.is_alphanumeric() || "._-})*~".contains(c)))
    })
}
