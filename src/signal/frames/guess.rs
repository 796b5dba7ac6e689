//! What an unknown ASCII board seems to print: a proposal for the settings, for a person to look at.
//!
//! Numbers of each line become fields; the shape most lines share is the pattern. A first number that
//! grows with the clock is taken for a tick. It proposes and gives its reasons; nothing is read with it
//! until a person agrees. Must not know ports.

use super::pattern::Pattern;
use serde::Serialize;
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// Lines looked at, at most; the newest.
const LINES_MAX: usize = 2000;
/// Share of the lines that must have one shape.
const SHARE_MIN: f64 = 0.6;
/// Fewest lines that say anything.
const LINES_MIN: usize = 5;

/// A proposal.
#[derive(Clone, Debug, Default, PartialEq, Serialize, ToSchema)]
pub struct Guess {
    /// Pattern of the lines; none: no shape that most lines share.
    pub pattern: Option<String>,
    /// Decimals of the value.
    pub decimals: u8,
    /// Ticks a second, where the first number is a clock.
    pub tick_hz: Option<f64>,
    /// Lines a second.
    pub rate_hz: Option<f64>,
    /// What a person should know, a sentence each.
    pub remarks: Vec<String>,
}

/// One line with the time of its arrival, seconds.
pub type Line<'l> = (f64, &'l str);

/// Looks at lines in the order in which they came.
#[must_use]
pub fn guess(lines: &[Line<'_>]) -> Guess {
    let lines = &lines[lines.len().saturating_sub(LINES_MAX)..];
    let shaped: Vec<(String, Vec<&str>, f64)> = lines
        .iter()
        .map(|(at, line)| (line.trim(), at))
        .filter(|(line, _)| !line.is_empty())
        .map(|(line, at)| {
            let (shape, numbers) = shape(line);
            (shape, numbers, *at)
        })
        .collect();
    let mut guess = Guess::default();
    if shaped.len() < LINES_MIN {
        guess.remarks.push(format!("expected at least {LINES_MIN} lines, found {}", shaped.len()));
        return guess;
    }
    let Some(most) = most_common(&shaped) else { return guess };
    let same: Vec<&(String, Vec<&str>, f64)> = shaped.iter().filter(|(s, ..)| *s == most).collect();
    let others = shaped.len() - same.len();
    if (same.len() as f64) < SHARE_MIN * shaped.len() as f64 {
        guess.remarks.push(format!("no shape is shared by most lines; the commonest is '{most}'"));
        return guess;
    }
    if others > 0 {
        guess.remarks.push(format!("{others} lines look otherwise, such as a banner; they will be left out"));
    }
    let (first, last) = (same[0].2, same[same.len() - 1].2);
    if last > first {
        guess.rate_hz = Some(rounded((same.len() - 1) as f64 / (last - first)));
    }
    let fields: Vec<Vec<&str>> =
        (0..same[0].1.len()).map(|i| same.iter().map(|(_, numbers, _)| numbers[i]).collect()).collect();
    let times: Vec<f64> = same.iter().map(|(.., at)| *at).collect();
    name_fields(&most, &fields, &times, &mut guess);
    guess
}

/// The line with each number replaced by a placeholder, and the numbers.
fn shape(line: &str) -> (String, Vec<&str>) {
    let (mut shape, mut numbers) = (String::new(), Vec::new());
    let mut rest = line;
    while let Some(c) = rest.chars().next() {
        let length = number(rest);
        if length > 0 {
            numbers.push(&rest[..length]);
            shape.push('#');
            rest = &rest[length..];
        } else {
            shape.push(c);
            rest = &rest[c.len_utf8()..];
        }
    }
    (shape.split_whitespace().collect::<Vec<_>>().join(" "), numbers)
}

/// Length of the number at the front: a sign, digits, a point, digits.
fn number(text: &str) -> usize {
    let bytes = text.as_bytes();
    let digits = |from: usize| bytes[from..].iter().take_while(|b| b.is_ascii_digit()).count();
    let sign = usize::from(matches!(bytes.first(), Some(b'+' | b'-')));
    let whole = digits(sign);
    if whole == 0 {
        return 0;
    }
    let mut end = sign + whole;
    if bytes.get(end) == Some(&b'.') && digits(end + 1) > 0 {
        end += 1 + digits(end + 1);
    }
    end
}

fn most_common(shaped: &[(String, Vec<&str>, f64)]) -> Option<String> {
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    for (shape, ..) in shaped.iter().filter(|(_, numbers, _)| !numbers.is_empty()) {
        *counts.entry(shape).or_default() += 1;
    }
    counts.into_iter().max_by_key(|(_, n)| *n).map(|(shape, _)| shape.to_owned())
}

fn name_fields(shape: &str, fields: &[Vec<&str>], times: &[f64], guess: &mut Guess) {
    let tick = (fields.len() >= 2).then(|| clock(&fields[0], times)).flatten();
    if fields.len() == 2 && tick.is_none() && shape == "#,#" && looks_like_decimals(fields) {
        guess.remarks.push(
            "the comma seems to be a decimal comma: set the board to print a point (12.345, not 12,345)"
                .into(),
        );
        return;
    }
    let value = fields.len() - 1;
    let mut nth = 0;
    let mut pattern = String::new();
    for c in shape.chars() {
        if c != '#' {
            pattern.push(c);
            continue;
        }
        pattern.push_str(match nth {
            n if n == value => "{value}",
            0 if tick.is_some() => "{tick}",
            _ => "{skip}",
        });
        nth += 1;
    }
    if Pattern::parse(&pattern).is_err() {
        guess.remarks.push(format!("cannot make a pattern of '{shape}'"));
        return;
    }
    guess.decimals =
        fields[value].iter().map(|n| n.split_once('.').map_or(0, |(_, d)| d.len())).max().unwrap_or(0).min(9)
            as u8;
    match tick {
        Some(tick_hz) => {
            guess.tick_hz = Some(tick_hz);
            guess.remarks.push(format!("the first number grows by {tick_hz} a second: taken for a clock"));
        }
        None if value > 0 => guess.remarks.push(format!(
            "{} numbers in a line, none of them a clock at the front: the last is taken for the reading",
            fields.len()
        )),
        None => {}
    }
    guess.pattern = Some(pattern);
}

/// Ticks a second, where whole numbers grow steadily.
fn clock(field: &[&str], times: &[f64]) -> Option<f64> {
    let ticks: Vec<i64> = field.iter().map(|n| n.parse().ok()).collect::<Option<_>>()?;
    let grown = ticks.windows(2).filter(|w| w[1] > w[0]).count();
    // One wrap of a short counter may fall into the time of listening.
    if grown + 1 < ticks.len() - 1 || ticks.len() < LINES_MIN {
        return None;
    }
    let steps: i64 = ticks.windows(2).map(|w| (w[1] - w[0]).max(0)).sum();
    let span = times[times.len() - 1] - times[0];
    if span <= 0.0 {
        return None;
    }
    let rate = steps as f64 / span;
    [1000.0, 10_000.0, 100_000.0, 1e6]
        .into_iter()
        .find(|usual| (rate / usual - 1.0).abs() < 0.1)
        .or_else(|| (rate >= 500.0).then(|| rounded(rate)))
}

/// The part behind the comma always has one length, or the part before it hardly changes.
fn looks_like_decimals(fields: &[Vec<&str>]) -> bool {
    let length = fields[1][0].len();
    length <= 6 && fields[1].iter().all(|n| n.len() == length && n.bytes().all(|b| b.is_ascii_digit()))
}

/// To three digits: what is measured in a few seconds is not known better.
fn rounded(x: f64) -> f64 {
    let unit = libm::pow(10.0, libm::floor(libm::log10(x)) - 2.0);
    let value = (x / unit).round() * unit;
    (value * 1e6).round() / 1e6
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines(make: impl Fn(usize) -> String) -> Vec<(f64, String)> {
        (0..200).map(|n| (n as f64 / 80.0, make(n))).collect()
    }

    fn of(lines: &[(f64, String)]) -> Guess {
        guess(&lines.iter().map(|(at, l)| (*at, l.as_str())).collect::<Vec<_>>())
    }

    #[test]
    fn a_board_that_prints_one_number_after_a_banner_is_read() {
        let g = of(&lines(|n| match n {
            0 => "bridge reader v1.2".into(),
            1 => "ready".into(),
            n => format!("{}", 8000 + n % 7),
        }));
        assert_eq!(g.pattern.as_deref(), Some("{value}"));
        assert_eq!((g.decimals, g.tick_hz, g.rate_hz), (0, None, Some(80.0)));
        assert!(g.remarks[0].starts_with("2 lines look otherwise"), "{g:?}");
    }

    #[test]
    fn microseconds_in_front_are_a_clock() {
        let g = of(&lines(|n| format!("{},{}", 4_000_000 + n * 12_500, -30 - (n % 5) as i64)));
        assert_eq!((g.pattern.as_deref(), g.tick_hz), (Some("{tick},{value}"), Some(1e6)));
        let g = of(&lines(|n| format!("t={} F: {}.{:02} kN", 7 + n * 25 / 2, n % 9, n % 100)));
        assert_eq!(g.pattern.as_deref(), Some("t={tick} F: {value} kN"));
        assert_eq!((g.tick_hz, g.decimals), (Some(1000.0), 2));
    }

    #[test]
    fn a_decimal_comma_is_told_and_not_read_as_two_numbers() {
        let g = of(&lines(|n| format!("{},{:03}", 12 + n % 3, (n * 7) % 1000)));
        assert_eq!(g.pattern, None);
        assert!(g.remarks.iter().any(|r| r.contains("decimal comma")), "{g:?}");
    }

    #[test]
    fn silence_and_garbage_make_no_proposal() {
        assert_eq!(guess(&[]).pattern, None);
        let g = of(&lines(|n| format!("{}x{}", "!".repeat(n % 50), "y".repeat(n % 30))));
        assert_eq!(g.pattern, None);
        let g = of(&lines(|n| format!("{}{}", "a".repeat(n % 40), n)));
        assert_eq!(g.pattern, None, "{g:?}");
    }
}
