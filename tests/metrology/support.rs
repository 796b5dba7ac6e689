//! Comparing with published values, and counting the comparisons.
//!
//! A test makes one `Checks` a source. When it is done without a failure, a line `outside checks: N` is
//! written past the test runner's capture, for `cargo verify` to sum.

use std::fmt::Debug;
use std::io::Write;

/// Comparisons with one published source.
pub struct Checks {
    source: &'static str,
    count: usize,
}

impl Checks {
    /// Against the source named.
    pub fn of(source: &'static str) -> Self {
        Self { source, count: 0 }
    }

    /// `found` has at least `digits` digits of `published`: −log10 of the relative error, of the absolute
    /// error where zero is published.
    #[track_caller]
    pub fn digits(&mut self, what: impl Debug, found: f64, published: f64, digits: f64) {
        let error = if published == 0.0 { found.abs() } else { ((found - published) / published).abs() };
        let right = -error.log10();
        assert!(
            right >= digits,
            "{}, {what:?}: expected {published:e} to {digits} digits, found {found:e} ({right:.2} digits)",
            self.source
        );
        self.count += 1;
    }

    /// `found` lies within `tolerance` of `published`: for values printed with few digits, or drawn.
    #[track_caller]
    pub fn within(&mut self, what: impl Debug, found: f64, published: f64, tolerance: f64) {
        assert!(
            (found - published).abs() <= tolerance,
            "{}, {what:?}: expected {published} ± {tolerance}, found {found}",
            self.source
        );
        self.count += 1;
    }

    /// Equal, for words, tables and decisions.
    #[track_caller]
    pub fn equal<T: PartialEq + Debug>(&mut self, what: impl Debug, found: T, published: T) {
        assert!(found == published, "{}, {what:?}: expected {published:?}, found {found:?}", self.source);
        self.count += 1;
    }
}

impl Drop for Checks {
    fn drop(&mut self) {
        if !std::thread::panicking() {
            // Not print!, which the test runner keeps to itself when a test passes.
            let line = format!("outside checks: {} ({})\n", self.count, self.source);
            let _ = std::io::stdout().write_all(line.as_bytes());
        }
    }
}

/// A data set with its certified values: lines `# name value…`, then named columns.
pub struct DataSet {
    heads: Vec<Vec<String>>,
    names: Vec<String>,
    rows: Vec<Vec<String>>,
}

impl DataSet {
    pub fn read(text: &str) -> Self {
        let words = |line: &str| line.split_whitespace().map(str::to_owned).collect();
        let cells = |line: &str| line.split(',').map(str::to_owned).collect::<Vec<_>>();
        let mut lines = text.lines().filter(|l| !l.starts_with('#'));
        Self {
            heads: text.lines().filter_map(|l| l.strip_prefix("# ")).map(words).collect(),
            names: cells(lines.next().unwrap()),
            rows: lines.map(cells).collect(),
        }
    }

    /// The numbers of the head line that begins with `name`.
    pub fn certified(&self, name: &str) -> Vec<f64> {
        let line = self.heads.iter().find(|h| h[0] == name).unwrap_or_else(|| panic!("{name} is not there"));
        line[1..].iter().map(|w| if w == "Infinity" { f64::INFINITY } else { w.parse().unwrap() }).collect()
    }

    /// Head lines B0, B1, …: names, estimates and standard errors.
    pub fn coefficients(&self) -> Vec<(String, f64, f64)> {
        let named = self.heads.iter().filter(|h| h[0].starts_with('B') && h.len() == 3);
        named.map(|h| (h[0].clone(), h[1].parse().unwrap(), h[2].parse().unwrap())).collect()
    }

    /// A column, in any type that reads from text.
    pub fn column<T: std::str::FromStr<Err: Debug>>(&self, name: &str) -> Vec<T> {
        let at = self.names.iter().position(|n| n == name).unwrap();
        self.rows.iter().map(|r| r[at].parse().unwrap()).collect()
    }
}

#[test]
#[should_panic(expected = "2.40 digits")]
fn a_value_off_in_the_third_digit_is_refused() {
    Checks::of("a test of the test").digits("1.004", 1.004, 1.0, 3.0);
}

#[test]
#[should_panic(expected = "expected 1 ± 0.1")]
fn a_value_outside_its_tolerance_is_refused() {
    Checks::of("a test of the test").within("1.2", 1.2, 1.0, 0.1);
}

#[test]
#[should_panic(expected = "found NaN")]
fn not_a_number_is_refused() {
    Checks::of("a test of the test").digits("NaN", f64::NAN, 1.0, 3.0);
}
