//! Compiles the C files of `c/` with the system's compiler and runs them.
//!
//! A missing compiler is a failure that says how to get one, never a skipped test. The sanitizers are asked of
//! the compiler first, because not every one has them.
#![allow(dead_code, clippy::unwrap_used, clippy::panic)]

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::sync::OnceLock;

/// As strict as the header promises to be.
pub const STRICT: &[&str] = &[
    "-std=c99",
    "-Wall",
    "-Wextra",
    "-Werror",
    "-pedantic",
    "-Wconversion",
    "-Wshadow",
    "-Wcast-align",
    "-Wundef",
    "-Wstrict-prototypes",
];

/// Undefined behaviour and stray accesses end the program.
pub const SANITIZERS: &[&str] = &["-g", "-O1", "-fsanitize=address,undefined", "-fno-sanitize-recover=all"];

pub fn c_dir() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("c")
}

fn run(arguments: &[&str]) -> Output {
    let found = Command::new("cc").args(arguments).output();
    found.unwrap_or_else(|error| {
        panic!("cannot run the C compiler `cc`: {error}; on Debian `apt-get install gcc libc6-dev` brings it")
    })
}

/// A name of this test program's own, so that programs of one `cargo test` do not write over each other.
fn place(name: &str) -> PathBuf {
    let program = std::env::current_exe().unwrap();
    let program = program.file_stem().unwrap().to_str().unwrap().to_owned();
    Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("{program}-{name}"))
}

/// Compiles `c/source` strictly, with `more` flags; answers the program or object.
pub fn compile(source: &str, name: &str, more: &[&str]) -> PathBuf {
    let (out, source) = (place(name), c_dir().join(source));
    let files = [source.to_str().unwrap(), "-o", out.to_str().unwrap()];
    let arguments: Vec<&str> = STRICT.iter().chain(more).chain(&files).copied().collect();
    let done = run(&arguments);
    let said = String::from_utf8_lossy(&done.stderr);
    assert!(done.status.success() && said.is_empty(), "cc {}:\n{said}", arguments.join(" "));
    out
}

/// The flags of the sanitizers, if this compiler can build and run with them.
pub fn sanitizers() -> Option<&'static [&'static str]> {
    static HAS: OnceLock<bool> = OnceLock::new();
    let has = HAS.get_or_init(|| {
        let (source, out) = (place("probe.c"), place("probe"));
        std::fs::write(&source, "int main(void) { return 0; }\n").unwrap();
        let files = [source.to_str().unwrap(), "-o", out.to_str().unwrap()];
        let arguments: Vec<&str> = SANITIZERS.iter().chain(&files).copied().collect();
        let built = run(&arguments).status.success();
        let runs = built && Command::new(&out).status().is_ok_and(|status| status.success());
        if !runs {
            eprintln!("this C compiler has no sanitizers: the C code runs without them");
        }
        runs
    });
    has.then_some(SANITIZERS)
}

/// Runs a program over an input that it reads to its end.
pub fn answer(program: &Path, arguments: &[&str], input: &[u8]) -> String {
    let mut child = Command::new(program)
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut stdin = child.stdin.take().unwrap();
    let input = input.to_vec();
    // A writer of its own: both pipes are short, and the program answers while it reads.
    let writer = std::thread::spawn(move || stdin.write_all(&input));
    let done = child.wait_with_output().unwrap();
    let said = String::from_utf8_lossy(&done.stderr);
    assert!(done.status.success() && said.is_empty(), "{}: {}\n{said}", program.display(), done.status);
    // Asked last: a program that died has said more than a broken pipe.
    writer.join().unwrap().unwrap();
    String::from_utf8(done.stdout).unwrap()
}
