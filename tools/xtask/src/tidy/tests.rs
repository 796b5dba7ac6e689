//! The real tree keeps the rules, and each rule finds what is planted against it.
//!
//! A planted tree holds one clean file of every entry at the top, so that what is found is what was planted.

use super::source::{File, Tree};
use super::{check, table};
use crate::tree::root;

const HEAD: &str = "//! One line.\n//! Another.\n";

/// A tree that keeps the rules, with these files besides (or instead).
fn planted(files: &[(&str, &str)]) -> Tree {
    let mut tree = Tree { files: Vec::new() };
    for name in table::TOP {
        let path =
            if name.contains('.') || *name == "LICENSE" { (*name).to_owned() } else { format!("{name}/x") };
        tree.files.push(File { path, text: Some(String::new()) });
    }
    for (path, text) in files {
        tree.files.retain(|f| f.path != *path);
        tree.files.push(File { path: (*path).to_owned(), text: Some((*text).to_owned()) });
    }
    tree
}

/// What is found in a planted tree, as it is told.
fn found(files: &[(&str, &str)]) -> Vec<String> {
    check(&planted(files)).iter().map(ToString::to_string).collect()
}

/// What is found in one source with a good head before this text.
fn in_source(path: &str, text: &str) -> Vec<String> {
    found(&[(path, &format!("{HEAD}{text}"))])
}

/// Exactly one thing is found, at this place, saying this.
#[track_caller]
fn one(found: &[String], place: &str, says: &str) {
    let fits = found.len() == 1 && found[0].starts_with(place) && found[0].contains(says);
    assert!(fits, "expected one at {place} saying '{says}', found {found:#?}");
}

#[track_caller]
fn none(found: &[String]) {
    assert!(found.is_empty(), "expected nothing, found {found:#?}");
}

#[test]
fn the_real_tree_keeps_the_rules() {
    let tree = Tree::read(&root()).unwrap();
    assert!(tree.sources().len() > 100, "the tree was not read: {} sources", tree.sources().len());
    let broken: Vec<String> = check(&tree).iter().map(ToString::to_string).collect();
    assert!(broken.is_empty(), "{} places break the rules:\n{}", broken.len(), broken.join("\n"));
}

#[test]
fn a_clean_tree_has_nothing_to_tell() {
    none(&found(&[]));
}

#[test]
fn every_import_of_the_table_names_a_room_and_leaves_import_leaves() {
    for room in table::ROOMS {
        for import in room.imports {
            assert!(table::ROOMS.iter().any(|r| r.name == *import), "{} imports '{import}'", room.name);
        }
        assert!(!table::LEAVES.contains(&room.name) || room.imports.is_empty(), "{}", room.name);
    }
    assert!(table::LEAVES.iter().all(|leaf| table::ROOMS.iter().any(|r| r.name == *leaf && r.pure)));
}

#[test]
fn each_room_is_held_to_each_import_of_the_table() {
    for room in table::ROOMS.iter().filter(|r| r.name != "lib") {
        for other in table::ROOMS {
            let path = format!("src/{}/x.rs", room.name);
            let got = in_source(&path, &format!("use crate::{}::X;\n", other.name));
            let allowed = room.name == other.name
                || table::LEAVES.contains(&other.name)
                || room.imports.contains(&other.name);
            assert_eq!(got.is_empty(), allowed, "{} importing {}: {got:?}", room.name, other.name);
        }
    }
}

#[test]
fn data_flows_one_way() {
    one(
        &in_source("src/runs/x.rs", "use crate::store::Store;\n"),
        "src/runs/x.rs:3: imports",
        "crate::store",
    );
    one(
        &in_source("src/page/x.rs", "use crate::daemon::Hub;\n"),
        "src/page/x.rs:3: imports",
        "crate::daemon",
    );
    one(&in_source("src/cli/x.rs", "use crate::daemon::Hub;\n"), "src/cli/x.rs:3: imports", "crate::daemon");
    one(&in_source("src/daemon/x.rs", "use crate::cli::Door;\n"), "src/daemon/x.rs:3: imports", "crate::cli");
    one(&in_source("src/units.rs", "use crate::runs::Run;\n"), "src/units.rs:3: imports", "crate::runs");
    one(&in_source("src/store/x.rs", "use crate::settings::Rig;\n"), "src/store/x.rs:3: imports", "settings");
}

#[test]
fn an_import_is_found_however_it_is_written() {
    let at = "src/tension/x.rs:";
    one(
        &in_source("src/tension/x.rs", "use crate::{\n    units,\n    results::{A as C},\n};\n"),
        at,
        "results::A",
    );
    one(
        &in_source("src/tension/x.rs", "fn f() {\n    crate::store::open();\n}\n"),
        "src/tension/x.rs:4",
        "store",
    );
    one(&in_source("src/tension/x.rs", "use super::super::store::X;\n"), at, "super::super::store");
    one(&in_source("src/tension/mod.rs", "use super::store::X;\n"), "src/tension/mod.rs:3", "super::store");
    one(&in_source("src/tension/x.rs", "pub(in crate::store) struct A;\n"), at, "crate::store");
    one(&in_source("src/tension/x.rs", "use crate::*;\n"), at, "crate::*");
    one(&in_source("src/bin/x.rs", "use boltscribe::store::Store;\n"), "src/bin/x.rs:3", "boltscribe::store");
}

#[test]
fn what_only_looks_like_an_import_is_none() {
    none(&in_source("src/tension/x.rs", "/// See [`crate::store`].\nconst A: &str = \"crate::store\";\n"));
    none(&in_source(
        "src/tension/x.rs",
        "use super::convert::A;\nuse super::store::B;\npub(super) struct C;\n",
    ));
    none(&in_source("src/store/x.rs", "pub(crate) struct A;\nuse crate::{units::B, runs::C};\n"));
}

#[test]
fn test_parts_may_import_more_and_only_they() {
    none(&in_source("src/runs/x.rs", "#[cfg(test)]\nmod tests {\n    use crate::store::Store;\n}\n"));
    none(&found(&[
        ("src/runs/x.rs", &format!("{HEAD}#[cfg(test)]\n#[path = \"x_tests.rs\"]\nmod tests;\n")),
        ("src/runs/x_tests.rs", &format!("{HEAD}use crate::store::Store;\n")),
    ]));
    let undeclared = in_source("src/runs/x_tests.rs", "use crate::store::Store;\n");
    one(&undeclared, "src/runs/x_tests.rs:3", "crate::store");
    let after = in_source("src/runs/x.rs", "#[cfg(test)]\nmod tests {}\nuse crate::store::Store;\n");
    one(&after, "src/runs/x.rs:5", "crate::store");
}

#[test]
fn a_room_that_the_table_does_not_know_is_told() {
    one(&in_source("src/cloud/mod.rs", ""), "src/cloud/mod.rs:1: imports", "'cloud'");
}

#[test]
fn the_wire_and_the_database_stay_in_their_rooms() {
    none(&in_source("src/frames/x.rs", "use boltscribe_wire::Message;\n"));
    none(&in_source("src/samples/x.rs", "use boltscribe_wire::Message;\n"));
    none(&in_source("src/store/x.rs", "use rusqlite::Connection;\n"));
    one(
        &in_source("src/daemon/x.rs", "use boltscribe_wire::Message;\n"),
        "src/daemon/x.rs:3",
        "frames, samples",
    );
    one(
        &in_source("src/page/x.rs", "fn f() { rusqlite::version(); }\n"),
        "src/page/x.rs:3",
        "rusqlite only in store",
    );
}

#[test]
fn pure_rooms_touch_nothing_of_the_world() {
    for text in [
        "use tokio::sync::watch;\n",
        "use axum::Router;\n",
        "use std::fs;\n",
        "use std::{collections::BTreeMap, fs::File};\n",
        "use std::net::TcpStream;\n",
        "fn f() { std::thread::yield_now(); }\n",
        "use std::time::{Duration, Instant};\n",
        "struct A(std::time::SystemTime);\n",
    ] {
        for room in table::ROOMS.iter().filter(|r| r.pure) {
            let path = format!("src/{}/x.rs", room.name);
            one(&in_source(&path, text), &format!("{path}:3: imports"), "in the pure room");
        }
        none(&in_source("src/port/x.rs", text));
    }
    none(&in_source("src/runs/x.rs", "use std::time::Duration;\nuse std::io::Read;\n"));
}

#[test]
fn clocks_are_read_in_their_rooms_only() {
    for text in [
        "fn f() { Instant::now(); }\n",
        "fn f() { tokio::time::Instant::now(); }\n",
        "fn f() { std::time::SystemTime::now(); }\n",
        "fn f() { jiff::Timestamp::now(); }\n",
        "fn f() { jiff::Zoned::now(); }\n",
        "fn f() { g(Timestamp::now); }\n",
    ] {
        one(&in_source("src/page/x.rs", text), "src/page/x.rs:3: clock", "::now");
        none(&in_source("src/port/x.rs", text));
        none(&in_source("src/daemon/x.rs", text));
        none(&in_source("tools/virtual-rig/src/x.rs", text));
        none(&in_source("tests/x.rs", text));
    }
}

#[test]
fn an_exception_covers_its_file_and_rule_and_no_other() {
    let path = "src/cli/local.rs";
    none(&in_source(path, "fn f() { jiff::Timestamp::now(); }\n"));
    let text = "use crate::daemon::A;\nfn f() { jiff::Timestamp::now(); }\n";
    one(&in_source(path, text), "src/cli/local.rs:3: imports", "crate::daemon");
}

#[test]
fn an_exception_that_nothing_needs_is_told() {
    one(&in_source("src/cli/local.rs", ""), "src/cli/local.rs:1: exception", "'clock'");
}

#[test]
fn a_head_is_neither_missing_nor_short_nor_long() {
    one(&found(&[("src/units.rs", "")]), "src/units.rs:1: head", "found 0");
    one(&found(&[("src/units.rs", "\n//! a\n//! b\n")]), "src/units.rs:1: head", "found 0");
    one(&found(&[("tests/a.rs", "//! a\n")]), "tests/a.rs:1: head", "found 1");
    one(&found(&[("tools/a.rs", &"//! a\n".repeat(16))]), "tools/a.rs:1: head", "found 16");
    none(&found(&[("src/units.rs", &"//! a\n".repeat(15))]));
}

#[test]
fn a_file_has_at_most_four_hundred_lines_outside_tests() {
    none(&in_source("src/runs/x.rs", &"// a\n".repeat(398)));
    one(&in_source("src/runs/x.rs", &"// a\n".repeat(399)), "src/runs/x.rs:401: size", "found 401");
    let tested = format!("{}#[cfg(test)]\nmod tests {{\n{}}}\n", "// a\n".repeat(398), "// b\n".repeat(500));
    none(&in_source("src/runs/x.rs", &tested));
    none(&in_source("tests/x.rs", &"// a\n".repeat(900)));
    one(&in_source("tools/xtask/src/x.rs", &"// a\n".repeat(399)), "tools/xtask/src/x.rs:401: size", "401");
}

#[test]
fn mod_rs_and_lib_rs_hold_no_logic() {
    one(&in_source("src/runs/mod.rs", "pub fn f() {}\n"), "src/runs/mod.rs:3: logic", "'fn'");
    one(
        &in_source("firmware-protocol/src/lib.rs", "impl A {}\n"),
        "firmware-protocol/src/lib.rs:3: logic",
        "'impl'",
    );
    none(&in_source("src/runs/mod.rs", "pub mod a;\npub use a::A;\n#[cfg(test)]\nmod tests { fn f() {} }\n"));
}

#[test]
fn the_top_holds_what_the_table_says_and_dotfiles() {
    one(&found(&[("notes.md", "")]), "notes.md:1: top", "another");
    one(&found(&[("docs/a.md", "")]), "docs:1: top", "another");
    none(&found(&[(".ci/run", ""), (".clippy.toml", "")]));
    let mut tree = planted(&[]);
    tree.files.retain(|f| f.path != "LICENSE");
    let told: Vec<String> = check(&tree).iter().map(ToString::to_string).collect();
    one(&told, "LICENSE:1: top", "found nothing");
}

#[test]
fn a_number_that_judges_has_a_name() {
    let at = "src/runs/x.rs";
    one(&in_source(at, "fn f(x: f64) -> bool {\n    x < 0.62\n}\n"), "src/runs/x.rs:4: number", "0.62");
    one(
        &in_source("src/runs/finder/x.rs", "const fn f() -> f64 {\n    1e-3\n}\n"),
        "src/runs/finder/x.rs:4",
        "1e-3",
    );
    one(&in_source(at, "fn f<const N: usize>() -> f64 {\n    3.0\n}\n"), "src/runs/x.rs:4: number", "3.0");
    none(&in_source(at, "const A: f64 = 0.62;\npub const B: [(f64, f64); 1] = [\n    (0.3, 1e-3),\n];\n"));
    none(&in_source(at, "impl A {\n    const B: f64 = 0.62;\n}\n"));
    none(&in_source(at, "fn f(x: f64) -> f64 {\n    (0.5 * x).max(0.0) / 1000.0 - 1.0 + 2.0 * x\n}\n"));
    none(&in_source(at, "#[cfg(test)]\nmod tests {\n    fn f() -> f64 {\n        0.62\n    }\n}\n"));
    none(&in_source("src/stats/x.rs", "fn f() -> f64 {\n    0.62\n}\n"));
}

#[test]
fn no_text_names_a_machine_or_a_hidden_page() {
    for start in table::MACHINE_PATHS {
        one(&found(&[("README.md", &format!("a\nsee {start}x\n"))]), "README.md:2: words", start);
        one(&found(&[("config/a.toml", &format!("p = \"{start}x\"\n"))]), "config/a.toml:1: words", start);
        none(&found(&[(
            "README.md",
            &format!("a folder of your own, trials{start}x or ${{STATE}}{start}x\n"),
        )]));
    }
    for page in table::HIDDEN_PAGES {
        one(&found(&[("src/x", &format!("{}\n", page.to_uppercase()))]), "src/x:1: words", page);
    }
}

#[test]
fn a_source_is_utf_8_and_other_files_may_be_bytes() {
    let mut tree = planted(&[]);
    tree.files.push(File { path: "tests/captures/a.bin".to_owned(), text: None });
    assert!(check(&tree).is_empty());
    tree.files.push(File { path: "tests/a.rs".to_owned(), text: None });
    let told: Vec<String> = check(&tree).iter().map(ToString::to_string).collect();
    assert!(told.iter().any(|t| t.starts_with("tests/a.rs:1: words: expected UTF-8")), "{told:?}");
}

#[test]
fn the_virtual_rig_knows_the_wire_only() {
    let at = "tools/virtual-rig/Cargo.toml";
    none(&found(&[(
        at,
        "[package]\nname = \"virtual-rig\"\n[dependencies]\nboltscribe-wire = { path = \"a\" }\n",
    )]));
    for text in [
        "[dependencies]\nboltscribe = { path = \"../..\" }\n",
        "[dependencies]\nboltscribe.path = \"../..\"\n",
        "[dependencies]\nother = { package = \"boltscribe\", path = \"../..\" }\n",
    ] {
        one(&found(&[(at, text)]), "tools/virtual-rig/Cargo.toml:2: dependencies", "boltscribe-wire");
    }
    one(
        &found(&[(at, "[dependencies.boltscribe]\npath = \"../..\"\n")]),
        "tools/virtual-rig/Cargo.toml:1",
        "found boltscribe",
    );
    one(
        &found(&[(at, "[target.'cfg(unix)'.build-dependencies]\nxtask = \"1\"\n")]),
        "tools/virtual-rig/Cargo.toml:2",
        "found xtask",
    );
}

#[test]
fn the_wire_knows_none_of_ours_and_the_product_tests_against_the_rig_only() {
    one(
        &found(&[("firmware-protocol/Cargo.toml", "[dependencies]\nboltscribe = \"0\"\n")]),
        "firmware-protocol/Cargo.toml:2",
        "none of our crates",
    );
    none(&found(&[("Cargo.toml", "[dev-dependencies]\nvirtual-rig = { path = \"tools/virtual-rig\" }\n")]));
    one(
        &found(&[("Cargo.toml", "[dependencies]\nvirtual-rig = \"0\"\n")]),
        "Cargo.toml:2",
        "found virtual-rig",
    );
}

#[test]
fn xtask_has_no_dependencies() {
    let at = "tools/xtask/Cargo.toml";
    none(&found(&[(at, "[package]\nname = \"xtask\"\n[dependencies]\n# none\n")]));
    for text in ["[dependencies]\nserde = \"1\"\n", "[dev-dependencies]\ntempfile = \"3\"\n"] {
        one(&found(&[(at, text)]), "tools/xtask/Cargo.toml:2: dependencies", "no dependency at all");
    }
}

#[test]
fn packages_come_from_the_registry_only() {
    let good = format!("source = \"{}\"\n", table::REGISTRY);
    none(&found(&[("Cargo.lock", &good)]));
    let npm = "  \"funding\": {\n    \"url\": \"https://example.org/pay\"\n  },\n";
    none(&found(&[("src/page/web/package-lock.json", npm)]));
    let fetched = "    \"resolved\": \"https://example.org/x.tgz\",\n";
    one(
        &found(&[("src/page/web/package-lock.json", &format!("{npm}{fetched}"))]),
        "src/page/web/package-lock.json:4: addresses",
        "example.org",
    );
    for bad in
        ["source = \"git+https://example.org/a#1\"\n", "source = \"registry+https://example.org/index\"\n"]
    {
        one(&found(&[("Cargo.lock", &format!("{good}{bad}"))]), "Cargo.lock:2: addresses", "example.org");
    }
    let pinned = "numpy==2.1.0\n--index-url https://example.org/simple\n";
    one(
        &found(&[("tools/bench/requirements.txt", pinned)]),
        "tools/bench/requirements.txt:2: addresses",
        "simple",
    );
}
