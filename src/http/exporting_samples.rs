//! Samples block by block: of one run, and of a rig between two times in order.
//!
//! What a page reads is at most one stored block. Must not know HTTP.

use super::exporting::{Lines, Page, Pages};
use super::problem::Problem;
use boltscribe_export::range::{Points, RangeHead, RangePiece};
use boltscribe_export::samples::{per_point, stretches, thin};
use boltscribe_export::trace::TraceHead;
use boltscribe_model::constants::Calibration;
use boltscribe_store::{IdleBlock, RawBlock, Reader, RunFilter, RunId, RunSpan, StoreError, StreamSpan};

/// Most time by which an idle block begins before its last point: blocks are of ten seconds.
const IDLE_REACH_NS: i64 = 600_000_000_000;
/// Idle blocks in a page.
const PAGE_IDLE: usize = 64;

/// The samples of one run.
pub(super) struct Samples {
    span: RunSpan,
    next: u64,
}

impl Samples {
    /// What stands above them, and their reading; none: there is no such run.
    pub fn of(reader: &Reader, id: RunId) -> Result<Option<(TraceHead, Self)>, StoreError> {
        let Some(span) = reader.run_span(id)? else {
            return Ok(None);
        };
        let only = RunFilter { before: Some(id.0 + 1), ..RunFilter::default() };
        let Some(run) = reader.runs_upward(&only, id.0 - 1, 1)?.pop() else {
            return Ok(None);
        };
        // A run measured again shows its tension by the line it was measured with last.
        let newest = reader.run(id)?.and_then(|run| run.versions.last().map(|version| version.line.clone()));
        let calibration = match newest {
            Some(line) => Some(line),
            None => calibration_of(reader, &span)?,
        };
        let head = TraceHead { run, calibration, samples: span.samples };
        Ok(Some((head, Self { span, next: 0 })))
    }
}

fn calibration_of(reader: &Reader, span: &RunSpan) -> Result<Option<Calibration>, StoreError> {
    reader.calibration(span.stream, &span.rig, &span.calibration, span.first_blow_utc_ns)
}

impl Pages for Samples {
    fn next(&mut self, reader: &Reader) -> Result<Page, Problem> {
        let mut lines = Lines::default();
        let block = reader.raw_block(self.span.stream, self.span.run_seq, self.next)?;
        if let Some(block) = &block {
            self.next = end_of(block);
            for stretch in stretches(block) {
                lines.row(&stretch);
            }
        }
        Ok(Page { lines, last: block.is_none() })
    }
}

fn end_of(block: &RawBlock) -> u64 {
    block.first_sample + block.counts.len() as u64
}

/// All that a rig read between two times.
pub(super) struct Range {
    head: RangeHead,
    streams: std::vec::IntoIter<StreamSpan>,
    now: Option<InStream>,
}

/// Where the reading stands in a stream: the next idle block and the next block of a run, whichever is first.
struct InStream {
    stream: StreamSpan,
    idle_from: u64,
    idle: Option<IdleBlock>,
    raw: Option<RawBlock>,
    run: Option<(RunSpan, u64, Option<Calibration>)>,
    run_seq: u32,
    runs_done: bool,
}

impl Range {
    /// Finds the streams.
    pub fn of(reader: &Reader, head: RangeHead) -> Result<Self, StoreError> {
        let streams = reader.streams_between(&head.rig, (head.from_utc_ns, head.to_utc_ns))?;
        Ok(Self { head, streams: streams.into_iter(), now: None })
    }

    fn put(&self, lines: &mut Lines, piece: RangePiece) {
        let piece = piece.within(self.head.from_utc_ns, self.head.to_utc_ns);
        if !piece.is_empty() {
            lines.row(&piece);
        }
    }
}

impl InStream {
    fn new(stream: StreamSpan) -> Self {
        Self { stream, idle_from: 0, idle: None, raw: None, run: None, run_seq: 0, runs_done: false }
    }

    /// Takes what comes next: thinned points, or codes of a run.
    fn take(
        &mut self,
        reader: &Reader,
        head: &RangeHead,
    ) -> Result<(Option<IdleBlock>, Option<RawBlock>), StoreError> {
        if self.idle.is_none() {
            let times = (head.from_utc_ns.saturating_sub(IDLE_REACH_NS), head.to_utc_ns);
            self.idle = reader.idle_block(self.stream.id, self.idle_from, times)?;
        }
        if self.raw.is_none() {
            self.raw = self.raw_next(reader, head)?;
        }
        let idle_first = match (&self.idle, &self.raw) {
            (Some(idle), Some(raw)) => idle.first_sample < raw.first_sample,
            (idle, _) => idle.is_some(),
        };
        Ok(if idle_first { (self.idle.take(), None) } else { (None, self.raw.take()) })
    }

    /// The next block of a run; moves on to the next run where one is at its end.
    fn raw_next(&mut self, reader: &Reader, head: &RangeHead) -> Result<Option<RawBlock>, StoreError> {
        loop {
            if let Some((span, from, _)) = &self.run {
                if let Some(block) = reader.raw_block(span.stream, span.run_seq, *from)? {
                    return Ok(Some(block));
                }
                self.run = None;
            }
            if self.runs_done {
                return Ok(None);
            }
            let times = (head.from_utc_ns, head.to_utc_ns);
            match reader.span_after(self.stream.id, self.run_seq, times)? {
                Some(span) => {
                    self.run_seq = span.run_seq;
                    let calibration = calibration_of(reader, &span)?;
                    self.run = Some((span, 0, calibration));
                }
                None => self.runs_done = true,
            }
        }
    }

    fn of_idle(&self, reader: &Reader, rig: &str, block: IdleBlock) -> Result<RangePiece, StoreError> {
        Ok(RangePiece {
            run: None,
            stream: self.stream.id,
            calibration: reader.calibration_at(rig, &self.stream, block.utc_ns)?,
            utc_ns: block.utc_ns,
            first_sample: block.first_sample,
            rate_hz: block.rate_hz,
            time_scale: self.stream.time_scale,
            simulated: self.stream.simulated,
            samples_per_point: block.samples_per_point,
            points: Points::Thin(block.points),
        })
    }

    /// The stretches of a block of the run that is read.
    fn of_run(&self, block: &RawBlock, thinned: bool) -> Vec<RangePiece> {
        let Some((span, _, calibration)) = &self.run else {
            return Vec::new();
        };
        let utc_ns = |sample: u64| {
            let seconds = sample as f64 / span.rate_hz - span.first_blow_s;
            let ns = seconds * 1e9 / f64::from(self.stream.time_scale.max(1));
            span.first_blow_utc_ns.saturating_add(ns.round() as i64)
        };
        let samples_per_point = if thinned { per_point(span.rate_hz) } else { 1 };
        let piece = |first_sample: u64, points: Points| RangePiece {
            run: Some(span.run),
            stream: span.stream,
            utc_ns: utc_ns(first_sample),
            first_sample,
            rate_hz: span.rate_hz,
            time_scale: self.stream.time_scale,
            simulated: self.stream.simulated,
            samples_per_point,
            calibration: calibration.clone(),
            points,
        };
        if !thinned {
            let all = stretches(block).into_iter();
            return all.map(|stretch| piece(stretch.first_sample, Points::Raw(stretch.counts))).collect();
        }
        let mut whole: Vec<(u64, Vec<i32>)> = Vec::new();
        for stretch in stretches(block) {
            match whole.last_mut() {
                Some((first, counts)) if *first + counts.len() as u64 == stretch.first_sample => {
                    counts.extend(stretch.counts);
                }
                _ => whole.push((stretch.first_sample, stretch.counts)),
            }
        }
        let thinned =
            |(first, counts): (u64, Vec<i32>)| piece(first, Points::Thin(thin(&counts, samples_per_point)));
        whole.into_iter().map(thinned).collect()
    }
}

impl Pages for Range {
    fn next(&mut self, reader: &Reader) -> Result<Page, Problem> {
        let mut lines = Lines::default();
        for _ in 0..PAGE_IDLE {
            let Some(mut here) = self.now.take().or_else(|| self.streams.next().map(InStream::new)) else {
                return Ok(Page { lines, last: true });
            };
            match here.take(reader, &self.head)? {
                (None, None) => continue,
                (Some(idle), _) => {
                    here.idle_from = idle.first_sample + 1;
                    let piece = here.of_idle(reader, &self.head.rig, idle)?;
                    self.put(&mut lines, piece);
                }
                (None, Some(raw)) => {
                    for piece in here.of_run(&raw, self.head.thinned) {
                        self.put(&mut lines, piece);
                    }
                    if let Some((_, from, _)) = &mut here.run {
                        *from = end_of(&raw);
                    }
                    self.now = Some(here);
                    // A block of a run is a page of its own.
                    return Ok(Page { lines, last: false });
                }
            }
            self.now = Some(here);
        }
        Ok(Page { lines, last: false })
    }
}
