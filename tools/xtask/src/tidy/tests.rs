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
fn pure_crates_touch_nothing_of_the_world() {
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
        for name in table::PURE {
            let path = format!("src/{name}/a/x.rs");
            one(&in_source(&path, text), &format!("{path}:3: pure"), "in the pure crate");
        }
        none(&in_source("src/serial/x.rs", text));
    }
    none(&in_source("src/signal/x.rs", "use std::time::Duration;\nuse std::io::Read;\n"));
    none(&in_source("src/signal/x.rs", "/// See [`std::fs`].\nconst A: &str = \"std::fs\";\n"));
    none(&in_source("src/signal/x.rs", "#[cfg(test)]\nmod tests {\n    use std::fs;\n}\n"));
    none(&found(&[
        ("src/signal/x.rs", &format!("{HEAD}#[cfg(test)]\n#[path = \"x_tests.rs\"]\nmod tests;\n")),
        ("src/signal/x_tests.rs", &format!("{HEAD}use std::fs;\n")),
    ]));
    one(&in_source("src/signal/x_tests.rs", "use std::fs;\n"), "src/signal/x_tests.rs:3", "std::fs");
    let after = in_source("src/signal/x.rs", "#[cfg(test)]\nmod tests {}\nuse std::fs;\n");
    one(&after, "src/signal/x.rs:5", "std::fs");
}

#[test]
fn clocks_are_read_in_their_crates_only() {
    for text in [
        "fn f() { Instant::now(); }\n",
        "fn f() { tokio::time::Instant::now(); }\n",
        "fn f() { std::time::SystemTime::now(); }\n",
        "fn f() { jiff::Timestamp::now(); }\n",
        "fn f() { jiff::Zoned::now(); }\n",
        "fn f() { g(Timestamp::now); }\n",
    ] {
        one(&in_source("src/http/x.rs", text), "src/http/x.rs:3: clock", "::now");
        none(&in_source("src/serial/x.rs", text));
        none(&in_source("src/daemon/x.rs", text));
        none(&in_source("tools/virtual-rig/src/x.rs", text));
        none(&in_source("tests/x.rs", text));
    }
}

#[test]
fn an_exception_covers_its_file_and_rule_and_no_other() {
    let path = "src/cli/local.rs";
    none(&in_source(path, "fn f() { jiff::Timestamp::now(); }\n"));
    one(
        &in_source("src/cli/door.rs", "fn f() { jiff::Timestamp::now(); }\n"),
        "src/cli/door.rs:3: clock",
        "::now",
    );
    one(&found(&[(path, "fn f() { jiff::Timestamp::now(); }\n")]), "src/cli/local.rs:1: head", "found 0");
}

#[test]
fn an_exception_that_nothing_needs_is_told() {
    one(&in_source("src/cli/local.rs", ""), "src/cli/local.rs:1: exception", "'clock'");
}

#[test]
fn a_head_is_neither_missing_nor_short_nor_long() {
    one(&found(&[("src/model/units.rs", "")]), "src/model/units.rs:1: head", "found 0");
    one(&found(&[("src/model/units.rs", "\n//! a\n//! b\n")]), "src/model/units.rs:1: head", "found 0");
    one(&found(&[("tests/a.rs", "//! a\n")]), "tests/a.rs:1: head", "found 1");
    one(&found(&[("tools/a.rs", &"//! a\n".repeat(16))]), "tools/a.rs:1: head", "found 16");
    none(&found(&[("src/model/units.rs", &"//! a\n".repeat(15))]));
}

#[test]
fn a_file_has_at_most_four_hundred_lines_outside_tests() {
    none(&in_source("src/signal/runs/x.rs", &"// a\n".repeat(398)));
    one(
        &in_source("src/signal/runs/x.rs", &"// a\n".repeat(399)),
        "src/signal/runs/x.rs:401: size",
        "found 401",
    );
    let tested = format!("{}#[cfg(test)]\nmod tests {{\n{}}}\n", "// a\n".repeat(398), "// b\n".repeat(500));
    none(&in_source("src/signal/runs/x.rs", &tested));
    none(&in_source("tests/x.rs", &"// a\n".repeat(900)));
    one(&in_source("tools/xtask/src/x.rs", &"// a\n".repeat(399)), "tools/xtask/src/x.rs:401: size", "401");
}

#[test]
fn mod_rs_and_lib_rs_hold_no_logic() {
    one(&in_source("src/signal/runs/mod.rs", "pub fn f() {}\n"), "src/signal/runs/mod.rs:3: logic", "'fn'");
    one(
        &in_source("firmware-protocol/src/lib.rs", "impl A {}\n"),
        "firmware-protocol/src/lib.rs:3: logic",
        "'impl'",
    );
    none(&in_source(
        "src/signal/runs/mod.rs",
        "pub mod a;\npub use a::A;\n#[cfg(test)]\nmod tests { fn f() {} }\n",
    ));
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
    let at = "src/signal/runs/x.rs";
    one(
        &in_source(at, "fn f(x: f64) -> bool {\n    x < 0.62\n}\n"),
        "src/signal/runs/x.rs:4: number",
        "0.62",
    );
    one(
        &in_source("src/signal/runs/finder/x.rs", "const fn f() -> f64 {\n    1e-3\n}\n"),
        "src/signal/runs/finder/x.rs:4",
        "1e-3",
    );
    one(
        &in_source(at, "fn f<const N: usize>() -> f64 {\n    3.0\n}\n"),
        "src/signal/runs/x.rs:4: number",
        "3.0",
    );
    none(&in_source(at, "const A: f64 = 0.62;\npub const B: [(f64, f64); 1] = [\n    (0.3, 1e-3),\n];\n"));
    none(&in_source(at, "impl A {\n    const B: f64 = 0.62;\n}\n"));
    none(&in_source(at, "fn f(x: f64) -> f64 {\n    (0.5 * x).max(0.0) / 1000.0 - 1.0 + 2.0 * x\n}\n"));
    none(&in_source(at, "#[cfg(test)]\nmod tests {\n    fn f() -> f64 {\n        0.62\n    }\n}\n"));
    none(&in_source("src/numerics/x.rs", "fn f() -> f64 {\n    0.62\n}\n"));
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

/// A tree with this map and these manifests: (folder, package, the rest).
fn mapped(map: &str, manifests: &[(&str, &str, &str)]) -> Vec<String> {
    let map = format!("# A\n\n{}\n\nWords.\n\n```\n{map}```\n", table::MAP.1);
    let written: Vec<(String, String)> = manifests
        .iter()
        .map(|(folder, package, rest)| {
            (format!("{folder}/Cargo.toml"), format!("[package]\nname = \"{package}\"\n{rest}"))
        })
        .collect();
    let mut files: Vec<(&str, &str)> = vec![(table::MAP.0, &map)];
    files.extend(written.iter().map(|(path, text)| (path.as_str(), text.as_str())));
    found(&files)
}

#[test]
fn the_map_that_is_shown_is_what_the_manifests_say() {
    let store = ("src/store", "boltscribe-store", "");
    let cli = |rest: &'static str| ("src/cli", "boltscribe-cli", rest);
    none(&mapped(
        "store ->\ncli -> store\n",
        &[store, cli("[dependencies]\nboltscribe-store.path = \"../store\"\n")],
    ));
    let only_tests = "[dev-dependencies]\nboltscribe-store = { path = \"../store\" }\n";
    none(&mapped("store ->\ncli ->\n", &[store, cli(only_tests)]));
    for rest in [
        "[dependencies]\nboltscribe-store = { path = \"../store\" }\n",
        "[dependencies]\nother = { package = \"boltscribe-store\", path = \"../store\" }\n",
        "[dependencies.boltscribe-store]\npath = \"../store\"\n",
        "[target.'cfg(unix)'.build-dependencies]\nboltscribe-store.path = \"../store\"\n",
    ] {
        one(
            &mapped("store ->\ncli ->\n", &[store, cli(rest)]),
            "src/cli/Cargo.toml:1: dependencies",
            "found store",
        );
    }
    one(&mapped("store ->\ncli -> store\n", &[store, cli("")]), "src/cli/Cargo.toml:1", "shows: store");
    one(&mapped("store ->\n", &[store, cli("")]), "DEVELOPERS.md:3: dependencies", "'cli' in the map");
    one(&mapped("store ->\ncloud ->\n", &[store]), "DEVELOPERS.md:3: dependencies", "'cloud'");
}

#[test]
fn xtask_has_no_dependencies() {
    let bare = |rest: &'static str| mapped("xtask ->\n", &[("tools/xtask", "xtask", rest)]);
    none(&bare("[dependencies]\n# none\n"));
    for text in ["[dependencies]\nserde = \"1\"\n", "[dev-dependencies]\ntempfile = \"3\"\n"] {
        one(&bare(text), "tools/xtask/Cargo.toml:4: dependencies", "no dependency at all");
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
