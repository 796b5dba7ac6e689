//! Tags by sample number: what was in force where, and for which run of a trial.
//!
//! Must not know what a setup or a trial is.

use boltscribe_model::control::{Attempt, InForce};

/// Changes of tags remembered: more cannot fall into one run's look-back by hand.
const TAGS_MAX: usize = 64;

/// What was told, each from a sample on, in order.
#[derive(Debug)]
pub(super) struct Tags(Vec<(u64, InForce)>);

impl Default for Tags {
    fn default() -> Self {
        Self(vec![(0, InForce::default())])
    }
}

impl Tags {
    /// From this sample on, which is no earlier than that of the last word.
    pub(super) fn tell(&mut self, from: u64, in_force: InForce) {
        self.forget();
        self.0.push((from, in_force));
    }

    /// Those in force at a sample, and whether something else was coupled after it: for which trial is no matter.
    pub(super) fn at(&self, sample: u64) -> (InForce, bool) {
        let at = self.place(sample);
        let tags = self.0.get(at).map(|t| t.1.clone()).unwrap_or_default();
        let coupled = tags.without_attempt();
        let changed = self.0.iter().skip(at + 1).any(|(_, later)| later.without_attempt() != coupled);
        (tags, changed)
    }

    /// One run takes an attempt: from the sample after its first blow on, tags are for no trial until others are
    /// told. Gives the newest tags where that changes them.
    pub(super) fn taken(&mut self, first_blow: u64, attempt: &Attempt) -> Option<InForce> {
        let names_it = |tags: &InForce| tags.attempt.as_ref() == Some(attempt);
        let newest = self.0.last().is_some_and(|(_, tags)| names_it(tags));
        self.forget();
        let at = self.place(first_blow);
        let tags = self.0.get(at).map(|t| t.1.clone()).unwrap_or_default();
        self.0.insert(self.0.len().min(at + 1), (first_blow + 1, tags));
        for (_, tags) in self.0.iter_mut().skip(at + 1).filter(|(_, tags)| names_it(tags)) {
            tags.attempt = None;
        }
        self.0.last().filter(|_| newest).map(|(_, tags)| tags.clone())
    }

    fn place(&self, sample: u64) -> usize {
        self.0.iter().rposition(|(from, _)| *from <= sample).unwrap_or(0)
    }

    fn forget(&mut self) {
        if self.0.len() >= TAGS_MAX {
            self.0.remove(0);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tags(setup: &str, attempt: Option<u32>) -> InForce {
        let attempt = attempt.map(|attempt| Attempt { trial: "t".into(), step: attempt, attempt });
        InForce { setup: Some(setup.into()), attempt, ..InForce::default() }
    }

    fn attempt(tags: &Tags, sample: u64) -> Option<u32> {
        tags.at(sample).0.attempt.map(|attempt| attempt.attempt)
    }

    #[test]
    fn an_attempt_is_for_the_first_run_that_names_it_by_sample_number() {
        let mut told = Tags::default();
        told.tell(100, tags("a", Some(1)));
        let first = told.at(150).0.attempt.unwrap();
        assert_eq!(told.taken(150, &first), Some(tags("a", None)));
        // The run itself, and whatever lay before it, is as it was.
        assert_eq!(
            [99, 100, 150, 151, 999].map(|at| attempt(&told, at)),
            [None, Some(1), Some(1), None, None]
        );
        // The next "ready" may have come before the run was announced.
        told.tell(200, tags("b", Some(2)));
        told.tell(210, tags("b", Some(3)));
        let second = told.at(205).0.attempt.unwrap();
        assert_eq!(told.taken(205, &second), None, "the newest tags are for another run");
        assert_eq!([205, 206, 210].map(|at| attempt(&told, at)), [Some(2), None, Some(3)]);
    }

    #[test]
    fn taking_an_attempt_changes_nothing_that_is_coupled() {
        let mut told = Tags::default();
        told.tell(100, tags("a", Some(1)));
        told.tell(160, tags("a", None));
        assert_eq!(told.at(150), (tags("a", Some(1)), false), "another trial is no other setup");
        told.tell(170, tags("b", None));
        assert!(told.at(150).1);
    }

    #[test]
    fn however_many_words_are_told_the_newest_holds() {
        let mut told = Tags::default();
        for n in 0..1000 {
            told.tell(n, tags(&n.to_string(), Some(n as u32)));
            let taken = told.at(n).0.attempt.unwrap();
            told.taken(n, &taken);
        }
        assert_eq!(told.at(2000).0, tags("999", None));
        assert!(told.0.len() <= TAGS_MAX);
    }
}
