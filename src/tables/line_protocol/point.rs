//! Points as text: the line protocol of the InfluxData time-series servers, which others accept too.
//!
//! Follows the "Line protocol reference" of the InfluxDB OSS v2 documentation (elements, data types, special
//! characters, naming restrictions). Stricter than that page where servers differ: no control character, not
//! even a newline in a string; no empty name; no number that is not finite; no point without a field. What is
//! refused leaves no byte behind. Must not know what is measured, nor networks.

use std::fmt::Write;

/// Longest measurement, key or tag value, bytes; servers take more, people cannot read more.
pub const NAME_BYTES_MAX: usize = 1024;
/// Longest string field, bytes: the reference allows 64 KB.
pub const TEXT_BYTES_MAX: usize = 65_535;
/// The earliest time of the reference; the two below it are reserved.
pub const TIME_NS_MIN: i64 = -9_223_372_036_854_775_806;
/// The latest time of the reference.
pub const TIME_NS_MAX: i64 = 9_223_372_036_854_775_806;

/// A field's value; its kind is kept on the wire.
#[derive(Clone, Debug, PartialEq)]
pub enum Value {
    /// A 64-bit float, written so that it reads back the same.
    Float(f64),
    /// A signed 64-bit integer, written with `i`.
    Integer(i64),
    /// `true` or `false`.
    Boolean(bool),
    /// A string in double quotes.
    Text(String),
}

/// One point: a measurement, tags, at least one field, a time.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    /// What was measured, such as `boltscribe_run`.
    pub measurement: String,
    /// What it is looked up by; written in order of the keys.
    pub tags: Vec<(String, String)>,
    /// What was found; written in the order given.
    pub fields: Vec<(String, Value)>,
    /// Nanoseconds since 1970 UTC.
    pub time_ns: i64,
}

/// Why a point cannot be written.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LineError {
    /// A name or tag value that is empty, too long, or has a control character.
    #[error("cannot write {part} '{}': expected {expected}", .found.escape_debug())]
    Name {
        /// Which part of the line.
        part: &'static str,
        /// What it may be.
        expected: &'static str,
        /// What it is, shortened.
        found: String,
    },
    /// The same key twice.
    #[error("cannot write the key '{0}': expected it once, found it twice")]
    Twice(String),
    /// NaN or infinity.
    #[error("cannot write the field '{key}': expected a finite number, found {found}")]
    NotFinite {
        /// The field.
        key: String,
        /// `NaN`, `inf` or `-inf`.
        found: String,
    },
    /// No field at all.
    #[error("cannot write a point of '{0}': expected at least one field, found none")]
    NoField(String),
    /// A time outside of what servers take.
    #[error("cannot write a point at {0} ns: expected a time within {TIME_NS_MIN} to {TIME_NS_MAX}")]
    Time(i64),
}

impl Point {
    /// A point without tags and fields yet.
    #[must_use]
    pub fn new(measurement: &str, time_ns: i64) -> Self {
        Self { measurement: measurement.to_owned(), tags: Vec::new(), fields: Vec::new(), time_ns }
    }

    /// Adds a tag, unless it has no value.
    #[must_use]
    pub fn tag(mut self, key: &str, value: Option<&str>) -> Self {
        if let Some(value) = value {
            self.tags.push((key.to_owned(), value.to_owned()));
        }
        self
    }

    /// Adds a float field, unless it has no value.
    #[must_use]
    pub fn float(self, key: &str, value: Option<f64>) -> Self {
        self.field(key, value.map(Value::Float))
    }

    /// Adds an integer field, unless it has no value.
    #[must_use]
    pub fn integer(self, key: &str, value: Option<i64>) -> Self {
        self.field(key, value.map(Value::Integer))
    }

    /// Adds a field, unless it has no value.
    #[must_use]
    pub fn field(mut self, key: &str, value: Option<Value>) -> Self {
        if let Some(value) = value {
            self.fields.push((key.to_owned(), value));
        }
        self
    }

    /// Appends the point as one line with its newline to `out`, or nothing at all.
    ///
    /// # Errors
    /// The first thing in it that cannot be written.
    pub fn write_to(&self, out: &mut String) -> Result<(), LineError> {
        let before = out.len();
        let written = self.write(out);
        if written.is_err() {
            out.truncate(before);
        }
        written
    }

    /// The point as one line with its newline.
    ///
    /// # Errors
    /// As [`Point::write_to`].
    pub fn line(&self) -> Result<String, LineError> {
        let mut out = String::new();
        self.write_to(&mut out)?;
        Ok(out)
    }

    fn write(&self, out: &mut String) -> Result<(), LineError> {
        if self.fields.is_empty() {
            return Err(LineError::NoField(shortened(&self.measurement)));
        }
        if !(TIME_NS_MIN..=TIME_NS_MAX).contains(&self.time_ns) {
            return Err(LineError::Time(self.time_ns));
        }
        unique(self.tags.iter().map(|(key, _)| key))?;
        unique(self.fields.iter().map(|(key, _)| key))?;
        check_name("the measurement", &self.measurement)?;
        if self.measurement.starts_with('#') {
            return Err(refused(
                "the measurement",
                "no # at its beginning, which makes a comment",
                &self.measurement,
            ));
        }
        escape(out, &self.measurement, &[',', ' ']);
        // The reference asks for sorted tags; it also makes equal points equal in every byte.
        let mut tags: Vec<&(String, String)> = self.tags.iter().collect();
        tags.sort();
        for (key, value) in tags {
            check_key("the tag key", key)?;
            check("the tag value", value)?;
            out.push(',');
            escape(out, key, &[',', '=', ' ']);
            out.push('=');
            escape(out, value, &[',', '=', ' ']);
        }
        for (at, (key, value)) in self.fields.iter().enumerate() {
            check_key("the field key", key)?;
            out.push(if at == 0 { ' ' } else { ',' });
            escape(out, key, &[',', '=', ' ']);
            out.push('=');
            write_value(out, key, value)?;
        }
        // Writing to a string cannot fail.
        let _ = writeln!(out, " {}", self.time_ns);
        Ok(())
    }
}

/// Puts a backslash before each of `special` and before each backslash: a lone one at an end would swallow
/// the separator after it. Servers that take a backslash there for itself keep it doubled, which is still
/// one name for one name.
fn escape(out: &mut String, text: &str, special: &[char]) {
    for c in text.chars() {
        if c == '\\' || special.contains(&c) {
            out.push('\\');
        }
        out.push(c);
    }
}

fn write_value(out: &mut String, key: &str, value: &Value) -> Result<(), LineError> {
    match value {
        Value::Float(number) if !number.is_finite() => {
            return Err(LineError::NotFinite { key: shortened(key), found: number.to_string() });
        }
        // The shortest digits that read back the same, with an exponent where it is long.
        Value::Float(number) => {
            let _ = write!(out, "{number:?}");
        }
        Value::Integer(number) => {
            let _ = write!(out, "{number}i");
        }
        Value::Boolean(on) => out.push_str(if *on { "true" } else { "false" }),
        Value::Text(text) => {
            let part = "the string field";
            if text.len() > TEXT_BYTES_MAX {
                return Err(refused(part, "at most 65535 bytes", text));
            }
            if text.chars().any(char::is_control) {
                return Err(refused(part, "no control character", text));
            }
            out.push('"');
            escape(out, text, &['"']);
            out.push('"');
        }
    }
    Ok(())
}

/// The reference reserves names that begin with an underscore, and `time`, for the server itself.
fn check_key(part: &'static str, key: &str) -> Result<(), LineError> {
    if key == "time" {
        return Err(refused(part, "another word than 'time', which servers keep for themselves", key));
    }
    check_name(part, key)
}

fn check_name(part: &'static str, name: &str) -> Result<(), LineError> {
    if name.starts_with('_') {
        return Err(refused(part, "no underscore at its beginning, which servers keep for themselves", name));
    }
    check(part, name)
}

fn check(part: &'static str, text: &str) -> Result<(), LineError> {
    if text.is_empty() || text.len() > NAME_BYTES_MAX {
        return Err(refused(part, "1 to 1024 bytes", text));
    }
    if text.chars().any(char::is_control) {
        return Err(refused(part, "no control character", text));
    }
    Ok(())
}

fn unique<'a>(keys: impl Iterator<Item = &'a String>) -> Result<(), LineError> {
    let mut seen: Vec<&String> = keys.collect();
    seen.sort();
    match seen.windows(2).find(|pair| pair[0] == pair[1]) {
        Some(pair) => Err(LineError::Twice(shortened(pair[0]))),
        None => Ok(()),
    }
}

fn refused(part: &'static str, expected: &'static str, found: &str) -> LineError {
    LineError::Name { part, expected, found: shortened(found) }
}

fn shortened(text: &str) -> String {
    text.chars().take(60).collect()
}

#[cfg(test)]
#[path = "point_tests.rs"]
mod tests;
