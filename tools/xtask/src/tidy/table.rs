//! The rules as data: which room may import which, what lies at the top, how long things are, and the
//! named exceptions.
//!
//! DEVELOPERS.md shows the import table in words. A room is a folder or file right under `src/`.

/// A room and what it may import besides itself and the leaves.
pub struct Room {
    /// Folder or file under `src/`.
    pub name: &'static str,
    /// Rooms it may import.
    pub imports: &'static [&'static str],
    /// It is replayable: no IO, no thread, no clock.
    pub pure: bool,
}

/// Rooms that every room may import.
pub const LEAVES: &[&str] = &["capture", "constants", "control", "line_protocol", "stats", "time", "units"];

const fn pure(name: &'static str, imports: &'static [&'static str]) -> Room {
    Room { name, imports, pure: true }
}

const fn worldly(name: &'static str, imports: &'static [&'static str]) -> Room {
    Room { name, imports, pure: false }
}

/// The rooms that the store and what stands after it may read: frames to compare.
macro_rules! core_and {
    ($($more:literal),*) => {
        &["frames", "samples", "tension", "runs", "setups", "metrology", "results", "pipeline", "trial",
          "compare" $(, $more)*]
    };
}

/// The import table, in the order in which data flows. What is not listed here is no room.
pub const ROOMS: &[Room] = &[
    pure("capture", &[]),
    pure("constants", &[]),
    pure("control", &[]),
    pure("line_protocol", &[]),
    pure("stats", &[]),
    pure("time", &[]),
    pure("units", &[]),
    worldly("port", &[]),
    pure("frames", &[]),
    pure("samples", &["frames"]),
    pure("tension", &["samples"]),
    pure("runs", &["tension"]),
    pure("setups", &[]),
    pure("metrology", &[]),
    pure("results", &["runs", "setups", "metrology"]),
    pure("pipeline", &["frames", "samples", "tension", "runs", "setups", "metrology", "results"]),
    pure("trial", &["setups", "results"]),
    pure("compare", &["results", "setups", "metrology"]),
    worldly("files", &["samples", "tension", "runs"]),
    worldly("store", core_and!()),
    worldly("report", core_and!("files", "store")),
    worldly("export", core_and!("files", "store")),
    worldly("forward", &["store"]),
    worldly("page", core_and!("store", "report", "export")),
    // Settings are made of each room's own settings; no room but the wiring imports them back.
    worldly("settings", core_and!("port", "files", "store", "report", "export", "forward", "page")),
    worldly("daemon", core_and!("port", "files", "store", "report", "export", "forward", "page", "settings")),
    worldly("cli", core_and!("port", "files", "store", "report", "export", "forward", "page", "settings")),
    // The programs only start the one or the other.
    worldly("bin", &["daemon", "cli"]),
    worldly("lib", &[]),
];

/// A crate that only some rooms may name.
pub struct Confined {
    /// Name as in paths.
    pub name: &'static str,
    /// Rooms that may.
    pub rooms: &'static [&'static str],
}

/// Crates with a place of their own.
pub const CONFINED: &[Confined] = &[
    Confined { name: "boltscribe_wire", rooms: &["frames", "samples"] },
    Confined { name: "rusqlite", rooms: &["store"] },
    Confined { name: "influxdb2", rooms: &["forward"] },
    Confined { name: "reqwest", rooms: &["forward"] },
];

/// Beginnings of paths that a pure room must not name.
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

/// Types that a pure room must not name, however it came by them.
pub const CLOCK_TYPES: &[&str] = &["Instant", "SystemTime"];

/// Ends of paths that read a clock.
pub const CLOCK_READS: &[&[&str]] = &[
    &["Instant", "now"],
    &["SystemTime", "now"],
    &["Timestamp", "now"],
    &["Zoned", "now"],
    &["clock_gettime"],
];

/// Rooms that read clocks.
pub const CLOCK_ROOMS: &[&str] = &["daemon", "port"];

/// The room whose fractions have names.
pub const NAMED_ROOM: &str = "runs";

/// Numbers of arithmetic and units, which need none.
pub const PLAIN_NUMBERS: &[f64] = &[0.0, 0.5, 1.0, 2.0, 1000.0];

/// Our crates that a manifest may name outside development dependencies.
pub struct Manifest {
    /// The manifest.
    pub path: &'static str,
    /// Our crates it may depend on.
    pub ours: &'static [&'static str],
    /// It may depend on crates of others, and on anything in development.
    pub others: bool,
}

/// Names of our crates.
pub const OUR_CRATES: &[&str] = &["boltscribe", "boltscribe-wire", "virtual-rig", "xtask"];

/// Who depends on whom.
pub const MANIFESTS: &[Manifest] = &[
    Manifest { path: "Cargo.toml", ours: &["boltscribe-wire"], others: true },
    Manifest { path: "firmware-protocol/Cargo.toml", ours: &[], others: true },
    Manifest { path: "tools/virtual-rig/Cargo.toml", ours: &["boltscribe-wire"], others: true },
    Manifest { path: "tools/xtask/Cargo.toml", ours: &[], others: false },
];

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
