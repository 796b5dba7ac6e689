//! Writes the document of the interface to standard output, as `GET /api/v1/openapi.json` answers it.
//!
//! No daemon and no store is needed. `cargo xtask openapi` runs it and makes the page's types of it.

use std::io::Write;

fn main() -> std::io::Result<()> {
    let mut out = std::io::stdout().lock();
    serde_json::to_writer_pretty(&mut out, &boltscribe::http::router::document())?;
    out.write_all(b"\n")
}
