//! Faults of one rig: counted all, logged and stored a few a second.
//!
//! A line full of garbage makes thousands of faults a second; the counters have every one of them, the
//! log and the store's events have the first of each kind in a second and how many followed. Pure but
//! for the log line.

use super::keeper::Dropped;
use boltscribe_model::time::MonoNs;
use boltscribe_pipeline::Fault;
use boltscribe_store::Write;
use std::collections::BTreeMap;

/// One line a second for each kind of fault, nanoseconds.
const EVERY_NS: u64 = 1_000_000_000;
/// Kinds told apart; a pipeline has a few dozen fixed words.
const KINDS_MAX: usize = 64;

#[derive(Clone, Copy, Debug)]
struct Kind {
    count: u64,
    silent: u64,
    told: MonoNs,
}

/// The faults of one rig.
#[derive(Debug, Default)]
pub struct FaultLog {
    kinds: BTreeMap<String, Kind>,
    /// Messages for the device that found the queue full.
    pub unsent: u64,
    /// What the store's queue had no room for.
    pub dropped: Dropped,
}

impl FaultLog {
    /// Counts a fault; gives the row to store where this one is told.
    pub fn take(&mut self, rig: &str, fault: &Fault, at: MonoNs, utc_ns: i64) -> Option<Write> {
        let known = self.kinds.contains_key(&fault.kind) || self.kinds.len() < KINDS_MAX;
        let name = if known { fault.kind.as_str() } else { "other" };
        let kind = match self.kinds.get_mut(name) {
            Some(kind) => {
                kind.count += 1;
                if at.since_ns(kind.told) < EVERY_NS {
                    kind.silent += 1;
                    return None;
                }
                kind
            }
            None => self.kinds.entry(name.to_owned()).or_insert(Kind { count: 1, silent: 0, told: at }),
        };
        kind.told = at;
        let silent = std::mem::take(&mut kind.silent);
        let more = if silent == 0 { String::new() } else { format!(" ({silent} more of the kind before)") };
        tracing::warn!("rig '{rig}': {name}: {}{more}", fault.detail);
        Some(Write::Event { utc_ns, kind: name.to_owned(), detail: format!("{}{more}", fault.detail) })
    }

    /// Counts a fault of a kind that was reported before, without a line.
    pub fn count(&mut self, kind: &str) {
        if let Some(kind) = self.kinds.get_mut(kind) {
            kind.count += 1;
            kind.silent += 1;
        }
    }

    /// Faults by kind since the start.
    pub fn counts(&self) -> impl Iterator<Item = (&str, u64)> {
        self.kinds.iter().map(|(name, kind)| (name.as_str(), kind.count))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_fault_is_counted_and_one_a_second_of_each_kind_is_told() {
        let mut log = FaultLog::default();
        let fault = |kind: &str| Fault { kind: kind.into(), detail: "x".into() };
        let told = |log: &mut FaultLog, kind, ms: u64| {
            log.take("a", &fault(kind), MonoNs(ms * 1_000_000), 0).is_some()
        };
        assert!(told(&mut log, "crc", 5));
        assert!(told(&mut log, "length", 6));
        for ms in 7..1000 {
            assert!(!told(&mut log, "crc", ms));
        }
        let row = log.take("a", &fault("crc"), MonoNs(1_005_000_000), 9).unwrap();
        let Write::Event { detail, utc_ns: 9, .. } = row else { panic!("no event") };
        assert_eq!(detail, "x (993 more of the kind before)");
        let counts: Vec<_> = log.counts().collect();
        assert_eq!(counts, [("crc", 995), ("length", 1)]);
    }

    #[test]
    fn unknown_words_without_end_take_bounded_memory() {
        let mut log = FaultLog::default();
        for k in 0..1000 {
            log.take("a", &Fault { kind: format!("k{k}"), detail: String::new() }, MonoNs(k), 0);
        }
        assert!(log.kinds.len() <= KINDS_MAX + 1);
        assert_eq!(log.counts().map(|(_, n)| n).sum::<u64>(), 1000);
    }
}
