//! The loop that keeps a device and a port in step with the wall clock.
//!
//! Samples leave in packets when their time has come: elapsed time x speed x the error of the
//! device's clock. Faults of the device are carried out here. In stepwise mode each step is
//! told before it starts and waits for leave; what is done is told with its truth. This is the
//! only file with a clock.

use crate::device::{Device, Protocol};
use crate::faults::{FaultAt, FaultKind, Schedule};
use crate::pty::{Port, PortError};
use crate::scenario::{Release, Scenario};
use crate::stream::{Done, Pace};
use crate::talk::{Action, Listener};
use serde_json::json;
use std::io::Write;
use std::path::PathBuf;
use std::sync::mpsc::{Receiver, TryRecvError};
use std::time::{Duration, Instant};

/// Said wherever numbers of a virtual rig leave it.
pub const SIMULATED: &str = "simulated data: every number here is invented";

/// How to serve.
#[derive(Debug, Clone)]
pub struct Settings {
    /// Where the port's stable link stands.
    pub link: PathBuf,
    /// Device seconds a wall second, 0.01..=1000.
    pub speed: f64,
    /// How the device talks.
    pub protocol: Protocol,
    /// Sampling rate of `lines`; a framed device takes the host's.
    pub rate_hz: u32,
    /// Whether each step waits for leave.
    pub stepwise: bool,
    /// Whether the scenario starts over after its last step.
    pub looping: bool,
    /// Whether a full line makes the device wait instead of dropping samples.
    pub lossless: bool,
    /// Faults besides the scenario's.
    pub faults: Vec<FaultAt>,
}

/// What the one who runs the rig says to it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Control {
    /// The waiting step may start.
    Go,
    /// A step starts out of its turn.
    GoTo(usize),
    /// Stop serving.
    Quit,
}

/// Why serving ended.
#[derive(Debug, thiserror::Error)]
pub enum ServeError {
    /// The port failed.
    #[error(transparent)]
    Port(#[from] PortError),
    /// The truth or the steps cannot be written.
    #[error("cannot write what was played: {0}")]
    Write(#[from] std::io::Error),
    /// A setting cannot be used.
    #[error("cannot serve: {0}")]
    Setting(String),
}

/// Serves a scenario until told to quit, or until the control's other end is gone.
///
/// `steps` gets the lines of the stepwise mode, `truth` one JSON object a run after a head.
///
/// # Errors
/// The port or a file failed, or a setting cannot be used.
pub fn serve<'a>(
    scenario: &'a Scenario,
    settings: &'a Settings,
    control: &Receiver<Control>,
    steps: &'a mut dyn Write,
    truth: Option<&'a mut dyn Write>,
) -> Result<(), ServeError> {
    check(scenario, settings)?;
    let mut server = Server::new(scenario, settings, steps, truth)?;
    loop {
        match control.try_recv() {
            Ok(Control::Go) => server.device.go(),
            Ok(Control::GoTo(step)) => {
                if !server.device.go_to(step) {
                    return Err(ServeError::Setting(format!(
                        "go: expected a step from 0 to {} while samples flow, found {step}",
                        scenario.steps.len().saturating_sub(1)
                    )));
                }
            }
            Ok(Control::Quit) | Err(TryRecvError::Disconnected) => return Ok(()),
            Err(TryRecvError::Empty) => {}
        }
        server.turn()?;
    }
}

fn check(scenario: &Scenario, settings: &Settings) -> Result<(), ServeError> {
    let refuse = |text: String| Err(ServeError::Setting(text));
    if !(0.01..=1000.0).contains(&settings.speed) {
        return refuse(format!("speed: expected 0.01 to 1000, found {}", settings.speed));
    }
    if !scenario.rig.rates_hz.contains(&settings.rate_hz) {
        let offered = &scenario.rig.rates_hz;
        return refuse(format!("rate: expected one of {offered:?} samples/s, found {}", settings.rate_hz));
    }
    if settings.looping && scenario.steps.last().is_some_and(|step| step.release == Release::None) {
        return refuse(
            "loop: expected a last step that releases the bolt, found release \"none\"".to_owned(),
        );
    }
    Ok(())
}

struct Server<'a> {
    scenario: &'a Scenario,
    settings: &'a Settings,
    steps: &'a mut dyn Write,
    truth: Option<&'a mut dyn Write>,
    device: Device,
    listener: Listener,
    port: Port,
    schedule: Schedule,
    /// When sample 0 was due.
    zero: Instant,
    stalled_until: Option<Instant>,
    away_until: Option<Instant>,
    booting_until: Option<Instant>,
    /// What it says after boot is lost.
    boots_quietly: bool,
    halted_until: Option<Instant>,
    told: Option<u64>,
    steps_done: u64,
    end_told: bool,
}

impl<'a> Server<'a> {
    fn new(
        scenario: &'a Scenario,
        settings: &'a Settings,
        steps: &'a mut dyn Write,
        mut truth: Option<&'a mut dyn Write>,
    ) -> Result<Self, ServeError> {
        let pace = if settings.stepwise { Pace::Stepwise } else { Pace::Free };
        let mut device = Device::new(scenario, settings.protocol, pace, settings.looping, settings.speed);
        let fastest = scenario.rig.rates_hz.iter().max().copied().unwrap_or(1);
        // A tenth of a second of the fastest stream, at least what any serial driver holds.
        let queue_max = (f64::from(fastest) * settings.speed * 0.4) as usize;
        let mut port = Port::open(&settings.link, queue_max.clamp(16 * 1024, 4 * 1024 * 1024))?;
        port.offer(&device.boot());
        if let Some(file) = &mut truth {
            let head = json!({
                "simulated": true, "note": SIMULATED, "scenario": scenario.name, "seed": scenario.seed,
            });
            writeln!(file, "{head}")?;
            file.flush()?;
        }
        if settings.protocol != Protocol::Framed {
            device.start(settings.rate_hz);
        }
        let faults = scenario.faults.iter().chain(&settings.faults).copied().collect();
        Ok(Self {
            scenario,
            settings,
            steps,
            truth,
            device,
            listener: Listener::new(&scenario.rig),
            port,
            schedule: Schedule::new(faults),
            zero: now(),
            stalled_until: None,
            away_until: None,
            booting_until: None,
            boots_quietly: false,
            halted_until: None,
            told: None,
            steps_done: 0,
            end_told: false,
        })
    }

    fn turn(&mut self) -> Result<(), ServeError> {
        self.come_back()?;
        self.faults()?;
        self.listen()?;
        self.sample()?;
        self.flush()?;
        self.tell()?;
        // While stalled there always is room, and nothing may use it.
        self.port.wait(self.next_wait(), self.stalled_until.is_none());
        Ok(())
    }

    /// Sample number that is due now.
    fn due(&self) -> u64 {
        let Some(stream) = self.device.stream() else {
            return 0;
        };
        let fast = 1.0 + self.scenario.rig.ppm * 1e-6;
        let wall_s = now().saturating_duration_since(self.zero).as_secs_f64();
        (wall_s * self.settings.speed * fast * stream.rate_hz()) as u64
    }

    fn next_wait(&self) -> Duration {
        const LONGEST: Duration = Duration::from_millis(20);
        let Some(stream) = self.device.stream() else {
            return LONGEST;
        };
        let blocked = self.settings.lossless && self.port.waiting() > 0;
        let wanted = stream.position() + self.device.packet_samples() as u64;
        let short = wanted.saturating_sub(self.due());
        let wait_s = short as f64 / (stream.rate_hz() * self.settings.speed);
        if blocked { LONGEST } else { Duration::from_secs_f64(wait_s).min(LONGEST) }
    }

    fn come_back(&mut self) -> Result<(), ServeError> {
        if passed(&mut self.away_until) {
            self.port.reopen()?;
            self.listener.reset();
        }
        if passed(&mut self.booting_until) {
            if !std::mem::take(&mut self.boots_quietly) {
                let boot = self.device.boot();
                self.port.offer(&boot);
            }
            if self.settings.protocol != Protocol::Framed {
                self.device.start(self.settings.rate_hz);
            }
        }
        passed(&mut self.stalled_until);
        passed(&mut self.halted_until);
        Ok(())
    }

    fn faults(&mut self) -> Result<(), ServeError> {
        let time_s = self.device.stream().map(|s| s.position() as f64 / s.rate_hz());
        while let Some(fault) = time_s.and_then(|time_s| self.schedule.due(time_s)) {
            let until = Some(now() + Duration::from_millis(u64::from(fault.amount())));
            match fault.kind {
                FaultKind::Stall => self.stalled_until = until,
                FaultKind::HangUp => {
                    self.port.hang_up();
                    self.away_until = until;
                }
                FaultKind::Halt => {
                    self.device.stop();
                    self.halted_until = until;
                }
                FaultKind::Reset | FaultKind::QuietReset => {
                    self.boots_quietly = fault.kind == FaultKind::QuietReset;
                    self.port.clear();
                    self.device.reset();
                    self.listener.reset();
                    self.booting_until = until;
                }
                _ => self.device.line.arm(fault),
            }
        }
        Ok(())
    }

    fn listen(&mut self) -> Result<(), ServeError> {
        let mut bytes = [0; 4096];
        let count = self.port.read(&mut bytes)?;
        let deaf = self.booting_until.is_some() || self.settings.protocol != Protocol::Framed;
        if count == 0 || deaf {
            return Ok(());
        }
        for action in self.listener.hear(&bytes[..count]) {
            let reply = match action {
                Action::Send(frame) => Some(frame),
                Action::Identify => self.device.identity(),
                Action::Status => self.device.status(),
                Action::Start(_) if self.halted_until.is_some() => None,
                Action::Start(rate_hz) => {
                    if self.device.start(rate_hz) {
                        self.zero = now();
                    }
                    None
                }
                Action::Stop => {
                    self.device.stop();
                    None
                }
            };
            if let Some(frame) = reply {
                // An answer that the line cannot take is lost; the host asks again.
                let frame = self.device.line.pass(frame);
                self.port.offer(&frame);
            }
        }
        Ok(())
    }

    fn sample(&mut self) -> Result<(), ServeError> {
        let due = self.due();
        // At most so many packets a turn, so that answers and faults are never far away.
        for _ in 0..256 {
            let Some(stream) = self.device.stream() else {
                return Ok(());
            };
            let after = stream.position() + self.device.packet_samples() as u64;
            let blocked = self.settings.lossless && self.device.sending() && self.port.waiting() > 0;
            if after > due || blocked {
                return Ok(());
            }
            let (packet, samples) = self.device.next_packet();
            if samples > 0 {
                let bytes = self.device.line.pass(packet);
                let taken = self.port.offer(&bytes);
                self.device.taken(taken, samples);
                self.flush()?;
            }
        }
        Ok(())
    }

    fn flush(&mut self) -> Result<(), ServeError> {
        if self.stalled_until.is_none() {
            self.port.flush()?;
        }
        Ok(())
    }

    fn tell(&mut self) -> Result<(), ServeError> {
        let done = self.device.stream_mut().map(crate::stream::Stream::take_done).unwrap_or_default();
        for Done { step, truth } in done {
            self.steps_done += 1;
            if let Some(file) = &mut self.truth {
                if let Some(truth) = &truth {
                    serde_json::to_writer(&mut *file, truth).map_err(std::io::Error::from)?;
                    writeln!(file)?;
                }
                file.flush()?;
            }
            if self.settings.stepwise {
                self.say(&json!({"done": {"step": step, "truth": truth}}))?;
            }
        }
        if !self.settings.stepwise {
            return Ok(());
        }
        let waiting = match self.device.stream() {
            Some(stream) => stream.waiting_step(),
            None => Some(0),
        };
        if let Some(step) = waiting
            && self.told != Some(self.steps_done)
        {
            self.told = Some(self.steps_done);
            let about = &self.scenario.steps[step];
            self.say(&json!({"next": {"step": step, "setup": about.setup, "tool": about.tool}}))?;
        }
        if !self.end_told && self.device.stream().is_some_and(crate::stream::Stream::finished) {
            self.end_told = true;
            self.say(&json!({"end": true}))?;
        }
        Ok(())
    }

    fn say(&mut self, line: &serde_json::Value) -> Result<(), ServeError> {
        writeln!(self.steps, "{line}")?;
        self.steps.flush()?;
        Ok(())
    }
}

/// Takes a time that has passed; false while there is none or it is to come.
fn passed(until: &mut Option<Instant>) -> bool {
    until.take_if(|until| now() >= *until).is_some()
}

#[allow(clippy::disallowed_methods)] // A device has a clock of its own; this is it.
fn now() -> Instant {
    Instant::now()
}
