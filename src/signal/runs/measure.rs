//! The record of a run, computed once from its kept samples.
//!
//! `study` finds blows, first and last; here held, gates, peak, plateau and flags are put to them. Pure: the
//! same samples give the same record. If a run is not over yet the answer is when to ask again.

use super::ends::{self, PAUSE_INTERVALS};
use super::figures::Figures;
use super::glitch::{self, Scale};
use super::held::{self, Held};
use super::kept::{Kept, Wave};
use super::record::{Blow, Gate, Record, RunFlag, Settings};
use super::study::{CROSSES_WITHIN_S, Span, Study};
use boltscribe_model::units::Newtons;

/// What measuring says.
#[derive(Clone, Debug, PartialEq)]
pub enum Outcome {
    /// The run is measured.
    Done(Box<Record>),
    /// Not over: ask again when this many samples are kept.
    Wait {
        /// Offset of the sample to wait for.
        until: usize,
        /// No blows are seen, and tension stands still without unrest: nothing tells that a tool drives.
        still: bool,
    },
}

/// Announcement: this long after the last blow, or 6 intervals, whichever is longer, seconds.
const ANNOUNCE_S: f64 = 0.7;

/// Where blows are not seen and tension stays at its greatest nothing tells whether the tool still drives:
/// so much longer a release, a fall or unrest is waited for, seconds.
const FLAT_S: f64 = 4.3;
/// What must be known behind the end of a held window that is cut early, seconds: one point of the finder's grid.
const BEHIND_CUT_S: f64 = 0.05;

/// Where the interval between blows is not surely known, a gate is given only if means over half and over twice as
/// long lie within this share of it.
const INTERVAL_MATTERS: f64 = 0.005;

/// A stream that begins less than this before a first blow began within the run, seconds.
const IDLE_LEAST_S: f64 = 0.25;

/// And less than this where the first blow cannot be told: it may have been no first blow, seconds.
const IDLE_DOUBTED_S: f64 = 1.5;

/// Measures a run, or says when to ask again.
#[must_use]
pub fn measure(kept: &Kept<'_>, settings: &Settings) -> Outcome {
    let idle = kept.idle_from.min(kept.crossing)..kept.crossing;
    let wave = Wave { x: kept.samples, rate_hz: kept.rate_hz };
    let scale = Scale {
        rate_hz: kept.rate_hz,
        base_n: wave.median(idle).unwrap_or(0.0),
        threshold_n: settings.start_threshold().get(),
    };
    if !scale.jumps(&kept.samples[kept.crossing.min(kept.samples.len())..]) {
        return measured(kept, settings);
    }
    let gone = glitch::all(kept.samples, scale, kept.crossing);
    if gone.is_empty() {
        return measured(kept, settings);
    }
    let (mut samples, mut missing) = (kept.samples.to_vec(), kept.missing.to_vec());
    for range in &gone {
        let last = samples[range.start - 1];
        samples[range.clone()].fill(last);
        missing.push((range.start, range.len()));
    }
    missing.sort_unstable();
    let read = |offset: &usize| !gone.iter().any(|range| range.contains(offset));
    let clipped: Vec<usize> = kept.clipped.iter().copied().filter(read).collect();
    measured(&Kept { samples: &samples, missing: &missing, clipped: &clipped, ..*kept }, settings)
}

/// The same without false readings.
fn measured(kept: &Kept<'_>, settings: &Settings) -> Outcome {
    let mut study = Study::new(kept, settings);
    let span = study.span();
    let wave = study.wave();
    let next_s = span.next.map(|n| n as f64 / kept.rate_hz);
    let held = held::measure(wave, span.last_s, next_s, span.zero, span.raw_noise);
    let patience = if span.flat { FLAT_S } else { 0.0 };
    let due_s = span.last_s + ANNOUNCE_S.max(PAUSE_INTERVALS * span.interval_s) + patience;
    let due = wave.rate_hz * due_s;
    let cut_early = held.cut && (held.end_s + BEHIND_CUT_S) * kept.rate_hz < kept.samples.len() as f64;
    let crossing_s = kept.crossing as f64 / kept.rate_hz;
    if !kept.ended && span.last_s + CROSSES_WITHIN_S < crossing_s {
        // What ended before tension crossed is not what carried it.
        let later = (ANNOUNCE_S * kept.rate_hz).ceil() as usize;
        return Outcome::Wait { until: kept.samples.len() + later, still: false };
    }
    if !kept.ended && !cut_early && (kept.samples.len() as f64) < due {
        return Outcome::Wait { until: due.ceil() as usize, still: span.flat };
    }
    Outcome::Done(Box::new(study.record(&span, &held)))
}

impl Study<'_> {
    fn record(&self, span: &Span, held: &Held) -> Record {
        let kept = self.kept;
        let base_s = kept.first_sample as f64 / kept.rate_hz;
        let peak = self.peak(span, held);
        let count = |offsets: &mut dyn Iterator<Item = usize>| {
            let range = self.wave().range(span.first_s, held.end_s);
            offsets.filter(|o| range.contains(o)).count() as u32
        };
        let clipped = count(&mut kept.clipped.iter().copied());
        let spikes = count(&mut self.spikes.iter().flat_map(|(at, n)| *at..at + n));
        let missing = self.missing_in(span.first_s, held.end_s);
        let sure = !(span.end_unsure || span.start_unsure && span.zero_unsure);
        let blows = self.blows(span, base_s, held);
        let mut record = Record {
            first_sample: kept.first_sample,
            rate_hz: kept.rate_hz,
            timing: kept.timing,
            zero: Newtons(span.zero),
            zero_shift: kept.rig_zero.map_or(Newtons(0.0), |z| Newtons(span.zero) - z),
            noise: Newtons(span.noise),
            first_blow_s: base_s + span.first_s,
            last_blow_s: base_s + span.last_s,
            drive_time_s: span.last_s - span.first_s,
            blow_count: (self.seen && span.opinion.count).then_some(blows.len() as u32),
            blow_rate_hz: span
                .pull
                .as_ref()
                .filter(|_| span.opinion.count)
                .and_then(|p| ends::blow_rate_hz(&self.series, span.first, p.last, kept.rate_hz)),
            ringing: self.seen.then_some(Newtons(self.series.ringing)),
            blows,
            peak: Newtons(peak.tension_n),
            peak_time_s: base_s + peak.at_s,
            peak_is_lower_bound: clipped > 0 || missing > 0,
            level: held.level.filter(|_| sure).map(Newtons),
            held: held.held.filter(|_| sure).map(Newtons),
            gates: self.gates(span),
            plateau: None,
            spikes,
            missing,
            clipped,
            flags: Vec::new(),
            figures: Figures::default(),
        };
        record.flags = self.flags(&record, span, held, peak.unsure);
        self.complete(&mut record, span);
        record
    }

    /// The stream begins within the run: there is no idle stretch before its first blow, or blows go on in it.
    fn begins_inside(&self, span: &Span) -> bool {
        let idle_least_s = if span.start_unsure { IDLE_DOUBTED_S } else { IDLE_LEAST_S };
        self.kept.idle_from == 0 && span.first_s < idle_least_s
    }

    fn missing_in(&self, from_s: f64, to_s: f64) -> u32 {
        let range = self.wave().range(from_s, to_s);
        let inside = self.kept.missing.iter().map(|(at, n)| {
            let (start, end) = ((*at).max(range.start), (at + n).min(range.end));
            end.saturating_sub(start)
        });
        inside.sum::<usize>() as u32
    }

    fn blows(&self, span: &Span, base_s: f64, held: &Held) -> Vec<Blow> {
        let Some(pull) = &span.pull else { return Vec::new() };
        let onsets = &self.series.onsets[span.first..=pull.last];
        let mut blows: Vec<Blow> = onsets
            .iter()
            .zip(&pull.levels)
            .map(|(o, level)| Blow {
                at_s: base_s + (o.index as f64 - 0.5) / self.kept.rate_hz,
                level: Newtons(level - span.zero),
            })
            .collect();
        if let (Some(last), Some(level)) = (blows.last_mut(), held.level) {
            last.level = Newtons(level);
        }
        blows
    }

    fn gates(&self, span: &Span) -> Vec<Gate> {
        let around = |at_s: f64, width_s: f64| {
            let (from, to) = (span.first_s + at_s - 0.5 * width_s, span.first_s + at_s + 0.5 * width_s);
            let whole = self.missing_in(from, to) == 0;
            whole.then(|| self.wave().average(from, to)).flatten().map(|f| f - span.zero)
        };
        let one = |g: &f64| {
            let tension = around(*g, span.interval_s).filter(|f| {
                // What is not surely known must not matter: the interval, and a first blow that may lie earlier.
                let same = |at_s: f64, factor: f64| {
                    around(at_s, factor * span.interval_s)
                        .is_none_or(|other| (other - f).abs() <= INTERVAL_MATTERS * f.abs())
                };
                let start =
                    !span.start_unsure || (span.start_doubt_s < *g && same(g - span.start_doubt_s, 1.0));
                let interval = span.opinion.count || (same(*g, 0.5) && same(*g, 2.0));
                *g <= span.surely_s - span.first_s && start && interval
            });
            Gate { after_s: *g, tension: tension.map(Newtons) }
        };
        self.settings.gates_s.iter().map(one).collect()
    }

    fn flags(&self, record: &Record, span: &Span, held: &Held, peak_unsure: bool) -> Vec<RunFlag> {
        let limit = self.settings.zero_shift_limit();
        let all = [
            (RunFlag::Clipped, record.clipped > 0),
            (RunFlag::Gap, record.missing > 0),
            (RunFlag::Spike, record.spikes > 0),
            (RunFlag::Short, record.drive_time_s < self.settings.short_s),
            (RunFlag::Unsettled, held.unsettled),
            (RunFlag::BlowsWeak, self.seen && !(self.series.strong() && span.whole)),
            (RunFlag::BlowsUnsure, span.opinion.disagreed),
            (RunFlag::StartUnsure, span.start_unsure),
            (RunFlag::EndEstimated, !(self.seen && span.opinion.count && span.opinion.last)),
            (RunFlag::EndUnsure, span.end_unsure || held.doubtful),
            (RunFlag::PeakUnsure, peak_unsure),
            (RunFlag::ZeroShift, record.zero_shift.get().abs() > limit.get()),
            (RunFlag::Interrupted, self.kept.interrupted || self.begins_inside(span)),
        ];
        all.into_iter().filter(|(_, on)| *on).map(|(flag, _)| flag).collect()
    }
}
