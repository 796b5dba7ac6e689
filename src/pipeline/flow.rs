//! The pipeline of one rig: bytes in, results out.
//!
//! Must not know IO, threads or any clock: time comes in with each input.

use super::messages::{Counters, Event, Fault, Input, LinkState, Output, Settings};
use super::stream::Stream;
use boltscribe_model::constants::CalibrationError;
use boltscribe_model::time::MonoNs;
use boltscribe_signal::frames::{self, Frame, Item, Parser, PatternError};
use boltscribe_signal::samples::{Ask, Asking, Assembler};
use std::collections::BTreeMap;

/// Why a pipeline cannot be made.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SetupError {
    /// The pattern of lines.
    #[error(transparent)]
    Pattern(#[from] PatternError),
    /// The calibration.
    #[error(transparent)]
    Calibration(#[from] CalibrationError),
}

/// One rig's pipeline.
pub struct Pipeline {
    parser: Parser,
    core: Core,
}

/// Everything behind the parser.
struct Core {
    assembler: Assembler,
    asking: Option<Asking>,
    asked_identity: Option<MonoNs>,
    stream: Stream,
    /// When a good frame came last, or the port did.
    heard: Option<MonoNs>,
    /// When samples came last, or the port did.
    sampled: Option<MonoNs>,
    stale: bool,
    /// Stale, but answers.
    answers: bool,
    told: BTreeMap<&'static str, MonoNs>,
}

/// No samples for this long, or for three frames: stale.
const STALE_NS: u64 = 1_000_000_000;
/// An answer is under way for no longer than this (SPEC.md section 7): a later one is of a device that does not
/// sample.
const ANSWER_NS: u64 = 100_000_000;
/// A device that is polled every second and was heard within this answers.
const ANSWERS_NS: u64 = 2_500_000_000;
/// A fault of one kind is told at most this often; counters count all.
const TELL_NS: u64 = 1_000_000_000;
/// An identity within this after asking was asked for.
const ASKED_NS: u64 = 2_500_000_000;

impl Pipeline {
    /// A pipeline at the start of a stream.
    ///
    /// # Errors
    /// A line pattern or a calibration that cannot be used.
    pub fn new(settings: Settings) -> Result<Self, SetupError> {
        let parser = Parser::new(&settings.instrument)?;
        let asking = matches!(settings.instrument, frames::Settings::Framed)
            .then(|| Asking::new(settings.samples.rate_hz));
        let assembler = Assembler::new(&settings.instrument, &settings.samples);
        let stream = Stream::new(settings)?;
        let core = Core {
            assembler,
            asking,
            asked_identity: None,
            stream,
            heard: None,
            sampled: None,
            stale: false,
            answers: false,
            told: BTreeMap::new(),
        };
        Ok(Self { parser, core })
    }

    /// Feeds one input, gives what came of it.
    pub fn push(&mut self, input: Input<'_>) -> Vec<Output> {
        let mut out = Vec::new();
        self.push_into(input, &mut out);
        out
    }

    /// Feeds one input, appends what came of it.
    pub fn push_into(&mut self, input: Input<'_>, out: &mut Vec<Output>) {
        match input {
            Input::Bytes { at, bytes } => {
                let core = &mut self.core;
                core.stream.set_now(at);
                self.parser.push(bytes, &mut |item| core.item(at, item, out));
                core.stream.after_bytes(at, out);
            }
            Input::Tick { at } => self.core.tick(at, out),
            Input::Link { at, state } => self.link(at, state, out),
            Input::Command { at, command } => {
                self.core.stream.set_now(at);
                self.core.stream.command(command, out);
            }
        }
    }

    fn link(&mut self, at: MonoNs, state: LinkState, out: &mut Vec<Output>) {
        let core = &mut self.core;
        core.stream.set_now(at);
        (core.heard, core.sampled) = (Some(at), Some(at));
        if let Some(asking) = &mut core.asking {
            asking.link(at, state == LinkState::Up);
        }
        match state {
            LinkState::Up => self.parser.link_up(),
            LinkState::Down => {
                let stream = &mut core.stream;
                core.assembler.link_down(&mut |piece| stream.piece(at, piece, out));
            }
        }
        core.tick(at, out);
    }

    /// The stream ends: an open run is announced as interrupted and closed.
    pub fn finish(&mut self, out: &mut Vec<Output>) {
        self.core.stream.finish(out);
    }

    /// The accounts so far.
    #[must_use]
    pub fn counters(&self) -> Counters {
        let account = self.parser.account();
        let words = |m: &BTreeMap<&'static str, u64>| m.iter().map(|(k, v)| ((*k).to_owned(), *v)).collect();
        let mut counters = Counters {
            bytes_in: account.bytes_in,
            bytes_parsed: account.parsed,
            bytes_discarded: words(&account.discarded),
            bytes_pending: account.pending(),
            frames: account.frames,
            samples_in: self.core.assembler.samples_in,
            samples_dropped: words(&self.core.assembler.dropped),
            samples_waiting: self.core.assembler.held(),
            ..Counters::default()
        };
        self.core.stream.count(&mut counters);
        counters
    }

    /// Host monotonic time of a moment of the stream (seconds since sample 0); none before samples.
    #[must_use]
    pub fn mono_at(&self, stream_s: f64) -> Option<MonoNs> {
        self.core.stream.mono_at(stream_s)
    }

    /// Where the rig was last seen at rest in this stream, as a code; none before it was.
    #[must_use]
    pub fn rest_counts(&self) -> Option<f64> {
        self.core.stream.rest_counts()
    }

    /// Device seconds in a second here: 1 on real hardware.
    #[must_use]
    pub fn time_scale(&self) -> u16 {
        self.core.assembler.time_scale()
    }
}

impl Core {
    fn item(&mut self, at: MonoNs, item: Item<'_>, out: &mut Vec<Output>) {
        match item {
            Item::Frame(frame) => self.frame(at, &frame, out),
            Item::Bad { reason, detail } => self.tell(at, reason, detail, out),
        }
    }

    fn frame(&mut self, at: MonoNs, frame: &Frame<'_>, out: &mut Vec<Output>) {
        self.heard = Some(at);
        let has_samples = matches!(frame, Frame::Samples(_) | Frame::Reading { .. });
        if let Some(asking) = &mut self.asking {
            asking.heard(at, frame);
        }
        if has_samples {
            self.sampled = Some(at);
            if std::mem::take(&mut self.stale) {
                out.push(Output::Event(Event::Stale { stale: false }));
                self.look_at_answers(at, out);
            }
        }
        let asked = self.asked_identity.is_some_and(|asked| at.since_ns(asked) < ASKED_NS);
        let may_refine = !self.stream.run_open();
        let (stream, told) = (&mut self.stream, &mut self.told);
        self.assembler.push(at, frame, may_refine, asked, &mut |piece| {
            if let boltscribe_signal::samples::Piece::Fault { kind, detail } = piece {
                tell(told, at, kind, detail, out);
            } else {
                stream.piece(at, piece, out);
            }
        });
        if let (Frame::Refusal { fault, about, detail }, Some(asking)) = (frame, &mut self.asking) {
            asking.refused(at, *about, *fault, *detail);
        }
        if let Frame::Identity(identity) = frame {
            self.asked_identity = None;
            if let Some(asking) = &mut self.asking {
                let (ask, complaint) = asking.identified(at, identity);
                out.extend(ask.map(|a| Output::Send(a.bytes())));
                if let Some(detail) = complaint {
                    self.tell(at, "rate-not-offered", detail, out);
                }
            }
        }
    }

    fn tick(&mut self, at: MonoNs, out: &mut Vec<Output>) {
        self.stream.set_now(at);
        if let Some(ask) = self.asking.as_mut().and_then(|a| a.tick(at)) {
            if ask == Ask::Identify {
                self.asked_identity = Some(at);
            }
            if matches!(ask, Ask::Start { .. })
                && let Some(detail) = self.asking.as_mut().and_then(|a| a.complaint(at))
            {
                self.tell(at, "started-again", detail, out);
            }
            out.push(Output::Send(ask.bytes()));
        }
        let silent = self.sampled.is_some_and(|sampled| at.since_ns(sampled) > self.stale_ns());
        if silent && !self.stale {
            self.stale = true;
            out.push(Output::Event(Event::Stale { stale: true }));
        }
        self.look_at_answers(at, out);
        self.stream.after_bytes(at, out);
    }

    /// No samples for this long: stale.
    fn stale_ns(&self) -> u64 {
        STALE_NS.max(3 * self.asking.as_ref().map_or(0, Asking::frame_ns))
    }

    /// Says when a stale device answers all the same, and when that is over.
    fn look_at_answers(&mut self, at: MonoNs, out: &mut Vec<Output>) {
        let answers = self.stale
            && self.heard.zip(self.sampled).is_some_and(|(heard, sampled)| {
                heard.since_ns(sampled) > ANSWER_NS && at.since_ns(heard) < ANSWERS_NS
            });
        if answers != self.answers {
            self.answers = answers;
            out.push(Output::Event(Event::Unsampled { answers }));
        }
    }

    fn tell(&mut self, at: MonoNs, kind: &'static str, detail: String, out: &mut Vec<Output>) {
        tell(&mut self.told, at, kind, detail, out);
    }
}

fn tell(
    told: &mut BTreeMap<&'static str, MonoNs>,
    at: MonoNs,
    kind: &'static str,
    detail: String,
    out: &mut Vec<Output>,
) {
    if told.get(kind).is_none_or(|last| at.since_ns(*last) >= TELL_NS) {
        told.insert(kind, at);
        out.push(Output::Fault(Fault { kind: kind.to_owned(), detail }));
    }
}

#[cfg(test)]
#[path = "device_tests.rs"]
mod device_tests;
