//! What to ask a framed device next: who are you, start, how are you; again after silence.
//!
//! SPEC.md section 7 gives the conversation. Knows only the pipeline's clock. A Start begins sampling from its
//! beginning, so it is repeated only where the slowest device that SPEC.md allows would have delivered.

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
    /// Starts in vain since the device said who it is.
    vain: u32,
    samples_heard: bool,
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
            samples_heard: false,
        }
    }

    /// The port came or went.
    pub fn link(&mut self, at: MonoNs, up: bool) {
        self.up = up;
        self.rate_hz = None;
        self.asked = None;
        self.polled = None;
        self.heard = at;
        self.forget_start();
    }

    fn forget_start(&mut self) {
        self.started = None;
        self.due = None;
        self.vain = 0;
        self.samples_heard = false;
    }

    /// A good frame was heard.
    pub fn heard(&mut self, at: MonoNs, samples: bool) {
        self.heard = at;
        if samples {
            self.samples_heard = true;
            self.due = None;
        }
    }

    /// The device refused a message: where it is a Start and it says how long it needs, it is asked again then.
    pub fn refused(&mut self, at: MonoNs, about: u8, fault: u16, detail: u32) {
        let wait_ns = (u64::from(detail) * 1_000_000).clamp(ASK_AGAIN_NS, PATIENCE_NS_MAX);
        let not_ready = about == id::START && fault == Fault::NotReady.number();
        if not_ready && detail > 0 && !self.samples_heard {
            self.due = Some(MonoNs(at.0 + wait_ns));
        }
    }

    /// The device said who it is: the rate to start with, and what was wrong with the wish, if anything.
    pub fn identified(&mut self, at: MonoNs, rates_hz: &[u32]) -> (Option<Ask>, Option<String>) {
        let highest = rates_hz.iter().copied().max();
        let wish = self.wanted_hz.map(|w| w.round() as u32);
        let complaint = wish.filter(|w| !rates_hz.contains(w)).map(|w| {
            format!("rate_hz = {w} is not offered: expected one of {rates_hz:?}; the nearest is used")
        });
        let nearest = |w: u32| rates_hz.iter().copied().min_by_key(|r| r.abs_diff(w));
        self.rate_hz = wish.map_or(highest, nearest);
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
        if let Some(due) = self.due {
            return at >= due;
        }
        !self.samples_heard
            && self.started.is_none_or(|started| at.since_ns(started) >= self.wait_ns(rate_hz))
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

    #[test]
    fn a_device_is_identified_started_polled_and_asked_again_after_silence() {
        let mut a = Asking::new(Some(2000.0));
        let ms = |n: u64| MonoNs(n * 1_000_000);
        assert_eq!(a.tick(ms(0)), None);
        a.link(ms(0), true);
        assert_eq!(a.tick(ms(1)), Some(Ask::Identify));
        assert_eq!(a.tick(ms(50)), None);
        assert_eq!(a.tick(ms(600)), Some(Ask::Identify));
        assert_eq!(a.identified(ms(620), &[500, 2000]), (Some(Ask::Start { rate_hz: 2000 }), None));
        a.heard(ms(700), true);
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
        a.identified(ms(10), &[2000]);
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
            let asks = [a.identified(at, &[2000]).0, a.tick(at)];
            starts += asks.iter().filter(|ask| matches!(ask, Some(Ask::Start { .. }))).count();
        }
        assert!(starts <= 20, "{starts}");
    }

    #[test]
    fn a_rate_not_offered_is_replaced_by_the_nearest_with_a_word() {
        let mut a = Asking::new(Some(1800.0));
        let (ask, complaint) = a.identified(MonoNs(0), &[500, 2000]);
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
