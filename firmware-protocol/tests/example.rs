//! The example firmware holds the conversation of SPEC.md section 7 with this crate (`c/example.c`).
//!
//! It runs on a pretend board, over pipes and over a pseudo-terminal. Its samples are a ramp whose value follows
//! from the number since Start, so every count can be told from its tick, also behind a hole. Nothing here is
//! timed: a wait only ends a test that would hang.
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stderr)]

#[path = "support/cc.rs"]
mod cc;

use boltscribe_wire::*;
use std::io::{BufRead, BufReader, Read, Write};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::time::Duration;

const PATIENCE: Duration = Duration::from_secs(60);

/// A host's end of the line to a running example.
struct Host {
    child: Child,
    send: Option<Box<dyn Write>>,
    frames: Receiver<Vec<u8>>,
    /// A token lets the reader read on.
    go: SyncSender<()>,
}

/// What a samples frame said.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Piece {
    sequence: u16,
    first_tick: u32,
    step: u32,
    marks: Marks,
    counts: Vec<i32>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
enum Heard {
    Identity { serial: String, rates_hz: Vec<u32>, count_max: i32, tick_rate_hz: u32 },
    Samples(Piece),
    Status(Status),
    Refusal(Refusal),
}

fn heard(frame: &[u8]) -> Heard {
    let mut scratch = [0; SCRATCH_LEN];
    match decode(frame, &mut scratch).unwrap_or_else(|fault| panic!("the example sent {frame:02x?}: {fault}"))
    {
        Message::Identity(identity) => Heard::Identity {
            serial: identity.serial.to_owned(),
            rates_hz: identity.rates_hz.as_slice().to_vec(),
            count_max: identity.count_max,
            tick_rate_hz: identity.tick_rate_hz,
        },
        Message::Samples(samples) => {
            let mut counts = vec![0; samples.count()];
            samples.unpack_into(&mut counts);
            Heard::Samples(Piece {
                sequence: samples.sequence,
                first_tick: samples.first_tick,
                step: samples.ticks_per_sample,
                marks: samples.marks,
                counts,
            })
        }
        Message::Status(status) => Heard::Status(status),
        Message::Refusal(refusal) => Heard::Refusal(refusal),
        other => panic!("a device sent {other:?}"),
    }
}

/// Reads frames while it is let; the first read waits for a token as well.
fn listen(mut line: impl Read + Send + 'static) -> (Receiver<Vec<u8>>, SyncSender<()>) {
    let (found, frames) = sync_channel(100_000);
    let (go, may) = sync_channel::<()>(1);
    std::thread::spawn(move || {
        let mut deframer = Deframer::<{ MAX_FRAME - 1 }>::new();
        let mut bytes = [0; 4096];
        if may.recv().is_err() {
            return;
        }
        while let Ok(count @ 1..) = line.read(&mut bytes) {
            let mut rest = &bytes[..count];
            while let Some(chunk) = deframer.push(&mut rest) {
                let Chunk::Frame(frame) = chunk else { panic!("overlong frame") };
                if !frame.is_empty() && found.send(frame.to_vec()).is_err() {
                    return;
                }
            }
            // A host that holds its token back leaves the line full.
            if let Ok(()) = may.try_recv()
                && may.recv().is_err()
            {
                return;
            }
        }
    });
    (frames, go)
}

impl Host {
    fn over_pipes(flags: &[&str], name: &str) -> Host {
        let mut child = Command::new(cc::compile("example.c", name, flags))
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let (frames, go) = listen(child.stdout.take().unwrap());
        go.send(()).unwrap();
        let send: Option<Box<dyn Write>> = Some(Box::new(child.stdin.take().unwrap()));
        Host { child, send, frames, go }
    }

    fn over_a_terminal() -> Host {
        let mut child = Command::new(cc::compile("example.c", "example-pty", &["-O2"]))
            .arg("pty")
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut name = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut name).unwrap();
        let line = std::fs::OpenOptions::new().read(true).write(true).open(name.trim()).unwrap();
        let (frames, go) = listen(line.try_clone().unwrap());
        go.send(()).unwrap();
        Host { child, send: Some(Box::new(line)), frames, go }
    }

    /// Stops reading, or reads on: the second call undoes the first.
    fn pause_or_go_on(&self) {
        self.go.send(()).unwrap();
    }

    fn say(&mut self, message: Message<'_>) {
        let mut out = [0; MAX_FRAME];
        let frame = encode(&message, &mut out).unwrap();
        self.say_bytes(frame);
    }

    fn say_bytes(&mut self, bytes: &[u8]) {
        let send = self.send.as_mut().unwrap();
        send.write_all(bytes).unwrap();
        send.flush().unwrap();
    }

    /// A body with a right checksum, whatever it says.
    fn say_body(&mut self, body: &[u8]) {
        let raw = [body, &crc32(body).to_le_bytes()].concat();
        let mut frame = vec![0; raw.len() + 10];
        let len = cobs::try_encode(&raw, &mut frame).unwrap();
        frame.truncate(len);
        frame.push(DELIMITER);
        self.say_bytes(&frame);
    }

    fn next(&self) -> Heard {
        let frame = self.frames.recv_timeout(PATIENCE);
        heard(&frame.unwrap_or_else(|error| panic!("the example fell silent: {error}")))
    }

    fn next_piece(&self) -> Piece {
        match self.next() {
            Heard::Samples(piece) => piece,
            other => panic!("samples were expected, found {other:?}"),
        }
    }

    /// The next that is no samples, and the samples before it.
    fn answer(&self) -> (Vec<Piece>, Heard) {
        let mut pieces = Vec::new();
        loop {
            match self.next() {
                Heard::Samples(piece) => pieces.push(piece),
                other => return (pieces, other),
            }
        }
    }
}

impl Drop for Host {
    fn drop(&mut self) {
        drop(self.child.kill());
        drop(self.child.wait());
    }
}

fn identity() -> Heard {
    Heard::Identity {
        serial: "EXAMPLE-0001".to_owned(),
        rates_hz: vec![80, 2000, 10_000, 20_000],
        count_max: 8_388_607,
        tick_rate_hz: 1_000_000,
    }
}

/// The example's ramp.
fn ramp(n: u32) -> i32 {
    (i32::try_from(n % 1024).unwrap() * 10_000).min(8_388_607)
}

/// Checks frames from Start on: sequence, counts told from ticks, marks; answers the samples that are missing.
fn check(pieces: &[Piece], step: u32) -> u32 {
    let origin = pieces[0].first_tick;
    let (mut due, mut missing) = (origin, 0);
    for (at, piece) in pieces.iter().enumerate() {
        assert_eq!(usize::from(piece.sequence), at);
        assert_eq!(piece.step, step);
        let hole = piece.first_tick.wrapping_sub(due);
        assert_eq!(hole % step, 0);
        assert_eq!(piece.marks.contains(Marks::OVERRUN), hole != 0, "frame {at}");
        missing += hole / step;
        let first = piece.first_tick.wrapping_sub(origin) / step;
        let expected: Vec<i32> = (first..).take(piece.counts.len()).map(ramp).collect();
        assert_eq!(piece.counts, expected, "frame {at}");
        let saturated = expected.contains(&8_388_607);
        assert_eq!(piece.marks.contains(Marks::SATURATED), saturated, "frame {at}");
        due = piece.first_tick.wrapping_add(step * u32::try_from(piece.counts.len()).unwrap());
    }
    missing
}

fn converse(mut host: Host) {
    assert_eq!(host.next(), identity(), "after boot the device says who it is, unasked");
    host.say_bytes(&[DELIMITER]);
    host.say(Message::Identify);
    assert_eq!(host.next(), identity());

    host.say(Message::Start(Start { rate_hz: 2000 }));
    let mut pieces: Vec<Piece> = (0..80).map(|_| host.next_piece()).collect();
    host.say(Message::PollStatus);
    let (before, status) = host.answer();
    pieces.extend(before);
    let Heard::Status(status) = status else { panic!("{status:?}") };
    assert_eq!((status.dropped, status.channel_values[0], status.supply_mV), (0, Some(2150), None));
    assert_eq!(check(&pieces, 500), 0);
    let ticks: Vec<u32> = pieces.iter().map(|piece| piece.first_tick).collect();
    assert!(ticks.is_sorted_by(|a, b| b.wrapping_sub(*a) < 1 << 31));
    assert!(
        pieces.iter().any(|piece| piece.marks.contains(Marks::SATURATED)),
        "the ramp never reached its end"
    );

    // A Start while sampling begins anew: at most frames of the first are left before it.
    host.say(Message::Start(Start { rate_hz: 10_000 }));
    let mut anew = loop {
        let piece = host.next_piece();
        if piece.step == 100 {
            break vec![piece];
        }
    };
    anew.extend((0..20).map(|_| host.next_piece()));
    assert_eq!(check(&anew, 100), 0);

    host.say(Message::Stop);
    host.say(Message::PollStatus);
    let (_, status) = host.answer();
    assert!(matches!(status, Heard::Status(_)));
    host.say(Message::Identify);
    assert_eq!(host.next(), identity(), "after Stop no samples come");
    refusals(&mut host);
}

/// What cannot be carried out is refused by number; damage and echoes are answered by nothing.
fn refusals(host: &mut Host) {
    let refused = |host: &Host, fault, about_id, detail| {
        assert_eq!(host.next(), Heard::Refusal(Refusal { fault, about_id, detail }));
    };
    host.say(Message::Start(Start { rate_hz: 12_345 }));
    refused(host, Fault::RateNotOffered, id::START, 12_345);
    host.say_body(&[1, 0x85]);
    refused(host, Fault::UnknownMessage, 0x85, 0);
    host.say_body(&[1, 0x7F, 9, 9, 9]);
    refused(host, Fault::UnknownMessage, 0x7F, 0);
    host.say_body(&[2, 0x81]);
    refused(host, Fault::WrongVersion, 0x81, 1);
    host.say_body(&[1, id::START, 1, 2, 3]);
    refused(host, Fault::BadLength, id::START, 5);
    host.say_body(&[1, id::START, 0, 0, 0, 0]);
    refused(host, Fault::BadValue, id::START, 2);
    // Two at once are answered one after the other.
    let mut two = [0; 2 * MAX_FRAME];
    let first = encode(&Message::PollStatus, &mut two).unwrap().len();
    let second = encode(&Message::Identify, &mut two[first..]).unwrap().len();
    host.say_bytes(&two[..first + second]);
    assert!(matches!(host.next(), Heard::Status(_)));
    assert_eq!(host.next(), identity());

    // A wrong checksum, a frame too long for its buffer, its own messages come back: nothing.
    host.say_bytes(&[7, 1, 0x81, 8, 0x90, 0x7D, 0xC2, 1, 0]);
    host.say_bytes(&[[7; 300].as_slice(), &[0]].concat());
    host.say(Message::Refusal(Refusal { fault: Fault::BadLength, about_id: 3, detail: 4 }));
    host.say_body(&[1, id::STATUS, 1]);
    host.say(Message::Identify);
    assert_eq!(host.next(), identity(), "only the last of five had an answer");
}

#[test]
fn the_example_holds_the_conversation_over_pipes() {
    converse(Host::over_pipes(&["-O2"], "example"));
}

#[test]
fn the_example_holds_the_conversation_under_the_sanitizers() {
    converse(Host::over_pipes(cc::sanitizers().unwrap_or(&["-O0"]), "example-sanitized"));
}

#[test]
fn the_example_holds_the_conversation_over_a_pseudo_terminal() {
    converse(Host::over_a_terminal());
}

#[test]
fn ticks_of_the_example_wrap_and_nothing_is_lost() {
    let mut host = Host::over_pipes(&["-O2"], "example-wrap");
    assert_eq!(host.next(), identity());
    host.say(Message::Start(Start { rate_hz: 2000 }));
    let pieces: Vec<Piece> = (0..60).map(|_| host.next_piece()).collect();
    assert_eq!(check(&pieces, 500), 0);
    // The pretend board boots 65,536 ticks before the wrap; a slow start of this test may have slept through it.
    let (first, last) = (pieces[0].first_tick, pieces[59].first_tick);
    assert!(last < 1 << 31, "after {first} and 60 frames the tick is {last}");
}

#[test]
fn a_slow_host_costs_whole_samples_that_are_counted_marked_and_told_by_the_ticks() {
    let mut host = Host::over_pipes(&["-O2"], "example-slow-host");
    assert_eq!(host.next(), identity());
    host.say(Message::Start(Start { rate_hz: 20_000 }));
    let mut pieces = Vec::new();
    // Not reading fills the pipe, then the ring. How long that takes is the system's affair: try longer until it did.
    for attempt in 1..=8 {
        host.pause_or_go_on();
        std::thread::sleep(Duration::from_secs(2 * attempt));
        host.pause_or_go_on();
        for _ in 0..400 {
            pieces.push(host.next_piece());
        }
        if pieces.iter().any(|piece| piece.marks.contains(Marks::OVERRUN)) {
            break;
        }
    }
    host.say(Message::PollStatus);
    let (before, status) = host.answer();
    pieces.extend(before);
    let missing_before = check(&pieces, 50);
    // What was in the ring when the status was made comes after it.
    let mut ring = 0;
    while ring < 1024 {
        pieces.push(host.next_piece());
        ring += pieces.last().unwrap().counts.len();
    }
    let missing_after = check(&pieces, 50);
    let Heard::Status(status) = status else { panic!("{status:?}") };
    assert!(missing_before > 0, "no sample was dropped");
    assert!(
        (missing_before..=missing_after).contains(&status.dropped),
        "{missing_before} <= {} <= {missing_after}",
        status.dropped
    );
}

#[test]
fn the_example_ends_when_its_line_does() {
    let mut host = Host::over_pipes(&["-O2"], "example-end");
    assert_eq!(host.next(), identity());
    drop(host.send.take());
    assert!(host.child.wait().unwrap().success());
}
