//! The record of a run, computed once from its kept samples.
//!
//! The order: noise, spikes, band and blows, first blow, zero, last blow, held, gates, peak, plateau,
//! flags. Pure: the same samples give the same record. If a run is not over yet the answer is when to
//! ask again.

use super::band::BandSignal;
use super::blows::{INTERVAL_UNSEEN_S, Series};
use super::ends::{self, Pull};
use super::held::{self, Held};
use super::kept::{Kept, Wave};
use super::lowpass::{corner_hz, delay_s, filter_from};
use super::plateau;
use super::record::{Blow, Gate, Record, RunFlag, Settings};
use super::spikes::{self, FAST_FROM_HZ, Rule};
use crate::units::Newtons;

/// What measuring says.
#[derive(Clone, Debug, PartialEq)]
pub enum Outcome {
    /// The run is measured.
    Done(Box<Record>),
    /// Not over: ask again when this many samples are kept.
    Wait {
        /// Offset of the sample to wait for.
        until: usize,
    },
}

/// Announcement: this long after the last blow, or 6 intervals, whichever is longer, seconds.
const ANNOUNCE_S: f64 = 0.7;

/// Where blows are not seen and tension stays at its greatest nothing tells whether the tool still drives:
/// so much longer a release, a fall or unrest is waited for, seconds.
const FLAT_S: f64 = 4.3;

/// A spike has no other within this, seconds.
const LONE_S: f64 = 0.005;

/// Everything the steps share.
struct Study<'a> {
    kept: &'a Kept<'a>,
    settings: &'a Settings,
    repaired: Vec<f32>,
    filtered: Vec<f32>,
    delay_s: f64,
    spikes: Vec<usize>,
    band: BandSignal,
    series: Series,
    seen: bool,
}

/// First and last blow with what belongs to them; seconds from the first kept sample.
struct Span {
    first_s: f64,
    last_s: f64,
    interval_s: f64,
    zero: f64,
    noise: f64,
    raw_noise: f64,
    first: usize,
    next: Option<usize>,
    flat: bool,
    whole: bool,
    pull: Option<Pull>,
}

/// Measures a run, or says when to ask again.
#[must_use]
pub fn measure(kept: &Kept<'_>, settings: &Settings) -> Outcome {
    let mut study = Study::new(kept, settings);
    let span = study.span();
    let wave = study.wave();
    let next_s = span.next.map(|n| n as f64 / kept.rate_hz);
    let held = held::measure(wave, span.last_s, next_s, span.zero, span.raw_noise);
    let patience = if span.flat { FLAT_S } else { 0.0 };
    let due_s = span.last_s + ANNOUNCE_S.max(6.0 * span.interval_s) + patience;
    let due = wave.rate_hz * due_s;
    let cut_early = held.cut && (held.end_s + 0.05) * kept.rate_hz < kept.samples.len() as f64;
    if !kept.ended && !cut_early && (kept.samples.len() as f64) < due {
        return Outcome::Wait { until: due.ceil() as usize };
    }
    Outcome::Done(Box::new(study.record(&span, &held)))
}

impl<'a> Study<'a> {
    fn new(kept: &'a Kept<'a>, settings: &'a Settings) -> Self {
        let corner = corner_hz(settings.lowpass_hz, kept.rate_hz);
        let delay = delay_s(corner);
        let idle = before(kept, kept.crossing, 0.1);
        let raw = Wave { x: kept.samples, rate_hz: kept.rate_hz };
        let filtered = filter_from(kept.samples, corner, kept.rate_hz, raw.median(idle.clone()));
        let noise = raw.sample_noise(idle.clone());
        let mut study = Self {
            kept,
            settings,
            repaired: kept.samples.to_vec(),
            filtered,
            delay_s: delay,
            spikes: Vec::new(),
            band: BandSignal::new(&[], kept.rate_hz),
            series: Series::default(),
            seen: false,
        };
        let mut calm = study.calm(noise);
        study.band = BandSignal::new(&calm, kept.rate_hz);
        study.find_blows();
        study.spikes = spikes::find(kept.samples, study.spike_rule(noise));
        if !study.spikes.is_empty() {
            spikes::repair(&mut study.repaired, &study.spikes);
            study.filtered = filter_from(&study.repaired, corner, kept.rate_hz, raw.median(idle));
            spikes::repair(&mut calm, &study.spikes);
            study.band = BandSignal::new(&calm, kept.rate_hz);
            study.find_blows();
        }
        study.seen = study.series.seen(kept.rate_hz);
        study
    }

    /// Samples without the lone ones that could be spikes, also those too small beside the ringing to be
    /// removed from the tension: blows are looked for in these.
    fn calm(&self, noise: f64) -> Vec<f32> {
        let rate_hz = self.kept.rate_hz;
        let rule = if rate_hz >= FAST_FROM_HZ {
            Rule::Fast { jump_n: 10.0 * noise }
        } else {
            Rule::Slow { jump_n: self.settings.slow_spike().get() }
        };
        let suspects = spikes::find(self.kept.samples, rule);
        let mut calm = self.kept.samples.to_vec();
        spikes::repair(&mut calm, &spikes::alone(&suspects, (LONE_S * rate_hz) as usize));
        calm
    }

    fn spike_rule(&self, noise: f64) -> Rule {
        if self.kept.rate_hz >= FAST_FROM_HZ {
            // Ringing not seen counts as none, so the noise of the band stands in for it.
            let ringing = self.series.ringing.max(self.series.noise);
            Rule::Fast { jump_n: (10.0 * noise).max(5.0 * ringing) }
        } else {
            Rule::Slow { jump_n: self.settings.slow_spike().get() }
        }
    }

    fn find_blows(&mut self) {
        let kept = self.kept;
        let back = (ends::LOOK_BACK_S * kept.rate_hz) as usize;
        let from = kept.crossing.saturating_sub(back).max(kept.idle_from);
        let noise = self.band.noise(before(kept, kept.crossing, 0.0));
        self.series = Series::find(&self.band, noise, from..kept.samples.len());
    }

    fn wave(&self) -> Wave<'_> {
        Wave { x: &self.repaired, rate_hz: self.kept.rate_hz }
    }

    fn span(&mut self) -> Span {
        let kept = self.kept;
        let back = (ends::LOOK_BACK_S * kept.rate_hz) as usize;
        let earliest = kept.crossing.saturating_sub(back).max(kept.idle_from);
        let wave = Wave { x: &self.repaired, rate_hz: kept.rate_hz };
        let first = if self.seen {
            ends::first_seen(wave, &self.band, &mut self.series, kept.crossing, earliest)
        } else {
            None
        };
        self.seen = first.is_some();
        let first = first.unwrap_or(0);
        let rough = before(kept, kept.crossing, 0.1);
        let (rough_zero, rough_noise) =
            (self.wave().median(rough.clone()).unwrap_or(0.0), self.wave().sample_noise(rough));
        let first_s = if self.seen {
            (ends::onset_of_first(&self.band, &self.series, first) as f64 - 0.5).max(0.0) / kept.rate_hz
        } else {
            ends::first_unseen(self.wave(), kept.crossing, earliest, rough_zero, rough_noise)
        };
        let idle = before(kept, self.wave().offset(first_s), 0.0);
        let zero = self.wave().median(idle.clone()).unwrap_or(0.0);
        let noise = Wave { x: &self.filtered, rate_hz: kept.rate_hz }.noise(idle.clone());
        let raw_noise = self.wave().sample_noise(idle);
        let mut pull = self.pull(first, zero, noise, raw_noise);
        let unseen_end = pull.as_ref().and_then(|p| self.next_pull(p)).unwrap_or(kept.samples.len());
        let (wave, band_noise) = (self.wave(), self.series.noise);
        let unseen = ends::last_unseen(wave, &self.band, band_noise, (zero, raw_noise), first_s, unseen_end);
        let of_pull = pull.as_ref().map(|p| {
            let onsets = &self.series.onsets;
            self.series.within(onsets[first].index..onsets[p.last].index + 1, kept.rate_hz)
        });
        let slow = kept.rate_hz < FAST_FROM_HZ;
        let believed = of_pull.as_ref().is_some_and(|s| s.seen(kept.rate_hz) && s.whole(0.05))
            && !(slow
                && pull.as_ref().is_some_and(|p| ends::ambiguous_end(&self.band, &self.series, p.last)));
        if pull.as_ref().is_some_and(|p| !believed || self.blows_vanish(p, &unseen, zero, raw_noise)) {
            pull = None;
            self.seen = false;
        }
        let whole = of_pull.as_ref().is_some_and(|s| s.whole(0.01));
        let (last_s, interval_s) = match (&pull, of_pull) {
            (Some(p), Some(of_pull)) => {
                ((self.series.onsets[p.last].index as f64 - 0.5) / kept.rate_hz, of_pull.interval_s)
            }
            _ => (unseen.last_s, INTERVAL_UNSEEN_S),
        };
        Span {
            first_s,
            last_s: last_s.max(first_s),
            interval_s,
            zero,
            noise,
            raw_noise,
            first,
            next: pull.as_ref().map_or(unseen.next, |p| p.next),
            flat: pull.is_none() && unseen.flat,
            whole,
            pull,
        }
    }

    fn pull(&mut self, first: usize, zero: f64, noise: f64, raw_noise: f64) -> Option<Pull> {
        if !self.seen {
            return None;
        }
        let wave = Wave { x: &self.repaired, rate_hz: self.kept.rate_hz };
        let pull = ends::last_seen(wave, &self.series, first, zero, noise, raw_noise);
        if pull.loosened {
            return Some(pull);
        }
        let last = ends::extend_end(&self.band, &mut self.series, pull.last, wave.x.len());
        if last == pull.last {
            Some(pull)
        } else {
            Some(ends::last_seen(wave, &self.series, first, zero, noise, raw_noise))
        }
    }

    /// Offset of the next blow, where it begins another pull (or loosens) and is no lone noise.
    fn next_pull(&self, pull: &Pull) -> Option<usize> {
        let next = pull.next?;
        let reach = next + (5.0 * self.series.interval_s * self.kept.rate_hz) as usize;
        let blows = self.series.onsets.iter().filter(|o| (next..reach).contains(&o.index)).count();
        (pull.loosened || blows >= 3).then_some(next)
    }

    /// Blows were seen at first only: tension still grows, or the band is still restless, after the last.
    fn blows_vanish(&self, pull: &Pull, unseen: &ends::Unseen, zero: f64, raw_noise: f64) -> bool {
        let rate_hz = self.kept.rate_hz;
        let last_s = self.series.onsets[pull.last].index as f64 / rate_hz;
        if pull.loosened || unseen.last_s < last_s + (0.35_f64).max(6.0 * self.series.interval_s) {
            return false;
        }
        let wave = self.wave();
        let level = wave.median(wave.range(last_s + 0.05, last_s + 0.2)).unwrap_or(unseen.greatest);
        let spread = 1.25 * raw_noise / (0.1 * rate_hz).max(3.0).sqrt();
        let grows = unseen.greatest - level > (0.004 * (level - zero)).max(4.0 * spread);
        unseen.by_unrest || grows
    }

    fn record(&self, span: &Span, held: &Held) -> Record {
        let kept = self.kept;
        let base_s = kept.first_sample as f64 / kept.rate_hz;
        let (peak, peak_s) = self.peak(span, held);
        let count = |offsets: &mut dyn Iterator<Item = usize>| {
            let range = self.wave().range(span.first_s, held.end_s);
            offsets.filter(|o| range.contains(o)).count() as u32
        };
        let clipped = count(&mut kept.clipped.iter().copied());
        let spikes = count(&mut self.spikes.iter().copied());
        let missing = self.missing_in(span.first_s, held.end_s);
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
            blow_count: self.seen.then_some(blows.len() as u32),
            blow_rate_hz: span
                .pull
                .as_ref()
                .and_then(|p| ends::blow_rate_hz(&self.series, span.first, p.last, kept.rate_hz)),
            ringing: self.seen.then_some(Newtons(self.series.ringing)),
            blows,
            peak: Newtons(peak),
            peak_time_s: base_s + peak_s,
            peak_is_lower_bound: clipped > 0 || missing > 0,
            level: held.level.map(Newtons),
            held: held.held.map(Newtons),
            gates: self.gates(span),
            plateau: self.plateau(span),
            spikes,
            missing,
            clipped,
            flags: Vec::new(),
        };
        record.flags = self.flags(&record, span, held);
        record
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

    fn peak(&self, span: &Span, held: &Held) -> (f64, f64) {
        let wave = Wave { x: &self.filtered, rate_hz: self.kept.rate_hz };
        let range = wave.range(span.first_s + self.delay_s, held.end_s + self.delay_s);
        let start = range.start;
        let best = wave.x[range].iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1));
        best.map_or((0.0, span.first_s), |(i, y)| {
            (f64::from(*y) - span.zero, (start + i) as f64 / wave.rate_hz - self.delay_s)
        })
    }

    fn gates(&self, span: &Span) -> Vec<Gate> {
        let one = |g: &f64| {
            let (from, to) =
                (span.first_s + g - 0.5 * span.interval_s, span.first_s + g + 0.5 * span.interval_s);
            let driving = *g <= span.last_s - span.first_s;
            let whole = driving && self.missing_in(from, to) == 0;
            let tension =
                if whole { self.wave().average(from, to).map(|f| Newtons(f - span.zero)) } else { None };
            Gate { after_s: *g, tension }
        };
        self.settings.gates_s.iter().map(one).collect()
    }

    fn plateau(&self, span: &Span) -> Option<super::record::Plateau> {
        let wave = self.wave();
        let (mut times, mut levels) = (Vec::new(), Vec::new());
        if let Some(pull) = &span.pull {
            let onsets = &self.series.onsets[span.first..=pull.last];
            for (w, level) in onsets.windows(2).zip(&pull.levels) {
                times.push(0.5 * (w[0].index + w[1].index) as f64 / wave.rate_hz);
                levels.push(level - span.zero);
            }
        } else {
            let mut at = span.first_s;
            while at + 0.1 <= span.last_s {
                if let Some(m) = wave.median(wave.range(at, at + 0.1)) {
                    times.push(at + 0.05);
                    levels.push(m - span.zero);
                }
                at += 0.1;
            }
        }
        plateau::fit(&times, &levels)
    }

    fn flags(&self, record: &Record, span: &Span, held: &Held) -> Vec<RunFlag> {
        let limit = self.settings.zero_shift_limit();
        let all = [
            (RunFlag::Clipped, record.clipped > 0),
            (RunFlag::Gap, record.missing > 0),
            (RunFlag::Spike, record.spikes > 0),
            (RunFlag::Short, record.drive_time_s < self.settings.short_s),
            (RunFlag::Unsettled, held.unsettled),
            (RunFlag::BlowsWeak, self.seen && !(self.series.strong() && span.whole)),
            (RunFlag::ZeroShift, record.zero_shift.get().abs() > limit.get()),
            (RunFlag::Interrupted, self.kept.interrupted),
        ];
        all.into_iter().filter(|(_, on)| *on).map(|(flag, _)| flag).collect()
    }
}

/// Offsets of the 0.5 s of idle that ends `guard_s` before `offset`; what there is where that is less.
fn before(kept: &Kept<'_>, offset: usize, guard_s: f64) -> std::ops::Range<usize> {
    let half = (0.5 * kept.rate_hz).round() as usize;
    let guard = (guard_s * kept.rate_hz).round() as usize;
    let end = offset.saturating_sub(guard);
    let start = end.saturating_sub(half).max(kept.idle_from.min(end));
    if end - start >= 4 { start..end } else { offset.saturating_sub(half)..offset }
}
