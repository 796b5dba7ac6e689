//! Where a rig rests, and whether a stream waits for it: kept across breaks, reported to whoever watches.
//!
//! Must not know who remembers it between two starts of the program.

use super::Stream;
use crate::messages::{Event, Output};
use boltscribe_signal::runs::Rest;

/// A wait longer than this is reported, seconds: a rig at rest takes half a second.
const TELL_S: f64 = 1.0;
/// A rest counts as moved where it moved by more than this share of the start threshold.
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
    reported: bool,
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
    pub(super) fn rest_again(&self) -> Rest {
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

    /// After samples: where the rig rests, and whether a wait begins or ends.
    pub(super) fn look_at_rest(&mut self, out: &mut Vec<Output>) {
        let Some(finder) = &self.finder else { return };
        let (rest, since_s) = finder.awaited_rest();
        match rest.below() {
            Some(below) if !self.resting.reported && since_s >= TELL_S => {
                self.resting.reported = true;
                out.push(Output::Event(Event::AwaitsRest { awaits: true, below }));
            }
            None if std::mem::take(&mut self.resting.reported) => {
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::messages::Settings;
    use boltscribe_model::constants::Calibration;
    use boltscribe_model::control::Command;
    use boltscribe_model::time::MonoNs;
    use boltscribe_signal::samples::{Clock, Piece};

    const RATE_HZ: f64 = 500.0;

    fn stream() -> Stream {
        let calibration =
            Calibration { id: "c".into(), coefficients_kn: vec![0.5, 1e-4], nominal: true, range_kn: None };
        Stream::new(Settings {
            instrument: boltscribe_signal::frames::Settings::Framed,
            samples: boltscribe_signal::samples::Settings::default(),
            runs: boltscribe_signal::runs::Settings::default(),
            calibration: Some(calibration),
        })
        .unwrap()
    }

    /// A stream that was given a rest at code 1,000 and hears its first samples; what it says.
    fn hears(stream: &mut Stream, kn: f64, seconds: f64) -> Vec<Event> {
        let mut out = Vec::new();
        let code = ((kn - 0.5) * 1e4) as i32;
        let counts: Vec<i32> =
            (0..(seconds * RATE_HZ) as usize).map(|i| code + [0, 30, -20, 10, -30][i % 5]).collect();
        for counts in counts.chunks(25) {
            stream.piece(MonoNs(0), Piece::Counts { counts, saturated: false }, &mut out);
        }
        out.into_iter().filter_map(|o| if let Output::Event(e) = o { Some(e) } else { None }).collect()
    }

    fn given() -> Stream {
        let (mut stream, mut out) = (stream(), Vec::new());
        stream.command(Command::AwaitRest { rest_counts: 1000.0 }, &mut out);
        stream.piece(MonoNs(0), Piece::Rate { rate_hz: RATE_HZ, clock: Clock::Device }, &mut out);
        stream
    }

    #[test]
    fn a_rig_at_rest_tells_of_no_wait_and_where_it_rests() {
        let mut stream = given();
        assert_eq!(hears(&mut stream, 0.7, 3.0), []);
        let counts = stream.rest_counts().unwrap();
        assert!((counts - 2000.0).abs() < 30.0, "{counts}");
    }

    #[test]
    fn a_wait_is_told_once_also_over_a_break_and_ends_with_the_release() {
        let mut stream = given();
        // 1,000 is 0.6 kN; zeros may shift by 1 kN where no range is known, and runs start at 0.3 kN.
        let [Event::AwaitsRest { awaits: true, below }] = &hears(&mut stream, 60.0, 5.0)[..] else {
            panic!("expected one wait")
        };
        assert!((below.get() - 1900.0).abs() < 1e-6, "{below:?}");
        assert_eq!(stream.rest_counts(), None, "60 kN are no rest");
        stream.piece(MonoNs(0), Piece::Break, &mut Vec::new());
        stream.piece(MonoNs(0), Piece::Rate { rate_hz: RATE_HZ, clock: Clock::Device }, &mut Vec::new());
        assert_eq!(hears(&mut stream, 60.0, 5.0), []);
        let ends = hears(&mut stream, 0.5, 2.0);
        assert!(matches!(ends[..], [Event::AwaitsRest { awaits: false, .. }]), "{ends:?}");
    }

    #[test]
    fn a_zero_that_a_person_takes_ends_the_wait() {
        let mut stream = given();
        hears(&mut stream, 4.0, 3.0);
        let mut out = Vec::new();
        stream.command(Command::Zero, &mut out);
        let ends = out.iter().any(|o| matches!(o, Output::Event(Event::AwaitsRest { awaits: false, .. })));
        let zeroed = out
            .iter()
            .any(|o| matches!(o, Output::Event(Event::Zeroed { zero }) if (zero.kn() - 4.0).abs() < 0.01));
        assert!(ends && zeroed, "{out:?}");
    }
}
