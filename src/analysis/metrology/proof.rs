//! Proof loads: ISO 898-1 property classes and SAE J429 grades, coarse threads.
//!
//! Printed loads are kept as a table and not computed: they are rounded, and M6 of class 8.8 is printed as
//! 11,600 N where area times stress gives 11,672. Class 8.8 is stronger above M16; grade 2 weaker above
//! 3/4 in, grade 5 above 1 in.

use super::threads::{Metric, Unified};

/// A property class of ISO 898-1.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs, reason = "the names say it: strength and yield as the standard prints them")]
pub enum Class {
    C4_6,
    C4_8,
    C5_6,
    C5_8,
    C6_8,
    C8_8,
    C10_9,
    C12_9,
}

/// A grade of SAE J429.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Grade {
    /// Grade 2.
    Two,
    /// Grade 5.
    Five,
    /// Grade 8.
    Eight,
}

/// ISO 898-1: nominal diameter in mm (coarse pitch), proof loads in N of the classes in their order.
const PROOF_N: [(f64, [f64; 8]); 15] = [
    (3.0, [1_130.0, 1_560.0, 1_410.0, 1_910.0, 2_210.0, 2_920.0, 4_180.0, 4_880.0]),
    (4.0, [1_980.0, 2_720.0, 2_460.0, 3_340.0, 3_860.0, 5_100.0, 7_290.0, 8_520.0]),
    (5.0, [3_200.0, 4_400.0, 3_980.0, 5_400.0, 6_250.0, 8_230.0, 11_800.0, 13_800.0]),
    (6.0, [4_520.0, 6_230.0, 5_630.0, 7_640.0, 8_840.0, 11_600.0, 16_700.0, 19_500.0]),
    (7.0, [6_500.0, 8_960.0, 8_090.0, 11_000.0, 12_700.0, 16_800.0, 24_000.0, 28_000.0]),
    (8.0, [8_240.0, 11_400.0, 10_200.0, 13_900.0, 16_100.0, 21_200.0, 30_400.0, 35_500.0]),
    (10.0, [13_000.0, 18_000.0, 16_200.0, 22_000.0, 25_500.0, 33_700.0, 48_100.0, 56_300.0]),
    (12.0, [19_000.0, 26_100.0, 23_600.0, 32_000.0, 37_100.0, 48_900.0, 70_000.0, 81_800.0]),
    (14.0, [25_900.0, 35_600.0, 32_200.0, 43_700.0, 50_600.0, 66_700.0, 95_500.0, 112_000.0]),
    (16.0, [35_300.0, 48_700.0, 44_000.0, 59_700.0, 69_100.0, 91_000.0, 130_000.0, 152_000.0]),
    (18.0, [43_200.0, 59_500.0, 53_800.0, 73_000.0, 84_500.0, 115_000.0, 159_000.0, 186_000.0]),
    (20.0, [55_100.0, 76_000.0, 68_600.0, 93_100.0, 108_000.0, 147_000.0, 203_000.0, 238_000.0]),
    (22.0, [68_200.0, 93_900.0, 84_800.0, 115_000.0, 133_000.0, 182_000.0, 252_000.0, 294_000.0]),
    (24.0, [79_400.0, 109_000.0, 98_800.0, 134_000.0, 155_000.0, 212_000.0, 293_000.0, 342_000.0]),
    (27.0, [103_000.0, 142_000.0, 128_000.0, 174_000.0, 202_000.0, 275_000.0, 381_000.0, 445_000.0]),
];

/// SAE J429: nominal diameter in inches (UNC), proof loads in lbf of grades 2, 5 and 8.
const PROOF_LBF: [(f64, [f64; 3]); 14] = [
    (0.25, [1_750.0, 2_700.0, 3_800.0]),
    (0.3125, [2_900.0, 4_450.0, 6_300.0]),
    (0.375, [4_250.0, 6_600.0, 9_300.0]),
    (0.4375, [5_850.0, 9_050.0, 12_800.0]),
    (0.5, [7_800.0, 12_100.0, 17_000.0]),
    (0.5625, [10_000.0, 15_500.0, 21_800.0]),
    (0.625, [12_400.0, 19_200.0, 27_100.0]),
    (0.75, [18_400.0, 28_400.0, 40_100.0]),
    (0.875, [15_200.0, 39_300.0, 55_400.0]),
    (1.0, [20_000.0, 51_500.0, 72_700.0]),
    (1.125, [25_200.0, 56_500.0, 91_600.0]),
    (1.25, [32_000.0, 71_700.0, 116_300.0]),
    (1.375, [38_100.0, 85_500.0, 138_600.0]),
    (1.5, [46_400.0, 104_000.0, 168_600.0]),
];

impl Class {
    /// All, weakest first.
    pub const ALL: [Self; 8] =
        [Self::C4_6, Self::C4_8, Self::C5_6, Self::C5_8, Self::C6_8, Self::C8_8, Self::C10_9, Self::C12_9];

    /// From `8.8` and the like.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let names = ["4.6", "4.8", "5.6", "5.8", "6.8", "8.8", "10.9", "12.9"];
        names.iter().position(|n| *n == text.trim()).map(|i| Self::ALL[i])
    }

    /// Nominal stress under proof load Sp, MPa (ISO 898-1, table 3), for a diameter in mm.
    #[must_use]
    pub fn proof_stress_mpa(self, diameter_mm: f64) -> f64 {
        match self {
            Self::C4_6 => 225.0,
            Self::C4_8 => 310.0,
            Self::C5_6 => 280.0,
            Self::C5_8 => 380.0,
            Self::C6_8 => 440.0,
            Self::C8_8 if diameter_mm <= 16.0 => 580.0,
            Self::C8_8 => 600.0,
            Self::C10_9 => 830.0,
            Self::C12_9 => 970.0,
        }
    }

    /// Least yield stress, MPa (ISO 898-1, table 3): Re or Rp0.2; for 4.8, 5.8 and 6.8 Rpf.
    #[must_use]
    pub fn yield_mpa(self, diameter_mm: f64) -> f64 {
        match self {
            Self::C4_6 => 240.0,
            Self::C4_8 => 340.0,
            Self::C5_6 => 300.0,
            Self::C5_8 => 420.0,
            Self::C6_8 => 480.0,
            Self::C8_8 if diameter_mm <= 16.0 => 640.0,
            Self::C8_8 => 660.0,
            Self::C10_9 => 940.0,
            Self::C12_9 => 1100.0,
        }
    }

    /// Proof load of a thread, N: the printed one where the table has it, else area × stress.
    #[must_use]
    pub fn proof_load_n(self, thread: Metric) -> f64 {
        let coarse = Metric::parse(&format!("M{}", thread.diameter_mm)).ok() == Some(thread);
        let row = PROOF_N.iter().find(|row| coarse && row.0 == thread.diameter_mm);
        row.map_or_else(
            || thread.stress_area_mm2() * self.proof_stress_mpa(thread.diameter_mm),
            |row| row.1[self as usize],
        )
    }
}

impl Grade {
    /// All, weakest first.
    pub const ALL: [Self; 3] = [Self::Two, Self::Five, Self::Eight];

    /// Proof stress, ksi, for a diameter in inches.
    #[must_use]
    pub fn proof_stress_ksi(self, diameter_in: f64) -> f64 {
        match self {
            Self::Two if diameter_in <= 0.75 => 55.0,
            Self::Two => 33.0,
            Self::Five if diameter_in <= 1.0 => 85.0,
            Self::Five => 74.0,
            Self::Eight => 120.0,
        }
    }

    /// Proof load of a thread, lbf: the printed one where the table has it, else area × stress.
    #[must_use]
    pub fn proof_load_lbf(self, thread: Unified) -> f64 {
        let row = PROOF_LBF.iter().find(|row| row.0 == thread.diameter_in && is_coarse(thread));
        row.map_or_else(
            || thread.stress_area_in2() * 1000.0 * self.proof_stress_ksi(thread.diameter_in),
            |row| row.1[self as usize],
        )
    }
}

/// The table is of coarse threads only.
fn is_coarse(thread: Unified) -> bool {
    let coarse = [20.0, 18.0, 16.0, 14.0, 13.0, 12.0, 11.0, 10.0, 9.0, 8.0, 7.0, 7.0, 6.0, 6.0];
    let at = PROOF_LBF.iter().position(|row| row.0 == thread.diameter_in);
    at.is_some_and(|i| coarse[i] == thread.threads_per_in)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fine_thread_is_computed_and_a_coarse_one_read() {
        let fine = Metric::parse("M8x1").unwrap();
        assert!((Class::C8_8.proof_load_n(fine) - 39.167_100_6 * 580.0).abs() < 0.1);
        assert_eq!(Class::C8_8.proof_load_n(Metric::parse("M6").unwrap()), 11_600.0);
        let fine = Unified::parse("1/2-20").unwrap();
        assert!((Grade::Five.proof_load_lbf(fine) - 159.953_497 * 85.0).abs() < 0.1);
        assert_eq!(Class::parse("10.9"), Some(Class::C10_9));
        assert_eq!(Class::parse("9.8"), None);
    }
}
