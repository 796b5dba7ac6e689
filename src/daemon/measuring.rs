//! What a rig's thread needs of a pipeline: the seam that lets the wiring be tested by itself.
//!
//! The one implementation in the program is `boltscribe_pipeline::Pipeline`; tests put a scripted one in
//! its place. Nothing here measures anything.

use boltscribe_model::time::MonoNs;
use boltscribe_pipeline::{Counters, Input, Output};

/// Bytes, ticks and commands in; outputs out.
pub trait Measuring: Send {
    /// Takes one input and adds what it answers to `out`. Times never go back.
    fn push_into(&mut self, input: Input<'_>, out: &mut Vec<Output>);

    /// The end of the stream: an open run is announced as interrupted and closed.
    fn finish(&mut self, out: &mut Vec<Output>);

    /// Its accounts.
    fn counters(&self) -> Counters;

    /// Host monotonic time of a moment of the stream; none before the first sample.
    fn mono_at(&self, stream_s: f64) -> Option<MonoNs>;

    /// Where the rig was last seen at rest, as a code; none before it was.
    fn rest_counts(&self) -> Option<f64> {
        None
    }
}

impl Measuring for boltscribe_pipeline::Pipeline {
    fn push_into(&mut self, input: Input<'_>, out: &mut Vec<Output>) {
        self.push_into(input, out);
    }

    fn finish(&mut self, out: &mut Vec<Output>) {
        self.finish(out);
    }

    fn counters(&self) -> Counters {
        self.counters()
    }

    fn mono_at(&self, stream_s: f64) -> Option<MonoNs> {
        self.mono_at(stream_s)
    }

    fn rest_counts(&self) -> Option<f64> {
        self.rest_counts()
    }
}
