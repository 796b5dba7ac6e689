//! The served device over a real pseudo-terminal.
//!
//! Speaks as a host does, by firmware-protocol/SPEC.md and the wire crate.
#![allow(clippy::unwrap_used, clippy::disallowed_methods)] // Test helpers fail by panicking, and wait by a clock.

mod common;

use boltscribe_wire as wire;
use common::{LIVELY_TOOL, STEP, quiet};
use std::fs::{File, OpenOptions};
use std::io::{ErrorKind, Read, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};
use virtual_rig::device::Protocol;
use virtual_rig::faults::FaultAt;
use virtual_rig::serve::{Control, Settings, serve};
use virtual_rig::{Scenario, render};
use wire::{Chunk, Deframer, Fault, Marks, Message, Start};

const PATIENCE: Duration = Duration::from_secs(20);

/// What a test needs of a message.
#[derive(Debug, Clone, PartialEq)]
enum Heard {
    Identity { scale: u16 },
    Samples { sequence: u16, tick: u32, step: u32, overrun: bool, counts: Vec<i32> },
    Status { tick: u32, dropped: u32 },
    Refusal { fault: Fault, about: u8, detail: u32 },
    WrongVersion,
    Damaged,
}

struct Rig {
    link: PathBuf,
    control: Option<Sender<Control>>,
    thread: Option<JoinHandle<()>>,
    told: Receiver<String>,
}

/// Passes whole lines on.
struct Lines(Sender<String>, Vec<u8>);

impl Write for Lines {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        for byte in bytes {
            if *byte == b'\n' {
                let _ = self.0.send(String::from_utf8(std::mem::take(&mut self.1)).unwrap());
            } else {
                self.1.push(*byte);
            }
        }
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

impl Rig {
    fn start(name: &str, scenario: Scenario, change: impl FnOnce(&mut Settings)) -> Self {
        let link = std::env::temp_dir().join(format!("vr-{}-{name}", std::process::id()));
        let mut settings = Settings {
            link: link.clone(),
            speed: 1.0,
            protocol: Protocol::Framed,
            rate_hz: scenario.rig.rate_hz,
            stepwise: false,
            looping: false,
            lossless: false,
            faults: Vec::new(),
        };
        change(&mut settings);
        let (control, commands) = channel();
        let (lines, told) = channel();
        let thread = std::thread::spawn(move || {
            serve(&scenario, &settings, &commands, &mut Lines(lines, Vec::new()), None).unwrap();
        });
        Self { link, control: Some(control), thread: Some(thread), told }
    }

    fn open(&self) -> Host {
        Host { port: open(&self.link), deframer: Deframer::new(), heard: Vec::new() }
    }

    fn go(&self) {
        self.control.as_ref().unwrap().send(Control::Go).unwrap();
    }

    fn told(&self) -> serde_json::Value {
        serde_json::from_str(&self.told.recv_timeout(PATIENCE).unwrap()).unwrap()
    }
}

impl Drop for Rig {
    fn drop(&mut self) {
        drop(self.control.take());
        let ended = self.thread.take().unwrap().join();
        if !std::thread::panicking() {
            ended.unwrap();
            assert!(!self.link.is_symlink(), "the link is taken away at the end");
        }
    }
}

fn open(link: &Path) -> File {
    let until = Instant::now() + PATIENCE;
    loop {
        let flags = rustix::fs::OFlags::NONBLOCK | rustix::fs::OFlags::NOCTTY;
        match OpenOptions::new().read(true).write(true).custom_flags(flags.bits() as i32).open(link) {
            Ok(file) => return file,
            Err(error) => assert!(Instant::now() < until, "{error}"),
        }
        std::thread::sleep(Duration::from_millis(2));
    }
}

struct Host {
    port: File,
    deframer: Deframer<{ wire::MAX_FRAME - 1 }>,
    heard: Vec<Heard>,
}

impl Host {
    fn say(&mut self, message: &Message<'_>) {
        let mut out = [0; wire::MAX_FRAME];
        self.port.write_all(wire::encode(message, &mut out).unwrap()).unwrap();
    }

    /// Reads what is there; false once the port is gone.
    fn listen(&mut self) -> bool {
        let mut bytes = [0; 4096];
        match self.port.read(&mut bytes) {
            Ok(0) => return false,
            Ok(count) => self.take(&bytes[..count]),
            Err(error) if error.kind() == ErrorKind::WouldBlock => {
                std::thread::sleep(Duration::from_millis(1));
            }
            Err(_) => return false,
        }
        true
    }

    fn take(&mut self, bytes: &[u8]) {
        let mut rest = bytes;
        while let Some(chunk) = self.deframer.push(&mut rest) {
            let Chunk::Frame(frame) = chunk else {
                self.heard.push(Heard::Damaged);
                continue;
            };
            if !frame.is_empty() {
                self.heard.push(understand(frame));
            }
        }
    }

    fn wait<T>(&mut self, what: &str, mut found: impl FnMut(&[Heard]) -> Option<T>) -> T {
        let until = Instant::now() + PATIENCE;
        loop {
            if let Some(value) = found(&self.heard) {
                return value;
            }
            assert!(Instant::now() < until, "waited in vain for {what}");
            assert!(self.listen(), "the port went away while waiting for {what}");
        }
    }

    fn wait_samples(&mut self, count: usize) {
        self.wait("samples", |heard| (samples(heard).len() >= count).then_some(()));
    }
}

fn understand(frame: &[u8]) -> Heard {
    let mut scratch = [0; wire::SCRATCH_LEN];
    match wire::decode(frame, &mut scratch) {
        Ok(Message::Identity(identity)) => Heard::Identity { scale: identity.time_scale },
        Ok(Message::Samples(samples)) => {
            let mut counts = vec![0; samples.count()];
            samples.unpack_into(&mut counts);
            Heard::Samples {
                sequence: samples.sequence,
                tick: samples.first_tick,
                step: samples.ticks_per_sample,
                overrun: samples.marks.contains(Marks::OVERRUN),
                counts,
            }
        }
        Ok(Message::Status(status)) => Heard::Status { tick: status.tick, dropped: status.dropped },
        Ok(Message::Refusal(r)) => Heard::Refusal { fault: r.fault, about: r.about_id, detail: r.detail },
        Ok(other) => panic!("a device never says {other:?}"),
        Err(wire::DecodeFault::Version(_)) => Heard::WrongVersion,
        Err(_) => Heard::Damaged,
    }
}

fn samples(heard: &[Heard]) -> Vec<i32> {
    heard
        .iter()
        .filter_map(|message| match message {
            Heard::Samples { counts, .. } => Some(counts.as_slice()),
            _ => None,
        })
        .flatten()
        .copied()
        .collect()
}

fn scenario(rate_hz: u32, rig: &str) -> Scenario {
    Scenario::from_toml(&quiet(rate_hz, rig, LIVELY_TOOL, STEP)).unwrap()
}

fn fault(text: &str) -> FaultAt {
    text.parse().unwrap()
}

#[test]
fn the_whole_conversation_is_held_over_a_terminal() {
    let played = scenario(2000, "noise_kN = 0.02");
    let expected = render(&played).counts;
    let rig = Rig::start("talk", played, |settings| settings.speed = 20.0);
    let mut host = rig.open();
    host.say(&Message::Identify);
    let scale = host.wait("identity", |heard| {
        heard.iter().find_map(|m| match m {
            Heard::Identity { scale } => Some(*scale),
            _ => None,
        })
    });
    assert_eq!(scale, 20);
    host.say(&Message::Start(Start { rate_hz: 1234 }));
    host.wait("refusal", |heard| {
        let refusal = Heard::Refusal { fault: Fault::RateNotOffered, about: wire::id::START, detail: 1234 };
        heard.contains(&refusal).then_some(())
    });
    host.say(&Message::Start(Start { rate_hz: 2000 }));
    host.wait_samples(6000);
    host.say(&Message::PollStatus);
    let (tick, dropped) = host.wait("status", |heard| {
        heard.iter().find_map(|m| match m {
            Heard::Status { tick, dropped } => Some((*tick, *dropped)),
            _ => None,
        })
    });
    assert!(tick >= 6000 * 500);
    assert_eq!(dropped, 0);
    let counts = samples(&host.heard);
    assert_eq!(counts[..], expected[..counts.len()]);
    host.say(&Message::Stop);
    // After the stop at most what was under way arrives, then nothing.
    std::thread::sleep(Duration::from_millis(200));
    while host.port.read(&mut [0; 4096]).is_ok_and(|count| count > 0) {}
    std::thread::sleep(Duration::from_millis(100));
    assert!(host.port.read(&mut [0; 16]).is_err_and(|error| error.kind() == ErrorKind::WouldBlock));
}

#[test]
fn unknown_and_badly_formed_messages_are_refused_and_damaged_ones_ignored() {
    let rig = Rig::start("refuse", scenario(2000, ""), |_| {});
    let mut host = rig.open();
    let stuffed = |body: &[u8]| {
        let mut whole = body.to_vec();
        whole.extend(wire::crc32(body).to_le_bytes());
        let mut out = vec![0; cobs::max_encoding_length(whole.len())];
        let used = cobs::encode(&whole, &mut out);
        out.truncate(used);
        out.push(0);
        out
    };
    host.port.write_all(b"rubbish\0").unwrap();
    host.port.write_all(&stuffed(&[1, 0xee])).unwrap();
    host.port.write_all(&stuffed(&[9, 0x81])).unwrap();
    host.port.write_all(&stuffed(&[1, wire::id::START, 7])).unwrap();
    let refusals = host.wait("three refusals", |heard| {
        let all: Vec<_> = heard.iter().filter(|m| matches!(m, Heard::Refusal { .. })).cloned().collect();
        (all.len() == 3).then_some(all)
    });
    let fault = |i: usize| match &refusals[i] {
        Heard::Refusal { fault, about, .. } => (*fault, *about),
        _ => unreachable!("only refusals were kept"),
    };
    assert_eq!(fault(0), (Fault::UnknownMessage, 0xee));
    assert_eq!(fault(1).0, Fault::WrongVersion);
    assert_eq!(fault(2), (Fault::BadLength, wire::id::START));
}

#[test]
fn ticks_wrap_and_stay_even() {
    let played = scenario(2000, "first_tick = 4294960000");
    let rig = Rig::start("wrap", played, |settings| settings.speed = 10.0);
    let mut host = rig.open();
    host.say(&Message::Start(Start { rate_hz: 2000 }));
    host.wait_samples(4000);
    let mut next = 4_294_960_000u32;
    let mut wrapped = false;
    for (i, message) in host.heard.iter().filter(|m| matches!(m, Heard::Samples { .. })).enumerate() {
        let Heard::Samples { sequence, tick, step, counts, .. } = message else {
            continue;
        };
        assert_eq!((usize::from(*sequence), *tick, *step), (i, next, 500));
        let (after, over) = next.overflowing_add(500 * counts.len() as u32);
        wrapped |= over;
        next = after;
    }
    assert!(wrapped);
}

#[test]
fn a_full_line_drops_samples_counts_them_and_marks_the_next_frame() {
    let rig = Rig::start("full", scenario(20_000, ""), |settings| settings.speed = 40.0);
    let mut host = rig.open();
    host.say(&Message::Start(Start { rate_hz: 20_000 }));
    host.wait_samples(1000);
    std::thread::sleep(Duration::from_millis(1500));
    let overrun =
        |heard: &[Heard]| heard.iter().position(|m| matches!(m, Heard::Samples { overrun: true, .. }));
    let at = host.wait("an overrun mark", overrun);
    host.say(&Message::PollStatus);
    let dropped = host.wait("status", |heard| {
        heard.iter().find_map(|m| match m {
            Heard::Status { dropped, .. } => Some(*dropped),
            _ => None,
        })
    });
    // The hole in the ticks before the marked frames is what the device says it dropped.
    let mut hole = 0u32;
    let mut next: Option<u32> = None;
    let mut sequence_next = 0u16;
    for message in &host.heard {
        let Heard::Samples { tick, step, counts, sequence, overrun, .. } = message else {
            continue;
        };
        let missing = next.map_or(0, |next| tick.wrapping_sub(next) / step);
        assert_eq!(missing > 0, *overrun, "a hole and its mark belong together");
        assert_eq!(*sequence, sequence_next, "dropped samples never were frames");
        hole += missing;
        next = Some(tick.wrapping_add(step * counts.len() as u32));
        sequence_next = sequence_next.wrapping_add(1);
    }
    assert!(at > 0 && hole > 0);
    assert!(dropped >= hole, "{dropped} {hole}");
}

#[test]
fn a_lossless_line_waits_instead() {
    let rig = Rig::start("lossless", scenario(20_000, ""), |settings| {
        settings.speed = 40.0;
        settings.lossless = true;
    });
    let mut host = rig.open();
    host.say(&Message::Start(Start { rate_hz: 20_000 }));
    host.wait_samples(1000);
    std::thread::sleep(Duration::from_millis(500));
    host.wait_samples(100_000);
    let mut next = 0;
    for message in &host.heard {
        if let Heard::Samples { tick, step, counts, overrun, .. } = message {
            assert_eq!((*tick, *overrun), (next, false));
            next = tick.wrapping_add(step * counts.len() as u32);
        }
    }
}

#[test]
fn a_port_that_hung_up_comes_back_under_its_link() {
    let rig = Rig::start("hang", scenario(2000, ""), |settings| {
        settings.faults = vec![fault("hang-up@0.3:300")];
    });
    let mut host = rig.open();
    let before = std::fs::read_link(&rig.link).unwrap();
    host.say(&Message::Start(Start { rate_hz: 2000 }));
    let until = Instant::now() + PATIENCE;
    while host.listen() {
        assert!(Instant::now() < until, "the port never went away");
    }
    assert!(samples(&host.heard).len() >= 300);
    let last_tick = host.heard.iter().rev().find_map(|m| match m {
        Heard::Samples { tick, .. } => Some(*tick),
        _ => None,
    });
    // Held open until now, so that the new terminal cannot have the old one's number.
    let mut again = rig.open();
    assert_ne!(std::fs::read_link(&rig.link).unwrap(), before);
    let (tick, overrun) = again.wait("samples after the gap", |heard| {
        heard.iter().find_map(|m| match m {
            Heard::Samples { tick, overrun, .. } => Some((*tick, *overrun)),
            _ => None,
        })
    });
    assert!(overrun && tick > last_tick.unwrap() + 200_000, "{tick} {last_tick:?}");
}

#[test]
fn a_reset_starts_ticks_from_zero_after_a_banner() {
    let rig = Rig::start("reset", scenario(2000, "first_tick = 77000"), |settings| {
        settings.faults = vec![fault("reset@0.3:50")];
    });
    let mut host = rig.open();
    host.wait("the first identity", |heard| {
        heard.iter().any(|m| matches!(m, Heard::Identity { .. })).then_some(())
    });
    host.say(&Message::Start(Start { rate_hz: 2000 }));
    host.wait("an identity nobody asked for", |heard| {
        (heard.iter().filter(|m| matches!(m, Heard::Identity { .. })).count() == 2).then_some(())
    });
    let first = host.heard.iter().find_map(|m| match m {
        Heard::Samples { tick, .. } => Some(*tick),
        _ => None,
    });
    assert_eq!(first, Some(77_000));
    let so_far = host.heard.len();
    host.say(&Message::Start(Start { rate_hz: 2000 }));
    let tick = host.wait("samples again", |heard| {
        heard[so_far..].iter().find_map(|m| match m {
            Heard::Samples { tick, sequence: 0, .. } => Some(*tick),
            _ => None,
        })
    });
    assert!(tick < 20_000_000, "{tick}");
}

#[test]
fn faults_of_the_line_cost_what_they_should() {
    let rig = Rig::start("faults", scenario(2000, ""), |settings| {
        settings.speed = 4.0;
        settings.faults = vec![
            fault("flip@0.4"),
            fault("drop-frames@0.8:2"),
            fault("duplicate@1.2"),
            fault("wrong-version@1.6"),
            fault("drop-bytes@2.0:5"),
            fault("garbage@2.4:50"),
        ];
    });
    let mut host = rig.open();
    host.say(&Message::Start(Start { rate_hz: 2000 }));
    let last = |heard: &[Heard]| {
        heard.iter().rev().find_map(|m| match m {
            Heard::Samples { sequence, .. } => Some(*sequence),
            _ => None,
        })
    };
    host.wait("120 frames", |heard| (last(heard)? >= 120).then_some(()));
    let sequences: Vec<u16> = host
        .heard
        .iter()
        .filter_map(|m| match m {
            Heard::Samples { sequence, .. } => Some(*sequence),
            _ => None,
        })
        .collect();
    assert_eq!(host.heard.iter().filter(|m| **m == Heard::WrongVersion).count(), 1);
    let twice = sequences.windows(2).filter(|pair| pair[0] == pair[1]).count();
    assert_eq!(twice, 1);
    let missing = usize::from(sequences[sequences.len() - 1]) + 1 - (sequences.len() - twice);
    // Two dropped, one each for wrong version and lost bytes; the flip costs one or, where it
    // makes or breaks a delimiter, two; so does the garbage, at most one.
    assert!((5..=7).contains(&missing), "{missing}");
    assert!(host.heard.iter().any(|m| matches!(m, Heard::Samples { overrun: false, .. })));
    assert!(!host.heard.iter().any(|m| matches!(m, Heard::Samples { overrun: true, .. })));
}

#[test]
fn lines_come_at_the_rate_after_a_banner() {
    let played = scenario(500, "");
    let expected = render(&played).counts;
    let rig = Rig::start("lines", played, |settings| {
        settings.protocol = Protocol::Lines("tick-counts".parse().unwrap());
        settings.speed = 2.0;
    });
    let mut host = rig.open();
    let mut text = Vec::new();
    let until = Instant::now() + PATIENCE;
    while text.iter().filter(|byte| **byte == b'\n').count() < 1000 {
        assert!(Instant::now() < until);
        let mut bytes = [0; 4096];
        match host.port.read(&mut bytes) {
            Ok(count) => text.extend_from_slice(&bytes[..count]),
            Err(_) => std::thread::sleep(Duration::from_millis(1)),
        }
    }
    let text = String::from_utf8(text).unwrap();
    let mut lines = text.split("\r\n");
    assert!(lines.next().unwrap().contains("simulated"));
    assert_eq!(lines.next(), Some("boot ok"));
    let lines: Vec<&str> = lines.take(990).collect();
    assert_eq!(lines.len(), 990);
    for (i, line) in lines.into_iter().enumerate() {
        assert_eq!(line, format!("{},{}", 2000 * i, expected[i]));
    }
}

#[test]
fn stepwise_tells_the_next_step_and_waits_for_leave() {
    let rest = format!("{STEP}{}", STEP.replace("direct", "bent"));
    let played = Scenario::from_toml(&quiet(2000, "", LIVELY_TOOL, &rest)).unwrap();
    let rig = Rig::start("steps", played, |settings| {
        settings.stepwise = true;
        settings.speed = 40.0;
    });
    let next = rig.told();
    assert_eq!(next["next"], serde_json::json!({"step": 0, "setup": "direct", "tool": "tool"}));
    let mut host = rig.open();
    host.say(&Message::Start(Start { rate_hz: 2000 }));
    host.wait_samples(8000);
    assert!(samples(&host.heard).iter().all(|count| count.abs() < 1000), "idle until told to go");
    assert!(rig.told.try_recv().is_err());
    let (reader_stop, stop) = channel::<()>();
    let reader = std::thread::spawn(move || while stop.try_recv().is_err() && host.listen() {});
    for (step, setup) in [(0, "direct"), (1, "bent")] {
        rig.go();
        let done = rig.told();
        assert_eq!(done["done"]["step"], step);
        assert_eq!(done["done"]["truth"]["setup"], setup);
        assert!(done["done"]["truth"]["held_kN"].as_f64().unwrap() > 50.0);
        let after = rig.told();
        if step == 0 {
            assert_eq!(after["next"]["step"], 1);
        } else {
            assert_eq!(after, serde_json::json!({"end": true}));
        }
    }
    reader_stop.send(()).unwrap();
    reader.join().unwrap();
}
