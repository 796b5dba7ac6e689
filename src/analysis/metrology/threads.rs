//! Screw threads: metric (ISO 68-1, ISO 724, ISO 898-1) and unified (ASME B1.1) geometry.
//!
//! The two families take different stress areas: metric through the mean of pitch and minor diameter
//! (0.9382 P below nominal), unified 0.9743 P below it. A type each, so that they cannot be mixed.

use std::f64::consts::PI;

/// √3, to double precision.
const SQRT_3: f64 = 1.732_050_807_568_877_2;

/// A metric ISO thread; lengths in millimetres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Metric {
    /// Nominal diameter d.
    pub diameter_mm: f64,
    /// Pitch P.
    pub pitch_mm: f64,
}

/// A unified thread (UNC, UNF, …); lengths in inches.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unified {
    /// Nominal diameter d.
    pub diameter_in: f64,
    /// Threads an inch n.
    pub threads_per_in: f64,
}

/// Why a designation names no thread known here.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("thread '{found}': expected {expected}")]
pub struct ThreadError {
    /// What was given.
    pub found: String,
    /// What is known.
    pub expected: &'static str,
}

/// Coarse pitches: nominal diameter and pitch, mm (ISO 261).
const METRIC_COARSE: [(f64, f64); 19] = [
    (3.0, 0.5),
    (4.0, 0.7),
    (5.0, 0.8),
    (6.0, 1.0),
    (7.0, 1.0),
    (8.0, 1.25),
    (10.0, 1.5),
    (12.0, 1.75),
    (14.0, 2.0),
    (16.0, 2.0),
    (18.0, 2.5),
    (20.0, 2.5),
    (22.0, 2.5),
    (24.0, 3.0),
    (27.0, 3.0),
    (30.0, 3.5),
    (33.0, 3.5),
    (36.0, 4.0),
    (39.0, 4.0),
];

/// Unified sizes: as written, diameter in inches, threads an inch coarse and fine (ASME B1.1).
const UNIFIED: [(&str, f64, f64, f64); 14] = [
    ("1/4", 0.25, 20.0, 28.0),
    ("5/16", 0.3125, 18.0, 24.0),
    ("3/8", 0.375, 16.0, 24.0),
    ("7/16", 0.4375, 14.0, 20.0),
    ("1/2", 0.5, 13.0, 20.0),
    ("9/16", 0.5625, 12.0, 18.0),
    ("5/8", 0.625, 11.0, 18.0),
    ("3/4", 0.75, 10.0, 16.0),
    ("7/8", 0.875, 9.0, 14.0),
    ("1", 1.0, 8.0, 12.0),
    ("1-1/8", 1.125, 7.0, 12.0),
    ("1-1/4", 1.25, 7.0, 12.0),
    ("1-3/8", 1.375, 6.0, 12.0),
    ("1-1/2", 1.5, 6.0, 12.0),
];

impl Metric {
    /// From `M12` (coarse pitch) or `M12x1.25`.
    ///
    /// # Errors
    /// Not of that form, no positive numbers, a coarse pitch that is not in the table, a pitch too large for
    /// the diameter.
    pub fn parse(designation: &str) -> Result<Self, ThreadError> {
        let wrong = |expected| ThreadError { found: designation.to_owned(), expected };
        let form =
            "M and the diameter in mm, with x and the pitch unless it is coarse, such as M12 or M12x1.25";
        let rest = designation.trim().strip_prefix(['M', 'm']).ok_or_else(|| wrong(form))?;
        let number = |text: &str| text.trim().parse::<f64>().ok().filter(|v| v.is_finite() && *v > 0.0);
        let thread = match rest.split_once(['x', 'X', '×']) {
            Some((diameter, pitch)) => Self {
                diameter_mm: number(diameter).ok_or_else(|| wrong(form))?,
                pitch_mm: number(pitch).ok_or_else(|| wrong(form))?,
            },
            None => {
                let diameter_mm = number(rest).ok_or_else(|| wrong(form))?;
                let coarse = METRIC_COARSE.iter().find(|(d, _)| *d == diameter_mm);
                let coarse =
                    coarse.ok_or_else(|| wrong("a size from M3 to M39 with a coarse pitch, or the pitch"))?;
                Self { diameter_mm, pitch_mm: coarse.1 }
            }
        };
        if thread.minor_of_root_mm() <= 0.0 {
            return Err(wrong("a pitch that leaves a core"));
        }
        Ok(thread)
    }

    /// Height of the fundamental triangle H (ISO 68-1).
    #[must_use]
    pub fn triangle_height_mm(self) -> f64 {
        0.5 * SQRT_3 * self.pitch_mm
    }

    /// Pitch diameter d2 = d − 3/4 H (ISO 724).
    #[must_use]
    pub fn pitch_diameter_mm(self) -> f64 {
        self.diameter_mm - 0.75 * self.triangle_height_mm()
    }

    /// Basic minor diameter d1 = d − 5/4 H (ISO 724).
    #[must_use]
    pub fn minor_diameter_mm(self) -> f64 {
        self.diameter_mm - 1.25 * self.triangle_height_mm()
    }

    /// Minor diameter of the rounded root d3 = d1 − H/6 (ISO 898-1).
    #[must_use]
    pub fn minor_of_root_mm(self) -> f64 {
        self.minor_diameter_mm() - self.triangle_height_mm() / 6.0
    }

    /// Nominal stress area As = π/4·((d2 + d3)/2)² (ISO 898-1), mm².
    #[must_use]
    pub fn stress_area_mm2(self) -> f64 {
        let mean = 0.5 * (self.pitch_diameter_mm() + self.minor_of_root_mm());
        0.25 * PI * mean * mean
    }

    /// Lead angle at the pitch diameter, radians: tan = P/(π·d2).
    #[must_use]
    pub fn lead_angle_rad(self) -> f64 {
        libm::atan(self.pitch_mm / (PI * self.pitch_diameter_mm()))
    }
}

impl Unified {
    /// From `1/2-13`, `1-1/4-7`, or a size with its series, such as `1/2 UNF` or `1-1/4 UNC`.
    ///
    /// # Errors
    /// Not of that form, or a size that is not in the table (1/4 to 1-1/2 in).
    pub fn parse(designation: &str) -> Result<Self, ThreadError> {
        let wrong = || ThreadError {
            found: designation.to_owned(),
            expected: "a size from 1/4 to 1-1/2 in with threads an inch or a series, such as 1/2-13 or 1/2 UNF",
        };
        // A mixed number is written 1-1/4 in the tables and 1 1/4 by many people.
        let text = match designation.trim().split_once(' ') {
            Some((whole, rest)) if whole.parse::<u8>().is_ok() && rest.contains('/') => {
                format!("{whole}-{}", rest.trim_start())
            }
            _ => designation.trim().to_owned(),
        };
        let size = |name: &str| UNIFIED.iter().find(|row| row.0 == name);
        if let Some((name, series)) = text.split_once(' ') {
            let row = size(name).ok_or_else(wrong)?;
            let threads_per_in = match series.trim() {
                "UNC" => row.2,
                "UNF" => row.3,
                _ => return Err(wrong()),
            };
            return Ok(Self { diameter_in: row.1, threads_per_in });
        }
        let (name, threads) = text.rsplit_once('-').ok_or_else(wrong)?;
        let row = size(name).ok_or_else(wrong)?;
        let threads_per_in =
            threads.parse::<f64>().ok().filter(|n| *n >= 4.0 && *n <= 80.0).ok_or_else(wrong)?;
        Ok(Self { diameter_in: row.1, threads_per_in })
    }

    /// Pitch P = 1/n.
    #[must_use]
    pub fn pitch_in(self) -> f64 {
        1.0 / self.threads_per_in
    }

    /// Pitch diameter d2 = d − 3/8·√3·P.
    #[must_use]
    pub fn pitch_diameter_in(self) -> f64 {
        self.diameter_in - 0.375 * SQRT_3 * self.pitch_in()
    }

    /// Tensile stress area As = π/4·(d − 9·√3/16·P)² (ASME B1.1, FED-STD-H28/2), in².
    ///
    /// Printed as 0.7854·(d − 0.9743/n)². Some rows of printed tables are cut instead of rounded.
    #[must_use]
    pub fn stress_area_in2(self) -> f64 {
        let mean = self.diameter_in - 9.0 / 16.0 * SQRT_3 * self.pitch_in();
        0.25 * PI * mean * mean
    }

    /// Lead angle at the pitch diameter, radians.
    #[must_use]
    pub fn lead_angle_rad(self) -> f64 {
        libm::atan(self.pitch_in() / (PI * self.pitch_diameter_in()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn designations_are_read_and_others_refused() {
        assert_eq!(Metric::parse("M12").unwrap(), Metric { diameter_mm: 12.0, pitch_mm: 1.75 });
        assert_eq!(Metric::parse("m12x1.25").unwrap().pitch_mm, 1.25);
        assert_eq!(Unified::parse("1-1/4-7").unwrap(), Unified { diameter_in: 1.25, threads_per_in: 7.0 });
        assert_eq!(Unified::parse("1 1/4-7"), Unified::parse("1-1/4-7"));
        assert_eq!(Unified::parse("1 1/4 UNC").unwrap().threads_per_in, 7.0);
        assert_eq!(Unified::parse("1/2 UNF").unwrap().threads_per_in, 20.0);
        for wrong in ["12", "M", "M11", "M12x", "M3x9", "M-8", "MNaN"] {
            assert!(Metric::parse(wrong).is_err(), "{wrong}");
        }
        for wrong in ["", "1/2", "2/3-13", "1/2 UNX", "1/2-0"] {
            assert!(Unified::parse(wrong).is_err(), "{wrong}");
        }
    }
}
