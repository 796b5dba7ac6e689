//! The daemon: reads the rigs and serves the API. All logic lives in `boltscribe::daemon`.
//!
//! This file must stay thin: arguments and exit codes are the library's.

fn main() -> std::process::ExitCode {
    boltscribe::daemon::main()
}
