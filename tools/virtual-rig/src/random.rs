//! Seeded random scenarios that span what a rig may meet: one or two runs each.
//!
//! Blow rates from 8 to 60 Hz, sampling from 80 to 20,000 a second, weak and strong noise, hum,
//! spikes, soft start, second pulls, reverse blows, bolts that stay tight. Drive times keep away
//! from the gates, and a second pull either clearly lifts the level or clearly does not, so that
//! the truth of a run never hangs on a hair. This file must not know how a run is computed.

use crate::dice::Dice;
use crate::model;
use crate::scenario::{
    Bolt, Friction, Knock, Piece, PieceKind, Release, Rig, Scenario, SecondPull, Setup, Step, Tool,
};
use crate::truth::{GATES_S, Noise, truth};

const RATES_HZ: [u32; 10] = [80, 160, 250, 500, 1000, 2000, 4000, 5000, 10_000, 20_000];

impl Scenario {
    /// A random scenario of one or two runs with limits of 20 to 150 kN. The same seed always
    /// gives the same scenario, and every seed gives one that passes the checks of a file.
    #[must_use]
    pub fn random(seed: u64) -> Self {
        let mut dice = Dice::new(seed ^ 0xb017_5c71_be00_0000);
        let limit_kn = dice.log_between(25.0, 140.0);
        let rig = random_rig(&mut dice, limit_kn);
        let bolt = Bolt {
            name: "bolt A".to_owned(),
            thread: "M20x2.5".to_owned(),
            diameter_mm: 20.0,
            pitch_mm: 2.5,
            nut_factor: dice.between(0.13, 0.22),
            stiffness_kn_per_mm: dice.between(150.0, 600.0),
            allowed_kn: 180.0,
        };
        let mut scenario = Self {
            name: format!("random {seed}"),
            seed,
            rig,
            bolt,
            friction: Friction { scatter_percent: dice.between(0.0, 1.0), ..Friction::default() },
            tools: Vec::new(),
            pieces: shelf(),
            setups: vec![setup("direct", &["socket"]), setup("extended", &["extension 75", "socket"])],
            steps: Vec::new(),
            faults: Vec::new(),
        };
        let runs = if dice.chance(0.35) { 2 } else { 1 };
        let drive_s: Vec<f64> = (0..runs).map(|_| drive_s(&mut dice)).collect();
        let tool = random_tool(&mut dice, limit_kn, &scenario.bolt, drive_s[0]);
        for (i, drive_s) in drive_s.iter().enumerate() {
            let last = i + 1 == runs;
            let step = random_step(&mut dice, &scenario, &tool, *drive_s, last);
            scenario.steps.push(step);
        }
        scenario.tools.push(tool);
        scenario.drop_doubtful_pulls();
        scenario
    }

    /// Takes out second pulls whose lift is near what counts as a re-pull.
    fn drop_doubtful_pulls(&mut self) {
        let rate_hz = f64::from(self.rig.rate_hz);
        for i in 0..self.steps.len() {
            if self.steps[i].second_pull.is_none() {
                continue;
            }
            let run = model::run(self, i, i as u64);
            let lift = truth(self, i, &run, 0.0, rate_hz).and_then(|truth| truth.lift);
            if lift.is_some_and(|lift| (0.4..2.5).contains(&lift)) {
                self.steps[i].second_pull = None;
            }
        }
    }
}

/// Noise above which not even the median of half a second would know the level to 0.05 % (the SD of the
/// median of n gaussian values is 1.25/√n, and level and zero each have one): no instrument could be held
/// to 0.2 % there. It binds at slow sampling only, where real bridge converters are quiet too.
fn noise_most_kn(limit_kn: f64, rate_hz: u32) -> f64 {
    let samples = 0.5 * f64::from(rate_hz);
    0.0005 * limit_kn * libm::sqrt(samples / 2.0) / 1.25
}

fn random_rig(dice: &mut Dice, limit_kn: f64) -> Rig {
    let rate_hz = dice.pick(&RATES_HZ);
    let bits = dice.pick(&[16, 24, 24]);
    let counts_per_kn = if bits == 16 { dice.between(80.0, 120.0) } else { dice.between(5000.0, 20_000.0) };
    let hum = dice.chance(0.4);
    let spikes = dice.chance(0.3);
    Rig {
        serial: "VR-0001".to_owned(),
        firmware: "virtual-rig".to_owned(),
        bits,
        counts_per_kn,
        range_kn: 250.0,
        rates_hz: RATES_HZ.to_vec(),
        rate_hz,
        tick_rate_hz: 1_000_000,
        noise_kn: dice.log_between(0.003, noise_most_kn(limit_kn, rate_hz).min(0.3)),
        hum_kn: if hum { dice.log_between(0.005, 0.1) } else { 0.0 },
        hum_hz: dice.pick(&[50.0, 60.0]),
        spikes_per_s: if spikes { dice.between(0.1, 1.0) } else { 0.0 },
        spike_kn: dice.between(30.0, 80.0),
        zero_kn: dice.between(-3.0, 3.0),
        zero_drift_kn_per_min: dice.between(-0.05, 0.05),
        ppm: dice.between(-100.0, 100.0),
        first_tick: if dice.chance(0.2) { 0xffff_fff0 - dice.between(0.0, 3e6) as u32 } else { 0 },
        averaging: None,
    }
}

/// A drive time away from the gates by at least a third of a second.
fn drive_s(dice: &mut Dice) -> f64 {
    loop {
        let drive_s = dice.between(1.4, 6.5);
        if GATES_S.iter().all(|gate_s| (drive_s - gate_s).abs() > 0.33) {
            return drive_s;
        }
    }
}

fn random_tool(dice: &mut Dice, limit_kn: f64, bolt: &Bolt, drive_s: f64) -> Tool {
    let blow_rate_hz = dice.log_between(8.0, 60.0);
    let by_energy = dice.chance(0.15);
    // The energy is chosen so that the first run ends near the limit asked for.
    let blows = drive_s * blow_rate_hz;
    let energy_j = limit_kn * limit_kn * core::f64::consts::PI * bolt.nut_factor * bolt.diameter_mm
        / (blows * bolt.pitch_mm * bolt.stiffness_kn_per_mm);
    let soft = dice.chance(0.5);
    Tool {
        name: "wrench A".to_owned(),
        drive: "3/4".to_owned(),
        blow_rate_hz,
        jitter_percent: dice.between(0.0, 5.0),
        torque_nm: (!by_energy).then_some(limit_kn * bolt.nut_factor * bolt.diameter_mm),
        energy_j: by_energy.then_some(energy_j),
        time_constant_s: dice.log_between(0.2, 1.5),
        step_scatter_percent: dice.between(0.0, 15.0),
        soft_start_blows: if soft { dice.between(2.0, 8.0) as u32 } else { 0 },
        soft_start_from: dice.between(0.2, 0.6),
        sag_percent_per_run: dice.between(0.0, 0.5),
        rise_ms: dice.between(0.5, 2.0),
        ringing_kn: limit_kn * dice.log_between(0.01, 0.12),
        ringing_scatter_percent: dice.between(0.0, 20.0),
        ringing_hz: dice.log_between(150.0, 2000.0),
        ringing_tau_ms: dice.between(1.0, 8.0),
        relaxation_percent: dice.between(0.0, 0.6),
        relaxation_s: dice.log_between(0.3, 5.0),
    }
}

fn random_step(dice: &mut Dice, scenario: &Scenario, tool: &Tool, drive_s: f64, last: bool) -> Step {
    let release = match (dice.between(0.0, 1.0), last) {
        (x, true) if x < 0.15 => Release::None,
        (x, _) if x < 0.4 => Release::Reverse,
        _ => Release::Smooth,
    };
    let pulled = dice.chance(0.2);
    let second_pull = pulled.then(|| second_pull(dice, scenario, tool));
    let knock = dice.chance(0.15).then(|| Knock {
        before_s: dice.between(0.8, 1.2),
        amplitude_kn: tool.ringing_kn * dice.between(0.3, 1.0),
    });
    Step {
        setup: dice.pick(&["direct", "extended"]).to_owned(),
        tool: tool.name.clone(),
        pause_s: dice.between(1.6, 2.5),
        drive_s,
        hold_s: dice.between(1.0, 2.0),
        second_pull,
        release,
        release_s: dice.between(0.2, 1.0),
        knock,
    }
}

/// A second pull after the announcement. Its lift is either at least three times what counts
/// as a re-pull, or its limit lies below the level already reached.
fn second_pull(dice: &mut Dice, scenario: &Scenario, tool: &Tool) -> SecondPull {
    let rate_hz = f64::from(scenario.rig.rate_hz);
    let noise_kn = Noise::of(scenario, rate_hz).lowpassed_kn;
    let needed = (24.0 * noise_kn / 20.0).max(0.03);
    let lifts = dice.chance(0.6) && needed < 0.25 && tool.torque_nm.is_some();
    let above = dice.between(1.05 + needed, 1.3);
    SecondPull {
        after_s: (8.0 / tool.blow_rate_hz).max(1.2) + dice.between(0.0, 1.5),
        drive_s: if lifts || tool.torque_nm.is_some() { dice.between(1.5, 3.0) } else { 2.0 },
        limit_ratio: if lifts { above.min(1.3) } else { 0.9 },
    }
}

fn setup(name: &str, chain: &[&str]) -> Setup {
    Setup {
        name: name.to_owned(),
        tool: None,
        chain: chain.iter().map(|piece| (*piece).to_owned()).collect(),
        contact_transmission: 0.985,
    }
}

fn shelf() -> Vec<Piece> {
    let drive = || "3/4".to_owned();
    vec![
        Piece {
            name: "socket".to_owned(),
            kind: PieceKind::Socket,
            drive_in: drive(),
            drive_out: None,
            length_mm: 52.0,
            mass_g: 390.0,
            transmission: 1.0,
        },
        Piece {
            name: "extension 75".to_owned(),
            kind: PieceKind::Extension,
            drive_in: drive(),
            drive_out: Some(drive()),
            length_mm: 75.0,
            mass_g: 410.0,
            transmission: 0.975,
        },
    ]
}
