//! Whether a reading that may be a fault of the line keeps the finder from deciding now.
//!
//! What a glitch is stands in `runs::glitch`; measuring takes it out. Here it is only waited for.

use super::super::glitch::{Glitch, LONGEST_S, SETTLES, Scale, find};
use super::{Finder, LEVEL_S, State};

impl Finder {
    /// At a point of the grid: true while a reading that has jumped away may still come back, and until the window
    /// of the present level has nothing of it any more.
    pub(super) fn glitches(&mut self) -> bool {
        if !matches!(self.state, State::Driving { .. } | State::Announced { .. } | State::Candidate { .. }) {
            return false;
        }
        let scale = Scale {
            rate_hz: self.rate_hz,
            base_n: self.zero,
            threshold_n: self.settings.start_threshold().get(),
        };
        let x = &self.kept;
        let block = x.len().saturating_sub(self.grid as usize + SETTLES);
        if scale.jumps(&x[block..]) {
            self.jumped = Some(self.next);
        }
        let past = ((LEVEL_S * self.rate_hz) as usize).max(3);
        let reach = ((LONGEST_S * self.rate_hz) as usize).max(2 * SETTLES) + past + 2 * self.grid as usize;
        if self.jumped.is_none_or(|at| self.next - at > reach as u64) {
            return false;
        }
        let mut from = x.len().saturating_sub(reach);
        loop {
            match find(x, scale, from) {
                Glitch::None => return false,
                Glitch::Perhaps(_) => return true,
                Glitch::Over(range) if range.end + past > x.len() => return true,
                Glitch::Over(range) => from = range.end,
            }
        }
    }
}
