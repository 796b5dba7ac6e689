//! What a thread and a class marked on a bolt tell: diameter, proof load, and from it a proposed limit.
//!
//! The tables are those of `metrology`. A proposal is three quarters of the proof load, what Shigley (Mechanical
//! Engineering Design, eq. 8-31) gives for connections that are undone and used again, as a test bolt is.

use crate::error::CliError;
use boltscribe_analysis::metrology::proof::{Class, Grade};
use boltscribe_analysis::metrology::threads::{Metric, Unified};
use boltscribe_model::units::Newtons;

/// Share of the proof load that is proposed.
pub const SHARE_OF_PROOF: f64 = 0.75;

/// A thread that is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Thread {
    /// ISO metric.
    Metric(Metric),
    /// Unified.
    Unified(Unified),
}

/// The thread of a designation, where it is one that is known.
#[must_use]
pub fn of(designation: &str) -> Option<Thread> {
    let metric = Metric::parse(designation).ok().map(Thread::Metric);
    metric.or_else(|| Unified::parse(designation).ok().map(Thread::Unified))
}

impl Thread {
    /// Nominal diameter, mm.
    #[must_use]
    pub fn diameter_mm(self) -> f64 {
        match self {
            Self::Metric(thread) => thread.diameter_mm,
            Self::Unified(thread) => thread.diameter_in * 25.4,
        }
    }
}

/// The tension proposed for a class, kN.
///
/// # Errors
/// A thread or class that is not in the tables.
pub fn allowed_kn(thread: Option<Thread>, class: &str, designation: &str) -> Result<f64, CliError> {
    let proof = match thread {
        Some(Thread::Metric(thread)) => {
            Class::parse(class).map(|class| Newtons(class.proof_load_n(thread))).ok_or_else(|| {
                CliError::usage(format!(
                    "class '{class}': expected one of 4.6, 4.8, 5.6, 5.8, 6.8, 8.8, 10.9, 12.9 for the metric thread {designation}"
                ))
            })?
        }
        Some(Thread::Unified(thread)) => {
            let grade = ["2", "5", "8"].iter().position(|grade| *grade == class.trim());
            let grade = grade.map(|at| Grade::ALL[at]).ok_or_else(|| {
                CliError::usage(format!(
                    "class '{class}': expected the grade 2, 5 or 8 for the unified thread {designation}"
                ))
            })?;
            Newtons::from_lbf(grade.proof_load_lbf(thread))
        }
        None => {
            return Err(CliError::usage_with(
                format!("cannot propose a limit: thread '{designation}' is not in the tables"),
                "give `--allowed-kN` yourself, or write the thread as M20x2.5 or 3/4-10",
            ));
        }
    };
    Ok(SHARE_OF_PROOF * proof.kn())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn three_quarters_of_the_printed_proof_load_are_proposed() {
        // ISO 898-1:2013, table 5: M20 of class 8.8, 147 kN. SAE J429: 3/4-10 of grade 8, 40 100 lbf.
        let m20 = allowed_kn(of("M20x2.5"), "8.8", "M20x2.5").unwrap();
        assert!((m20 - 0.75 * 147.0).abs() < 1e-9, "{m20}");
        let inch = allowed_kn(of("3/4-10"), "8", "3/4-10").unwrap();
        assert!((inch - 0.75 * 40_100.0 * 0.004_448_221_615_260_5).abs() < 1e-6, "{inch}");
        assert_eq!(of("M20").unwrap().diameter_mm(), 20.0);
        assert!((of("1 1/4-7").unwrap().diameter_mm() - 31.75).abs() < 1e-9);
    }

    #[test]
    fn what_is_not_in_the_tables_is_not_guessed() {
        assert!(allowed_kn(of("M20"), "8", "M20").is_err());
        assert!(allowed_kn(of("3/4-10"), "8.8", "3/4-10").is_err());
        assert!(allowed_kn(of("BSW 3/4"), "8.8", "BSW 3/4").is_err());
    }
}
