//! What each figure of each true run came out as: right, null, told or untold.
//!
//! Tolerances stand here, each with its reason. A figure is *told* where it is wrong and the run carries a flag
//! that leaves it out of results, or one that says this very figure is doubtful.

use crate::matching::matched;
use crate::measured::{Measured, measure};
use crate::trace::{Id, Trace, True, TrueGate};
use boltscribe::results::flags::Flag;

/// Onset: twice the time in which a blow's step is made at most (2 ms), or the samples about it. A blow lies up to a
/// spacing before the sample that shows it, and half a spacing more is the filter's width.
const FIRST_S: f64 = 0.002;
const FIRST_SPACINGS: f64 = 1.5;
/// Where blows are not seen the onset is that of the step alone.
const FIRST_UNSEEN_S: f64 = 0.010;
const FIRST_UNSEEN_SPACINGS: f64 = 2.5;
/// The last blow may leave no step, only ringing: three of its steepest parts.
const LAST_S: f64 = 0.006;
const LAST_SPACINGS: f64 = 2.5;
/// Where blows are not seen the definition dates the end by medians of 0.1 s: one and a half of them.
const LAST_UNSEEN_S: f64 = 0.15;
/// Counts as promised; the wider share with `blows-weak`.
const COUNT_SHARE: f64 = 0.01;
const COUNT_WEAK_SHARE: f64 = 0.05;
const COUNT_LEAST: f64 = 1.0;
/// Held and gates as the manual promises.
const HELD_SHARE: f64 = 0.002;
const GATE_SHARES: [(f64, f64); 3] = [(1000.0, 0.007), (250.0, 0.012), (0.0, 0.025)];
/// Standard errors that a median may be off by: 99.7 % of normal noise.
const SIGMAS: f64 = 3.0;
/// SD of the median of n normal values over that of one, times the root of n: sqrt(pi/2).
const MEDIAN_OF_NORMAL: f64 = 1.2533;
/// A tool that stopped within so many intervals of a gate may be read or not.
const STOP_INTERVALS: f64 = 1.5;
/// Peak: ringing near the corner of the low-pass is seen in amplitude only to this.
const PEAK_SHARE: f64 = 0.01;
const PEAK_SLOW_SHARE: f64 = 0.03;
/// The greatest of some thousand independent values of normal noise lies under 5 SD.
const PEAK_SIGMAS: f64 = 5.0;
/// Below this rate a converter's filter dampens what rings near the low-pass's corner, and one without a filter
/// folds ringing into it: no reading of the samples can tell, so that the peak of the noise-free samples is as
/// right as that of the force, and what lies between.
const PEAK_BLIND_HZ: f64 = 5000.0;
const FAST_HZ: f64 = 1000.0;
/// The fitted limit: at most so far under held, and within standard errors and a share of the truth.
const PLATEAU_UNDER: f64 = 0.005;
const PLATEAU_SHARE: f64 = 0.02;
const PLATEAU_SIGMAS: f64 = 4.0;
/// A lift so near to what counts as a re-pull is neither.
const LIFT_DOUBT: (f64, f64) = (0.5, 1.6);
/// Flags that say of count and last blow that they are doubtful.
const DOUBTS_BLOWS: &[&str] = &["blows-weak"];
/// Flags that say of the first blow, the last and the peak that they are estimates.
const DOUBTS_FIRST: &[&str] = &["start-unsure"];
const DOUBTS_LAST: &[&str] = &["blows-weak", "end-estimated"];
const DOUBTS_PEAK: &[&str] = &["peak-unsure"];

/// A figure of a run.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Figure {
    First,
    Last,
    Count,
    Held,
    Gate,
    Peak,
    Plateau,
    RePulled,
    Interrupted,
    Missed,
    Invented,
}

impl Figure {
    pub const ALL: [Self; 11] = [
        Self::First,
        Self::Last,
        Self::Count,
        Self::Held,
        Self::Gate,
        Self::Peak,
        Self::Plateau,
        Self::RePulled,
        Self::Interrupted,
        Self::Missed,
        Self::Invented,
    ];

    pub const fn name(self) -> &'static str {
        match self {
            Self::First => "first blow",
            Self::Last => "last blow",
            Self::Count => "count",
            Self::Held => "held",
            Self::Gate => "gate",
            Self::Peak => "peak",
            Self::Plateau => "plateau",
            Self::RePulled => "re-pulled",
            Self::Interrupted => "interrupted",
            Self::Missed => "missed",
            Self::Invented => "invented",
        }
    }
}

/// How a figure came out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Came {
    Right,
    Null,
    Told,
    Untold,
}

/// One figure of one run.
pub struct Verdict {
    pub id: Id,
    pub family: &'static str,
    pub rate_hz: f64,
    pub run: usize,
    pub figure: Figure,
    pub came: Came,
    pub words: String,
}

/// Judges a trace.
pub fn judge(trace: &Trace) -> Vec<Verdict> {
    let measured = measure(trace);
    let pairs = matched(&trace.runs, &measured);
    let mut verdicts = Vec::new();
    let mut add = |run: usize, figure: Figure, came: Came, words: String| {
        let Trace { id, family, rate_hz, .. } = *trace;
        let flags: Vec<&str> = pairs
            .of_true
            .get(run)
            .copied()
            .flatten()
            .map(|m| measured[m].flags().map(|f| f.name()).collect())
            .unwrap_or_default();
        let words = format!("{words} {flags:?}");
        verdicts.push(Verdict { id, family, rate_hz, run, figure, came, words });
    };
    for (i, (run, m)) in trace.runs.iter().zip(&pairs.of_true).enumerate() {
        let found = m.map(|m| &measured[m]);
        if !run.whole {
            let good = found.is_none_or(Measured::left_out);
            let words =
                found.map(|f| format!("cut by the trace's end, measured {:.3} s", f.record.first_blow_s));
            add(
                i,
                Figure::Interrupted,
                if good { Came::Right } else { Came::Untold },
                words.unwrap_or_default(),
            );
            continue;
        }
        let missed = if found.is_some() { Came::Right } else { Came::Untold };
        add(i, Figure::Missed, missed, format!("first blow {:.3} s", run.first_blow_s));
        if let Some(found) = found {
            Judge { run, found, rate_hz: trace.rate_hz }
                .all(&mut |figure, came, words| add(i, figure, came, words));
        }
    }
    for m in pairs.left {
        let found = &measured[m];
        let came = if found.left_out() { Came::Told } else { Came::Untold };
        let held = found.record.held.map(|held| held.kn());
        add(
            m,
            Figure::Invented,
            came,
            format!("first blow {:.3} s, held {held:?}", found.record.first_blow_s),
        );
    }
    verdicts
}

struct Judge<'a> {
    run: &'a True,
    found: &'a Measured,
    rate_hz: f64,
}

type Add<'a> = &'a mut dyn FnMut(Figure, Came, String);

impl Judge<'_> {
    fn all(&self, add: Add<'_>) {
        self.first(add);
        self.last(add);
        self.count(add);
        self.held(add);
        for (i, gate) in self.run.gates.iter().enumerate() {
            self.gate(i, gate, add);
        }
        self.peak(add);
        self.plateau(add);
        self.re_pulled(add);
    }

    fn came(&self, right: bool, told: bool) -> Came {
        match (right, told || self.found.left_out()) {
            (true, _) => Came::Right,
            (false, true) => Came::Told,
            (false, false) => Came::Untold,
        }
    }

    fn seen(&self) -> bool {
        self.found.record.blow_count.is_some()
    }

    fn doubted(&self, by: &[&str]) -> bool {
        self.found.flags().any(|flag: Flag| by.contains(&flag.name()))
    }

    fn first(&self, add: Add<'_>) {
        let (s, spacings) =
            if self.seen() { (FIRST_S, FIRST_SPACINGS) } else { (FIRST_UNSEEN_S, FIRST_UNSEEN_SPACINGS) };
        let (is, should) = (self.found.record.first_blow_s, self.run.first_blow_s);
        let right = (is - should).abs() <= s.max(spacings / self.rate_hz);
        add(
            Figure::First,
            self.came(right, self.doubted(DOUBTS_FIRST)),
            format!("{is:.4} s, true {should:.4} s"),
        );
    }

    fn last(&self, add: Add<'_>) {
        let most = if self.seen() { LAST_S.max(LAST_SPACINGS / self.rate_hz) } else { LAST_UNSEEN_S };
        let (is, should) = (self.found.record.last_blow_s, self.run.last_blow_s);
        // A knock within the pause that ends a pull is a last blow by the definition.
        let right = (is - should).abs() <= most || self.run.knock_s.is_some_and(|s| (is - s).abs() <= most);
        add(
            Figure::Last,
            self.came(right, self.doubted(DOUBTS_LAST)),
            format!("{is:.4} s, true {should:.4} s"),
        );
    }

    fn count(&self, add: Add<'_>) {
        let Some(is) = self.found.record.blow_count else {
            return add(Figure::Count, Came::Null, String::new());
        };
        let should = f64::from(self.run.blows);
        let share = if self.doubted(DOUBTS_BLOWS) { COUNT_WEAK_SHARE } else { COUNT_SHARE };
        let right = (f64::from(is) - should).abs() <= (share * should).max(COUNT_LEAST);
        add(Figure::Count, self.came(right, self.doubted(DOUBTS_BLOWS)), format!("{is}, true {should}"));
    }

    /// What noise and rounding may do to a median over `seconds`: its own standard error and that of the zero's
    /// 0.5 s, and half a code each.
    fn noise_kn(&self, seconds: f64) -> f64 {
        let noise = &self.run.noise;
        let se = |seconds: f64| MEDIAN_OF_NORMAL * noise.idle_kn / (seconds * self.rate_hz).max(1.0).sqrt();
        SIGMAS * se(seconds).hypot(se(0.5)) + noise.code_kn
    }

    fn held(&self, add: Add<'_>) {
        let (is, should) = (self.found.record.held.map(|held| held.kn()), self.run.held_kn);
        let came = match (is, should) {
            (None, Some(_)) if self.run.settled => Came::Null,
            (None, _) => Came::Right,
            (Some(is), Some(should)) => {
                let most = HELD_SHARE * should + self.noise_kn(0.5);
                self.came((is - should).abs() <= most, false)
            }
            (Some(_), None) => self.came(false, false),
        };
        add(Figure::Held, came, format!("{} kN, true {} kN", shown(is), shown(should)));
    }

    fn gate(&self, i: usize, gate: &TrueGate, add: Add<'_>) {
        let is = self.found.record.gates.get(i).and_then(|gate| gate.tension).map(|kn| kn.kn());
        let at_s = self.run.first_blow_s + gate.after_s;
        let unseen_s = if self.seen() { 0.0 } else { LAST_UNSEEN_S };
        let beside_s = STOP_INTERVALS * self.run.interval_s + unseen_s;
        let latest_s = self.run.knock_s.unwrap_or(self.run.last_blow_s);
        let at_stop = at_s >= self.run.last_blow_s - beside_s && at_s <= latest_s + beside_s;
        let near = |is: f64, should: f64| (is - should).abs() <= self.gate_most(should);
        let came = match (is, gate.kn) {
            (None, None) => Came::Right,
            (None, Some(_)) => {
                if at_stop {
                    Came::Right
                } else {
                    Came::Null
                }
            }
            (Some(is), Some(should)) => self.came(near(is, should), false),
            (Some(is), None) => {
                self.came(at_stop && gate.standing_kn.is_none_or(|should| near(is, should)), false)
            }
        };
        let words = format!("at {} s {} kN, true {} kN", gate.after_s, shown(is), shown(gate.kn));
        add(Figure::Gate, came, words);
    }

    fn gate_most(&self, should: f64) -> f64 {
        let noise = &self.run.noise;
        let share =
            GATE_SHARES.iter().find(|(from, _)| self.rate_hz >= *from).map_or(0.025, |(_, share)| *share);
        // A mean over one interval takes hum in by at most 1 / (pi f p).
        let hum = noise.hum_kn * (1.0 / (std::f64::consts::PI * noise.hum_hz * self.run.interval_s)).min(1.0);
        let samples = (self.run.interval_s * self.rate_hz).max(1.0);
        let mean = SIGMAS * noise.driving_kn / samples.sqrt();
        share * should.abs() + self.noise_kn(0.5) + hum + mean
    }

    fn peak(&self, add: Add<'_>) {
        let (is, run) = (self.found.record.peak.kn(), self.run);
        let noise = PEAK_SIGMAS * run.noise.driving_low_kn + run.noise.code_kn;
        let share = if self.rate_hz >= FAST_HZ { PEAK_SHARE } else { PEAK_SLOW_SHARE };
        let most = share * run.peak_kn + noise;
        let other = if self.rate_hz < PEAK_BLIND_HZ { run.peak_sampled_kn } else { run.peak_kn };
        let (low, high) = (run.peak_kn.min(other), run.peak_kn.max(other));
        let right = is >= low - most && is <= high + most;
        let told = self.found.record.peak_is_lower_bound && is < run.peak_kn
            || is > high && self.doubted(DOUBTS_PEAK);
        let words = format!("{is:.4} kN, true {:.4} kN (sampled {:.4} kN)", run.peak_kn, run.peak_sampled_kn);
        add(Figure::Peak, self.came(right, told), words);
    }

    fn plateau(&self, add: Add<'_>) {
        let Some(plateau) = &self.found.record.plateau else {
            return add(Figure::Plateau, Came::Null, String::new());
        };
        let (is, se) = (plateau.limit.kn(), plateau.limit_se.kn());
        let held = self.found.record.held.map(|held| held.kn());
        let above = held.is_none_or(|held| is >= (1.0 - PLATEAU_UNDER) * held);
        let near = self
            .run
            .limit_kn
            .is_none_or(|should| (is - should).abs() <= PLATEAU_SIGMAS * se + PLATEAU_SHARE * should);
        let words = format!(
            "{is:.4} kN (SE {se:.4}), held {} kN, true limit {} kN",
            shown(held),
            shown(self.run.limit_kn)
        );
        add(Figure::Plateau, self.came(above && near, false), words);
    }

    fn re_pulled(&self, add: Add<'_>) {
        let is = self.found.closing.as_ref().is_some_and(|closing| closing.re_pulled);
        let doubt = self.run.lift.is_some_and(|lift| (LIFT_DOUBT.0..LIFT_DOUBT.1).contains(&lift));
        let right = doubt || is == self.run.re_pulled;
        let words = format!("{is}, true {} (lift {:?})", self.run.re_pulled, self.run.lift);
        add(Figure::RePulled, self.came(right, false), words);
    }
}

fn shown(kn: Option<f64>) -> String {
    kn.map_or_else(|| "null".to_owned(), |kn| format!("{kn:.4}"))
}
