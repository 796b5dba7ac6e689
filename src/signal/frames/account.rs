//! The account of bytes: what came in, what was parsed, what was thrown away and why.
//!
//! Every byte is in exactly one of the sums; must not know which instrument it came from.

use std::collections::BTreeMap;

/// Closed at any moment: in = parsed + discarded + pending.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Account {
    /// Bytes fed.
    pub bytes_in: u64,
    /// Bytes of good frames or lines, delimiters included.
    pub parsed: u64,
    /// Bytes thrown away by reason.
    pub discarded: BTreeMap<&'static str, u64>,
    /// Good frames or lines.
    pub frames: u64,
}

impl Account {
    /// Counts a good frame of `bytes`.
    pub fn good(&mut self, bytes: usize) {
        self.parsed += bytes as u64;
        self.frames += 1;
    }

    /// Counts `bytes` thrown away for `reason`.
    pub fn discard(&mut self, reason: &'static str, bytes: usize) {
        if bytes > 0 {
            *self.discarded.entry(reason).or_default() += bytes as u64;
        }
    }

    /// Bytes not yet decided on.
    #[must_use]
    pub fn pending(&self) -> u64 {
        self.bytes_in - self.parsed - self.discarded.values().sum::<u64>()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_thrown_away_leaves_no_entry() {
        let mut account = Account { bytes_in: 5, ..Account::default() };
        account.discard("resync", 0);
        assert!(account.discarded.is_empty());
        account.discard("resync", 3);
        assert_eq!((account.discarded["resync"], account.pending()), (3, 2));
    }
}
