//! A scenario as an endless stream of counts, and a whole scenario in memory.
//!
//! Samples are made in blocks that start at fixed sample numbers, and a step starts at a
//! block's start, so that the counts do not depend on how many are asked for at a time. Memory
//! does not grow with the length of the scenario. This file must not know a wall clock or a
//! line. A sample's time is number / rate; where samples are means, it is their middle.

use crate::adc::Adc;
use crate::model::{self, Run};
use crate::scenario::Scenario;
use crate::signal::Plan;
use crate::truth::{TruthRun, truth};

/// Points a second on which the tension is taken where samples are means.
const AVERAGING_HZ: f64 = 20_000.0;
/// Idle time after the last step of a rendered scenario.
const RENDER_TAIL_S: f64 = 1.0;

/// When the next step may start.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pace {
    /// As soon as the one before is over.
    Free,
    /// At a call of [`Stream::go`].
    Stepwise,
}

/// A step that is over.
#[derive(Debug, Clone, PartialEq)]
pub struct Done {
    /// Number of the step in the scenario.
    pub step: usize,
    /// What is true of it.
    pub truth: Option<TruthRun>,
}

/// What a call of [`Stream::fill`] says about its samples.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Filled {
    /// Whether any code stands at a limit of the converter.
    pub saturated: bool,
}

/// An incremental generator of counts.
#[derive(Debug, Clone)]
pub struct Stream {
    scenario: Scenario,
    rate_hz: f64,
    pace: Pace,
    looping: bool,
    adc: Adc,
    plan: Plan,
    plan_first: u64,
    /// The step being played and its truth.
    playing: Option<Done>,
    next_step: usize,
    played: u64,
    may_go: bool,
    done: Vec<Done>,
    made: u64,
    given: u64,
    block: Vec<i32>,
    block_saturated: bool,
    clean: Vec<f64>,
    fine: Vec<f64>,
}

impl Stream {
    /// A stream of a checked scenario from its first step, at `rate_hz` > 0.
    #[must_use]
    pub fn new(scenario: &Scenario, rate_hz: f64, pace: Pace) -> Self {
        let length = (rate_hz / 50.0).clamp(1.0, 4096.0) as usize;
        let finer = if scenario.averages_at(rate_hz) { (AVERAGING_HZ / rate_hz).ceil() as usize } else { 1 };
        Self {
            scenario: scenario.clone(),
            rate_hz,
            pace,
            looping: false,
            adc: Adc::new(scenario, rate_hz),
            plan: Plan::idle(),
            plan_first: 0,
            playing: None,
            next_step: 0,
            played: 0,
            may_go: false,
            done: Vec::new(),
            made: 0,
            given: 0,
            block: vec![0; length],
            block_saturated: false,
            clean: vec![0.0; length],
            fine: vec![0.0; length * finer],
        }
    }

    /// A stream at another rate, from its own sample 0, that begins with the step being played
    /// here, or else with the next.
    #[must_use]
    pub fn at_rate(&self, rate_hz: f64) -> Self {
        let mut new = Self::new(&self.scenario, rate_hz, self.pace);
        let again = u64::from(self.playing.is_some());
        new.next_step = self.next_step - again as usize;
        new.played = self.played - again;
        new.may_go = self.may_go || again == 1;
        new.looping = self.looping;
        new
    }

    /// Starts over after the last step, for ever.
    pub fn set_looping(&mut self, looping: bool) {
        self.looping = looping;
    }

    /// Sampling rate in samples a second.
    #[must_use]
    pub fn rate_hz(&self) -> f64 {
        self.rate_hz
    }

    /// Number of the next sample that [`Stream::fill`] gives.
    #[must_use]
    pub fn position(&self) -> u64 {
        self.given
    }

    /// The truth of the run that is being played, known from its start.
    #[must_use]
    pub fn current_truth(&self) -> Option<&TruthRun> {
        self.playing.as_ref().and_then(|done| done.truth.as_ref())
    }

    /// The step that waits for [`Stream::go`]; none while one is played or after the last.
    #[must_use]
    pub fn waiting_step(&self) -> Option<usize> {
        let free = self.playing.is_none() && !self.may_go;
        (free && self.pace == Pace::Stepwise && self.next_step < self.scenario.steps.len())
            .then_some(self.next_step)
    }

    /// Lets the waiting step start.
    pub fn go(&mut self) {
        self.may_go = true;
    }

    /// Lets a step of the scenario start out of its turn, when none is played; false where there is no such step.
    pub fn go_to(&mut self, step: usize) -> bool {
        let there = step < self.scenario.steps.len();
        if there && self.playing.is_none() {
            self.next_step = step;
            self.may_go = true;
        }
        there
    }

    /// Whether all steps are over; the signal is idle from then on.
    #[must_use]
    pub fn finished(&self) -> bool {
        self.playing.is_none() && self.next_step >= self.scenario.steps.len()
    }

    /// Takes the steps that ended since the last call. At most as many wait as were played, so
    /// a caller that streams for days calls this now and then.
    pub fn take_done(&mut self) -> Vec<Done> {
        core::mem::take(&mut self.done)
    }

    /// Fills the whole slice with the next counts.
    pub fn fill(&mut self, out: &mut [i32]) -> Filled {
        let mut at = 0;
        let mut saturated = false;
        while at < out.len() {
            if self.given == self.made {
                self.make_block();
            }
            let from = self.block.len() - (self.made - self.given) as usize;
            let count = (self.block.len() - from).min(out.len() - at);
            out[at..at + count].copy_from_slice(&self.block[from..from + count]);
            saturated |= self.block_saturated;
            at += count;
            self.given += count as u64;
        }
        Filled { saturated }
    }

    /// Moves on by a number of samples without giving them.
    pub fn skip(&mut self, samples: u64) {
        let mut scratch = [0; 256];
        let mut left = samples;
        while left > 0 {
            let count = left.min(scratch.len() as u64) as usize;
            self.fill(&mut scratch[..count]);
            left -= count as u64;
        }
    }

    fn make_block(&mut self) {
        self.turn_page();
        let step_s = 1.0 / self.rate_hz;
        let start_s = (self.made - self.plan_first) as f64 * step_s;
        let finer = self.fine.len() / self.clean.len();
        if finer == 1 {
            self.plan.fill(start_s, step_s, true, &mut self.clean);
        } else {
            let fine_s = step_s / finer as f64;
            self.plan.fill(start_s - 0.5 * step_s + 0.5 * fine_s, fine_s, true, &mut self.fine);
            for (mean, part) in self.clean.iter_mut().zip(self.fine.chunks_exact(finer)) {
                *mean = part.iter().sum::<f64>() / finer as f64;
            }
        }
        self.block_saturated = self.adc.convert(self.made, &self.clean, &mut self.block);
        self.made += self.block.len() as u64;
    }

    /// Ends a step that is over and starts the next if it may.
    fn turn_page(&mut self) {
        let since_s = (self.made - self.plan_first) as f64 / self.rate_hz;
        if self.playing.is_some() && since_s >= self.plan.end_s() {
            self.done.extend(self.playing.take());
            if self.looping && self.next_step >= self.scenario.steps.len() {
                self.next_step = 0;
            }
        }
        let free = self.pace == Pace::Free || self.may_go;
        if self.playing.is_none() && free && self.next_step < self.scenario.steps.len() {
            self.may_go = false;
            let step = self.next_step;
            let run: Run = model::run(&self.scenario, step, self.played);
            let origin_s = self.made as f64 / self.rate_hz;
            let truth = truth(&self.scenario, step, &run, origin_s, self.rate_hz);
            self.playing = Some(Done { step, truth });
            self.plan = run.plan;
            self.plan_first = self.made;
            self.next_step += 1;
            self.played += 1;
        }
    }
}

/// A whole scenario in memory.
#[derive(Debug, Clone, PartialEq)]
pub struct Rendered {
    /// Sampling rate.
    pub rate_hz: f64,
    /// Codes of all samples; sample i was taken at i / `rate_hz`.
    pub counts: Vec<i32>,
    /// Counts per kilonewton.
    pub counts_per_kn: f64,
    /// Code of the unloaded rig at sample 0, without noise.
    pub zero_counts: i32,
    /// Range of the transducer in kN.
    pub range_kn: f64,
    /// What is true of each run.
    pub truth: Vec<TruthRun>,
}

/// Plays a whole scenario at its own sampling rate, with 1 s of idle at the end.
#[must_use]
pub fn render(scenario: &Scenario) -> Rendered {
    let rig = &scenario.rig;
    let rate_hz = f64::from(rig.rate_hz);
    let mut stream = Stream::new(scenario, rate_hz, Pace::Free);
    let mut counts = Vec::new();
    let block = stream.block.len();
    let mut truth = Vec::new();
    let mut tail = (RENDER_TAIL_S * rate_hz) as usize;
    while !stream.finished() || tail > 0 {
        if stream.finished() {
            tail = tail.saturating_sub(block);
        }
        let from = counts.len();
        counts.resize(from + block, 0);
        stream.fill(&mut counts[from..]);
        truth.extend(stream.take_done().into_iter().filter_map(|done| done.truth));
    }
    let zero_counts = libm::rint(rig.zero_kn * rig.counts_per_kn) as i32;
    Rendered { rate_hz, counts, counts_per_kn: rig.counts_per_kn, zero_counts, range_kn: rig.range_kn, truth }
}
