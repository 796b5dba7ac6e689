//! What the finder does where samples are missing: bridges a short gap, breaks a run off at a longer one.
//!
//! Must not know why they are missing; the pipeline tells how many.

use super::super::measure::Outcome;
use super::super::record::CloseReason;
use super::{Finder, Found, Rest, State};
use boltscribe_model::units::Newtons;

/// Gaps longer than this end a run, seconds.
const GAP_MAX_S: f64 = 0.5;
/// Tension that stood still so long after its last growth was a whole run, seconds: what is waited for an end that
/// nothing tells, and a little more.
const STOOD_S: f64 = 5.1;
/// After a longer break nobody knows what hangs on the rig: what stands there is idle, and what is driven upon
/// it is marked as interrupted until it was released, seconds.
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
        let hangs = missing as f64 <= RELEASE_MAX_S * self.rate_hz;
        let awaited = self.awaited_release();
        self.begin_again();
        match awaited {
            Some(below) if hangs => self.await_release(below),
            Some(below) => self.set_rest(Rest::Missed { below }),
            None => {}
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
            let interrupted = !self.stood_still(crossing);
            if let Outcome::Done(record) = self.measure(crossing, true, interrupted) {
                let whole = if self.stands_alone(&record) { self.measure_with_seat(false) } else { None };
                let (record, basis) =
                    whole.unwrap_or_else(|| (record, self.basis(crossing, true, interrupted)));
                found.push(Found::Announced { run: self.runs, record, basis });
            }
            self.close(CloseReason::Interrupted, false, None, Vec::new(), found);
        } else if let State::Announced { after, .. } = &self.state {
            let (re_pulled, level) = after.re_pulled(self.next);
            self.close(CloseReason::Interrupted, re_pulled, level, Vec::new(), found);
        }
        self.end_tail(self.next, found);
    }

    /// What waited for a tool on top of it has stood still long enough to have been announced as a run by now.
    fn stood_still(&mut self, crossing: u64) -> bool {
        if !matches!(self.state, State::Seated { .. }) {
            return false;
        }
        self.idle_from = self.run_idle_from;
        match self.measure(crossing, true, false) {
            Outcome::Done(record) => self.next as f64 / self.rate_hz - record.last_blow_s > STOOD_S,
            Outcome::Wait { .. } => false,
        }
    }

    /// Idle, from the next sample on, with nothing known of what was before.
    fn begin_again(&mut self) {
        self.smooth.clear();
        self.smooth_until = self.next;
        self.idle.clear();
        self.kept.clear();
        self.kept_first = self.next;
        self.idle_from = self.next;
        self.missing.clear();
        self.clipped.clear();
        self.state = State::Idle { armed: false };
        (self.fresh, self.unproven, self.seat, self.jumped) = (true, true, None, None);
        self.run_idle_from = self.next;
    }
}

#[cfg(test)]
mod tests {
    use super::super::played::{RATE_HZ, drive, finder, opened, stand};
    use super::*;

    /// A run that is broken off by this many seconds without samples; what the finder says of it.
    fn broken(finder: &mut Finder, gap_s: f64) -> Vec<Found> {
        stand(finder, 0.0, 3.0);
        let mut found = drive(finder, 0.0, 2.0);
        assert_eq!(opened(&found), 1);
        finder.gap((gap_s * RATE_HZ) as u64, &mut found);
        found
    }

    #[test]
    fn after_a_gap_in_a_run_no_other_begins_before_the_release() {
        let mut finder = finder();
        let found = broken(&mut finder, 2.0);
        assert!(found.iter().any(|f| matches!(f, Found::Closed { run: 1, closing }
            if closing.reason == CloseReason::Interrupted)));
        let below = finder.awaited_release().unwrap().get();
        assert!((20_000.0..40_000.0).contains(&below), "half of what stood: {below}");
        assert_eq!(opened(&stand(&mut finder, 60_000.0, 3.0)), 0);
        assert_eq!(opened(&drive(&mut finder, 60_000.0, 2.0)), 0, "the rest of the tightening is no run");
        assert_eq!(opened(&stand(&mut finder, 0.0, 3.0)), 0);
        assert!(finder.awaited_release().is_none());
        assert_eq!(opened(&drive(&mut finder, 0.0, 2.0)), 1, "the next tightening is one");
    }

    #[test]
    fn after_more_than_a_minute_what_stands_there_is_idle() {
        let mut finder = finder();
        broken(&mut finder, RELEASE_MAX_S + 1.0);
        assert!(finder.awaited_release().is_none());
        assert_eq!(opened(&stand(&mut finder, 60_000.0, 3.0)), 0);
        let found = [drive(&mut finder, 60_000.0, 2.0), stand(&mut finder, 120_000.0, 1.5)].concat();
        assert_eq!(opened(&found), 1);
        let marked = found.iter().any(|f| {
            matches!(f, Found::Announced { record, .. }
                if record.flags.contains(&crate::runs::RunFlag::Interrupted))
        });
        assert!(marked, "nobody has seen what it was driven upon: {found:?}");
    }

    #[test]
    fn a_short_gap_is_bridged_and_ends_nothing() {
        let mut finder = finder();
        let found = broken(&mut finder, 0.4);
        assert!(!found.iter().any(|f| matches!(f, Found::Closed { .. })));
        assert!(finder.awaited_release().is_none() && finder.open());
    }
}
