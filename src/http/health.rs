//! How things are: a short status, all that a bug report needs, the check of the store, metrics.
//!
//! Metrics are in the Prometheus text exposition format, version 0.0.4.

use super::forward::{ForwardState, ForwardStatus};
use super::health_shown::{Doctor, QueueLimits, RigShort, StatusShown, StoreSeen};
use super::openapi::Refused;
use super::problem::Problem;
use super::rigs::{Link, RigState};
use super::state::State;
use axum::Json;
use axum::extract::State as Shared;
use axum::http::header;
use axum::response::IntoResponse;
use boltscribe_store::backup::free_bytes;
use boltscribe_store::migrate::SCHEMA_VERSION;
use boltscribe_store::{CheckReport, OutboxStatus, queue, sqlite_version};
use std::fmt::Write;

/// Latest events shown by the doctor.
const EVENTS_SHOWN: u32 = 50;

fn file_bytes(path: &std::path::Path, ending: &str) -> u64 {
    let mut name = path.to_owned().into_os_string();
    name.push(ending);
    std::fs::metadata(name).map_or(0, |meta| meta.len())
}

/// How things are, in short.
///
/// # Errors
/// The store's.
#[utoipa::path(
    get, path = "/status", operation_id = "status", tag = "state",
    responses(
        (status = 200, body = StatusShown,
         description = "Version, time, runs in the store, the writer, each rig in short"),
        Refused
    )
)]
pub async fn status(Shared(state): Shared<State>) -> Result<Json<StatusShown>, Problem> {
    let runs = state.read(boltscribe_store::Reader::run_count).await?;
    let short =
        |rig: RigState| RigShort { rig: rig.rig, link: rig.link, stale: rig.stale, simulated: rig.simulated };
    Ok(Json(StatusShown {
        version: env!("CARGO_PKG_VERSION"),
        page_built: super::built::is_built(),
        utc_ns: state.now(),
        runs,
        writer: state.writer.as_ref().map(boltscribe_store::Writer::health),
        rigs: state.rigs.rigs().into_iter().map(short).collect(),
    }))
}

/// All that a bug report needs.
///
/// # Errors
/// The store's.
#[utoipa::path(
    get, path = "/doctor", operation_id = "doctor", tag = "state",
    responses(
        (status = 200, body = Doctor,
         description = "Versions, store, ports, rigs, counters, forwarding, latest events"),
        Refused
    )
)]
pub async fn doctor(Shared(state): Shared<State>) -> Result<Json<Doctor>, Problem> {
    let path = state.readers.path().to_owned();
    let (runs, events, outbox, facts_of_store) = state
        .read(|reader| {
            let (runs, events) = (reader.run_count()?, reader.events(EVENTS_SHOWN)?);
            Ok::<_, boltscribe_store::StoreError>((runs, events, reader.outbox_status()?, reader.facts()?))
        })
        .await?;
    let ports = {
        let rigs = std::sync::Arc::clone(&state.rigs);
        // Looking at /dev may block.
        tokio::task::spawn_blocking(move || rigs.ports()).await.unwrap_or_default()
    };
    let folder = path.parent().map(std::path::Path::to_owned).unwrap_or_default();
    Ok(Json(Doctor {
        version: env!("CARGO_PKG_VERSION"),
        sqlite: sqlite_version(),
        schema_version: SCHEMA_VERSION,
        store: StoreSeen {
            bytes: file_bytes(&path, ""),
            log_bytes: file_bytes(&path, "-wal"),
            path,
            runs,
            writable: state.writer.is_some(),
            disk_free_bytes: free_bytes(&folder),
            facts: facts_of_store,
        },
        process: std::process::id(),
        limits: QueueLimits {
            store_queue_rows: queue::QUEUE_ROWS_MAX,
            store_queue_bytes: queue::QUEUE_BYTES_MAX,
        },
        ports,
        writer: state.writer.as_ref().map(boltscribe_store::Writer::health),
        rigs: state.rig_states(),
        counters: state.rigs.counters(),
        facts: state.rigs.facts().into_iter().collect(),
        forward: ForwardStatus { outbox, server: state.rigs.forward() },
        events,
    }))
}

/// Reads the whole store and tells what is wrong with it. Takes as long as that takes.
///
/// # Errors
/// The store cannot be read at all.
#[utoipa::path(
    get, path = "/store/check", operation_id = "look_through_store", tag = "store",
    responses(
        (status = 200, description = "Rows by table, samples counted, faults found", body = CheckReport),
        Refused
    )
)]
pub async fn check(Shared(state): Shared<State>) -> Result<Json<CheckReport>, Problem> {
    Ok(Json(state.read(boltscribe_store::Reader::check).await?))
}

/// Counters and gauges for a monitoring system.
///
/// # Errors
/// The store's.
#[utoipa::path(
    get, path = "/metrics", operation_id = "metrics", tag = "state",
    responses(
        (status = 200, body = String, content_type = "text/plain; version=0.0.4",
         description = "Prometheus text exposition format, version 0.0.4"),
        Refused
    )
)]
pub async fn metrics(Shared(state): Shared<State>) -> Result<impl IntoResponse, Problem> {
    let mut text = String::new();
    let (runs, outbox) = state
        .read(|reader| Ok::<_, boltscribe_store::StoreError>((reader.run_count()?, reader.outbox_status()?)))
        .await?;
    family(&mut text, "boltscribe_runs", "counter", "Runs in the store.", [(String::new(), runs)]);
    store_families(&mut text, &state);
    rig_families(&mut text, &state);
    forward_families(&mut text, outbox, state.rigs.forward());
    for (name, value) in state.rigs.counters() {
        family(&mut text, &name, "counter", "Counter of the daemon.", [(String::new(), value)]);
    }
    Ok(([(header::CONTENT_TYPE, "text/plain; version=0.0.4")], text))
}

fn store_families(text: &mut String, state: &State) {
    let Some(health) = state.writer.as_ref().map(boltscribe_store::Writer::health) else {
        return;
    };
    let failing = u64::from(health.failing.is_some());
    let plain = [
        ("boltscribe_store_rows_queued_total", "counter", "Rows handed to the writer.", health.queued),
        (
            "boltscribe_store_rows_committed_total",
            "counter",
            "Rows in committed transactions.",
            health.committed,
        ),
        ("boltscribe_store_commits_total", "counter", "Transactions committed.", health.commits),
        (
            "boltscribe_store_failed_commits_total",
            "counter",
            "Tries to commit that failed.",
            health.failed_commits,
        ),
        ("boltscribe_store_rows_waiting", "gauge", "Rows waiting in memory.", health.waiting),
        ("boltscribe_store_failing", "gauge", "1 while the store cannot be written.", failing),
    ];
    for (name, kind, help, value) in plain {
        family(text, name, kind, help, [(String::new(), value)]);
    }
    let refused = health.refused.iter();
    let refused = refused.map(|(reason, rows)| (format!("{{reason={}}}", quoted(reason)), *rows));
    family(text, "boltscribe_store_rows_refused_total", "counter", "Rows not stored.", refused);
}

fn rig_families(text: &mut String, state: &State) {
    type Figure = fn(&super::rigs::RigState) -> u64;
    let figures: [(&str, &str, &str, Figure); 9] = [
        ("boltscribe_rig_in_trouble", "gauge", "1 while something keeps the daemon from measuring.", |rig| {
            u64::from(rig.trouble.is_some())
        }),
        ("boltscribe_rig_up", "gauge", "1 while the line is open.", |rig| u64::from(rig.link == Link::Up)),
        ("boltscribe_rig_stale", "gauge", "1 while nothing comes.", |rig| u64::from(rig.stale)),
        ("boltscribe_rig_bytes_total", "counter", "Bytes received.", |rig| rig.counters.bytes_in),
        ("boltscribe_rig_frames_total", "counter", "Good frames or lines.", |rig| rig.counters.frames),
        ("boltscribe_rig_samples_total", "counter", "Samples taken.", |rig| rig.counters.samples_in),
        ("boltscribe_rig_samples_missing_total", "counter", "Samples lost on the way.", |rig| {
            rig.counters.samples_missing
        }),
        ("boltscribe_rig_bytes_discarded_total", "counter", "Bytes thrown away.", |rig| {
            rig.counters.bytes_discarded.values().sum()
        }),
        ("boltscribe_rig_runs_total", "counter", "Runs announced.", |rig| rig.counters.runs),
    ];
    let rigs = state.rigs.rigs();
    for (name, kind, help, figure) in figures {
        // A dial has no line that could be open or silent: only its runs are counted.
        let told = rigs.iter().filter(|rig| rig.dial.is_none() || name == "boltscribe_rig_runs_total");
        let lines = told.map(|rig| (format!("{{rig={}}}", quoted(&rig.rig)), figure(rig)));
        family(text, name, kind, help, lines);
    }
}

fn forward_families(text: &mut String, outbox: OutboxStatus, server: Option<ForwardState>) {
    let mut plain = vec![
        ("waiting", "gauge", "Rows of the outbox that wait.", outbox.waiting),
        ("quarantined", "gauge", "Rows the central store will not have.", outbox.quarantined),
        ("delivered_total", "counter", "Rows safe at the central store.", outbox.delivered),
        (
            "health_dropped_total",
            "counter",
            "Rows about health that gave up their place.",
            outbox.health_dropped,
        ),
        ("rows_dropped_total", "counter", "Rows of runs that found the outbox full.", outbox.rows_dropped),
    ];
    if let Some(server) = server {
        let is = |condition: &str| u64::from(server.condition == condition);
        plain.extend([
            ("retrying", "gauge", "1 while the central store is tried again.", is("retrying")),
            ("alarm", "gauge", "1 while a person has to look.", is("alarm")),
            ("unsettled", "gauge", "Rows taken and not safe yet.", server.unsettled),
            ("requests_total", "counter", "Requests made.", server.requests),
            ("failures_total", "counter", "Tries that failed.", server.failures),
            ("sent_again_total", "counter", "Times that rows were sent again.", server.sent_again),
        ]);
    }
    for (name, kind, help, value) in plain {
        family(text, &format!("boltscribe_forward_{name}"), kind, help, [(String::new(), value)]);
    }
}

fn family(
    text: &mut String,
    name: &str,
    kind: &str,
    help: &str,
    lines: impl IntoIterator<Item = (String, u64)>,
) {
    // Writing to a string cannot fail.
    let _ = writeln!(text, "# HELP {name} {help}\n# TYPE {name} {kind}");
    for (labels, value) in lines {
        let _ = writeln!(text, "{name}{labels} {value}");
    }
}

fn quoted(value: &str) -> String {
    let escaped = value.replace('\\', "\\\\").replace('"', "\\\"").replace('\n', "\\n");
    format!("\"{escaped}\"")
}
