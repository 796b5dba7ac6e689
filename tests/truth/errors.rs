//! Gathers errors as shares of their tolerances and prints how they are spread.
//!
//! Must not know what was measured: names, errors and tolerances come from the test.

use std::collections::BTreeMap;

#[derive(Default)]
pub struct Errors {
    shares: BTreeMap<String, Vec<f64>>,
    notes: BTreeMap<String, u32>,
    place: String,
    pub failures: Vec<String>,
}

impl Errors {
    /// Names what the next errors belong to.
    pub fn at(&mut self, place: String) {
        self.place = place;
    }

    /// Takes an error with its tolerance.
    pub fn add(&mut self, name: &str, error: f64, tolerance: f64) {
        self.shares.entry(name.to_owned()).or_default().push(error.abs() / tolerance);
        if error.abs() > tolerance || error.is_nan() {
            self.fail(&format!("{name}: error {error:.6}, tolerance {tolerance:.6}"));
        }
    }

    /// Counts something that is no failure.
    pub fn note(&mut self, name: &str) {
        *self.notes.entry(name.to_owned()).or_default() += 1;
    }

    /// Takes a failure.
    pub fn fail(&mut self, what: &str) {
        self.failures.push(format!("{}: {what}", self.place));
    }

    /// Prints the distribution of each kind of error.
    pub fn print(&mut self) {
        println!("errors as a share of their tolerance:");
        println!("{:<14} {:>6} {:>7} {:>7} {:>7} {:>7}", "measure", "n", "median", "p90", "p99", "max");
        for (name, shares) in &mut self.shares {
            shares.sort_by(f64::total_cmp);
            let at = |q: f64| shares[((shares.len() - 1) as f64 * q) as usize];
            let n = shares.len();
            println!(
                "{name:<14} {n:>6} {:>7.3} {:>7.3} {:>7.3} {:>7.3}",
                at(0.5),
                at(0.9),
                at(0.99),
                at(1.0)
            );
        }
        for (name, n) in &self.notes {
            println!("{n} {name}");
        }
    }
}
