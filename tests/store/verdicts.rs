//! Which runs are left out of results, why, and how people's words change that.
//!
//! Reasons are compared word for word, as people are told them.

use crate::sample::{T0_NS, announced, begin, in_force, put, result_with};
use boltscribe::runs::RunFlag;
use boltscribe::store::{Correction, Mode, NewTags, Refused, RunFilter, RunId, Store, Write};

struct Case {
    store: Store,
    _folder: tempfile::TempDir,
}

impl Case {
    fn new(untagged: bool, flags: &[RunFlag]) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path(), Mode::Create).unwrap();
        let stream = begin(&store, "rig-1");
        let mut tags = in_force("bare", "tool A");
        if untagged {
            tags.setup = None;
        }
        put(&store, "rig-1", vec![announced(stream, result_with(1, tags, flags))]);
        Self { store, _folder: folder }
    }

    fn say(&self, why: &str, correction: Correction) -> Result<(), Refused> {
        let write =
            Write::Correct { run: RunId(1), utc_ns: T0_NS, who: "Ana".into(), why: why.into(), correction };
        self.store.writer().store("rig-1", write).unwrap().map(|_| ())
    }

    /// Reasons, and whether the filter for runs that count agrees with them.
    fn left_out(&self) -> Vec<String> {
        let reader = self.store.readers().reader().unwrap();
        let line = reader.run(RunId(1)).unwrap().unwrap().line;
        assert_eq!(line.excluded, !line.left_out_because.is_empty());
        let counting = reader.runs(&RunFilter { excluded: Some(false), ..RunFilter::default() });
        assert_eq!(counting.unwrap().is_empty(), line.excluded);
        line.left_out_because
    }
}

#[test]
fn a_flag_leaves_a_run_out_only_where_the_table_says_so() {
    assert!(Case::new(false, &[]).left_out().is_empty());
    assert!(Case::new(false, &[RunFlag::Spike, RunFlag::Gap]).left_out().is_empty());
    let both = Case::new(false, &[RunFlag::Clipped, RunFlag::Spike, RunFlag::Short]);
    assert_eq!(both.left_out(), ["clipped", "short"]);
}

#[test]
fn an_exclusion_says_who_and_why_and_a_restore_undoes_it() {
    let case = Case::new(false, &[]);
    assert_eq!(case.say("no reason", Correction::Restore), Err(Refused::NotLeftOut(1)));
    case.say("bumped the rig", Correction::Exclude).unwrap();
    assert_eq!(case.left_out(), ["excluded by Ana: bumped the rig"]);
    case.say("it was another run", Correction::Restore).unwrap();
    assert!(case.left_out().is_empty());
}

#[test]
fn a_restore_lifts_flags_only_where_no_exclusion_is_in_force() {
    let case = Case::new(false, &[RunFlag::Short]);
    case.say("bumped the rig", Correction::Exclude).unwrap();
    assert_eq!(case.left_out(), ["excluded by Ana: bumped the rig", "short"]);
    case.say("it was another run", Correction::Restore).unwrap();
    assert_eq!(case.left_out(), ["short"]);
    case.say("a short run was asked for", Correction::Restore).unwrap();
    assert!(case.left_out().is_empty());
    case.say("no, after all", Correction::Exclude).unwrap();
    assert_eq!(case.left_out(), ["excluded by Ana: no, after all", "short"]);
    let reader = case.store.readers().reader().unwrap();
    let lifts: Vec<_> =
        reader.run(RunId(1)).unwrap().unwrap().corrections.into_iter().map(|c| c.lifts).collect();
    assert_eq!(lifts, [None, Some("exclusion".into()), Some("flags".into()), None]);
}

#[test]
fn naming_the_setup_afterwards_answers_untagged_but_no_other_flag() {
    let case = Case::new(true, &[RunFlag::Short]);
    assert_eq!(case.left_out(), ["short", "untagged"]);
    let tool_only = NewTags { tool: Some("tool B".into()), ..NewTags::default() };
    case.say("wrong tool", Correction::Tag(tool_only)).unwrap();
    assert_eq!(case.left_out(), ["short", "untagged"]);
    let setup = NewTags { setup: Some("bare".into()), contacts: Some(1), tool: None, shelf: None };
    case.say("forgot to tell", Correction::Tag(setup)).unwrap();
    assert_eq!(case.left_out(), ["short"]);
    let reader = case.store.readers().reader().unwrap();
    let line = reader.run(RunId(1)).unwrap().unwrap().line;
    assert_eq!((line.setup.as_deref(), line.contacts), (Some("bare"), Some(1)));
    assert_eq!(line.tool.as_deref(), Some("tool B"));
    assert!(line.flags.contains(&"untagged".to_owned()), "the flag itself stays");
}

#[test]
fn a_correction_of_a_run_that_is_not_there_is_refused() {
    let case = Case::new(false, &[]);
    let write = Write::Correct {
        run: RunId(2),
        utc_ns: T0_NS,
        who: "Ana".into(),
        why: "w".into(),
        correction: Correction::Exclude,
    };
    let outcome = case.store.writer().store("rig-1", write).unwrap();
    assert!(matches!(outcome, Err(Refused::Unknown { .. })), "{outcome:?}");
}
