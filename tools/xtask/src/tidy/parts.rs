//! Which lines of a file are compiled for tests only, and which files are.
//!
//! An item under `#[cfg(test)]` or `#[cfg(all(test, …))]` is such a part; a module declared there is such a
//! file. Must not know what rules make of it.

use super::lexer::{Kind, Token};
use std::ops::RangeInclusive;

/// The test parts of a file.
#[derive(Debug, Default)]
pub struct TestParts {
    /// Lines, from 1.
    pub lines: Vec<RangeInclusive<usize>>,
    /// Modules declared for tests: the name, and the path where one is given.
    pub modules: Vec<(String, Option<String>)>,
    /// The whole file, by `#![cfg(test)]`.
    pub whole: bool,
}

impl TestParts {
    /// The line is for tests only.
    pub fn holds(&self, line: usize) -> bool {
        self.whole || self.lines.iter().any(|range| range.contains(&line))
    }
}

/// Finds the test parts.
pub fn test_parts(tokens: &[Token]) -> TestParts {
    let mut parts = TestParts::default();
    let mut at = 0;
    while at < tokens.len() {
        let inner = tokens[at].is_sign('#') && tokens.get(at + 1).is_some_and(|t| t.is_sign('!'));
        let open = at + 1 + usize::from(inner);
        if !tokens[at].is_sign('#') || !is_test(&tokens[(open).min(tokens.len())..]) {
            at += 1;
            continue;
        }
        if inner {
            parts.whole = true;
            return parts;
        }
        let (item, path) = attributes(tokens, at);
        let end = item_end(tokens, item);
        if let Some(name) = module(&tokens[item.min(end)..end]) {
            parts.modules.push((name, path));
        }
        let last = tokens.get(end.saturating_sub(1)).map_or(tokens[at].line, |t| t.line);
        parts.lines.push(tokens[at].line..=last);
        at = end.max(at + 1);
    }
    parts
}

/// `[cfg(test` or `[cfg(all(test` stands here.
fn is_test(tokens: &[Token]) -> bool {
    let starts = |words: &[&str]| {
        tokens.len() > words.len()
            && words.iter().zip(tokens).all(|(w, t)| match &t.kind {
                Kind::Word(word) => word == w,
                Kind::Sign(sign) => w.len() == 1 && w.starts_with(*sign),
                _ => false,
            })
    };
    starts(&["[", "cfg", "(", "test", ")"]) || starts(&["[", "cfg", "(", "all", "(", "test"])
}

/// Passes the attributes before an item; answers where the item starts and the path given for a module.
fn attributes(tokens: &[Token], mut at: usize) -> (usize, Option<String>) {
    let mut path = None;
    while tokens.get(at).is_some_and(|t| t.is_sign('#')) {
        let end = bracket_end(tokens, at + 1);
        if tokens.get(at + 2).and_then(Token::word) == Some("path")
            && let Some(Kind::Text(text)) = tokens.get(at + 4).map(|t| &t.kind)
        {
            path = Some(text.clone());
        }
        at = end;
    }
    (at, path)
}

/// Past the bracket that opens here.
fn bracket_end(tokens: &[Token], mut at: usize) -> usize {
    let mut depth = 0_usize;
    while let Some(token) = tokens.get(at) {
        at += 1;
        match token.kind {
            Kind::Sign('(' | '[' | '{') => depth += 1,
            Kind::Sign(')' | ']' | '}') => {
                depth = depth.saturating_sub(1);
                if depth == 0 {
                    break;
                }
            }
            _ => {}
        }
    }
    at
}

/// Past the item that starts here: its `;`, or the brace that closes its body, or the end of what holds it.
pub fn item_end(tokens: &[Token], mut at: usize) -> usize {
    while let Some(token) = tokens.get(at) {
        match token.kind {
            Kind::Sign(';') => return at + 1,
            Kind::Sign('{') => return bracket_end(tokens, at),
            Kind::Sign('(' | '[') => at = bracket_end(tokens, at),
            Kind::Sign(')' | ']' | '}') => return at,
            _ => at += 1,
        }
    }
    at
}

/// The name of the module that these tokens declare without a body.
fn module(item: &[Token]) -> Option<String> {
    let at = item.iter().position(|t| t.word() == Some("mod"))?;
    let declared = item.get(at + 2).is_some_and(|t| t.is_sign(';'));
    item.get(at + 1).filter(|_| declared)?.word().map(str::to_owned)
}

#[cfg(test)]
mod tests {
    use super::super::lexer::tokens;
    use super::*;

    #[test]
    fn a_test_module_ends_at_its_brace() {
        let parts = test_parts(&tokens("fn a() {}\n#[cfg(test)]\nmod tests {\n fn b() { }\n}\nfn c() {}\n"));
        assert_eq!(parts.lines, [2..=5]);
    }

    #[test]
    fn a_use_or_constant_ends_at_its_semicolon() {
        let parts = test_parts(&tokens("#[cfg(test)]\nconst A: [u8; 2] =\n [1; 2];\nfn c() {}\n"));
        assert_eq!(parts.lines, [1..=3]);
    }

    #[test]
    fn declared_modules_are_named_with_their_path() {
        let text = "#[cfg(test)]\nmod a;\n#[cfg(all(test, unix))]\n#[path = \"c.rs\"]\npub mod b;\n";
        let parts = test_parts(&tokens(text));
        assert_eq!(parts.modules, [("a".to_owned(), None), ("b".to_owned(), Some("c.rs".to_owned()))]);
    }

    #[test]
    fn what_is_compiled_outside_tests_is_no_test_part() {
        let parts = test_parts(&tokens("#[cfg(not(test))]\nfn a() {}\n#[cfg(unix)]\nfn b() {}\n"));
        assert!(parts.lines.is_empty() && parts.modules.is_empty());
    }
}
