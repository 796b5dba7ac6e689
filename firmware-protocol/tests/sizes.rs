//! The sizes that `c/README.md` states are not passed, by code or by RAM.
//!
//! Code is measured with `size` on the object of `c/device_side.c`, RAM by `sizeof` in `c/peer.c` and by the
//! symbols of that object. The stated figures are upper bounds: compilers differ.
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stderr)]

#[path = "support/cc.rs"]
mod cc;

use std::collections::BTreeMap;
use std::process::Command;

/// What a program of the binutils says of an object.
fn told(program: &str, arguments: &[&str]) -> String {
    let done = Command::new(program).args(arguments).output().unwrap_or_else(|error| {
        panic!("cannot run `{program}`: {error}; on Debian `apt-get install binutils` brings it")
    });
    assert!(done.status.success(), "{program}: {}", String::from_utf8_lossy(&done.stderr));
    String::from_utf8(done.stdout).unwrap()
}

/// The rows of the table under "Sizes".
fn stated() -> BTreeMap<String, usize> {
    let page = std::fs::read_to_string(cc::c_dir().join("README.md")).unwrap();
    let (_, sizes) = page.split_once("## Sizes").unwrap();
    let row = |line: &str| {
        let mut cells = line.split('|').map(str::trim).skip(1);
        Some((cells.next()?.to_owned(), cells.next()?.parse().ok()?))
    };
    sizes.lines().filter_map(row).collect()
}

fn measured() -> BTreeMap<String, usize> {
    let flags = ["-c", "-Os", "-fno-asynchronous-unwind-tables"];
    let object = cc::compile("device_side.c", "device_side.o", &flags);
    let object = object.to_str().unwrap();
    let mut measured = BTreeMap::new();
    let size = told("size", &[object]);
    let text = size.lines().nth(1).unwrap().split_whitespace().next().unwrap();
    measured.insert("code of the device's side".to_owned(), text.parse().unwrap());
    let symbols = told("nm", &["-S", object]);
    let message = symbols.lines().find(|line| line.ends_with(" device_message")).unwrap();
    let bytes = usize::from_str_radix(message.split(' ').nth(1).unwrap(), 16).unwrap();
    measured.insert("`struct bsw_message` on a device".to_owned(), bytes);
    for line in cc::answer(&cc::compile("peer.c", "peer", &["-Os"]), &["sizes"], &[]).lines() {
        let (name, bytes) = line.split_once('\t').unwrap();
        measured.insert(name.to_owned(), bytes.parse().unwrap());
    }
    measured
}

#[test]
fn code_and_structs_stay_within_the_stated_sizes() {
    let (stated, measured) = (stated(), measured());
    assert!(stated.keys().eq(measured.keys()), "{stated:?}\n{measured:?}");
    for (what, bytes) in &measured {
        println!("{what}: {bytes} of {}", stated[what]);
        assert!(*bytes <= stated[what], "{what}: {bytes} bytes, README.md states at most {}", stated[what]);
        // A bound that has nothing to do with the measure would hold anything.
        assert!(*bytes * 4 >= stated[what], "{what}: {bytes} bytes, README.md states {}", stated[what]);
    }
}

#[test]
fn the_header_keeps_no_state_of_its_own() {
    let object = cc::compile("device_side.c", "device_side-state.o", &["-c", "-Os"]);
    let symbols = told("nm", &[object.to_str().unwrap()]);
    let state: Vec<&str> = symbols
        .lines()
        .filter(|line| ["b", "B", "d", "D"].iter().any(|kind| line.split(' ').nth(1) == Some(kind)))
        .collect();
    // The two that the wrapper itself declares.
    assert_eq!(state.len(), 2, "{state:?}");
    let needed: Vec<&str> = symbols.lines().filter_map(|line| line.trim().strip_prefix("U ")).collect();
    assert!(
        needed.iter().all(|name| name.starts_with("mem")),
        "besides memory functions it needs {needed:?}"
    );
}
