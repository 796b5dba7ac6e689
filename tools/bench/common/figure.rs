//! How a bench tells its figures: one line each, read by `cargo xtask bench`.
//!
//! Everything else a bench prints is for the reader.

use std::error::Error;

/// What a bench fails with.
pub type Outcome<T> = Result<T, Box<dyn Error>>;

/// Prints a figure: `figure NAME VALUE UNIT`.
pub fn figure(name: &str, value: f64, unit: &str) {
    println!("figure {name} {value:.6} {unit}");
}

/// Ends with what was wrong unless it holds.
pub fn expect(holds: bool, what: impl FnOnce() -> String) -> Outcome<()> {
    if holds { Ok(()) } else { Err(what().into()) }
}

/// The value under which a share `p` (0..=1) of the values lies, by nearest rank; none of no values.
pub fn quantile(values: &[f64], p: f64) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let rank = (p * sorted.len() as f64).ceil().max(1.0) as usize;
    sorted.get(rank - 1).copied()
}
