//! What to ask a framed device next: who are you, start, how are you; again after silence.
//!
//! SPEC.md section 7 gives the conversation. Knows only the pipeline's clock.

use boltscribe_model::time::MonoNs;
use boltscribe_wire::{MAX_FRAME, Message, Start, encode};

const SECOND: u64 = 1_000_000_000;
/// Asked again while nobody answers.
const ASK_AGAIN_NS: u64 = SECOND / 2;
/// The status is polled this often.
const POLL_NS: u64 = SECOND;
/// Silence after which the device is asked who it is.
const SILENT_NS: u64 = 2 * SECOND;

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
        self.samples_heard = false;
    }

    /// A good frame was heard.
    pub fn heard(&mut self, at: MonoNs, samples: bool) {
        self.heard = at;
        self.samples_heard |= samples;
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
        self.asked = Some(at);
        self.heard = at;
        self.samples_heard = false;
        (self.rate_hz.map(|rate_hz| Ask::Start { rate_hz }), complaint)
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
        let waited = self.asked.is_none_or(|asked| at.since_ns(asked) >= ASK_AGAIN_NS);
        match self.rate_hz {
            None if waited => {
                self.asked = Some(at);
                Some(Ask::Identify)
            }
            Some(rate_hz) if !self.samples_heard && waited => {
                self.asked = Some(at);
                Some(Ask::Start { rate_hz })
            }
            Some(_) if self.polled.is_none_or(|polled| at.since_ns(polled) >= POLL_NS) => {
                self.polled = Some(at);
                Some(Ask::PollStatus)
            }
            _ => None,
        }
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
