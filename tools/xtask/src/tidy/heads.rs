//! Each source opens with its head, is not too long, and `mod.rs` and `lib.rs` hold no logic.
//!
//! How long a function may be is held by clippy.

use super::broken::Broken;
use super::source::Source;
use super::table::{FILE_LINES_MAX, HEAD_LINES_MAX, HEAD_LINES_MIN};

/// Holds the rules for one source.
pub fn check(source: &Source<'_>, broken: &mut Vec<Broken>) {
    head(source, broken);
    size(source, broken);
    if !source.tests.whole && matches!(source.path.rsplit('/').next(), Some("mod.rs" | "lib.rs")) {
        logic(source, broken);
    }
}

fn head(source: &Source<'_>, broken: &mut Vec<Broken>) {
    let lines = source.text.lines().take_while(|l| l.starts_with("//!")).count();
    if !(HEAD_LINES_MIN..=HEAD_LINES_MAX).contains(&lines) {
        let expected = format!("a head of {HEAD_LINES_MIN} to {HEAD_LINES_MAX} lines of //!");
        broken.push(Broken::new("head", source.path, 1, expected, lines.to_string()));
    }
}

fn size(source: &Source<'_>, broken: &mut Vec<Broken>) {
    let mine = (1..=source.text.lines().count()).filter(|line| !source.tests.holds(*line));
    let (lines, last) = mine.fold((0, 1), |(n, _), line| (n + 1, line));
    if lines > FILE_LINES_MAX {
        let expected = format!("at most {FILE_LINES_MAX} lines outside tests");
        broken.push(Broken::new("size", source.path, last, expected, lines.to_string()));
    }
}

fn logic(source: &Source<'_>, broken: &mut Vec<Broken>) {
    let words = source.tokens.iter().filter_map(|t| Some((t.word()?, t.line)));
    for (word, line) in
        words.filter(|(word, line)| matches!(*word, "fn" | "impl") && !source.tests.holds(*line))
    {
        broken.push(Broken::new("logic", source.path, line, "modules and names only", format!("'{word}'")));
    }
}
