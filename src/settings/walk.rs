//! From the text of a file to values with their places, by the table of keys.
//!
//! Every mistake of a file is told at once. Values carry their place as their origin, so that a later
//! check can still say where a value was set. This file must not know what any key means.

use super::kinds::Kind;
use super::problem::{Place, Problem, Text, shorten, unknown};
use super::schema::{Key, Required, SECTIONS, Section};
use config::{Map, Value, ValueKind};
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Values with their origins, and what was wrong.
pub(super) struct Walk<'a> {
    text: &'a Text,
    pub problems: Vec<Problem>,
}

impl<'a> Walk<'a> {
    /// Reads a whole settings file.
    pub fn file(text: &'a Text) -> (Map<String, Value>, Vec<Problem>) {
        Self::document(text, |walk, table, _| walk.sections(table))
    }

    /// Reads a file of the keys of one table, such as a rig's.
    pub fn one_table(text: &'a Text, path: &str, keys: &[Key]) -> (Map<String, Value>, Vec<Problem>) {
        Self::document(text, |walk, table, span| walk.table(path, keys, table, span))
    }

    fn document(
        text: &'a Text,
        read: impl FnOnce(&mut Self, &DeTable<'a>, Range<usize>) -> Map<String, Value>,
    ) -> (Map<String, Value>, Vec<Problem>) {
        let mut walk = Self { text, problems: Vec::new() };
        let (table, errors) = DeTable::parse_recoverable(&text.text);
        for error in &errors {
            let at = error.span().map_or(0, |span| span.start);
            walk.problems.push(Problem {
                place: text.place(at),
                key: None,
                what: not_toml(&text.text, at, error.message()),
            });
        }
        // A text that is no TOML would only give further messages that mislead.
        let values = if errors.is_empty() { read(&mut walk, table.get_ref(), 0..0) } else { Map::new() };
        walk.problems.sort_by(|a, b| a.place.cmp(&b.place));
        (values, walk.problems)
    }

    fn problem(&mut self, at: usize, key: String, what: String) {
        self.problems.push(Problem { place: self.text.place(at), key: Some(key), what });
    }

    fn origin(&self, at: usize) -> String {
        self.text.place(at).to_string()
    }

    fn sections(&mut self, table: &DeTable<'_>) -> Map<String, Value> {
        let mut values = Map::new();
        for (name, value) in table {
            let Some(section) = SECTIONS.iter().find(|s| s.name == name.get_ref().as_ref()) else {
                let known: Vec<&str> = SECTIONS.iter().map(|section| section.name).collect();
                let found = name.get_ref();
                self.problem(name.span().start, found.to_string(), unknown("table", found, &known));
                continue;
            };
            if let Some(kind) = self.section(section, name.span(), value) {
                let origin = self.origin(name.span().start);
                values.insert(section.name.to_owned(), Value::new(Some(&origin), kind));
            }
        }
        values
    }

    fn section(
        &mut self,
        section: &Section,
        name: Range<usize>,
        value: &Spanned<DeValue<'_>>,
    ) -> Option<ValueKind> {
        match (value.get_ref(), section.many) {
            (DeValue::Table(table), false) => {
                Some(self.table(section.name, section.keys, table, name).into())
            }
            (DeValue::Array(items), true) => {
                let tables = items.iter().map(|item| self.item(section, item)).collect();
                Some(ValueKind::Array(tables))
            }
            (_, many) => {
                let brackets = if many { ("[[", "]]") } else { ("[", "]") };
                let found = match value.get_ref() {
                    DeValue::Table(_) => "a table".to_owned(),
                    _ => self.text.quote(value.span()),
                };
                let what = format!("expected {}{}{}, found {found}", brackets.0, section.name, brackets.1);
                self.problem(name.start, section.name.to_owned(), what);
                None
            }
        }
    }

    fn item(&mut self, section: &Section, item: &Spanned<DeValue<'_>>) -> Value {
        let span = item.span();
        let origin = self.origin(span.start);
        let DeValue::Table(table) = item.get_ref() else {
            let what = format!("expected a table, found {}", self.text.quote(span.clone()));
            self.problem(span.start, section.name.to_owned(), what);
            return Value::new(Some(&origin), ValueKind::Nil);
        };
        let values = self.table(section.name, section.keys, table, span);
        Value::new(Some(&origin), values)
    }

    fn table(
        &mut self,
        path: &str,
        keys: &[Key],
        table: &DeTable<'_>,
        span: Range<usize>,
    ) -> Map<String, Value> {
        let mut values = Map::new();
        for (name, value) in table {
            let found = name.get_ref();
            let full = format!("{path}.{found}");
            let Some(key) = keys.iter().find(|key| key.name == found.as_ref()) else {
                let known: Vec<&str> = keys.iter().map(|key| key.name).collect();
                self.problem(name.span().start, full, unknown("key", found, &known));
                continue;
            };
            let at = value.span().start;
            let kind = match (&key.kind, value.get_ref()) {
                (Kind::Table(inner), DeValue::Table(table)) => {
                    Some(self.table(&full, inner, table, name.span()).into())
                }
                (kind, _) => match kind.read(value) {
                    Ok(kind) => Some(kind),
                    Err(misfit) => {
                        let found = self.text.quote(misfit.span.clone());
                        let what = format!("expected {}, found {found}", misfit.expected);
                        self.problem(misfit.span.start, full, what);
                        None
                    }
                },
            };
            if let Some(kind) = kind {
                values.insert(key.name.to_owned(), Value::new(Some(&self.origin(at)), kind));
            }
        }
        let says = |key: &str, word: &str| {
            table.iter().any(|(name, value)| {
                name.get_ref().as_ref() == key
                    && matches!(value.get_ref(), DeValue::String(text) if text == word)
            })
        };
        for key in keys.iter().filter(|key| match key.required {
            Required::No => false,
            Required::Yes => true,
            Required::Unless(other, word) => !says(other, word),
        }) {
            if !table.iter().any(|(name, _)| name.get_ref().as_ref() == key.name) {
                let what = format!("expected {}, found no such key", key.kind.expected());
                self.problem(span.start, format!("{path}.{}", key.name), what);
            }
        }
        values
    }
}

/// The parser's words with the line they speak of; a bare word as a value gets words of our own, because
/// the parser takes it for the beginning of `inf` or `nan`.
fn not_toml(text: &str, at: usize, message: &str) -> String {
    let (before, after) = text.split_at(text.floor_char_boundary(at));
    let start = before.rfind('\n').map_or(0, |newline| newline + 1);
    let rest = after.lines().next().unwrap_or_default();
    if before[start..].trim_end().ends_with('=') && rest.starts_with(|c: char| c.is_alphabetic()) {
        return format!("not TOML: expected a value, text in quotes, found {}", shorten(rest));
    }
    let line = text[start..].lines().next().unwrap_or_default();
    format!("not TOML: {} in '{}'", shorten(message), shorten(line))
}

/// A problem of a file as a whole.
pub(super) fn whole_file(file: &str, what: String) -> Problem {
    Problem { place: Place::Words(file.to_owned()), key: None, what }
}
