//! The command line. All logic lives in `boltscribe::cli`.
//!
//! This file must stay thin: arguments and exit codes are the library's.

fn main() -> std::process::ExitCode {
    boltscribe::cli::main()
}
