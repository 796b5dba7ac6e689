//! A trace of either model with its truth in one form.
//!
//! Four of five cases are of the impact model, one of the first. Must not know how a run is measured.

use std::io::Write;
use virtual_rig::lowpass::Lowpass;
use virtual_rig::{Scenario, impact, render, truth};

/// Name under which the first model stands among the families.
const FIRST_MODEL: &str = "first model";
/// Every so many cases one is of the first model.
const FIRST_MODEL_EVERY: u64 = 5;

/// Which case: the seed of one of the two models.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Id {
    /// `virtual_rig::Scenario::random`.
    First(u64),
    /// `virtual_rig::impact::Case::random`.
    Impact(u64),
}

impl Id {
    /// `first:SEED` or `SEED`.
    pub fn parse(word: &str) -> Result<Self, String> {
        let (first, digits) = word.strip_prefix("first:").map_or((false, word), |rest| (true, rest));
        let seed = digits.parse().map_err(|_| format!("expected SEED or first:SEED, found '{word}'"))?;
        Ok(if first { Self::First(seed) } else { Self::Impact(seed) })
    }
}

impl std::fmt::Display for Id {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::First(seed) => write!(f, "first:{seed}"),
            Self::Impact(seed) => write!(f, "{seed}"),
        }
    }
}

/// Names of all families.
pub fn families() -> Vec<&'static str> {
    let mut names = impact::family_names();
    names.push(FIRST_MODEL);
    names
}

/// The cases of a campaign; of one family only where it is named.
pub fn campaign(seed: u64, cases: usize, family: Option<&str>) -> Vec<Id> {
    let wanted = |id: &Id| match (family, id) {
        (None, _) => true,
        (Some(name), Id::First(_)) => name == FIRST_MODEL,
        (Some(name), Id::Impact(seed)) => impact::Case::random(*seed).family == name,
    };
    (0..).map(|i| draw(seed, i)).filter(wanted).take(cases).collect()
}

/// Seeds of six to ten digits, so that one is easily typed again.
fn draw(seed: u64, i: u64) -> Id {
    let mixed = mix(seed ^ mix(i)) % 10_000_000_000;
    if i % FIRST_MODEL_EVERY == FIRST_MODEL_EVERY - 1 { Id::First(mixed) } else { Id::Impact(mixed) }
}

/// The finaliser of splitmix64 (Steele, Lea, Flood 2014, "Fast splittable pseudorandom number generators").
fn mix(seed: u64) -> u64 {
    let mut z = seed.wrapping_add(0x9e37_79b9_7f4a_7c15);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

/// A trace.
pub struct Trace {
    pub id: Id,
    pub family: &'static str,
    pub rate_hz: f64,
    pub counts: Vec<i32>,
    pub counts_per_kn: f64,
    pub range_kn: f64,
    pub count_limits: (i32, i32),
    pub runs: Vec<True>,
    /// What else happened, in words.
    pub notes: Vec<String>,
}

impl Trace {
    /// Writes the samples as `boltscribe analyze` reads them.
    pub fn write(&self, path: &str) -> std::io::Result<()> {
        let mut file = std::io::BufWriter::new(std::fs::File::create(path)?);
        writeln!(file, "time_s,tension_kN")?;
        for (k, count) in self.counts.iter().enumerate() {
            let kn = f64::from(*count) / self.counts_per_kn;
            writeln!(file, "{:.6},{kn:.7}", k as f64 / self.rate_hz)?;
        }
        file.flush()
    }
}

/// A gate of the truth.
pub struct TrueGate {
    pub after_s: f64,
    /// None if the tool had stopped.
    pub kn: Option<f64>,
    /// Tension there in any case, where the model tells.
    pub standing_kn: Option<f64>,
}

/// What is true of a run. Times in s from sample 0, tensions in kN above its zero.
pub struct True {
    pub first_blow_s: f64,
    pub last_blow_s: f64,
    pub knock_s: Option<f64>,
    pub blows: u32,
    pub interval_s: f64,
    pub level_kn: f64,
    pub held_kn: Option<f64>,
    pub settled: bool,
    pub gates: Vec<TrueGate>,
    pub peak_kn: f64,
    pub peak_sampled_kn: f64,
    pub re_pulled: bool,
    pub lift: Option<f64>,
    pub limit_kn: Option<f64>,
    pub released_s: Option<f64>,
    pub whole: bool,
    pub noise: impact::truth::ImpactNoise,
}

/// Plays a case.
pub fn play(id: Id) -> Trace {
    match id {
        Id::First(seed) => first(id, seed),
        Id::Impact(seed) => second(id, seed),
    }
}

fn second(id: Id, seed: u64) -> Trace {
    let case = impact::Case::random(seed);
    let played = impact::play(&case);
    let runs = played.runs.into_iter().map(|run| True {
        first_blow_s: run.first_blow_s,
        last_blow_s: run.last_blow_s,
        knock_s: run.knock_s,
        blows: run.blows,
        interval_s: run.interval_s,
        level_kn: run.level_kn,
        held_kn: run.held_kn,
        settled: run.settled,
        gates: run
            .gates
            .iter()
            .map(|gate| TrueGate {
                after_s: gate.after_s,
                kn: gate.tension_kn,
                standing_kn: Some(gate.standing_kn),
            })
            .collect(),
        peak_kn: run.peak_kn,
        peak_sampled_kn: run.peak_sampled_kn,
        re_pulled: run.re_pulled,
        lift: run.lift,
        limit_kn: run.limit_kn,
        released_s: run.released_s,
        whole: run.whole,
        noise: run.noise,
    });
    let notes =
        played.disturbances.iter().map(|d| format!("{} {:.3} to {:.3} s", d.kind, d.from_s, d.until_s));
    Trace {
        id,
        family: case.family,
        rate_hz: played.rate_hz,
        counts_per_kn: played.counts_per_kn,
        range_kn: played.range_kn,
        count_limits: (played.count_min, played.count_max),
        runs: runs.collect(),
        notes: notes.collect(),
        counts: played.counts,
    }
}

fn first(id: Id, seed: u64) -> Trace {
    let scenario = Scenario::random(seed);
    let rendered = render(&scenario);
    let clean = quiet(&scenario);
    let rig = &scenario.rig;
    let noise = truth::Noise::of(&scenario, rendered.rate_hz);
    let noise = impact::truth::ImpactNoise {
        idle_kn: noise.sample_kn,
        driving_kn: noise.sample_kn,
        idle_low_kn: noise.lowpassed_kn,
        driving_low_kn: noise.lowpassed_kn,
        // A tenth of it stands at the third harmonic.
        hum_kn: 1.1 * rig.hum_kn,
        hum_hz: rig.hum_hz,
        code_kn: 1.0 / rendered.counts_per_kn,
    };
    let end_s = rendered.counts.len() as f64 / rendered.rate_hz;
    let runs = rendered.truth.iter().map(|run| True {
        first_blow_s: run.first_blow_s,
        last_blow_s: run.last_blow_s,
        knock_s: None,
        blows: run.blows,
        interval_s: run.interval_s,
        level_kn: run.level_kn,
        held_kn: Some(run.held_kn),
        settled: true,
        gates: run
            .gates
            .iter()
            .map(|gate| TrueGate { after_s: gate.after_s, kn: gate.tension_kn, standing_kn: None })
            .collect(),
        peak_kn: run.peak_kn,
        peak_sampled_kn: clean.peak(run.first_blow_s, run.last_blow_s + 0.7),
        re_pulled: run.re_pulled,
        lift: run.lift,
        limit_kn: run.plateau_limit_kn,
        released_s: run.released_s,
        whole: run.last_blow_s + (6.0 * run.interval_s).max(0.7) < end_s,
        noise,
    });
    let half = 1_i64 << (rig.bits - 1);
    Trace {
        id,
        family: FIRST_MODEL,
        rate_hz: rendered.rate_hz,
        counts_per_kn: rendered.counts_per_kn,
        range_kn: rendered.range_kn,
        count_limits: (-half as i32, (half - 1) as i32),
        runs: runs.collect(),
        notes: Vec::new(),
        counts: rendered.counts,
    }
}

/// The samples of a scenario without noise, hum and spikes, in fine codes.
struct Quiet {
    kn: Vec<f64>,
    rate_hz: f64,
}

fn quiet(scenario: &Scenario) -> Quiet {
    let mut still = scenario.clone();
    let rig = &mut still.rig;
    (rig.noise_kn, rig.hum_kn, rig.spikes_per_s, rig.zero_drift_kn_per_min) = (0.0, 0.0, 0.0, 0.0);
    (rig.zero_kn, rig.bits, rig.counts_per_kn) = (0.0, 32, 1e6);
    let rendered = render(&still);
    let kn = rendered.counts.iter().map(|count| f64::from(*count) / rendered.counts_per_kn).collect();
    Quiet { kn, rate_hz: rendered.rate_hz }
}

impl Quiet {
    fn peak(&self, from_s: f64, until_s: f64) -> f64 {
        let mut low = Lowpass::new(Lowpass::corner_hz(self.rate_hz), self.rate_hz);
        let at = |time_s: f64| ((time_s * self.rate_hz) as usize).min(self.kn.len());
        let range = at(from_s - 0.1)..at(until_s + low.delay_s());
        self.kn[range].iter().map(|kn| low.push(*kn)).fold(f64::MIN, f64::max)
    }
}
