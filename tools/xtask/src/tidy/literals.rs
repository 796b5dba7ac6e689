//! Numbers that judge have names: in the folder that finds runs a fraction stands in a `const` item only.
//!
//! Free are 0, a half, 1, 2 and 1,000: they belong to arithmetic and units. Whole numbers are not looked at; what a
//! constant is worth is said by `cargo xtask sensitivity`.

use super::broken::Broken;
use super::lexer::{Kind, Token};
use super::parts::item_end;
use super::source::Source;
use super::table::{NAMED_FOLDER, PLAIN_NUMBERS};
use std::ops::Range;

/// Holds the rule for one source.
pub fn check(source: &Source<'_>, broken: &mut Vec<Broken>) {
    if !source.path.starts_with(NAMED_FOLDER) {
        return;
    }
    let constants = constants(&source.tokens);
    for (at, number) in floats(&source.tokens) {
        let line = source.tokens[at].line;
        let free = PLAIN_NUMBERS.contains(&number.value) || source.tests.holds(line);
        if !free && !constants.iter().any(|range| range.contains(&at)) {
            let expected = "a named constant with where it comes from";
            broken.push(Broken::new("number", source.path, line, expected, &number.text));
        }
    }
}

/// A literal with a fraction or an exponent.
struct Float {
    text: String,
    value: f64,
}

/// The float literals and the tokens they start at.
fn floats(tokens: &[Token]) -> Vec<(usize, Float)> {
    (0..tokens.len()).filter_map(|at| float(tokens, at).map(|float| (at, float))).collect()
}

fn float(tokens: &[Token], at: usize) -> Option<Float> {
    let digits = |at: usize| {
        let word = tokens.get(at)?.word()?;
        word.starts_with(|c: char| c.is_ascii_digit()).then_some(word)
    };
    let sign = |at: usize, sign: char| tokens.get(at).is_some_and(|t| t.is_sign(sign));
    let whole = digits(at)?;
    // After a point stands a member of a tuple, or the fraction of the number before; after two the end of a range.
    let member = at > 0 && sign(at - 1, '.') && !(at > 1 && sign(at - 2, '.'));
    if member || ["0x", "0b", "0o"].iter().any(|radix| whole.starts_with(radix)) {
        return None;
    }
    let mut text = whole.to_owned();
    let mut next = at + 1;
    if sign(next, '.') && !sign(next + 1, '.') {
        // `1.max(2)` is whole, `1.` followed by anything but a name is not.
        match tokens.get(next + 1).and_then(Token::word) {
            Some(_) => {
                if let Some(fraction) = digits(next + 1) {
                    text = format!("{text}.{fraction}");
                    next += 2;
                }
            }
            None => text.push('.'),
        }
    }
    if text.ends_with(['e', 'E'])
        && let (Some(Kind::Sign(sign)), Some(power)) = (tokens.get(next).map(|t| &t.kind), digits(next + 1))
    {
        text = format!("{text}{sign}{power}");
    }
    let bare = text.replace('_', "");
    let suffix = bare.strip_suffix("f64").or_else(|| bare.strip_suffix("f32"));
    let is_float = suffix.is_some() || text.contains(['.', 'e', 'E']);
    let value = suffix.unwrap_or(&bare).parse().ok()?;
    is_float.then_some(Float { text, value })
}

/// Where `const` items stand, as tokens. A constant parameter (`<const N: usize>`) and a `const fn` are none.
fn constants(tokens: &[Token]) -> Vec<Range<usize>> {
    let word = |at: usize| tokens.get(at).and_then(Token::word);
    (0..tokens.len())
        .filter(|at| word(*at) == Some("const") && tokens.get(at + 2).is_some_and(|t| t.is_sign(':')))
        .filter(|at| *at == 0 || !['<', ',', '*'].iter().any(|sign| tokens[at - 1].is_sign(*sign)))
        .map(|at| at..item_end(tokens, at))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::lexer::tokens;
    use super::*;

    fn values(text: &str) -> Vec<f64> {
        floats(&tokens(text)).iter().map(|(_, float)| float.value).collect()
    }

    #[test]
    fn floats_are_told_from_whole_numbers_members_and_ranges() {
        assert_eq!(
            values("0.62 1_980.0 0.35_f64 1e-5 2.5E3 7f64 3. ;"),
            [0.62, 1980.0, 0.35, 1e-5, 2500.0, 7.0, 3.0]
        );
        assert_eq!(values("0..5 1..=6 x.0 x.0.1 3.max(4) 0x1e5 12 'a' \"0.7\""), [0.0; 0]);
        assert_eq!(values("0.4..1.6 (0.25).max(x.1) (9.5..)"), [0.4, 1.6, 0.25, 9.5]);
    }
}
