//! The rules as data: which crates are pure, what lies at the top, how long things are, and the named exceptions.
//!
//! Which crate may know which is in their manifests, held by cargo, and shown by the map in DEVELOPERS.md.

/// Crates under `src` that are replayable: no IO, no thread, no clock.
pub const PURE: &[&str] = &["analysis", "model", "numerics", "pipeline", "signal"];

/// Beginnings of paths that a pure crate must not name.
pub const IMPURE: &[&[&str]] = &[
    &["tokio"],
    &["tokio_serial"],
    &["tokio_stream"],
    &["serialport"],
    &["axum"],
    &["hyper"],
    &["std", "fs"],
    &["std", "net"],
    &["std", "thread"],
    &["std", "process"],
    &["std", "env"],
];

/// Types that a pure crate must not name, however it came by them.
pub const CLOCK_TYPES: &[&str] = &["Instant", "SystemTime"];

/// Ends of paths that read a clock.
pub const CLOCK_READS: &[&[&str]] = &[
    &["Instant", "now"],
    &["SystemTime", "now"],
    &["Timestamp", "now"],
    &["Zoned", "now"],
    &["clock_gettime"],
];

/// Crates under `src` that read clocks.
pub const CLOCK_CRATES: &[&str] = &["daemon", "serial"];

/// The folder whose fractions have names.
pub const NAMED_FOLDER: &str = "src/signal/runs/";

/// Numbers of arithmetic and units, which need none.
pub const PLAIN_NUMBERS: &[f64] = &[0.0, 0.5, 1.0, 2.0, 1000.0];

/// The page that shows which of our crates knows which, and the line above that map.
pub const MAP: (&str, &str) = ("DEVELOPERS.md", "## Crates");

/// The one that has no dependency at all, so that a fresh machine builds it in a second.
pub const BARE: &str = "tools/xtask/Cargo.toml";

/// Everything at the top of the repository besides dotfiles.
pub const TOP: &[&str] = &[
    "Cargo.lock",
    "Cargo.toml",
    "DEVELOPERS.md",
    "LICENSE",
    "README.md",
    "config",
    "firmware-protocol",
    "src",
    "tests",
    "tools",
];

/// The one source of packages.
pub const REGISTRY: &str = "registry+https://github.com/rust-lang/crates.io-index";

/// Fewest lines of a file's head.
pub const HEAD_LINES_MIN: usize = 2;
/// Most lines of a file's head.
pub const HEAD_LINES_MAX: usize = 15;
/// Most lines of a file outside its tests.
pub const FILE_LINES_MAX: usize = 400;

/// Beginnings of paths that exist on one machine only. Written in halves: this file is checked too.
pub const MACHINE_PATHS: &[&str] = &[
    concat!("/wo", "rk/"),
    concat!("/tm", "p/"),
    concat!("/ho", "me/"),
    concat!("/ro", "ot/"),
    concat!("/Us", "ers/"),
];

/// Pages that a reader of the repository cannot open, in lower case.
pub const HIDDEN_PAGES: &[&str] =
    &[concat!("des", "ign.md"), concat!("the des", "ign page"), concat!("../sh", "ared")];

/// A file that a rule does not hold for.
pub struct Exception {
    /// Name of the rule.
    pub rule: &'static str,
    /// The file.
    pub path: &'static str,
}

/// The exceptions, each with its reason. One that nothing needs any more is a broken rule itself.
pub const EXCEPTIONS: &[Exception] = &[
    // Without a daemon the command line runs the interface in its own process, and what a person says must
    // be dated by somebody: the one reading of the time of day outside the daemon.
    Exception { rule: "clock", path: "src/cli/local.rs" },
];
