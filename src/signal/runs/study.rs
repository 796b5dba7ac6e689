//! What the samples of a run show before anything is measured: spikes, band, blows, first and last blow.
//!
//! Pure. Must not know what is made of it (`measure`).

use super::activity::{self, Unseen};
use super::band::{BandSignal, LONGER_S};
use super::blows::{INTERVAL_UNSEEN_S, Series};
use super::ends::{self, MEDIAN_SD, PAUSE_INTERVALS, PAUSE_S, Pull};
use super::held::{HELD_FROM_S, LEVEL_FROM_S};
use super::kept::{Kept, Wave};
use super::lowpass::{corner_hz, delay_s, filtered};
use super::opinion::Opinion;
use super::record::Settings;
use super::rest::before;
use super::spikes::{self, FAST_FROM_HZ, SPIKE_NOISE, SPIKE_RINGING, Wild};
use super::starts::{self, Departure};
use boltscribe_numerics::median;
use std::borrow::Cow;
use std::ops::Range;

/// A spike has no other within this, seconds.
const LONE_S: f64 = 0.005;

/// Fewer onsets than this are no series.
const FEWEST: usize = 3;
/// The windows of the band are at most this part of an interval.
const WINDOW_SHARE: f64 = 0.4;
/// The last samples before a crossing, or a first onset, are no idle ones for sure, seconds.
pub(super) const CROSSING_GUARD_S: f64 = 0.1;
/// Tension crosses the threshold so soon after the onset of the blow that carries it, seconds: ten times the delay
/// of the low-pass.
pub(super) const CROSSES_WITHIN_S: f64 = 0.02;
/// Blows that may seem to be missing where blows are believed to be seen (as many as a weak count may be off), and
/// where their count is whole, as a share.
const MISSING: (f64, f64) = (0.05, 0.01);
/// Three blows within so many intervals are another pull.
const NEXT_PULL: f64 = 5.0;
/// The scatter of a level is that of a median over so long, seconds, and so many samples at least.
const LEVEL_LASTS_S: f64 = 0.1;
const LEVEL_SAMPLES: f64 = 3.0;
/// Tension that grows on after blows vanish: by this share of level, or this many SD of its median. Found on the
/// virtual rig.
const GROWS_ON: (f64, f64) = (0.004, 4.0);

/// Everything the steps share.
pub(super) struct Study<'a> {
    pub(super) kept: &'a Kept<'a>,
    pub(super) settings: &'a Settings,
    pub(super) repaired: Cow<'a, [f32]>,
    /// What stood before the first kept sample, as far as the low-pass is concerned, newtons.
    rest: Option<f64>,
    pub(super) corner_hz: f64,
    pub(super) delay_s: f64,
    pub(super) spikes: Vec<Wild>,
    pub(super) band: BandSignal,
    pub(super) series: Series,
    pub(super) seen: bool,
}

/// First and last blow with what belongs to them; seconds from the first kept sample.
pub(super) struct Span {
    pub(super) first_s: f64,
    pub(super) last_s: f64,
    /// The tool surely drove up to here.
    pub(super) surely_s: f64,
    pub(super) interval_s: f64,
    pub(super) zero: f64,
    pub(super) noise: f64,
    pub(super) raw_noise: f64,
    pub(super) first: usize,
    pub(super) next: Option<usize>,
    pub(super) flat: bool,
    pub(super) whole: bool,
    pub(super) pull: Option<Pull>,
    /// What the second counter of blows says of the first.
    pub(super) opinion: Opinion,
    /// The first blow cannot be told.
    pub(super) start_unsure: bool,
    /// Where it cannot, it lies at most so much earlier, seconds; infinite where nothing tells.
    pub(super) start_doubt_s: f64,
    /// Tension did not stand still before the estimate of the first blow.
    pub(super) zero_unsure: bool,
    /// The end of the pull cannot be told.
    pub(super) end_unsure: bool,
}

/// Where a run begins, with what it counts from; tensions in newtons.
struct Begin {
    first: usize,
    first_s: f64,
    departure: Departure,
    zero: f64,
    noise: f64,
    raw_noise: f64,
}

impl<'a> Study<'a> {
    pub(super) fn new(kept: &'a Kept<'a>, settings: &'a Settings) -> Self {
        let corner = corner_hz(settings.lowpass_hz, kept.rate_hz);
        let delay = delay_s(corner);
        let idle = before(kept, kept.crossing, CROSSING_GUARD_S);
        let raw = Wave { x: kept.samples, rate_hz: kept.rate_hz };
        let noise = raw.sample_noise(idle.clone());
        let mut study = Self {
            kept,
            settings,
            repaired: Cow::Borrowed(kept.samples),
            rest: raw.median(idle),
            corner_hz: corner,
            delay_s: delay,
            spikes: Vec::new(),
            band: BandSignal::new(&[], kept.rate_hz, &[]),
            series: Series::default(),
            seen: false,
        };
        let mut calm = study.calm(noise);
        let from = study.looks_from();
        study.band = BandSignal::from(&calm, kept.rate_hz, kept.samples, from);
        study.find_blows();
        let untouched = matches!(calm, Cow::Borrowed(_));
        study.spikes = spikes::find(kept.samples, study.spike_jump(noise, untouched), study.surely_wild());
        if !study.spikes.is_empty() {
            spikes::repair(study.repaired.to_mut(), &study.spikes);
            spikes::repair(calm.to_mut(), &study.spikes);
            study.band = BandSignal::from(&calm, kept.rate_hz, kept.samples, from);
            study.find_blows();
        }
        study.seen = study.series.seen(kept.rate_hz);
        study
    }

    /// Samples without the lone ones that could be wild, also those too small beside the ringing to be
    /// removed from the tension: blows are looked for in these.
    fn calm(&self, noise: f64) -> Cow<'a, [f32]> {
        let rate_hz = self.kept.rate_hz;
        let jump_n = if rate_hz >= FAST_FROM_HZ { SPIKE_NOISE * noise } else { self.slow_jump(noise) };
        let suspects = spikes::find(self.kept.samples, jump_n, self.surely_wild());
        let mut calm = Cow::Borrowed(self.kept.samples);
        // Faults of a converter come with and without load; what comes often under load belongs to the blows.
        let seconds = calm.len() as f64 / rate_hz;
        let alone = spikes::alone(&suspects, (LONE_S * rate_hz) as usize, seconds);
        if !alone.is_empty() {
            spikes::repair(calm.to_mut(), &alone);
        }
        calm
    }

    /// A jump that no ringing makes where a blow is hardly sampled, newtons.
    fn surely_wild(&self) -> f64 {
        if self.kept.rate_hz >= FAST_FROM_HZ { f64::INFINITY } else { self.settings.slow_spike().get() }
    }

    /// `untouched`: the band was made of the samples as they came.
    fn spike_jump(&self, noise: f64, untouched: bool) -> f64 {
        if self.kept.rate_hz >= FAST_FROM_HZ {
            // Ringing not seen counts as none, so the noise of the band stands in for it.
            let raw = if untouched { self.ringing_in(&self.band) } else { self.raw_ringing() };
            let ringing = raw.max(self.series.ringing).max(self.series.noise);
            (SPIKE_NOISE * noise).max(SPIKE_RINGING * ringing)
        } else {
            self.slow_jump(noise)
        }
    }

    /// Below 1,000 samples/s: what stands out of this run's own lone departures, at most a tenth of the range.
    fn slow_jump(&self, noise: f64) -> f64 {
        let seconds = self.kept.samples.len() as f64 / self.kept.rate_hz;
        spikes::jump_among(self.kept.samples, noise, seconds).min(self.settings.slow_spike().get())
    }

    /// Ringing with nothing taken out: coarse sampling makes single samples of real ringing look like spikes,
    /// and a median over blows is blind to the few that are.
    fn raw_ringing(&self) -> f64 {
        self.ringing_in(&BandSignal::from(self.kept.samples, self.kept.rate_hz, &[], self.looks_from()))
    }

    fn ringing_in(&self, raw: &BandSignal) -> f64 {
        let reach = 2 * raw.design().window;
        let mut all: Vec<f64> = self
            .series
            .onsets
            .iter()
            .map(|o| raw.excursion(o.index.saturating_sub(1)..o.index + reach))
            .collect();
        median(&mut all).unwrap_or(0.0)
    }

    /// Farther back nothing is looked for in the band.
    fn looks_from(&self) -> usize {
        self.kept.crossing.saturating_sub((starts::LOOK_BACK_S * self.kept.rate_hz) as usize)
    }

    /// The low-passed tension over offsets.
    pub(super) fn filtered(&self, range: Range<usize>) -> Vec<f32> {
        filtered(&self.repaired, self.corner_hz, self.kept.rate_hz, self.rest, range)
    }

    fn find_blows(&mut self) {
        let kept = self.kept;
        let from = self.looks_from().max(kept.idle_from);
        let noise = self.band.noise(before(kept, kept.crossing, 0.0));
        self.series = Series::find(&self.band, noise, from..kept.samples.len());
    }

    pub(super) fn rate_hz(&self) -> f64 {
        self.kept.rate_hz
    }

    pub(super) fn wave(&self) -> Wave<'_> {
        Wave { x: &self.repaired, rate_hz: self.kept.rate_hz }
    }

    pub(super) fn span(&mut self) -> Span {
        let span = self.attempt();
        if span.opinion.count || self.series.onsets.len() < FEWEST {
            return span;
        }
        // A ring slower than the window looks like a blow in each half cycle.
        let (band, series, seen) = (self.band.clone(), self.series.clone(), self.seen);
        for window_s in LONGER_S {
            if span.opinion.interval_s > 0.0
                && window_s > WINDOW_SHARE * span.interval_s.max(span.opinion.interval_s)
            {
                break;
            }
            self.band.set_window(window_s);
            self.find_blows();
            self.seen = self.series.seen(self.kept.rate_hz);
            let other = self.attempt();
            if other.pull.is_some() && other.opinion.count {
                return other;
            }
        }
        (self.band, self.series, self.seen) = (band, series, seen);
        if span.opinion.far {
            // Neither is to be believed.
            self.seen = false;
            return Span { opinion: Opinion { disagreed: true, ..Opinion::default() }, ..self.attempt() };
        }
        span
    }

    /// Where the run begins, and what it counts from.
    fn begin(&mut self) -> Begin {
        let kept = self.kept;
        let earliest = self.looks_from().max(kept.idle_from).min(kept.crossing);
        let wave = Wave { x: &self.repaired, rate_hz: kept.rate_hz };
        let first = if self.seen {
            starts::first_seen(wave, &self.band, &mut self.series, kept.crossing, earliest)
        } else {
            None
        };
        self.seen = first.is_some();
        let first =
            first.map_or(0, |first| starts::without_idle_blows(wave, &self.series, first, kept.crossing));
        let (departure, rest) = self.departure(earliest);
        if self.seen && self.driven_before(first, rest) {
            self.seen = false;
            return self.begin();
        }
        self.add_faint_first(first, departure.at_s, rest);
        let first_s = if self.seen {
            (starts::onset_of_first(&self.band, &self.series, first) as f64 - 0.5).max(0.0) / kept.rate_hz
        } else {
            departure.at_s
        };
        let idle = self.idle_before(departure.at_s.min(first_s), first_s);
        Begin {
            first,
            first_s,
            departure,
            zero: self.wave().median(idle.clone()).unwrap_or(0.0),
            noise: Wave { x: &self.filtered(idle.clone()), rate_hz: kept.rate_hz }.noise(0..idle.len()),
            raw_noise: self.wave().sample_noise(idle),
        }
    }

    /// Whether the blows of a pull are seen well enough to build on.
    fn believed(&self, pull: &Pull, of_pull: &Series, zero: f64) -> bool {
        let rate_hz = self.kept.rate_hz;
        // What ended before tension crossed the threshold did not carry it there.
        let slack = (CROSSES_WITHIN_S * rate_hz) as usize;
        let carried = self.series.onsets[pull.last].index + slack >= self.kept.crossing;
        carried
            && of_pull.seen(rate_hz)
            && of_pull.whole(MISSING.0)
            && !ends::only_steps(of_pull, &pull.levels, zero)
            && !(rate_hz < FAST_FROM_HZ && ends::ambiguous_end(&self.band, &self.series, pull.last))
    }

    fn attempt(&mut self) -> Span {
        let kept = self.kept;
        let begin = self.begin();
        let Begin { first, first_s, departure, zero, noise, raw_noise } = begin;
        let pull = self.pull(first, zero, noise, raw_noise);
        let until = pull.as_ref().and_then(|p| self.next_pull(p)).unwrap_or(kept.samples.len());
        let loaded = kept.crossing..until;
        let (wave, band_noise) = (self.wave(), self.series.noise);
        let unseen = activity::last_unseen(wave, &self.band, band_noise, (zero, raw_noise), first_s, loaded);
        let of_pull = pull.as_ref().map(|p| {
            let onsets = &self.series.onsets;
            self.series.within(onsets[first].index..onsets[p.last].index + 1, kept.rate_hz)
        });
        let lost = |(p, s): (&Pull, &Series)| {
            !self.believed(p, s, zero) || self.blows_vanish(p, &unseen, zero, raw_noise)
        };
        if pull.as_ref().zip(of_pull.as_ref()).is_some_and(lost) {
            // What single blows seemed to tell counts no longer, neither where it begins nor where it ends.
            self.seen = false;
            return self.attempt();
        }
        let whole = of_pull.as_ref().is_some_and(|s| s.whole(MISSING.1));
        let opinion = match &pull {
            Some(p) if ends::echoes(&p.levels, zero) => Opinion { disagreed: true, ..Opinion::default() },
            Some(p) => self.second_opinion(first, p.last, unseen.surely_s),
            None => Opinion::default(),
        };
        let (last_s, interval_s) = match (&pull, of_pull) {
            (Some(p), Some(of_pull)) => {
                ((self.series.onsets[p.last].index as f64 - 0.5) / kept.rate_hz, of_pull.interval_s)
            }
            _ => (unseen.last_s, INTERVAL_UNSEEN_S),
        };
        let start_sure = if self.seen {
            self.start_seen(first, opinion, departure.at_s, zero)
        } else {
            departure.sharp && starts::leaves_steeply(self.wave(), first_s, last_s, zero, raw_noise)
        };
        Span {
            first_s,
            last_s: last_s.max(first_s),
            surely_s: if pull.is_some() { last_s } else { unseen.surely_s }.max(first_s),
            interval_s,
            zero,
            noise,
            raw_noise,
            first,
            next: pull.as_ref().map_or(unseen.next, |p| p.next),
            flat: pull.is_none() && unseen.flat,
            whole,
            zero_unsure: self.zero_unsure(first_s, zero, raw_noise),
            start_unsure: !start_sure,
            start_doubt_s: if self.seen {
                (first_s - departure.at_s).max(0.0) + interval_s
            } else {
                f64::INFINITY
            },
            end_unsure: pull.is_none() && unseen.doubtful,
            pull,
            opinion,
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
        let reach = next + (NEXT_PULL * self.series.interval_s * self.kept.rate_hz) as usize;
        let blows = self.series.onsets.iter().filter(|o| (next..reach).contains(&o.index)).count();
        (pull.loosened || blows >= 3).then_some(next)
    }

    /// Blows were seen at first only: tension still grows, or the band is still restless, after the last.
    fn blows_vanish(&self, pull: &Pull, unseen: &Unseen, zero: f64, raw_noise: f64) -> bool {
        let rate_hz = self.kept.rate_hz;
        let last_s = self.series.onsets[pull.last].index as f64 / rate_hz;
        if pull.loosened || unseen.last_s < last_s + PAUSE_S.max(PAUSE_INTERVALS * self.series.interval_s) {
            return false;
        }
        let wave = self.wave();
        let level =
            wave.median(wave.range(last_s + LEVEL_FROM_S, last_s + HELD_FROM_S)).unwrap_or(unseen.greatest);
        let spread = MEDIAN_SD * raw_noise / (LEVEL_LASTS_S * rate_hz).max(LEVEL_SAMPLES).sqrt();
        let grows = unseen.greatest - level > (GROWS_ON.0 * (level - zero)).max(GROWS_ON.1 * spread);
        // One knock after the tool has stopped is no sign that blows went on.
        let pause_s = PAUSE_S.max(PAUSE_INTERVALS * self.series.interval_s);
        let restless = activity::restless_blocks(
            &self.band,
            self.series.noise,
            wave.range(last_s + pause_s, unseen.last_s),
        );
        (unseen.by_unrest && restless >= 3) || grows
    }
}
