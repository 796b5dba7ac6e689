//! What one blow does to the tension: F2^2 = (E + a F1^2) / (a + b).
//!
//! A blow brings the energy E to the nut through a torsional chain, which winds up until its torque passes
//! the friction of the tension there is; what is left turns the nut. Below E = b F1^2 the nut stands
//! still. So F^2 nears its limit E / b exponentially, and near it only the stronger blows move the nut.

/// The two parts of the chain. Energies are counted in kN^2 (times a constant of the bolt).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Law {
    /// Elastic part a > 0: the work of stretching the bolt.
    pub elastic: f64,
    /// Friction part b > 0: what the chain takes up before the nut moves.
    pub friction: f64,
}

impl Law {
    /// With b = 1 and a such that 63 % of the limit of F^2 is reached in `blows` blows of equal energy:
    /// (a / (a + b))^blows = 1/e.
    #[must_use]
    pub fn with_blows_to_63_percent(blows: f64) -> Self {
        Self { elastic: 1.0 / libm::expm1(1.0 / blows), friction: 1.0 }
    }

    /// Tension after a blow of this energy on a nut at `kn` >= 0.
    #[must_use]
    pub fn after(&self, kn: f64, energy: f64) -> f64 {
        let squared = kn * kn;
        if energy <= self.friction * squared {
            return kn;
        }
        libm::sqrt((energy + self.elastic * squared) / (self.elastic + self.friction))
    }

    /// Tension that blows of this energy approach.
    #[must_use]
    pub fn limit_kn(&self, energy: f64) -> f64 {
        libm::sqrt(energy / self.friction)
    }

    /// Energy whose limit is this tension.
    #[must_use]
    pub fn energy_for(&self, limit_kn: f64) -> f64 {
        self.friction * limit_kn * limit_kn
    }

    /// Growth of F^2 by the first blow on a loose nut, kN^2.
    #[must_use]
    pub fn first_growth(&self, energy: f64) -> f64 {
        energy / (self.elastic + self.friction)
    }

    /// Tension after this many blows of one energy on a nut that starts at `from_kn` below the limit.
    #[must_use]
    pub fn after_blows(&self, from_kn: f64, energy: f64, blows: f64) -> f64 {
        let limit = energy / self.friction;
        let left = libm::exp(blows * libm::log(self.elastic / (self.elastic + self.friction)));
        libm::sqrt(limit - (limit - from_kn * from_kn) * left)
    }
}
