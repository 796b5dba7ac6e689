//! One session: a virtual rig that plays tightenings, some close upon each other, and a daemon that dies.
//!
//! Nothing is judged here.

use crate::bench::{Bench, wait_for};
use crate::judge::{Findings, Restart, Story, began_utc_s, judge};
use std::time::{Duration, SystemTime, UNIX_EPOCH};
use virtual_rig::scenario::Scenario;

/// Device seconds in a second of the session: a tightening takes about a second.
pub const SPEED: f64 = 4.0;

/// Ten tightenings take so long at the most.
const PATIENCE: Duration = Duration::from_secs(20);

/// What to do.
pub struct Plan {
    /// Decides every moment.
    pub seed: u64,
    /// How often the daemon ends and starts again.
    pub restarts: usize,
}

/// Uniform numbers from a seed: splitmix64 (Steele, Lea and Flood 2014).
pub struct Random(u64);

impl Random {
    /// In 0..1.
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn between(&mut self, from: f64, to: f64) -> f64 {
        from + (to - from) * self.next()
    }
}

/// Every other tightening is short, and the next one close upon it, so that its samples hold the short one whole.
fn scenario(random: &mut Random) -> Scenario {
    let file =
        std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tools/virtual-rig/scenarios/depot.toml");
    let mut scenario = Scenario::from_toml(&std::fs::read_to_string(file).unwrap()).unwrap();
    let steps = scenario.steps.clone();
    scenario.steps = steps.iter().cycle().take(40 * steps.len()).cloned().collect();
    for (n, step) in scenario.steps.iter_mut().enumerate() {
        let short = n % 2 == 0;
        step.pause_s = if short { random.between(1.2, 2.5) } else { random.between(0.7, 0.9) };
        step.drive_s = if short { random.between(0.6, 0.9) } else { random.between(2.0, 4.0) };
        step.hold_s = if short { 0.9 } else { random.between(0.9, 2.0) };
        step.release_s = 0.2;
    }
    // Lone spikes are another test's business.
    scenario.rig.spikes_per_s = 0.0;
    scenario
}

/// Waits until the tool drives another run than `before`; gives its number.
fn drives(bench: &Bench, before: Option<u64>) -> u64 {
    let mut running = None;
    let since = std::time::Instant::now();
    wait_for("the tool to drive", || {
        let rig = bench.rig();
        // Ten tightenings: what keeps it from being seen is said before the test gives up.
        assert!(
            since.elapsed() < PATIENCE,
            "no run is seen any more: {rig}, {}",
            bench.cli(&["doctor"])["daemon"]["events"]
        );
        running = rig["running"].as_u64().filter(|run| rig["driving"] == true && Some(*run) != before);
        running.is_some()
    });
    running.unwrap()
}

fn utc_s() -> f64 {
    SystemTime::now().duration_since(UNIX_EPOCH).unwrap().as_secs_f64()
}

/// Plays it and says what was found.
pub fn session(plan: &Plan) -> Findings {
    let mut random = Random(plan.seed);
    let mut bench = Bench::new();
    bench.play(&scenario(&mut random), SPEED);
    // The first run tells where the rig's clock stands.
    let first = bench.runs(1)[0].clone();
    let origin_s = {
        let truth = bench.truth(1);
        began_utc_s(&first) - truth[0]["first_blow_s"].as_f64().unwrap() / SPEED
    };
    let mut restarts = Vec::new();
    for _ in 0..plan.restarts {
        let gently = random.next() < 0.25;
        if random.next() < 0.8 {
            let before = drives(&bench, None);
            // Mostly not the first one after a start, which may be short: the next one has it in its samples.
            if random.next() < 0.7 {
                drives(&bench, Some(before));
            }
            std::thread::sleep(Duration::from_secs_f64(random.between(0.0, 3.0) / SPEED));
        } else {
            std::thread::sleep(Duration::from_secs_f64(random.between(0.0, 2.0)));
        }
        let ended_s = utc_s();
        if gently {
            bench.stop_daemon();
        } else {
            bench.kill_daemon();
        }
        std::thread::sleep(Duration::from_secs_f64(random.between(0.0, 0.5)));
        bench.start_daemon();
        wait_for("samples", || bench.rig()["stale"] == false);
        restarts.push(Restart {
            ended_s: (ended_s - origin_s) * SPEED,
            up_s: (utc_s() - origin_s) * SPEED,
            gently,
        });
    }
    // Two more whole runs, so that the last restart shows what comes of it.
    let played = bench.truth(0).len();
    bench.truth(played + 2);
    let last_s = (utc_s() - origin_s) * SPEED;
    bench.stop_daemon();
    let runs = bench.runs(1);
    let truth = bench.truth(played + 2);
    let findings = judge(&Story { runs, truth, restarts, origin_s, last_s });
    let check = bench.cli(&["store", "check"]);
    assert_eq!(check["ok"], true, "seed {}: {check}", plan.seed);
    findings
}
