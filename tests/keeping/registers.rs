//! How often each thing was used: counted from the runs, by the tags as they are now.
//!
//! Days and tags are invented; the samples do not matter here.

use crate::desk::{DAY_NS, Desk, T0_NS};
use boltscribe::control::{BoltInForce, Command as Told, InForce, SourceState};
use boltscribe::pipeline::{Output, RunRow, replay};
use boltscribe::results::RunResult;
use boltscribe::store::{Mode, ShelfKind, Store, StreamId, Write, Written};
use serde_json::{Value, json};

fn shelf(store: &Store, day: i64, kind: ShelfKind, name: &str, document: Value) {
    let write = Write::Shelf {
        utc_ns: T0_NS + day * DAY_NS,
        who: "ana".into(),
        why: None,
        kind,
        name: name.into(),
        document: Some(document),
    };
    store.writer().store("", write).unwrap().unwrap();
}

fn in_force(setup: &str, tool: &str, battery: &str, bolt: &str, fresh: Option<bool>) -> InForce {
    InForce {
        setup: Some(setup.into()),
        contacts: Some(1),
        tool: Some(tool.into()),
        source: Some(SourceState::Battery { id: battery.into(), rested_v: None, fresh }),
        bolt: Some(BoltInForce { name: bolt.into(), factor: None, allowed_kn: None }),
        attempt: None,
        shelf: None,
        no_tool: false,
    }
}

/// One run of a recording under other tags, `re_pulled` as its closing says; on a day of its own.
fn run(store: &Store, stream: StreamId, seq: u32, day: i64, tags: InForce, re_pulled: bool) {
    let (settings, capture) = crate::desk::recording("second-pull");
    let (outputs, _) = replay(settings, &capture.entries).unwrap();
    let rows = outputs.into_iter().filter_map(|o| if let Output::Run(row) = o { Some(row) } else { None });
    for row in rows {
        let row = match row {
            RunRow::Announced(run) => {
                let run = RunResult { run_seq: seq, in_force: tags.clone(), ..*run };
                RunRow::Announced(Box::new(run))
            }
            RunRow::Closed(mut closed) => {
                closed.run_seq = seq;
                closed.closing.re_pulled = re_pulled;
                RunRow::Closed(closed)
            }
        };
        let write = Write::Run { stream, row, first_blow_utc_ns: T0_NS + day * DAY_NS };
        store.writer().store("bench", write).unwrap().unwrap();
    }
}

fn of<'a>(list: &'a Value, kind: &str, name: &str) -> &'a Value {
    &list[kind].as_array().unwrap().iter().find(|item| item["name"] == name).unwrap()["uses"]
}

/// Five runs on five days; on the fourth the long setup gets an extension, the bolt is lubricated anew, and
/// the battery is fresh.
fn fill(store: &Store) {
    for (kind, name, document) in [
        (ShelfKind::Tools, "t1", json!({"name": "t1", "anvil": "1/2", "source": "battery"})),
        (ShelfKind::Tools, "t2", json!({"name": "t2", "anvil": "1/2", "source": "battery"})),
        (ShelfKind::Sources, "b1", json!({"name": "b1", "kind": "battery"})),
        (ShelfKind::Bolts, "m20", json!({"name": "m20", "thread": "M20x2.5", "diameter_mm": 20.0})),
        (ShelfKind::Pieces, "socket", json!({"name": "socket", "kind": "socket", "drive_in": "1/2"})),
        (ShelfKind::Pieces, "ext", json!({"name": "ext", "kind": "extension", "drive_in": "1/2"})),
        (ShelfKind::Setups, "direct", json!({"name": "direct", "pieces": ["socket"]})),
        (ShelfKind::Setups, "long", json!({"name": "long", "pieces": ["socket"]})),
    ] {
        shelf(store, -1, kind, name, document);
    }
    let (settings, _) = crate::desk::recording("second-pull");
    let begin = Write::Stream { started_utc_ns: T0_NS, settings: Box::new(settings) };
    let Ok(Ok(Written::Stream(stream))) = store.writer().store("bench", begin) else { panic!() };
    let told = |day: i64, tags: InForce| {
        let utc_ns = T0_NS + day * DAY_NS;
        let command = Box::new(Told::Use { in_force: tags });
        store
            .writer()
            .store("bench", Write::Command { utc_ns, who: "ana".into(), command })
            .unwrap()
            .unwrap();
    };
    let plain = |setup, tool| in_force(setup, tool, "b1", "m20", None);
    told(0, in_force("direct", "t1", "b1", "m20", Some(true)));
    run(store, stream, 1, 0, plain("direct", "t1"), false);
    run(store, stream, 2, 1, plain("direct", "t1"), true);
    run(store, stream, 3, 2, plain("long", "t2"), false);
    shelf(store, 3, ShelfKind::Setups, "long", json!({"name": "long", "pieces": ["ext", "socket"]}));
    shelf(
        store,
        3,
        ShelfKind::Bolts,
        "m20",
        json!({"name": "m20", "thread": "M20x2.5", "diameter_mm": 20.0, "lubricant": "oil"}),
    );
    told(3, in_force("long", "t2", "b1", "m20", Some(true)));
    run(store, stream, 4, 4, plain("long", "t2"), true);
    run(store, stream, 5, 5, plain("long", "t2"), false);
}

#[test]
fn tools_batteries_bolts_setups_and_pieces_show_how_often_they_were_used() {
    let desk = Desk::new();
    let store = Store::open(&desk.path("store"), Mode::Create).unwrap();
    fill(&store);
    store.close();

    let list = |kind: &str| desk.json(&["setup", "list", kind]);
    let tools = list("tool");
    assert_eq!(of(&tools, "tools", "t1")["runs"], 2);
    assert_eq!(of(&tools, "tools", "t1")["first_utc"], "2020-01-01T00:00:00.000Z");
    assert_eq!(of(&tools, "tools", "t2")["last_utc"], "2020-01-06T00:00:00.000Z");
    let bolts = list("bolt");
    let bolt = of(&bolts, "bolts", "m20");
    assert_eq!(
        (&bolt["runs"], &bolt["tightenings"], &bolt["tightenings_since"]),
        (&json!(5), &json!(7), &json!(3))
    );
    let sources = list("source");
    let battery = of(&sources, "sources", "b1");
    assert_eq!((&battery["runs"], &battery["runs_since_fresh"]), (&json!(5), &json!(2)));
    let pieces = list("piece");
    assert_eq!(of(&pieces, "pieces", "socket")["runs"], 5);
    assert_eq!(of(&pieces, "pieces", "ext")["runs"], 2, "only since the setup is made of it");
    assert_eq!(of(&list("chain"), "setups", "long")["runs"], 3);

    // A tag corrected afterwards counts where it says; an excluded run was used all the same.
    desk.json(&["runs", "tag", "1", "--tool", "t2", "--setup", "long", "--why", "forgot to switch"]);
    desk.json(&["runs", "exclude", "2", "--why", "slipped"]);
    let tools = list("tool");
    assert_eq!(
        (&of(&tools, "tools", "t1")["runs"], &of(&tools, "tools", "t2")["runs"]),
        (&json!(1), &json!(4))
    );
    assert_eq!(of(&list("chain"), "setups", "direct")["runs"], 1);
    assert_eq!(of(&list("piece"), "pieces", "ext")["runs"], 2, "at that time the setup was a socket alone");
    let table = String::from_utf8(desk.run(&["setup", "list", "bolt"]).stdout).unwrap();
    assert!(table.contains("tightenings since shelved") && table.contains("2020-01-06"), "{table}");
}
