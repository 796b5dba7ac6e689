//! Which identities of a rig's device are stored and told: each that differs from the one before, a few a minute.
//!
//! A device may say who it is a thousand times a second; a store that kept each would fill its disk. Pure: it
//! reads no clock.

use boltscribe_model::time::MonoNs;
use boltscribe_pipeline::Event;

/// Identities looked at in a minute; a person who replugs a board makes fewer. Those beyond are counted, and the
/// newest of them is stored and told with the next minute.
pub const A_MINUTE_MAX: u32 = 10;
const MINUTE_NS: u64 = 60_000_000_000;

/// What is kept of an identity.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Who {
    /// Serial number.
    pub serial: String,
    /// Firmware version.
    pub firmware: String,
    /// Device seconds in a second here.
    pub time_scale: u16,
    /// It says that it invents its counts.
    pub simulated: bool,
}

/// What came of an identity.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Heard {
    /// To be stored.
    New(Who),
    /// Known.
    Known,
    /// One too many; `first` of its minute.
    TooMany {
        /// The first of its minute.
        first: bool,
    },
}

/// The identities of one rig in one stream.
#[derive(Debug, Default)]
pub struct Identities {
    stored: Option<Who>,
    /// The newest beyond the limit, as it was said.
    waiting: Option<(Who, Event)>,
    since: MonoNs,
    in_minute: u32,
}

impl Identities {
    /// Takes an event; none where it is no identity.
    pub fn take(&mut self, event: &Event, at: MonoNs) -> Option<Heard> {
        let Event::Identity { serial, firmware, time_scale, simulated, .. } = event else { return None };
        let who = Who {
            serial: serial.clone(),
            firmware: firmware.clone(),
            time_scale: *time_scale,
            simulated: *simulated,
        };
        if self.in_minute == 0 || at.since_ns(self.since) >= MINUTE_NS {
            (self.since, self.in_minute) = (at, 0);
        }
        self.in_minute = self.in_minute.saturating_add(1);
        let known = self.stored.as_ref() == Some(&who);
        // What is invented must carry its mark at once: a run takes that of the identity stored last.
        let unmarked = simulated_of(&who) && !self.stored.as_ref().is_some_and(simulated_of);
        if self.in_minute > A_MINUTE_MAX && !unmarked {
            self.waiting = (!known).then(|| (who, event.clone()));
            return Some(Heard::TooMany { first: self.in_minute == A_MINUTE_MAX + 1 });
        }
        self.waiting = None;
        if known {
            return Some(Heard::Known);
        }
        self.stored = Some(who.clone());
        Some(Heard::New(who))
    }

    /// The newest identity beyond the limit, once its minute is over.
    pub fn due(&mut self, at: MonoNs) -> Option<(Who, Event)> {
        let (who, event) = self.waiting.take_if(|_| at.since_ns(self.since) >= MINUTE_NS)?;
        (self.since, self.in_minute) = (at, 1);
        self.stored = Some(who.clone());
        Some((who, event))
    }
}

fn simulated_of(who: &Who) -> bool {
    who.simulated || who.time_scale != 1
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;

    pub(crate) fn event(serial: &str, simulated: bool) -> Event {
        Event::Identity {
            serial: serial.into(),
            firmware: "1".into(),
            adc_bits: 24,
            count_min: -1,
            count_max: 1,
            rates_hz: vec![80],
            time_scale: 1,
            simulated,
        }
    }

    #[test]
    fn an_identity_is_stored_where_it_changes() {
        let mut kept = Identities::default();
        let heard = |kept: &mut Identities, s: u64, serial| {
            matches!(kept.take(&event(serial, false), MonoNs(s * 1_000_000_000)), Some(Heard::New(_)))
        };
        let stored: Vec<bool> = ["a", "a", "b", "b", "a"]
            .iter()
            .enumerate()
            .map(|(k, serial)| heard(&mut kept, k as u64, serial))
            .collect();
        assert_eq!(stored, [true, false, true, false, true]);
        assert_eq!(kept.take(&Event::Stale { stale: true }, MonoNs(0)), None);
    }

    #[test]
    fn a_flood_of_changing_identities_makes_ten_rows_a_minute_and_ends_with_the_newest() {
        let mut kept = Identities::default();
        let (mut rows, mut too_many, mut first) = (0, 0, 0);
        for ms in 0..120_000_u64 {
            let at = MonoNs(ms * 1_000_000);
            rows += u32::from(kept.due(at).is_some());
            match kept.take(&event(if ms % 2 == 0 { "a" } else { "b" }, false), at) {
                Some(Heard::New(_)) => rows += 1,
                Some(Heard::TooMany { first: one }) => {
                    (too_many, first) = (too_many + 1, first + u32::from(one))
                }
                _ => {}
            }
        }
        assert!(rows <= 2 * A_MINUTE_MAX && first == 2, "{rows} rows, said {first} times");
        assert!(too_many >= 120_000 - 2 * A_MINUTE_MAX, "{too_many}");
        let newest = kept.due(MonoNs(200_000_000_000)).map(|(who, _)| who).or(kept.stored);
        assert_eq!(newest.map(|who| who.serial), Some("b".into()));
    }

    #[test]
    fn an_invented_identity_is_stored_beyond_the_limit_and_its_mark_is_not_taken_off_there() {
        let mut kept = Identities::default();
        for k in 0..20 {
            kept.take(&event("a", false), MonoNs(k));
        }
        assert!(matches!(kept.take(&event("a", true), MonoNs(30)), Some(Heard::New(_))));
        assert!(matches!(kept.take(&event("a", false), MonoNs(40)), Some(Heard::TooMany { .. })));
    }
}
