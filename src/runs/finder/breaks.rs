//! What the finder does where samples are missing: bridges a short gap, breaks a run off at a longer one.
//!
//! Must not know why they are missing; the pipeline tells how many.

use super::super::measure::Outcome;
use super::super::record::CloseReason;
use super::{Finder, Found, State};
use crate::units::Newtons;

/// Gaps longer than this end a run, seconds.
const GAP_MAX_S: f64 = 0.5;
/// After a longer break nobody knows what hangs on the rig: what stands there is idle, seconds.
pub const RELEASE_MAX_S: f64 = 60.0;

impl Finder {
    /// A gap short enough to be filled with the last value and remembered.
    #[must_use]
    pub fn bridges(&self, missing: u64) -> bool {
        missing as f64 <= GAP_MAX_S * self.rate_hz
    }

    /// Samples are missing here.
    pub fn gap(&mut self, missing: u64, found: &mut Vec<Found>) {
        if self.bridges(missing) {
            self.missing.push((self.next, missing as usize));
            let last = self.kept.last().copied().unwrap_or(0.0);
            self.push(&vec![last; missing as usize], &[], found);
            return;
        }
        self.break_off(found);
        self.next = self.next.saturating_add(missing);
        let release = self.awaited_release().filter(|_| missing as f64 <= RELEASE_MAX_S * self.rate_hz);
        self.restart();
        if let Some(below) = release {
            self.await_release(below);
        }
    }

    /// The tension a run that was broken off must fall below before another begins, if it has not yet.
    #[must_use]
    pub fn awaited_release(&self) -> Option<Newtons> {
        match self.state {
            State::Waiting { below } => Some(Newtons(below)),
            _ => None,
        }
    }

    /// The stream goes on after a break in a run: what is left of that run is no run of its own.
    pub fn await_release(&mut self, below: Newtons) {
        self.state = State::Waiting { below: below.get() };
    }

    /// The stream ends or breaks: an open run is measured as it stands and marked interrupted.
    pub fn break_off(&mut self, found: &mut Vec<Found>) {
        if let State::Driving { crossing, .. }
        | State::Seated { crossing, .. }
        | State::Candidate { seated: Some((_, crossing)), .. } = self.state
        {
            if let Outcome::Done(record) = self.measure(crossing, true, true) {
                let basis = self.basis(crossing, true, true);
                found.push(Found::Announced { run: self.runs, record, basis });
            }
            self.close(CloseReason::Interrupted, false, None, found);
        } else if let State::Announced { after, .. } = &self.state {
            let (re_pulled, level) = after.re_pulled();
            self.close(CloseReason::Interrupted, re_pulled, level, found);
        }
        self.end_tail(self.next, found);
    }

    fn restart(&mut self) {
        self.filter_state = None;
        self.idle.clear();
        self.kept.clear();
        self.kept_first = self.next;
        self.idle_from = self.next;
        self.missing.clear();
        self.clipped.clear();
        self.state = State::Idle { armed: false };
    }
}
