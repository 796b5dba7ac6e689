//! Undoes the wraps of a device's tick counter.
//!
//! A counter of `bits` bits is read as the nearest value to the last one, so a step of up to half the
//! counter's range forward or backward is understood; what a backward step means is not known here.

use super::DeviceTicks;

/// Unwraps a counter of a fixed width.
#[derive(Clone, Debug)]
pub struct Unwrapper {
    bits: u32,
    last: Option<u64>,
}

impl Unwrapper {
    /// For a counter of `bits` bits, 8 to 64.
    #[must_use]
    pub fn new(bits: u8) -> Self {
        Self { bits: u32::from(bits.clamp(8, 64)), last: None }
    }

    /// Width of the counter, bits.
    #[must_use]
    pub fn bits(&self) -> u8 {
        self.bits as u8
    }

    /// The first value is taken as it is, one whole range up so that steps back stay positive.
    pub fn unwrap(&mut self, raw: u64) -> DeviceTicks {
        let value = match self.last {
            None if self.bits == 64 => raw,
            // A raw value wider than the counter is hostile; its low bits are as good as any.
            None => (raw & ((1 << self.bits) - 1)) + (1 << self.bits),
            Some(last) if self.bits == 64 => last.wrapping_add(raw.wrapping_sub(last)),
            Some(last) => {
                let range = 1_u64 << self.bits;
                let forward = raw.wrapping_sub(last) & (range - 1);
                if forward < range / 2 {
                    last.saturating_add(forward)
                } else {
                    last.saturating_sub(range - forward)
                }
            }
        };
        self.last = Some(value);
        DeviceTicks(value)
    }

    /// Forgets the past: the next value starts anew.
    pub fn restart(&mut self) {
        self.last = None;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wrap_goes_on_upward_and_a_small_step_back_stays_a_step_back() {
        let mut u = Unwrapper::new(32);
        let a = u.unwrap(0xFFFF_FFF0);
        let b = u.unwrap(0x10);
        assert_eq!(b.0 - a.0, 0x20);
        let c = u.unwrap(0xFFFF_FFFF);
        assert_eq!(b.0 - c.0, 0x11);
    }

    #[test]
    fn a_24_bit_counter_at_1_khz_wraps_after_16777_216_s() {
        let mut u = Unwrapper::new(24);
        let first = u.unwrap(5).0;
        let mut last = first;
        for _ in 0..3 {
            for step in 1..=4_u64 {
                last = u.unwrap((5 + step * (1 << 22)) & 0xFF_FFFF).0;
            }
        }
        assert_eq!((last - first) as f64 / 1000.0, 3.0 * 16_777.216);
    }

    #[test]
    fn a_raw_value_wider_than_the_counter_is_taken_by_its_low_bits() {
        let mut wide = Unwrapper::new(32);
        let first = wide.unwrap(u64::MAX).0;
        assert_eq!(wide.unwrap(1).0 - first, 2);
        // A counter that has come to the end of 64 bits stands still instead of overflowing.
        let mut long = Unwrapper::new(63);
        long.unwrap((1 << 63) - 1);
        assert_eq!(long.unwrap(5).0, u64::MAX);
    }
}
