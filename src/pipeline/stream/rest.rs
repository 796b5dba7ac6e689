//! Where a rig rests, and whether a stream waits for it: kept across breaks, told to whoever watches.
//!
//! Must not know who remembers it between two starts of the program.

use super::Stream;
use crate::pipeline::messages::{Event, Output};
use crate::runs::Rest;

/// A wait longer than this is told, seconds: a rig at rest takes half a second.
const TELL_S: f64 = 1.0;
/// A rest is told to have moved where it moved by more than this share of the start threshold.
const MOVED_SHARE: f64 = 0.25;

/// What a stream knows of the rig's rest.
#[derive(Debug, Default)]
pub(super) struct Resting {
    /// What the next stretch waits for.
    pub(super) awaited: Rest,
    /// Where the rig was said to rest when the stream began, as a code.
    given_counts: Option<f64>,
    /// Where it rested last: newtons, and as a code.
    last: Option<(f64, f64)>,
    told: bool,
}

impl Stream {
    /// Where the rig was last seen at rest in this stream, as a code; it moves only when the rest has moved by a
    /// quarter of the start threshold.
    #[must_use]
    pub fn rest_counts(&self) -> Option<f64> {
        self.resting.last.map(|(_, counts)| counts)
    }

    /// No run before the rig rests near this code.
    pub(super) fn await_rest_at(&mut self, rest_counts: f64, out: &mut Vec<Output>) {
        self.resting.given_counts = Some(rest_counts);
        let rest = self.rest_near(rest_counts);
        self.await_rest(rest, out);
    }

    /// What is waited for, in the terms of another calibration.
    pub(super) fn rest_anew(&self) -> Rest {
        match (self.resting.awaited, self.rest_counts().or(self.resting.given_counts)) {
            (Rest::Seen, _) | (_, None) => Rest::Seen,
            (_, Some(counts)) => self.rest_near(counts),
        }
    }

    fn rest_near(&self, counts: f64) -> Rest {
        let at = self.converter.as_ref().map(|c| c.newtons_at(counts)).filter(|at| at.get().is_finite());
        at.map_or(Rest::Seen, |at| Rest::near(at, &self.settings.runs))
    }

    pub(super) fn await_rest(&mut self, rest: Rest, out: &mut Vec<Output>) {
        self.resting.awaited = rest;
        if let Some(finder) = &mut self.finder {
            finder.set_rest(rest);
        }
        self.look_at_rest(out);
    }

    /// After samples: where the rig rests, and whether a wait begins or ends to be told.
    pub(super) fn look_at_rest(&mut self, out: &mut Vec<Output>) {
        let Some(finder) = &self.finder else { return };
        let (rest, since_s) = finder.awaited_rest();
        match rest.below() {
            Some(below) if !self.resting.told && since_s >= TELL_S => {
                self.resting.told = true;
                out.push(Output::Event(Event::AwaitsRest { awaits: true, below }));
            }
            None if std::mem::take(&mut self.resting.told) => {
                let below = self.resting.awaited.below().unwrap_or_default();
                out.push(Output::Event(Event::AwaitsRest { awaits: false, below }));
            }
            _ => {}
        }
        let moved_by = MOVED_SHARE * self.settings.runs.start_threshold().get();
        if let (Some(at), Some(converter)) = (finder.resting_at(), &self.converter)
            && self.resting.last.is_none_or(|(before, _)| (at.get() - before).abs() > moved_by)
            && let Some(counts) = converter.counts_at(at)
        {
            self.resting.last = Some((at.get(), counts));
        }
    }
}
