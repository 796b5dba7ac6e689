//! The daemon killed or stopped at random moments while the tool drives, and started again: nothing is invented,
//! doubled or lost without a word.
//!
//! A virtual rig plays on, whoever listens. The short form is a test like any other; `cargo xtask restarts [N
//! [SEED]]` runs the long one.

// Helpers of a test fail like the test itself; the long form prints its figures.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::disallowed_methods, clippy::print_stdout)]

#[path = "../daemon_pty/bench.rs"]
#[allow(dead_code)]
mod bench;
mod judge;
mod session;

use session::{Plan, session};

/// Restarts in the short form; each takes about two seconds.
const FEW: usize = 5;
/// Restarts in the long form where nothing else is asked for.
const MANY: usize = 200;
/// Restarts of one session: the rig's clock and the wall's are compared at its beginning only.
const A_SESSION: usize = 20;

#[test]
fn a_few_restarts_at_random_moments_invent_double_and_lose_nothing() {
    let seed = std::time::UNIX_EPOCH.elapsed().unwrap().as_millis() as u64;
    let found = session(&Plan { seed, restarts: FEW });
    println!("{found}");
    assert!(found.sound(), "seed {seed}: {found}");
}

/// An environment variable as a number.
fn asked(name: &str) -> Option<u64> {
    std::env::var(name)
        .ok()
        .map(|text| text.parse().unwrap_or_else(|_| panic!("{name}: not a number: {text}")))
}

#[test]
#[ignore = "takes six minutes: cargo xtask restarts"]
fn many_restarts_at_random_moments_invent_double_and_lose_nothing() {
    let mut left = asked("BOLTSCRIBE_TEST_RESTARTS").map_or(MANY, |n| n as usize);
    let mut seed = asked("BOLTSCRIBE_TEST_SEED")
        .unwrap_or_else(|| std::time::UNIX_EPOCH.elapsed().unwrap().as_millis() as u64);
    let mut all = judge::Findings::default();
    while left > 0 {
        let restarts = left.min(A_SESSION);
        let found = session(&Plan { seed, restarts });
        println!("seed {seed}, {restarts} restarts: {found}");
        all.add(&found);
        (left, seed) = (left - restarts, seed + 1);
    }
    println!("all: {all}");
    assert!(all.sound(), "{all}");
}
