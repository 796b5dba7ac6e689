//! kill -9 at any moment of a backup, a restore, a pruning, a shrinking: the old state or the new one.
//!
//! Delays come from one seed, which is printed; `BOLTSCRIBE_SEED` repeats it.

use crate::desk::Desk;
use boltscribe::store::open_read_only;
use std::process::Stdio;
use std::time::{Duration, Instant};

const KILLS: u32 = 12;

/// Marsaglia's xorshift, as everywhere in the tests.
struct Dice(u64);

impl Dice {
    fn new() -> Self {
        let seed = std::env::var("BOLTSCRIBE_SEED").ok().and_then(|s| s.parse().ok()).unwrap_or(20_260_501);
        println!("BOLTSCRIBE_SEED={seed}");
        Self(seed)
    }

    fn below(&mut self, limit: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) % limit.max(1)
    }
}

/// A desk whose store is some megabytes large.
fn large() -> Desk {
    Desk::with(&["plain-2000", "two-runs", "second-pull", "lost-frames", "plain-500", "never-released"])
}

/// How long the verb takes when it is left alone.
fn usual(desk: &Desk, words: &[&str]) -> Duration {
    let since = Instant::now();
    desk.json(words);
    since.elapsed()
}

/// Starts a verb and kills it after a part of its usual time; says whether it had ended before.
fn kill_within(desk: &Desk, words: &[&str], usual: Duration, dice: &mut Dice) -> bool {
    let mut child = desk.command(words).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
    std::thread::sleep(Duration::from_micros(dice.below(usual.as_micros() as u64 * 11 / 10)));
    let ended = child.try_wait().unwrap().is_some_and(|status| status.success());
    let _ = child.kill();
    child.wait().unwrap();
    ended
}

#[test]
fn a_backup_killed_anywhere_leaves_a_whole_copy_or_none() {
    let (desk, mut dice) = (large(), Dice::new());
    let first = desk.path("first.sqlite").display().to_string();
    let time = usual(&desk, &["store", "backup", &first]);
    let (copy, mut cut) = (desk.path("copy.sqlite"), 0);
    let to = copy.display().to_string();
    for kill in 0..KILLS {
        let ended = kill_within(&desk, &["store", "backup", &to, "--force"], time, &mut dice);
        cut += u32::from(!ended);
        if copy.exists() {
            let report = open_read_only(&copy).unwrap().reader().unwrap().check().unwrap();
            assert!(report.ok, "kill {kill}: {report:?}");
        }
        assert!(copy.exists() || !ended);
    }
    assert!(cut > 0, "no backup was killed in its work");
    desk.json(&["store", "backup", &to, "--force"]);
    desk.sound();
    let names = std::fs::read_dir(desk.folder.path()).unwrap().map(|e| e.unwrap().file_name());
    assert!(!names.into_iter().any(|n| n.to_string_lossy().contains("partial")), "the next one cleans up");
    assert!(!desk.path("store/backup.tmp").exists());
}

#[test]
fn a_restore_killed_anywhere_leaves_the_old_store_or_the_new_one() {
    let (desk, mut dice) = (large(), Dice::new());
    let copy = desk.path("copy.sqlite").display().to_string();
    desk.json(&["store", "backup", &copy]);
    let time = usual(&desk, &["store", "restore", &copy]);
    let (mut old, mut new) = (0, 0);
    for kill in 0..2 * KILLS {
        // What tells the old store from the new one.
        if desk.json(&["runs", "show", "1"])["excluded"] == false {
            desk.json(&["runs", "exclude", "1", "--why", "after the copy"]);
        }
        // Names of kept stores carry seconds.
        std::thread::sleep(Duration::from_millis(1010).saturating_sub(time));
        let ended = kill_within(&desk, &["store", "restore", &copy], time, &mut dice);
        desk.sound();
        let shown = desk.json(&["runs", "show", "1"]);
        let excluded = shown["excluded"] == true;
        assert!(!(ended && excluded), "kill {kill}: it said that it was done");
        assert_eq!(desk.json(&["runs", "list", "--all"])["runs"].as_array().unwrap().len(), 7);
        (old, new) = (old + u32::from(excluded), new + u32::from(!excluded));
    }
    assert!(old > 0, "no restore was killed before it was decided");
    println!("{old} old, {new} new");
    let left = std::fs::read_dir(desk.path("store")).unwrap().map(|e| e.unwrap().file_name());
    assert!(!left.into_iter().any(|n| n.to_string_lossy().contains("restored-for")));
}

#[test]
fn a_pruning_killed_anywhere_leaves_each_run_its_samples_or_its_tombstone() {
    let mut dice = Dice::new();
    let words = ["store", "prune", "--older-than", "1d", "--shrink", "--why", "disk"];
    let time = usual(&large(), &words);
    let mut cut = 0;
    for kill in 0..KILLS {
        let desk = large();
        let before = desk.json(&["runs", "list", "--all"]);
        cut += u32::from(!kill_within(&desk, &words, time, &mut dice));
        let report = desk.sound();
        let pruned = report["pruned_runs"].as_u64().unwrap();
        assert_eq!(desk.json(&["runs", "list", "--all"])["runs"], before["runs"], "kill {kill}");
        let done = desk.json(&words);
        assert_eq!(done["pruned"]["runs"].as_u64().unwrap() + pruned, 7, "kill {kill}: the next goes on");
        assert_eq!(desk.sound()["pruned_runs"], 7);
    }
    assert!(cut > 0, "no pruning was killed in its work");
}
