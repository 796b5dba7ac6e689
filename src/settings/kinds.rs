//! What a value may be, and the strict reading of one value; nothing is turned into another kind.
//!
//! The one exception is a whole number where a number is expected: 200 is 200.0. This file must not know
//! any key.

use config::ValueKind;
use std::ops::Range;
use toml::Spanned;
use toml::de::DeValue;

/// Largest whole number that a double holds exactly: 2^53.
const WHOLE_MAX: i64 = 1 << 53;

/// What a value may be.
pub(super) enum Kind {
    /// Text that obeys a rule; the rule says what it expected.
    Text(fn(&str) -> Result<(), String>),
    /// One of some words.
    Choice(&'static [&'static str]),
    /// A finite number.
    Number(Limits),
    /// A whole number.
    Whole { min: i64, max: i64 },
    /// true or false.
    Switch,
    /// A list of finite numbers.
    Numbers {
        limits: Limits,
        least: usize,
        most: usize,
        ascending: bool,
    },
    /// A table within the table.
    Table(&'static [super::schema::Key]),
}

/// Range of a number.
#[derive(Clone, Copy)]
pub(super) struct Limits {
    pub min: f64,
    /// The least value itself is not allowed.
    pub above: bool,
    pub max: f64,
}

impl Limits {
    /// From `min` to `max`, both allowed.
    pub const fn from_to(min: f64, max: f64) -> Self {
        Self {
            min,
            above: false,
            max,
        }
    }

    /// Above 0, at most `max`.
    pub const fn positive(max: f64) -> Self {
        Self {
            min: 0.0,
            above: true,
            max,
        }
    }

    /// Any finite number.
    pub const ANY: Self = Self::from_to(f64::MIN, f64::MAX);

    fn hold(self, value: f64) -> bool {
        let low = if self.above {
            value > self.min
        } else {
            value >= self.min
        };
        low && value <= self.max
    }

    fn words(self) -> String {
        match self {
            Self { max: f64::MAX, .. } => String::new(),
            Self {
                above: true,
                min,
                max,
            } => format!(" above {min} and at most {max}"),
            Self { min, max, .. } => format!(" from {min} to {max}"),
        }
    }
}

/// A value that does not fit: which bytes of the text, and what was expected there.
pub(super) struct Misfit {
    pub span: Range<usize>,
    pub expected: String,
}

impl Kind {
    /// What is expected, in words.
    pub fn expected(&self) -> String {
        match self {
            Self::Text(_) => "text in quotes".to_owned(),
            Self::Choice(words) => format!("one of {}", words.join(", ")),
            Self::Number(limits) => format!("a number{}", limits.words()),
            Self::Whole { min, max } => format!("a whole number from {min} to {max}"),
            Self::Switch => "true or false".to_owned(),
            Self::Numbers {
                limits,
                least,
                most,
                ascending,
            } => {
                let order = if *ascending { ", ascending" } else { "" };
                format!("a list of {least} to {most} numbers{}{order}", limits.words())
            }
            Self::Table(_) => "a table".to_owned(),
        }
    }

    /// Reads a value of a file; tables are not read here.
    pub fn read(&self, value: &Spanned<DeValue<'_>>) -> Result<ValueKind, Misfit> {
        let misfit = |expected| Misfit {
            span: value.span(),
            expected,
        };
        match (self, value.get_ref()) {
            (Self::Text(_) | Self::Choice(_), DeValue::String(text)) => self.word(text).map_err(misfit),
            (Self::Number(limits), item) => number(item)
                .filter(|&n| limits.hold(n))
                .map(ValueKind::Float)
                .ok_or_else(|| misfit(self.expected())),
            (Self::Whole { min, max }, item) => whole(item)
                .filter(|n| (min..=max).contains(&n))
                .map(ValueKind::I64)
                .ok_or_else(|| misfit(self.expected())),
            (Self::Switch, DeValue::Boolean(on)) => Ok(ValueKind::Boolean(*on)),
            (Self::Numbers { limits, .. }, DeValue::Array(items)) => {
                let mut list = Vec::new();
                for item in items.iter() {
                    let n = number(item.get_ref()).filter(|&n| limits.hold(n));
                    list.push(n.ok_or_else(|| Misfit {
                        span: item.span(),
                        expected: format!("a number{}", limits.words()),
                    })?);
                }
                self.list(list).map_err(misfit)
            }
            _ => Err(misfit(self.expected())),
        }
    }

    /// Reads the text of an environment variable; lists are separated by commas.
    pub fn read_plain(&self, text: &str) -> Result<ValueKind, String> {
        let real = |text: &str| text.parse::<f64>().ok().filter(|n| n.is_finite());
        match self {
            Self::Text(_) | Self::Choice(_) => self.word(text),
            Self::Number(limits) => real(text)
                .filter(|&n| limits.hold(n))
                .map(ValueKind::Float)
                .ok_or_else(|| self.expected()),
            Self::Whole { min, max } => text
                .parse::<i64>()
                .ok()
                .filter(|n| (min..=max).contains(&n))
                .map(ValueKind::I64)
                .ok_or_else(|| self.expected()),
            Self::Switch => match text {
                "true" => Ok(ValueKind::Boolean(true)),
                "false" => Ok(ValueKind::Boolean(false)),
                _ => Err(self.expected()),
            },
            Self::Numbers { limits, .. } => {
                let list: Option<Vec<f64>> = text
                    .split(',')
                    .map(|item| real(item.trim()).filter(|&n| limits.hold(n)))
                    .collect();
                self.list(list.ok_or_else(|| self.expected())?)
            }
            Self::Table(_) => Err("a table, which only a file can hold".to_owned()),
        }
    }

    fn word(&self, text: &str) -> Result<ValueKind, String> {
        match self {
            Self::Text(rule) => rule(text)?,
            Self::Choice(words) if !words.contains(&text) => return Err(self.expected()),
            _ => {}
        }
        Ok(ValueKind::String(text.to_owned()))
    }

    fn list(&self, list: Vec<f64>) -> Result<ValueKind, String> {
        if let Self::Numbers {
            least,
            most,
            ascending,
            ..
        } = self
        {
            let ordered = !ascending || list.windows(2).all(|pair| pair[0] < pair[1]);
            if !(least..=most).contains(&&list.len()) || !ordered {
                return Err(self.expected());
            }
        }
        Ok(ValueKind::Array(
            list.into_iter().map(config::Value::from).collect(),
        ))
    }
}

fn number(value: &DeValue<'_>) -> Option<f64> {
    match value {
        DeValue::Float(text) => text.as_str().parse().ok().filter(|n: &f64| n.is_finite()),
        DeValue::Integer(_) => whole(value)
            .filter(|n| n.unsigned_abs() <= WHOLE_MAX.unsigned_abs())
            .map(|n| n as f64),
        _ => None,
    }
}

fn whole(value: &DeValue<'_>) -> Option<i64> {
    match value {
        DeValue::Integer(text) => i64::from_str_radix(text.as_str(), text.radix()).ok(),
        _ => None,
    }
}
