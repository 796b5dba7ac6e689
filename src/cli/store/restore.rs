//! `store restore FROM`: a copy in place of the present store, which is kept beside it under a dated name.
//!
//! The one verb that works on the store's folder itself: the present store may be damaged or missing. A running
//! daemon is refused before anything is read.

use super::backup::Progress;
use crate::args::Common;
use crate::context::who;
use crate::door::daemon_listens;
use crate::error::CliError;
use crate::local::now_utc_ns;
use crate::output::{Cell, Format, Rows, print, say};
use crate::place::Place;
use boltscribe_store::{Mode, Store, Write, restore};
use clap::Args;
use serde_json::json;
use std::path::PathBuf;

/// Options of `store restore`.
#[derive(Debug, Args)]
#[command(before_help = "Examples:
  sudo systemctl stop boltscribed
  boltscribe store restore /media/usb/rigs-2026-05.sqlite
")]
pub struct Restore {
    /// A copy made by `store backup`.
    pub from: PathBuf,
    /// Who does it (default: the login name).
    #[arg(long)]
    pub who: Option<String>,
}

/// Restores.
///
/// # Errors
/// A daemon runs or someone else holds the store; the copy is not whole, or of a newer version; a full disk.
/// The present store is untouched then.
pub async fn run(wanted: &Restore, common: &Common) -> Result<(), CliError> {
    let place = Place::find(common)?;
    let who = who(wanted.who.as_deref())?;
    if place.copy.is_some() {
        return Err(CliError::usage(
            "cannot restore into a copy: expected the folder of a store, found a file",
        ));
    }
    if daemon_listens(&place.socket).await.unwrap_or(false) {
        return Err(CliError::No {
            what: format!("cannot restore the store in {}: boltscribed works on it", place.folder.display()),
            hint: Some("stop boltscribed first: `sudo systemctl stop boltscribed`".into()),
        });
    }
    let utc_ns = now_utc_ns();
    let utc = jiff::Timestamp::from_nanosecond(i128::from(utc_ns)).unwrap_or_default();
    let label = format!("replaced-{}", utc.strftime("%Y-%m-%dT%H%M%SZ"));
    let length = std::fs::metadata(&wanted.from).ok().map(|meta| meta.len());
    let mut progress = Progress::new(length, common.format);
    let restored = restore::restore(&place.folder, &wanted.from, &label, |done| progress.tell(done))?;
    record(&place, &who, &wanted.from, utc_ns)?;
    let kept = restored.kept.as_ref().map(|path| path.display().to_string());
    let document = json!({ "store": place.folder, "from": wanted.from, "runs": restored.copy.runs,
                           "replaced_store": kept });
    let mut rows = Rows::new(&["store", "runs", "replaced_store"]);
    rows.rows.push(vec![
        Cell::Text(place.folder.display().to_string()),
        Cell::Text(restored.copy.runs.to_string()),
        Cell::text(kept.as_deref()),
    ]);
    print(common.format, &document, &rows)?;
    if common.format == Format::Table {
        say("restored; what was there before is kept until you remove its folder");
    }
    Ok(())
}

/// The first opening brings an older copy up to date, and shows that it opens.
fn record(place: &Place, who: &str, from: &std::path::Path, utc_ns: i64) -> Result<(), CliError> {
    let store = Store::open(&place.folder, Mode::Existing)?;
    let detail = format!("by {who} from {}", from.display());
    let event = Write::Event { utc_ns, kind: "store-restored".into(), detail };
    let stored = store.writer().submit("", vec![event]);
    store.close();
    // The restore itself is done; a full disk that takes no event is told by the next who writes.
    if let Err(error) = stored {
        say(&format!("the restore is not on record: {error}"));
    }
    Ok(())
}
