//! Forwarding from outside: against a server that follows a script, against a real time-series server, and
//! through the real daemon.
//!
//! The real server is Debian's package victoria-metrics. Where it is missing these tests fail and say so.

// Helpers of a test fail like the test itself.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::disallowed_methods, clippy::print_stdout)]

/// What a server holds: measurement, tags and time, then field by field.
type Lines = std::collections::BTreeMap<String, std::collections::BTreeMap<String, String>>;

#[path = "../daemon_pty/bench.rs"]
#[allow(dead_code)]
mod bench;
mod central;
mod courier;
mod durable;
mod endless;
mod exported;
mod outage;
#[path = "../store/sample.rs"]
#[allow(dead_code)]
mod sample;
mod scripted;
mod statuses;
mod through_daemon;
