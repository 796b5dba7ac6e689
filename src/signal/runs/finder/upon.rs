//! A tightening upon a small run without blows: that was a nut seated by hand, and the tightening is the run.
//!
//! A seat that is tightened while it stands still is joined to what follows before anything is announced
//! (`decide`). One that moved on for too long has been announced as a run by then. Must not know how a run is
//! measured.

use super::super::lowpass::{corner_hz, filtered};
use super::super::record::{CloseReason, RunFlag};
use super::decide::{SEATED_BELOW, SEATED_IDLE_S};
use super::{Finder, Found, State};

/// A tightening upon a seat at least doubles its tension.
const AT_LEAST: f64 = 2.0;

impl Finder {
    /// Ends an announced run that was but a seat once a tightening carries tension beyond it, and begins the next.
    /// `level` is the present one above zero, newtons.
    pub(super) fn driven_upon(&mut self, level: f64, found: &mut Vec<Found>) -> bool {
        let State::Announced { after, .. } = &self.state else { return false };
        let seat = after.settled();
        let small = seat < SEATED_BELOW * self.settings.start_threshold().get();
        if !after.no_blows() || !small || !after.higher() || level < AT_LEAST * seat {
            return false;
        }
        let above = (self.zero + seat + self.threshold) as f32;
        let from = after.pull_over().saturating_sub(self.kept_first) as usize;
        let range = from.min(self.kept.len())..self.kept.len();
        let corner = corner_hz(self.settings.lowpass_hz, self.rate_hz);
        let low = filtered(&self.kept, corner, self.rate_hz, None, range.clone());
        let stood = (SEATED_IDLE_S * self.rate_hz) as usize;
        let Some(last_below) = low.iter().rposition(|y| *y <= above).filter(|at| *at >= stood) else {
            return false;
        };
        let crossing = self.kept_first + (range.start + last_below + 1) as u64;
        self.close(CloseReason::Tightened, false, None, vec![RunFlag::Seated], found);
        self.zero += seat;
        self.idle_from = crossing - stood as u64;
        self.state = State::Candidate { crossing, seated: None };
        true
    }
}
