//! The daemon: reads the rigs and serves the API. All logic lives in `boltscribe::daemon`.
fn main() {}
