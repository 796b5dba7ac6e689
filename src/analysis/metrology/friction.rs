//! Torque, tension and friction of a thread: ISO 16047, VDI 2230 and the power screw of the textbooks.
//!
//! Lengths in millimetres, forces in newtons, torques in N·mm. ISO 16047 neglects a denominator that the
//! power screw has: 0.4 to 0.8 % of the torque. Each function says which form it is.

use super::threads::Metric;
use std::f64::consts::PI;

/// 1/(2·cos 30°) as ISO 16047 prints it; who checks a figure by the standard uses this one.
const HALF_SECANT: f64 = 0.577;
/// 1/cos 30°.
const SECANT: f64 = 1.154_700_538_379_251_5;

/// A tightened joint as far as torque needs it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Joint {
    /// Pitch P, mm.
    pub pitch_mm: f64,
    /// Pitch diameter d2, mm.
    pub pitch_diameter_mm: f64,
    /// Mean diameter of the bearing surface Db, mm.
    pub bearing_diameter_mm: f64,
}

/// Coefficients of friction.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Friction {
    /// In the thread.
    pub thread: f64,
    /// Under head or nut.
    pub bearing: f64,
}

/// Torque of a tightened joint in its three parts, N·mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Torque {
    /// What stretches the bolt.
    pub pitch_nmm: f64,
    /// What rubs in the thread.
    pub thread_nmm: f64,
    /// What rubs under head or nut.
    pub bearing_nmm: f64,
}

impl Torque {
    /// All of it.
    #[must_use]
    pub fn total_nmm(self) -> f64 {
        self.pitch_nmm + self.thread_nmm + self.bearing_nmm
    }
}

impl Joint {
    /// Of a metric thread with a bearing surface between `outer_mm` (Do) and `hole_mm` (dh): Db = (Do + dh)/2.
    #[must_use]
    pub fn new(thread: Metric, outer_mm: f64, hole_mm: f64) -> Self {
        Self {
            pitch_mm: thread.pitch_mm,
            pitch_diameter_mm: thread.pitch_diameter_mm(),
            bearing_diameter_mm: 0.5 * (outer_mm + hole_mm),
        }
    }

    /// Torque at tension F in the form of ISO 16047: T = F·(P/2π + 0.577·µ·d2 + µb·Db/2).
    #[must_use]
    pub fn torque(self, tension_n: f64, friction: Friction) -> Torque {
        Torque {
            pitch_nmm: tension_n * self.pitch_mm / (2.0 * PI),
            thread_nmm: tension_n * HALF_SECANT * friction.thread * self.pitch_diameter_mm,
            bearing_nmm: self.bearing_nmm(tension_n, friction),
        }
    }

    /// Torque at tension F of the power screw with a 60° profile, without the simplification:
    /// F·d2/2·(tan λ + µ·sec α)/(1 − µ·sec α·tan λ) + F·µb·Db/2 (Shigley, eq. 8-26, with a collar).
    #[must_use]
    pub fn torque_exact_nmm(self, tension_n: f64, friction: Friction) -> f64 {
        let lead = self.pitch_mm / (PI * self.pitch_diameter_mm);
        let rub = friction.thread * SECANT;
        let thread = 0.5 * tension_n * self.pitch_diameter_mm * (lead + rub) / (1.0 - rub * lead);
        thread + self.bearing_nmm(tension_n, friction)
    }

    /// Thread friction from thread torque (ISO 16047): (Tth/F − P/2π)/(0.577·d2).
    #[must_use]
    pub fn thread_friction(self, thread_torque_nmm: f64, tension_n: f64) -> f64 {
        (thread_torque_nmm / tension_n - self.pitch_mm / (2.0 * PI)) / (HALF_SECANT * self.pitch_diameter_mm)
    }

    /// Bearing friction from bearing torque (ISO 16047): Tb/(0.5·Db·F).
    #[must_use]
    pub fn bearing_friction(self, bearing_torque_nmm: f64, tension_n: f64) -> f64 {
        bearing_torque_nmm / (0.5 * self.bearing_diameter_mm * tension_n)
    }

    /// One coefficient for both from the whole torque (ISO 16047): (T/F − P/2π)/(0.577·d2 + 0.5·Db).
    #[must_use]
    pub fn total_friction(self, torque_nmm: f64, tension_n: f64) -> f64 {
        (torque_nmm / tension_n - self.pitch_mm / (2.0 * PI))
            / (HALF_SECANT * self.pitch_diameter_mm + 0.5 * self.bearing_diameter_mm)
    }

    /// Tension over torque, per metre: the bolt factor of friction and geometry, in the form of ISO 16047.
    #[must_use]
    pub fn bolt_factor_per_m(self, friction: Friction) -> f64 {
        1000.0 / self.torque(1.0, friction).total_nmm()
    }

    fn bearing_nmm(self, tension_n: f64, friction: Friction) -> f64 {
        0.5 * tension_n * friction.bearing * self.bearing_diameter_mm
    }
}

/// Nut factor K = T/(F·d); torque in N·mm, diameter in mm.
#[must_use]
pub fn nut_factor(torque_nmm: f64, tension_n: f64, diameter_mm: f64) -> f64 {
    torque_nmm / (tension_n * diameter_mm)
}

/// Assembly tension at `utilisation` of the yield stress under combined load, N (VDI 2230 part 1):
/// ν·Rp·A0/√(1 + 3·(3/2·d2/d0·(P/(π·d2) + 1.155·µ))²), d0 = (d2 + d3)/2.
#[must_use]
pub fn assembly_tension_n(thread: Metric, yield_mpa: f64, thread_friction: f64, utilisation: f64) -> f64 {
    let (d2, d3) = (thread.pitch_diameter_mm(), thread.minor_of_root_mm());
    let d0 = 0.5 * (d2 + d3);
    let area = 0.25 * PI * d0 * d0;
    // 1.155 as printed, not 1/cos 30°: the published tables were computed with it.
    let twist = 1.5 * d2 / d0 * (thread.pitch_mm / (PI * d2) + 1.155 * thread_friction);
    utilisation * yield_mpa * area / libm::sqrt(1.0 + 3.0 * twist * twist)
}

/// Assembly torque, N·mm (VDI 2230 part 1): F·(0.16·P + 0.58·d2·µG + DKm/2·µK).
#[must_use]
pub fn assembly_torque_nmm(joint: Joint, tension_n: f64, friction: Friction) -> f64 {
    tension_n
        * (0.16 * joint.pitch_mm
            + 0.58 * joint.pitch_diameter_mm * friction.thread
            + 0.5 * joint.bearing_diameter_mm * friction.bearing)
}

/// Scatter of tightening αA = Fmax/Fmin as a share either side of the middle: (αA − 1)/(αA + 1).
#[must_use]
pub fn scatter_share(tightening_factor: f64) -> f64 {
    (tightening_factor - 1.0) / (tightening_factor + 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn friction_put_in_comes_out() {
        let joint = Joint::new(Metric::parse("M12").unwrap(), 16.63, 13.5);
        let torque = joint.torque(40_000.0, Friction { thread: 0.12, bearing: 0.14 });
        let thread = joint.thread_friction(torque.pitch_nmm + torque.thread_nmm, 40_000.0);
        assert!((thread - 0.12).abs() < 1e-15);
        assert!((joint.bearing_friction(torque.bearing_nmm, 40_000.0) - 0.14).abs() < 1e-15);
        let even = joint.torque(1.0, Friction { thread: 0.1, bearing: 0.1 });
        assert!((joint.total_friction(even.total_nmm(), 1.0) - 0.1).abs() < 1e-15);
        let factor = joint.bolt_factor_per_m(Friction { thread: 0.12, bearing: 0.14 });
        assert!((factor * torque.total_nmm() / 1000.0 - 40_000.0).abs() < 1e-6);
    }
}
