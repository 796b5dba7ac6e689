//! Which samples are kept: raw codes of runs in blocks, everything else thinned.
//!
//! Every sample is counted once: as raw, as thinned, or (where a restart cut it off) as thinned early.

use super::messages::{Block, Thin};
use boltscribe_model::control::InForce;
use boltscribe_signal::runs::Opening;

/// Codes kept back before a run may claim them, seconds; the finder's look-back fits twice.
const BACK_S: f64 = 4.5;
/// Length of a thinned point, seconds.
const POINT_S: f64 = 0.1;
/// Thinned points in a block: ten seconds.
const POINTS: usize = 100;
/// Raw codes in a block at most.
const RAW_MAX: usize = 1 << 16;

/// Keeps the codes of one stream.
#[derive(Debug)]
pub struct Blocks {
    rate_hz: f64,
    codes: Vec<i32>,
    first: u64,
    missing: Vec<(u64, u64)>,
    open: Option<(u32, u64)>,
    thinned_to: u64,
    point: Vec<i32>,
    points: Vec<Thin>,
    points_first: u64,
    /// Samples that went to raw blocks or thinned points.
    pub used: u64,
}

impl Blocks {
    /// For a stream whose next sample is number `first`.
    #[must_use]
    pub fn new(rate_hz: f64, first: u64) -> Self {
        Self {
            rate_hz,
            codes: Vec::new(),
            first,
            missing: Vec::new(),
            open: None,
            thinned_to: first,
            point: Vec::new(),
            points: Vec::new(),
            points_first: first,
            used: 0,
        }
    }

    fn next(&self) -> u64 {
        self.first + self.codes.len() as u64
    }

    /// Takes codes.
    pub fn push(&mut self, counts: &[i32], out: &mut Vec<Block>) {
        self.used += counts.len() as u64;
        self.codes.extend_from_slice(counts);
        let back = (BACK_S * self.rate_hz) as usize;
        if self.codes.len() > 2 * back {
            self.forget(self.next() - back as u64, out);
        }
    }

    /// An open run's codes that are not handed out yet fill a block.
    #[must_use]
    pub fn full(&self) -> bool {
        self.open.is_some_and(|(_, from)| self.next() - from >= RAW_MAX as u64)
    }

    /// Samples are missing: their places are filled with the last code and told.
    pub fn gap(&mut self, missing: u64) {
        let last = self.codes.last().copied().unwrap_or(0);
        self.missing.push((self.next(), missing));
        self.codes.extend(std::iter::repeat_n(last, missing as usize));
    }

    /// A run claims the codes from `keep_from` on.
    pub fn open(
        &mut self,
        run_seq: u32,
        keep_from: u64,
        (in_force, opening): (InForce, Option<Opening>),
        out: &mut Vec<Block>,
    ) {
        let from = keep_from.max(self.first);
        self.thin(from, out);
        self.end_point(out);
        out.push(Block::Open {
            run_seq,
            first_sample: from,
            rate_hz: self.rate_hz,
            in_force: Box::new(in_force),
            opening: opening.map(Box::new),
        });
        self.open = Some((run_seq, from));
        self.flush(self.next(), out);
    }

    /// Hands out what an open run has not handed out yet.
    pub fn flush(&mut self, until: u64, out: &mut Vec<Block>) {
        let Some((run_seq, from)) = &mut self.open else {
            return;
        };
        let until = until.min(self.first + self.codes.len() as u64);
        while *from < until {
            let end = until.min(*from + RAW_MAX as u64);
            let counts = self.codes[(*from - self.first) as usize..(end - self.first) as usize].to_vec();
            let inside = |(at, n): &(u64, u64)| {
                let (start, stop) = ((*at).max(*from), (at + n).min(end));
                (start < stop).then(|| ((start - *from) as u32, (stop - start) as u32))
            };
            let missing = self.missing.iter().filter_map(inside).collect();
            out.push(Block::Raw { run_seq: *run_seq, first_sample: *from, counts, missing });
            *from = end;
        }
    }

    /// The run's codes end before `until`.
    pub fn end(&mut self, run_seq: u32, until: u64, out: &mut Vec<Block>) {
        if self.open.is_some_and(|(open, _)| open == run_seq) {
            self.flush(until, out);
            out.push(Block::End { run_seq });
            let handed = self.open.take().map_or(until, |(_, from)| from);
            self.thinned_to = self.thinned_to.max(handed);
            self.points_first = self.thinned_to;
        }
    }

    /// The stream breaks or ends: all that is left is thinned.
    pub fn finish(&mut self, out: &mut Vec<Block>) {
        if self.open.is_none() {
            self.thin(self.next(), out);
        }
        self.end_point(out);
    }

    fn forget(&mut self, before: u64, out: &mut Vec<Block>) {
        let mut before = before;
        if let Some((_, from)) = self.open {
            before = before.min(from);
        } else {
            self.thin(before, out);
        }
        let drop = before.saturating_sub(self.first) as usize;
        self.codes.drain(..drop);
        self.first += drop as u64;
        self.missing.retain(|(at, n)| at + n > self.first);
    }

    /// Thins what has not been thinned, up to `until`.
    fn thin(&mut self, until: u64, out: &mut Vec<Block>) {
        let per_point = ((POINT_S * self.rate_hz).round() as usize).max(1);
        let from = self.thinned_to.max(self.first);
        if until <= from {
            return;
        }
        let codes = &self.codes[(from - self.first) as usize..(until - self.first) as usize];
        for code in codes {
            self.point.push(*code);
            if self.point.len() == per_point {
                self.points.extend(point(&self.point));
                self.point.clear();
                if self.points.len() == POINTS {
                    let points = std::mem::take(&mut self.points);
                    let covered = (POINTS * per_point) as u64;
                    out.push(self.idle_block(points, per_point));
                    self.points_first += covered;
                }
            }
        }
        self.thinned_to = until;
    }

    fn idle_block(&self, points: Vec<Thin>, per_point: usize) -> Block {
        Block::Idle {
            first_sample: self.points_first,
            rate_hz: self.rate_hz,
            samples_per_point: per_point as u32,
            points,
        }
    }

    /// Closes an unfinished point and block.
    fn end_point(&mut self, out: &mut Vec<Block>) {
        let per_point = ((POINT_S * self.rate_hz).round() as usize).max(1);
        self.points.extend(point(&self.point));
        self.point.clear();
        if !self.points.is_empty() {
            let points = std::mem::take(&mut self.points);
            out.push(self.idle_block(points, per_point));
        }
        self.points_first = self.thinned_to;
    }
}

fn point(codes: &[i32]) -> Option<Thin> {
    let (min, max) = (codes.iter().min()?, codes.iter().max()?);
    let sum: i64 = codes.iter().map(|c| i64::from(*c)).sum();
    Some(Thin { min: *min, max: *max, mean: (sum as f64 / codes.len() as f64) as f32 })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_run_gets_its_codes_bit_for_bit_and_the_rest_is_thinned_without_a_hole() {
        let codes: Vec<i32> = (0..20_000).map(|i| (i * 7919) % 1001).collect();
        for chunk in [1, 37, 1000, 20_000] {
            let mut b = Blocks::new(1000.0, 0);
            let mut out = Vec::new();
            let mut at = 0;
            for piece in codes.chunks(chunk) {
                b.push(piece, &mut out);
                let next = at + piece.len();
                if at < 12_000 && next >= 12_000 {
                    b.open(1, 11_000, (InForce::default(), None), &mut out);
                }
                if at < 16_000 && next >= 16_000 {
                    b.end(1, 15_000, &mut out);
                }
                at = next;
            }
            b.finish(&mut out);
            let mut raw = Vec::new();
            let mut thinned = 0;
            for block in &out {
                match block {
                    Block::Raw { counts, .. } => raw.extend_from_slice(counts),
                    Block::Idle { points, samples_per_point, .. } => {
                        thinned += points.len() * *samples_per_point as usize;
                    }
                    _ => {}
                }
            }
            if chunk <= 1000 {
                assert_eq!(raw, codes[11_000..15_000], "chunk {chunk}");
                assert!((16_000..16_300).contains(&thinned), "{thinned}");
            }
            assert_eq!(b.used, 20_000);
        }
    }
}
