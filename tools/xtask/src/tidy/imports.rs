//! Rooms import what the table allows, and pure rooms name nothing that touches the world.
//!
//! Paths from the crate (`crate::…`, in the programs `boltscribe::…`, or `super` up to the top) are held
//! against the table. Test parts may import more.

use super::broken::Broken;
use super::paths::{Path, paths};
use super::source::Source;
use super::table::{CLOCK_TYPES, CONFINED, IMPURE, LEAVES, ROOMS, Room};

/// Holds the rule for one source.
pub fn check(source: &Source<'_>, broken: &mut Vec<Broken>) {
    let Some(name) = source.room() else { return };
    let Some(room) = ROOMS.iter().find(|r| r.name == name) else {
        broken.push(Broken::new("imports", source.path, 1, "a room of the table", format!("'{name}'")));
        return;
    };
    for path in paths(&source.tokens).iter().filter(|p| !source.tests.holds(p.line)) {
        of_path(source, room, path, broken);
    }
}

fn of_path(source: &Source<'_>, room: &Room, path: &Path, broken: &mut Vec<Broken>) {
    let mut told = |expected: String| {
        broken.push(Broken::new("imports", source.path, path.line, expected, path.parts.join("::")));
    };
    if let Some(other) = other_room(source.path, &path.parts)
        && other != room.name
        && !LEAVES.contains(&other)
        && !room.imports.contains(&other)
    {
        let allowed = if room.imports.is_empty() { "nothing else".into() } else { room.imports.join(", ") };
        told(format!("of rooms in '{}': the leaves and {allowed}", room.name));
    }
    for crate_ in CONFINED.iter().filter(|c| path.parts[0] == c.name && !c.rooms.contains(&room.name)) {
        told(format!("{} only in {}", crate_.name, crate_.rooms.join(", ")));
    }
    let impure = IMPURE
        .iter()
        .any(|head| path.parts.iter().map(String::as_str).take(head.len()).eq(head.iter().copied()))
        || path.parts.iter().any(|part| CLOCK_TYPES.contains(&part.as_str()));
    if room.pure && impure {
        told(format!("no files, network, threads or clocks in the pure room '{}'", room.name));
    }
}

/// The room a path leads to, where it starts at the top of the crate; a glob there counts as one.
fn other_room<'p>(file: &str, parts: &'p [String]) -> Option<&'p str> {
    let ups = parts.iter().take_while(|p| *p == "super").count();
    let top = match parts[0].as_str() {
        "crate" | "boltscribe" => 1,
        "super" if ups >= depth(file) => ups,
        _ => return None,
    };
    parts.get(top).map(String::as_str)
}

/// Modules between a file and the top of the crate.
fn depth(file: &str) -> usize {
    let inside = file.strip_prefix("src/").unwrap_or(file);
    let module = inside.strip_suffix("/mod.rs").unwrap_or(inside);
    module.split('/').count()
}
