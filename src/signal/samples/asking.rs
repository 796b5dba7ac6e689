//! What to ask a framed device next: who are you, start, how are you; again after silence.
//!
//! SPEC.md section 7 gives the conversation. Knows only the pipeline's clock. A Start begins sampling from its
//! beginning, so it is repeated only where the slowest device that SPEC.md allows would have delivered.

use crate::frames::{Frame, Identity, SampleFrame};
use boltscribe_model::time::MonoNs;
use boltscribe_wire::{Fault, MAX_FRAME, MAX_SAMPLES_24, Message, Start, encode, id};

const SECOND: u64 = 1_000_000_000;
/// Asked again while nobody answers; and the least time between two Starts.
const ASK_AGAIN_NS: u64 = SECOND / 2;
/// The status is polled this often.
const POLL_NS: u64 = SECOND;
/// Silence after which the device is asked who it is.
const SILENT_NS: u64 = 2 * SECOND;
/// A device may take this long from a Start to its first sample (SPEC.md section 7).
const SETTLE_NS: u64 = 2 * SECOND;
/// The wait for samples doubles with each Start up to this, unless the longest frame takes longer.
const PATIENCE_NS_MAX: u64 = 60 * SECOND;
/// Doublings after which any wait has passed `PATIENCE_NS_MAX`: 2 s × 2^5 = 64 s.
const DOUBLINGS_MAX: u32 = 5;

/// After a tick that does not follow, samples are waited for this long and for two frames more.
const FELL_NS: u64 = SECOND / 4;
/// A tick may run ahead of the host's clock by this much, and by as much again as time has passed, seconds:
/// bytes wait in queues.
const AHEAD_S: f64 = 10.0;

/// How long samples may take after a Start, as long as it was the first: settling, and filling the longest frame.
fn patience_ns(rate_hz: u32) -> u64 {
    SETTLE_NS + MAX_SAMPLES_24 as u64 * SECOND / u64::from(rate_hz.max(1))
}

/// Something to send.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ask {
    /// Who are you?
    Identify,
    /// Send samples at this rate.
    Start {
        /// Hertz.
        rate_hz: u32,
    },
    /// How are you?
    PollStatus,
}

impl Ask {
    /// The bytes to send.
    #[must_use]
    pub fn bytes(self) -> Vec<u8> {
        let message = match self {
            Self::Identify => Message::Identify,
            Self::Start { rate_hz } => Message::Start(Start { rate_hz }),
            Self::PollStatus => Message::PollStatus,
        };
        let mut out = [0; MAX_FRAME];
        encode(&message, &mut out).map(<[u8]>::to_vec).unwrap_or_default()
    }
}

/// The state of the conversation with a framed device.
#[derive(Clone, Debug)]
pub struct Asking {
    wanted_hz: Option<f64>,
    up: bool,
    rate_hz: Option<u32>,
    asked: Option<MonoNs>,
    polled: Option<MonoNs>,
    heard: MonoNs,
    /// When Start was sent last.
    started: Option<MonoNs>,
    /// When it is due, whatever the patience.
    due: Option<MonoNs>,
    /// Starts in vain since the device said who it is, or sampled for as long as is waited for a first sample.
    vain: u32,
    /// When samples came last since a Start.
    sampled: Option<MonoNs>,
    /// The longest frame of samples yet, device time.
    frame_ns: u64,
    ticks_per_s: f64,
    /// Tick of the last status, and when it came.
    tick: Option<(MonoNs, u32)>,
    /// Said already that the device sends no samples.
    told: bool,
}

impl Asking {
    /// `wanted_hz`: the configured rate; none: the highest offered.
    #[must_use]
    pub fn new(wanted_hz: Option<f64>) -> Self {
        Self {
            wanted_hz,
            up: false,
            rate_hz: None,
            asked: None,
            polled: None,
            heard: MonoNs(0),
            started: None,
            due: None,
            vain: 0,
            sampled: None,
            frame_ns: 0,
            ticks_per_s: f64::INFINITY,
            tick: None,
            told: false,
        }
    }

    /// The port came or went.
    pub fn link(&mut self, at: MonoNs, up: bool) {
        self.up = up;
        self.rate_hz = None;
        self.asked = None;
        self.polled = None;
        self.heard = at;
        self.tick = None;
        self.told = false;
        self.forget_start();
    }

    fn forget_start(&mut self) {
        self.started = None;
        self.due = None;
        self.vain = 0;
        self.sampled = None;
    }

    /// A good frame was heard.
    pub fn heard(&mut self, at: MonoNs, frame: &Frame<'_>) {
        self.heard = at;
        match frame {
            Frame::Samples(samples) => self.sampled(at, samples),
            Frame::Status(status) => self.status(at, status.tick),
            _ => {}
        }
    }

    fn sampled(&mut self, at: MonoNs, samples: &SampleFrame<'_>) {
        self.sampled = Some(at);
        self.due = None;
        let length_s = samples.counts.len() as f64 * f64::from(samples.ticks_per_sample) / self.ticks_per_s;
        self.frame_ns = self.frame_ns.max((length_s * SECOND as f64) as u64).min(PATIENCE_NS_MAX);
        let proven = |started: MonoNs| self.rate_hz.is_some_and(|r| at.since_ns(started) >= patience_ns(r));
        if self.started.is_some_and(proven) {
            self.vain = 0;
            self.told = false;
        }
    }

    /// A status tells a restart whose Identity was lost: its tick is behind the one before, or far ahead.
    /// Samples that come all the same prove it wrong.
    fn status(&mut self, at: MonoNs, tick: u32) {
        let Some((before, old)) = self.tick.replace((at, tick)) else { return };
        let moved = tick.wrapping_sub(old) as i32;
        let most_s = 2.0 * at.since_ns(before) as f64 / SECOND as f64 + AHEAD_S;
        let follows = moved >= 0 && f64::from(moved) <= most_s * self.ticks_per_s;
        if !follows && self.started.is_some() && self.due.is_none() {
            self.due = Some(MonoNs(at.0 + FELL_NS + 2 * self.frame_ns));
        }
    }

    /// The longest frame of samples yet, nanoseconds of the wall.
    #[must_use]
    pub fn frame_ns(&self) -> u64 {
        self.frame_ns
    }

    /// The device refused a message: where it is a Start and it says how long it needs, it is asked again then.
    pub fn refused(&mut self, at: MonoNs, about: u8, fault: u16, detail: u32) {
        let wait_ns = (u64::from(detail) * 1_000_000).clamp(ASK_AGAIN_NS, PATIENCE_NS_MAX);
        let not_ready = about == id::START && fault == Fault::NotReady.number();
        if not_ready && detail > 0 && self.sampled.is_none() {
            self.due = Some(MonoNs(at.0 + wait_ns));
        }
    }

    /// The device said who it is: the rate to start with, and what was wrong with the wish, if anything.
    pub fn identified(&mut self, at: MonoNs, identity: &Identity) -> (Option<Ask>, Option<String>) {
        let rates_hz = identity.rates_hz.as_slice();
        self.ticks_per_s = f64::from(identity.tick_rate_hz) * f64::from(identity.time_scale);
        self.frame_ns = 0;
        let highest = rates_hz.iter().copied().max();
        // By ratio: between 80/s and 4000/s a wish of 1000/s is nearer to the one that still sees blows.
        let away = |rate_hz: u32, wish_hz: f64| libm::log(f64::from(rate_hz) / wish_hz).abs();
        let nearest = |wish_hz: f64| {
            rates_hz.iter().copied().min_by(|a, b| away(*a, wish_hz).total_cmp(&away(*b, wish_hz)))
        };
        self.rate_hz = self.wanted_hz.map_or(highest, nearest);
        let replaced = self.wanted_hz.filter(|w| !rates_hz.contains(&(w.round() as u32)));
        let complaint = replaced.map(|w| {
            let used = self.rate_hz.map_or_else(
                || "no rate is used".to_owned(),
                |used| format!("{used}/s is used, the nearest by ratio"),
            );
            format!("rate_hz = {w} is not offered: expected one of {rates_hz:?}; {used}")
        });
        self.heard = at;
        let recent = self.started.filter(|started| at.since_ns(*started) < ASK_AGAIN_NS);
        self.forget_start();
        if let Some(started) = recent {
            // A boot and an answer give two identities within a moment: one Start is enough, if samples follow it.
            self.started = Some(started);
            self.due = Some(MonoNs(started.0 + ASK_AGAIN_NS));
            return (None, complaint);
        }
        (self.rate_hz.map(|rate_hz| self.start(at, rate_hz)), complaint)
    }

    fn start(&mut self, at: MonoNs, rate_hz: u32) -> Ask {
        self.started = Some(at);
        self.due = None;
        Ask::Start { rate_hz }
    }

    /// Time passes: what is to be sent now.
    pub fn tick(&mut self, at: MonoNs) -> Option<Ask> {
        if !self.up {
            return None;
        }
        if self.rate_hz.is_some() && at.since_ns(self.heard) > SILENT_NS {
            self.rate_hz = None;
            self.asked = None;
        }
        match self.rate_hz {
            None if self.asked.is_none_or(|asked| at.since_ns(asked) >= ASK_AGAIN_NS) => {
                self.asked = Some(at);
                Some(Ask::Identify)
            }
            Some(rate_hz) if self.start_is_due(at, rate_hz) => {
                self.vain += 1;
                Some(self.start(at, rate_hz))
            }
            Some(_) if self.polled.is_none_or(|polled| at.since_ns(polled) >= POLL_NS) => {
                self.polled = Some(at);
                Some(Ask::PollStatus)
            }
            _ => None,
        }
    }

    fn start_is_due(&self, at: MonoNs, rate_hz: u32) -> bool {
        let recent = self.started.is_some_and(|started| at.since_ns(started) < ASK_AGAIN_NS);
        match (self.due, self.started.max(self.sampled)) {
            _ if recent => false,
            (Some(due), _) => at >= due,
            (None, last) => last.is_none_or(|last| at.since_ns(last) >= self.wait_ns(rate_hz)),
        }
    }

    /// After a Start that was repeated: what to say of it, once for as long as samples do not flow steadily.
    pub fn complaint(&mut self, at: MonoNs) -> Option<String> {
        let rate_hz = self.rate_hz.filter(|_| !std::mem::replace(&mut self.told, true))?;
        let since = self.sampled.map_or_else(
            || "the device has sent no samples since it was started".to_owned(),
            |last| format!("no samples came for {:.1} s", at.since_ns(last) as f64 / SECOND as f64),
        );
        let next_s = self.wait_ns(rate_hz) as f64 / SECOND as f64;
        Some(format!(
            "{since}, though it answers: it is started again, and as long as none come again after {next_s:.1} s, then \
             after twice as long each time up to 60 s"
        ))
    }

    /// How long samples are waited for now.
    fn wait_ns(&self, rate_hz: u32) -> u64 {
        let first = patience_ns(rate_hz);
        (first << self.vain.min(DOUBLINGS_MAX)).min(PATIENCE_NS_MAX.max(first))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn identity(rates_hz: &[u32]) -> Identity {
        Identity {
            serial: "T".into(),
            firmware: "t".into(),
            adc_bits: 24,
            count_min: -8_388_608,
            count_max: 8_388_607,
            tick_rate_hz: 1_000_000,
            time_scale: 1,
            simulated: false,
            rates_hz: rates_hz.to_vec(),
            channels: Vec::new(),
        }
    }

    #[test]
    fn a_device_is_identified_started_polled_and_asked_again_after_silence() {
        let mut a = Asking::new(Some(2000.0));
        let ms = |n: u64| MonoNs(n * 1_000_000);
        assert_eq!(a.tick(ms(0)), None);
        a.link(ms(0), true);
        assert_eq!(a.tick(ms(1)), Some(Ask::Identify));
        assert_eq!(a.tick(ms(50)), None);
        assert_eq!(a.tick(ms(600)), Some(Ask::Identify));
        assert_eq!(
            a.identified(ms(620), &identity(&[500, 2000])),
            (Some(Ask::Start { rate_hz: 2000 }), None)
        );
        let samples = SampleFrame {
            first_tick: 0,
            sequence: 0,
            ticks_per_sample: 500,
            saturated: false,
            overrun: false,
            counts: &[0; 10],
        };
        a.heard(ms(700), &Frame::Samples(samples));
        assert_eq!(a.tick(ms(750)), Some(Ask::PollStatus));
        assert_eq!(a.tick(ms(800)), None);
        assert_eq!(a.tick(ms(1800)), Some(Ask::PollStatus));
        assert_eq!(a.tick(ms(2750)), Some(Ask::Identify));
    }

    #[test]
    fn a_device_that_is_not_ready_is_started_when_it_says_it_will_be() {
        let mut a = Asking::new(None);
        let ms = |n: u64| MonoNs(n * 1_000_000);
        a.link(ms(0), true);
        a.identified(ms(10), &identity(&[2000]));
        a.refused(ms(20), id::START, 5, 800);
        assert_eq!(a.tick(ms(30)), Some(Ask::PollStatus));
        assert_eq!((a.tick(ms(810)), a.tick(ms(820))), (None, Some(Ask::Start { rate_hz: 2000 })));
    }

    #[test]
    fn identities_without_end_bring_two_starts_a_second_at_most() {
        let mut a = Asking::new(None);
        a.link(MonoNs(0), true);
        let mut starts = 0;
        for ms in 1..=10_000_u64 {
            let at = MonoNs(ms * 1_000_000);
            let asks = [a.identified(at, &identity(&[2000])).0, a.tick(at)];
            starts += asks.iter().filter(|ask| matches!(ask, Some(Ask::Start { .. }))).count();
        }
        assert!(starts <= 20, "{starts}");
    }

    #[test]
    fn the_nearest_rate_is_that_of_the_smallest_ratio_and_is_said() {
        for (wish_hz, offered_hz, used_hz) in [
            (1000.0, [80, 4000], 4000),
            (500.0, [80, 4000], 80),
            (0.2, [10, 80], 10),
            (900.0, [500, 1000], 1000),
        ] {
            let mut asking = Asking::new(Some(wish_hz));
            asking.link(MonoNs(0), true);
            let (ask, word) = asking.identified(MonoNs(1), &identity(&offered_hz));
            assert_eq!(ask, Some(Ask::Start { rate_hz: used_hz }), "{wish_hz} of {offered_hz:?}");
            let word = word.unwrap();
            assert!(word.ends_with(&format!("{used_hz}/s is used, the nearest by ratio")), "{word}");
        }
    }

    #[test]
    fn a_rate_not_offered_is_replaced_by_the_nearest_with_a_word() {
        let mut a = Asking::new(Some(1800.0));
        let (ask, complaint) = a.identified(MonoNs(0), &identity(&[500, 2000]));
        assert_eq!(ask, Some(Ask::Start { rate_hz: 2000 }));
        assert!(complaint.unwrap().contains("1800"));
    }

    #[test]
    fn what_is_sent_is_a_whole_frame() {
        for ask in [Ask::Identify, Ask::Start { rate_hz: 4000 }, Ask::PollStatus] {
            assert_eq!(ask.bytes().last(), Some(&0));
        }
    }
}
