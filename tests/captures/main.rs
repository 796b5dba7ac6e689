//! Recordings of a simulated rig's line and what they must give: equal to the last bit, however the bytes are
//! cut into reads.
//!
//! `NAME.expected.json` is what `boltscribe analyze NAME.capture --format json` prints, indented. With
//! `BOLTSCRIBE_UPDATE_CAPTURES=1` the files are written anew and the test fails on purpose; `facts` holds what a
//! person has checked, so that a wrong file cannot be blessed by writing it.

// Helpers of a test fail like the test itself.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod again;
mod chunking;
mod expected;
mod facts;
mod recovery;
mod support;
mod torque;
