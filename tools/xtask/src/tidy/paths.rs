//! The paths a text names, use-trees written out: `use a::{b, c::d}` names `a::b` and `a::c::d`.
//!
//! A path is what stands joined by `::`, in a use or anywhere else. Must not know rooms or rules.

use super::lexer::{Kind, Token};

/// A path as written.
#[derive(Debug)]
pub struct Path {
    /// Its parts; `*` for a glob.
    pub parts: Vec<String>,
    /// Line of its last part.
    pub line: usize,
}

/// All paths of a text, also those of a single part, in order.
pub fn paths(tokens: &[Token]) -> Vec<Path> {
    let mut out = Vec::new();
    let mut at = 0;
    while at < tokens.len() {
        if tokens[at].word().is_some() {
            at = tree(tokens, at, &[], &mut out);
        } else {
            at += 1;
        }
    }
    out
}

/// Reads one tree that starts at a word, `*` or `{`; answers where it ends.
fn tree(tokens: &[Token], mut at: usize, prefix: &[String], out: &mut Vec<Path>) -> usize {
    let mut parts = prefix.to_vec();
    let mut line = 0;
    while let Some(token) = tokens.get(at) {
        match &token.kind {
            Kind::Word(word) => {
                parts.push(word.clone());
                line = token.line;
                at += 1;
            }
            Kind::Sign('*') => {
                parts.push("*".to_owned());
                line = token.line;
                at += 1;
                break;
            }
            Kind::Sign('{') => return group(tokens, at + 1, &parts, out),
            _ => break,
        }
        if tokens.get(at).is_none_or(|t| t.kind != Kind::PathSep) {
            break;
        }
        at += 1;
    }
    if line > 0 {
        out.push(Path { parts, line });
    }
    at
}

/// Reads the trees of a group up to its closing brace.
fn group(tokens: &[Token], mut at: usize, prefix: &[String], out: &mut Vec<Path>) -> usize {
    while let Some(token) = tokens.get(at) {
        if token.is_sign('}') {
            return at + 1;
        }
        let starts = token.word().is_some() || token.is_sign('*') || token.is_sign('{');
        let renamed = at > 0 && tokens[at - 1].word() == Some("as");
        if token.word() == Some("as") || renamed || !starts {
            at += 1;
        } else {
            at = tree(tokens, at, prefix, out);
        }
    }
    at
}

#[cfg(test)]
mod tests {
    use super::super::lexer::tokens;
    use super::*;

    fn names(text: &str) -> Vec<String> {
        paths(&tokens(text)).iter().map(|p| p.parts.join("::")).filter(|p| p.contains("::")).collect()
    }

    #[test]
    fn use_trees_are_written_out() {
        let text = "use a::{b, c::{d as e, self}, f::*};";
        assert_eq!(names(text), ["a::b", "a::c::d", "a::c::self", "a::f::*"]);
    }

    #[test]
    fn paths_in_expressions_and_types_are_found() {
        assert_eq!(names("let x: m::T = q::<u8>::r(s::t());"), ["m::T", "s::t"]);
    }

    #[test]
    fn a_part_has_its_own_line() {
        let found = paths(&tokens("use a::{\n b,\n c,\n};"));
        assert_eq!(found.iter().map(|p| p.line).collect::<Vec<_>>(), [1, 2, 3]);
    }
}
