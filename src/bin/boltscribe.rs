//! The command line. All logic lives in `boltscribe::cli`.
fn main() {}
