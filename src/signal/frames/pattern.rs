//! The pattern of an ASCII line: text with the named fields `{value}`, `{tick}` and `{skip}`.
//!
//! A space in the pattern matches any run of blanks, also none; `{skip}` any run of characters up to
//! what follows; everything else itself. Blanks at both ends of a line do not count.

/// Why a pattern cannot be used.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PatternError {
    /// No `{value}`, or two of a field.
    #[error("pattern '{pattern}': expected the field {{{field}}} {expected}, found it {found} times")]
    Field {
        /// The pattern.
        pattern: String,
        /// The field.
        field: &'static str,
        /// How often it may stand.
        expected: &'static str,
        /// How often it stands.
        found: usize,
    },
    /// A name in braces that is none of ours.
    #[error("pattern '{pattern}': expected the fields {{value}}, {{tick}} or {{skip}}, found '{found}'")]
    Unknown {
        /// The pattern.
        pattern: String,
        /// From the opening brace on.
        found: String,
    },
    /// Two fields with nothing between them cannot be told apart.
    #[error("pattern '{pattern}': expected text between two fields, found none")]
    Touching {
        /// The pattern.
        pattern: String,
    },
    /// Ticks need a rate, and a rate needs ticks.
    #[error("pattern '{pattern}': expected tick_hz above zero because it has {{tick}}, found {found:?}")]
    TickRate {
        /// The pattern.
        pattern: String,
        /// What is set.
        found: Option<f64>,
    },
}

#[derive(Clone, Debug, PartialEq)]
enum Part {
    Text(String),
    Blank,
    Value,
    Tick,
    Skip,
}

/// A checked pattern.
#[derive(Clone, Debug, PartialEq)]
pub struct Pattern {
    parts: Vec<Part>,
    has_tick: bool,
}

/// The fields of a line, as text.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Fields<'l> {
    /// Text of the value.
    pub value: &'l str,
    /// Text of the tick.
    pub tick: Option<&'l str>,
}

impl Pattern {
    /// Reads a pattern.
    ///
    /// # Errors
    /// A missing or repeated field, an unknown name, two fields that touch.
    pub fn parse(pattern: &str) -> Result<Self, PatternError> {
        let mut parts = Vec::new();
        let mut rest = pattern.trim();
        while let Some(c) = rest.chars().next() {
            if c == '{' {
                let (part, length) = match rest {
                    r if r.starts_with("{value}") => (Part::Value, 7),
                    r if r.starts_with("{tick}") => (Part::Tick, 6),
                    r if r.starts_with("{skip}") => (Part::Skip, 6),
                    _ => {
                        return Err(PatternError::Unknown { pattern: pattern.into(), found: rest.into() });
                    }
                };
                let is_field = |p: &Part| matches!(p, Part::Value | Part::Tick | Part::Skip);
                if parts.last().is_some_and(is_field) {
                    return Err(PatternError::Touching { pattern: pattern.into() });
                }
                parts.push(part);
                rest = &rest[length..];
            } else if c.is_whitespace() {
                parts.push(Part::Blank);
                rest = rest.trim_start();
            } else {
                let end = rest.find(|c: char| c == '{' || c.is_whitespace()).unwrap_or(rest.len());
                parts.push(Part::Text(rest[..end].to_owned()));
                rest = &rest[end..];
            }
        }
        let times = |part: &Part| parts.iter().filter(|p| *p == part).count();
        let field =
            |field, expected, found| PatternError::Field { pattern: pattern.into(), field, expected, found };
        match (times(&Part::Value), times(&Part::Tick)) {
            (1, 0 | 1) => Ok(Self { has_tick: times(&Part::Tick) == 1, parts }),
            (1, n) => Err(field("tick", "at most once", n)),
            (n, _) => Err(field("value", "once", n)),
        }
    }

    /// Whether lines carry a tick.
    #[must_use]
    pub fn has_tick(&self) -> bool {
        self.has_tick
    }

    /// Matches a whole line; none where it does not fit.
    #[must_use]
    pub fn fields<'l>(&self, line: &'l str) -> Option<Fields<'l>> {
        let mut fields = Fields::default();
        let mut rest = line.trim();
        for (i, part) in self.parts.iter().enumerate() {
            match part {
                Part::Text(text) => rest = rest.strip_prefix(text.as_str())?,
                Part::Blank => rest = rest.trim_start(),
                Part::Skip => rest = &rest[self.skip(i, rest)?..],
                Part::Value | Part::Tick => {
                    let end = rest.find(|c: char| !is_number(c)).unwrap_or(rest.len());
                    let (text, later) = rest.split_at(end);
                    if text.is_empty() {
                        return None;
                    }
                    match part {
                        Part::Value => fields.value = text,
                        _ => fields.tick = Some(text),
                    }
                    rest = later;
                }
            }
        }
        rest.trim().is_empty().then_some(fields)
    }

    /// How far a skip reaches: to the next text, or to the next number, or to the end.
    fn skip(&self, at: usize, rest: &str) -> Option<usize> {
        let next = self.parts[at + 1..].iter().find(|p| **p != Part::Blank);
        match next {
            None => Some(rest.len()),
            Some(Part::Text(text)) => rest.find(text.as_str()),
            Some(_) => rest.find(is_number),
        }
    }
}

fn is_number(c: char) -> bool {
    c.is_ascii_digit() || matches!(c, '+' | '-' | '.')
}

/// Reads a decimal number as value × 10^decimals, exactly.
///
/// # Errors
/// A short word for the counter: not a number, more decimals than are kept, out of range.
pub fn scaled(text: &str, decimals: u8) -> Result<i32, &'static str> {
    let (negative, digits) = match text.as_bytes().first() {
        Some(b'-') => (true, &text[1..]),
        Some(b'+') => (false, &text[1..]),
        _ => (false, text),
    };
    let (whole, fraction) = digits.split_once('.').unwrap_or((digits, ""));
    let all_digits = |s: &str| s.bytes().all(|b| b.is_ascii_digit());
    if (whole.is_empty() && fraction.is_empty()) || !all_digits(whole) || !all_digits(fraction) {
        return Err("not-a-number");
    }
    let kept = usize::from(decimals);
    if fraction.len() > kept && fraction[kept..].bytes().any(|b| b != b'0') {
        return Err("too-many-decimals");
    }
    let mut value: i64 = 0;
    let wanted = fraction.bytes().chain(std::iter::repeat(b'0')).take(kept);
    for digit in whole.bytes().chain(wanted) {
        value = value
            .checked_mul(10)
            .and_then(|v| v.checked_add(i64::from(digit - b'0')))
            .ok_or("out-of-range")?;
    }
    i32::try_from(if negative { -value } else { value }).map_err(|_| "out-of-range")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn common_lines_of_hobby_boards_are_read() {
        let value =
            |pattern: &str, line| Pattern::parse(pattern).unwrap().fields(line).map(|f| f.value.to_owned());
        assert_eq!(value("{value}", "  8388607\r"), Some("8388607".into()));
        assert_eq!(value("{tick},{value}", "120,-45"), Some("-45".into()));
        assert_eq!(value("t={tick} v={value} {skip}", "t=12   v=3.5 g"), Some("3.5".into()));
        assert_eq!(value("{skip}: {value}", "reading: 42"), Some("42".into()));
        assert_eq!(value("{value}", "board ready"), None);
        assert_eq!(value("{value}", "12,5"), None);
    }

    #[test]
    fn bad_patterns_say_what_is_wrong() {
        assert!(matches!(Pattern::parse("{tick}"), Err(PatternError::Field { field: "value", .. })));
        assert!(matches!(Pattern::parse("{value} {value}"), Err(PatternError::Field { .. })));
        assert!(matches!(Pattern::parse("{tick}{value}"), Err(PatternError::Touching { .. })));
        assert!(matches!(Pattern::parse("{weight}"), Err(PatternError::Unknown { .. })));
    }

    #[test]
    fn numbers_are_scaled_exactly_or_refused() {
        assert_eq!(scaled("12.34", 2), Ok(1234));
        assert_eq!(scaled("-0.5", 1), Ok(-5));
        assert_eq!(scaled("8421.00", 0), Ok(8421));
        assert_eq!(scaled("8421.01", 0), Err("too-many-decimals"));
        assert_eq!(scaled("1-2", 0), Err("not-a-number"));
        assert_eq!(scaled(".", 0), Err("not-a-number"));
        assert_eq!(scaled("2147483648", 0), Err("out-of-range"));
        assert_eq!(scaled("-2147483648", 0), Ok(i32::MIN));
    }
}
