//! The figures against the physics of blows: F₂² = (E + a·F₁²)/(a + b), no move where E ≤ b·F₁².
//!
//! Energies scatter by 2 to 20 %, tension creeps after each blow, medians are noisy, and a bolt may be preloaded. The
//! seed is a fresh one each time and is printed; `FIGURES_SEED` repeats it.

use super::*;
use crate::runs::Form;
use core::f64::consts::TAU;

/// Runs of each kind; bounds below are such that chance alone breaks them less than once in 10⁵.
const RUNS: usize = 150;

/// SplitMix64 (Steele, Lea and Flood 2014).
struct Random(u64);

impl Random {
    fn fresh() -> Self {
        let given = std::env::var("FIGURES_SEED").ok().and_then(|s| s.parse().ok());
        let seed = given.unwrap_or_else(|| fastrand::u64(..));
        println!("FIGURES_SEED={seed}");
        Self(seed)
    }

    fn part(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn from(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.part()
    }

    fn scale(&mut self, low: f64, high: f64) -> f64 {
        self.from(low.ln(), high.ln()).exp()
    }

    fn normal(&mut self) -> f64 {
        (-2.0 * self.part().max(1e-300).ln()).sqrt() * (TAU * self.part()).cos()
    }
}

/// A tool with its chain and bolt; forces in newtons.
#[derive(Clone, Copy)]
struct Tool {
    energy: f64,
    a: f64,
    b: f64,
    scatter: f64,
    rate_hz: f64,
    blows: usize,
    creep: f64,
    creep_s: f64,
    noise: f64,
    preload: f64,
    jitter: f64,
    /// Blows of a feathered trigger, the first of 30 % of the energy.
    soft: usize,
    /// Each blow closes a part of the gap of F to the limit instead.
    geometric: bool,
}

impl Tool {
    fn drawn(random: &mut Random) -> Self {
        let limit = random.scale(1e4, 2e5);
        let constant_blows = random.scale(4.0, 60.0);
        let kept = (-1.0 / constant_blows).exp();
        let preload = if random.part() < 0.3 { limit * random.from(0.0, 0.1) } else { 0.0 };
        Self {
            energy: limit * limit * (1.0 - kept),
            a: kept,
            b: 1.0 - kept,
            scatter: random.scale(0.02, 0.2),
            rate_hz: random.scale(8.0, 60.0),
            blows: (random.scale(0.5, 6.0) * constant_blows).max(8.0) as usize,
            creep: random.from(0.0, 0.02),
            creep_s: random.scale(0.05, 2.0),
            noise: limit * random.scale(1e-4, 2e-3),
            preload,
            jitter: random.from(0.0, 0.05),
            soft: 0,
            geometric: false,
        }
    }

    fn steady(energy: f64, a: f64, b: f64) -> Self {
        Self {
            energy,
            a,
            b,
            scatter: 0.02,
            rate_hz: 20.0,
            blows: 60,
            creep: 0.005,
            creep_s: 0.3,
            noise: 20.0,
            preload: 0.0,
            jitter: 0.02,
            soft: 0,
            geometric: false,
        }
    }

    fn limit(&self) -> f64 {
        (self.energy / self.b).sqrt()
    }

    fn gain(&self) -> f64 {
        self.energy / (self.a + self.b)
    }
}

struct Played {
    medians: Vec<Median>,
    held: f64,
    noise: f64,
    last_s: f64,
    interval_s: f64,
    seen: bool,
}

/// Medians between blows, or over 0.1 s of the sampled stair where blows are not `seen`.
fn play(random: &mut Random, tool: &Tool, seen: bool) -> Played {
    let (mut square, mut to_creep, mut now_s) = (tool.preload * tool.preload, 0.0, 0.0);
    let (mut medians, mut stair) = (Vec::new(), Vec::new());
    for blow in 0..tool.blows {
        let before = square.sqrt();
        let part = if blow < tool.soft { 0.3 + 0.7 * blow as f64 / tool.soft as f64 } else { 1.0 };
        let energy = tool.energy * part * (1.0 + tool.scatter * random.normal());
        if tool.geometric {
            let share = tool.b / (tool.a + tool.b) * (energy / tool.energy).max(0.0);
            square = (before + share * (tool.limit() - before)).powi(2);
        } else if energy > tool.b * square {
            square = (energy + tool.a * square) / (tool.a + tool.b);
        }
        let after = square.sqrt();
        to_creep += tool.creep * (after - before);
        let interval_s = (1.0 + tool.jitter * random.normal()).max(0.3) / tool.rate_hz;
        let crept = to_creep * (1.0 - (-interval_s / tool.creep_s).exp());
        to_creep -= crept;
        let level = after - 0.6 * crept - tool.preload;
        stair.push((now_s, level));
        let tension_n = level + tool.noise * random.normal();
        medians.push(Median { from_s: now_s, at_s: now_s + 0.5 * interval_s, tension_n });
        square = (after - crept).powi(2);
        now_s += interval_s;
    }
    let last_s = stair[stair.len() - 1].0;
    let held = square.sqrt() - tool.preload;
    if seen {
        let interval_s = 1.0 / tool.rate_hz;
        return Played { medians, held, noise: tool.noise, last_s, interval_s, seen };
    }
    let (rate_hz, noise) = (random.scale(80.0, 1000.0), 3.0 * tool.noise);
    let samples = (0.1 * rate_hz) as usize;
    let mut one = |k: usize| {
        let from_s = 0.1 * k as f64;
        let sample = |i: usize| {
            let at_s = from_s + i as f64 / rate_hz;
            stair[stair.partition_point(|s| s.0 <= at_s).max(1) - 1].1
        };
        let mut values: Vec<f64> = (0..samples).map(|i| sample(i) + noise * random.normal()).collect();
        let tension_n = boltscribe_numerics::median(&mut values).unwrap();
        Median { from_s, at_s: from_s + 0.05, tension_n }
    };
    let medians = (0..(last_s / 0.1) as usize).map(&mut one).collect();
    let noise = (core::f64::consts::FRAC_PI_2 / samples as f64).sqrt() * noise;
    Played { medians, held, noise, last_s, interval_s: 0.1, seen }
}

fn input<'a>(
    played: &'a Played,
    preload: f64,
    gates_s: &'a [Option<f64>],
    tensions_n: &'a [f64],
) -> Input<'a> {
    Input {
        medians: &played.medians,
        blows_seen: played.seen,
        blows_sure: true,
        interval_s: played.interval_s,
        median_noise_n: played.noise,
        driven_s: 0.0..played.last_s,
        spacing_s: 1.0 / 2000.0,
        gates_s,
        tensions_n,
        zero_shift_n: Some(preload),
        zero_shift_limit_n: 1000.0,
        zero_noise_n: played.noise,
        standing_n: 0.0,
        standing_noise_n: 0.0,
        held_n: Some(played.held),
        torn: false,
    }
}

#[derive(Default)]
struct Count {
    given: usize,
    wrong: Vec<String>,
}

impl Count {
    /// Right: within four standard errors and this part of the truth.
    fn add(&mut self, found: Option<(f64, f64)>, truth: f64, part: f64) {
        let Some((value, se)) = found else { return };
        self.given += 1;
        if (value - truth).abs() > 4.0 * se + part * truth {
            self.wrong.push(format!("{value} ± {se} for {truth}"));
        }
    }

    fn check(&self, what: &str, given_least: usize) {
        println!("{what}: {} given, {} wrong", self.given, self.wrong.len());
        assert!(self.given >= given_least, "{what}: {} given", self.given);
        // At most 0.6 % are wrong in large campaigns: more than six of 150 are not chance.
        assert!(self.wrong.len() <= 6, "{what}: {:?}", self.wrong);
    }
}

fn pair(estimate: Option<Estimate>) -> Option<(f64, f64)> {
    estimate.map(|e| (e.value, e.se))
}

#[test]
fn limits_and_indices_of_blows_of_scattered_energy_are_right_or_not_given() {
    let mut random = Random::fresh();
    for seen in [true, false] {
        let [mut plateau, mut time, mut energy, mut limit, mut scatter] = [(); 5].map(|()| Count::default());
        for _ in 0..RUNS {
            let tool = Tool::drawn(&mut random);
            let played = play(&mut random, &tool, seen);
            let (fitted, figures) = measure(&input(&played, tool.preload, &[], &[]));
            let constant_s = -1.0 / tool.rate_hz / (tool.a / (tool.a + tool.b)).ln();
            plateau.add(fitted.map(|p| (p.limit.get() + tool.preload, p.limit_se.get())), tool.limit(), 0.02);
            time.add(fitted.map(|p| (p.time_constant_s, p.time_constant_se_s)), constant_s, 0.05);
            energy.add(pair(figures.energy_index_n2_per_blow), tool.gain(), 0.02);
            limit.add(pair(figures.limit_index_n2), tool.limit().powi(2), 0.04);
            scatter.add(pair(figures.step_scatter), tool.scatter, 0.05);
            assert!(fitted.is_none_or(|p| p.limit.get() >= played.held));
        }
        // Of 3,000 runs 61 and 35 % had a plateau, 93 and 48 % a limit index, 93 % an energy index.
        plateau.check("plateau", if seen { 62 } else { 26 });
        time.check("time constant", 0);
        energy.check("energy index", if seen { 122 } else { 0 });
        limit.check("limit index", if seen { 122 } else { 44 });
        scatter.check("step scatter", if seen { 33 } else { 0 });
        assert!(seen || energy.given == 0 && scatter.given == 0);
    }
}

#[test]
fn a_soft_start_is_left_out_of_limit_and_indices() {
    let mut random = Random::fresh();
    let [mut plateau, mut energy, mut limit] = [(); 3].map(|()| Count::default());
    for _ in 0..RUNS {
        let tool = Tool { soft: 6, ..Tool::drawn(&mut random) };
        let played = play(&mut random, &tool, true);
        let (fitted, figures) = measure(&input(&played, tool.preload, &[], &[]));
        plateau.add(fitted.map(|p| (p.limit.get() + tool.preload, p.limit_se.get())), tool.limit(), 0.02);
        energy.add(pair(figures.energy_index_n2_per_blow), tool.gain(), 0.02);
        limit.add(pair(figures.limit_index_n2), tool.limit().powi(2), 0.04);
    }
    // Of 3,000 runs 46 % had a plateau (0.6 % of them wrong), 45 % indices (0.4 % of the energy indices wrong).
    plateau.check("plateau", 40);
    energy.check("energy index", 38);
    limit.check("limit index", 38);
}

#[test]
fn where_each_blow_closes_a_part_of_the_gap_limits_are_right_or_not_given_and_indices_rare() {
    let mut random = Random::fresh();
    let (mut plateau, mut energies, mut forms) = (Count::default(), 0, 0);
    for _ in 0..RUNS {
        let tool = Tool { geometric: true, ..Tool::drawn(&mut random) };
        let played = play(&mut random, &tool, true);
        let (fitted, figures) = measure(&input(&played, tool.preload, &[], &[]));
        plateau.add(fitted.map(|p| (p.limit.get() + tool.preload, p.limit_se.get())), tool.limit(), 0.02);
        energies += usize::from(figures.energy_index_n2_per_blow.is_some());
        forms += usize::from(fitted.is_some_and(|p| p.form == Form::Energy));
    }
    plateau.check("plateau", 30);
    // Of 3,000 runs 2.6 % had an energy index, 5.7 % the energy form (their limits were right).
    assert!(energies <= 16 && forms <= 26, "{energies} {forms}");
}

/// A softer chain winds up further for the same torque (b grows), a lossy one passes less energy on. A stiffer bolt
/// takes less energy to the same tension (a falls).
#[test]
fn ratios_of_indices_do_not_know_the_bolt_and_the_ratio_at_a_gate_does() {
    let mut random = Random::fresh();
    let mut ratios = |energy: f64, b: f64, a: f64| {
        let (mut sums, mut pairs) = ([0.0; 4], 0.0);
        for _ in 0..40 {
            let mut one = |tool: Tool| {
                let played = play(&mut random, &tool, true);
                let (_, figures) = measure(&input(&played, 0.0, &[], &[]));
                let gain = figures.energy_index_n2_per_blow?.value;
                let limit = figures.limit_index_n2?.value;
                // E/a: what the first step would be if nothing went into winding up the chain.
                Some([played.medians[59].tension_n, gain, limit, gain / (1.0 - gain / limit)])
            };
            let (base, other) = (one(Tool::steady(1e9, a, 1.0)), one(Tool::steady(1e9 * energy, a, b)));
            let (Some(base), Some(other)) = (base, other) else { continue };
            pairs += 1.0;
            for k in 0..4 {
                sums[k] += other[k] / base[k];
            }
        }
        // Of 300 pairs at most 11 lacked an index.
        assert!(pairs >= 28.0, "{pairs}");
        sums.map(|sum| sum / pairs)
    };
    let near = |found: f64, wanted: f64| assert!((found - wanted).abs() < 0.03, "{found} for {wanted}");
    let (stiff, soft) = (8.0, 30.0);
    let at_gates = [stiff, soft].map(|a| {
        let lossy = ratios(0.7, 1.0, a);
        near(lossy[1], 0.7);
        near(lossy[2], 0.7);
        let softer = ratios(1.0, 1.0 / 0.7, a);
        near(softer[1], (a + 1.0) / (a + 1.0 / 0.7));
        near(softer[2], 0.7);
        near(softer[3], 1.0);
        softer[0]
    });
    assert!(at_gates[1] - at_gates[0] > 0.02, "{at_gates:?}");
}

/// Ten blows, each of 1 kN more, 0.1 s apart, without noise to speak of.
fn ladder() -> Played {
    let one = |k: usize| Median {
        from_s: 0.1 * k as f64,
        at_s: 0.1 * k as f64 + 0.05,
        tension_n: 1000.0 * (k + 1) as f64,
    };
    Played {
        medians: (0..10).map(one).collect(),
        held: 10_000.0,
        noise: 10.0,
        last_s: 0.9,
        interval_s: 0.1,
        seen: true,
    }
}

#[test]
fn a_tension_is_reached_by_the_blow_whose_median_stands_above_it_or_never() {
    let ladder = ladder();
    let tensions = [500.0, 4500.0, 5000.0, 9990.0, 10_030.0, 10_050.0];
    let (_, figures) = measure(&input(&ladder, 0.0, &[], &tensions));
    let found: Vec<_> = figures
        .reached
        .iter()
        .map(|r| (r.state, r.after_s.map(|s| (10.0 * s).round() as i32), r.blows))
        .collect();
    use ReachedState::{NeverReached, Reached, Unknown};
    assert_eq!(
        found,
        [
            (Reached, Some(0), Some(1)),
            (Reached, Some(4), Some(5)),
            // The fifth median stands at it to the last digit: the fifth blow or the sixth.
            (Reached, Some(4), Some(5)),
            // Nearer to the last median than four SD of 10 N.
            (Unknown, None, None),
            (Unknown, None, None),
            (NeverReached, None, None),
        ]
    );
    let torn = Input { torn: true, ..input(&ladder, 0.0, &[], &tensions) };
    let reached = measure(&torn).1.reached;
    assert!(reached.len() == tensions.len() && reached.iter().all(|r| r.state == Unknown));
    let doubtful = Input { blows_sure: false, ..input(&ladder, 0.0, &[], &tensions) };
    let (_, figures) = measure(&doubtful);
    assert_eq!((figures.reached[1].blows, figures.energy_index_n2_per_blow), (None, None));
}

#[test]
fn a_level_that_noise_hides_for_many_blows_has_no_number_of_blows_and_a_wide_time() {
    let mut flat = ladder();
    for (k, median) in flat.medians.iter_mut().enumerate().skip(3) {
        median.tension_n = if k < 9 { 4000.0 + 5.0 * (k % 2) as f64 } else { 4100.0 };
    }
    let (_, figures) = measure(&input(&flat, 0.0, &[], &[4003.0]));
    let reached = figures.reached[0];
    assert_eq!((reached.state, reached.blows), (ReachedState::Reached, None));
    // Anywhere in 0.6 s: SD 0.6/√12.
    assert!((reached.after_se_s.unwrap() - 0.6 / 12.0_f64.sqrt()).abs() < 0.001);
}

#[test]
fn growth_of_an_even_ladder_is_its_step_over_its_interval_and_null_without_a_gate_or_room() {
    let ladder = ladder();
    let (_, figures) = measure(&input(&ladder, 0.0, &[Some(0.5), None, Some(0.05)], &[]));
    let growth = figures.growth_n_per_s[0].unwrap();
    assert!((growth.value - 10_000.0).abs() < 1e-6);
    // Steps do not scatter: what noise may hide is left, √2 × 10 N over 5 or 6 intervals of 0.1 s.
    assert!((50.0..90.0).contains(&growth.se), "{}", growth.se);
    assert_eq!(figures.growth_n_per_s[1..], [None, None]);
}

#[test]
fn preload_is_given_where_the_rigs_zero_is_known_and_a_zero_that_sank_is_none() {
    let ladder = ladder();
    let with = |shift| measure(&Input { zero_shift_n: shift, ..input(&ladder, 0.0, &[], &[]) }).1.preload_n;
    assert_eq!(with(Some(2500.0)).map(|p| p.value), Some(2500.0));
    assert_eq!((with(None), with(Some(-1500.0))), (None, None));
    let seated = Input { standing_n: 700.0, standing_noise_n: 3.0, ..input(&ladder, 2500.0, &[], &[]) };
    let preload = measure(&seated).1.preload_n.unwrap();
    assert!(preload.value == 3200.0 && (preload.se - 109.0_f64.sqrt()).abs() < 1e-9);
}

#[test]
fn a_hidden_blow_is_left_out_of_the_steps() {
    let mut random = Random(20_261_130);
    let tool = Tool { scatter: 0.03, jitter: 0.0, creep: 0.0, ..Tool::steady(1e9, 12.0, 1.0) };
    let whole = play(&mut random, &tool, true);
    let gain = |played: &Played| {
        measure(&input(played, 0.0, &[], &[])).1.energy_index_n2_per_blow.map(|e| (e.value, e.se)).unwrap()
    };
    let (right, se) = gain(&whole);
    let mut hidden = whole;
    for at in [50, 38, 26, 14, 7] {
        hidden.medians.remove(at);
    }
    assert!((gain(&hidden).0 - right).abs() < 2.0 * se);
}
