//! Another store in place of the present one, which is kept beside it: all or nothing, whatever dies when.
//!
//! The copy is brought into the folder and checked under a name that means nothing. One rename to
//! [`READY_PREFIX`] decides: from then on whoever opens the store finishes the exchange first.

use super::backup::{Copied, verify, with_ending};
use super::error::StoreError;
use super::lock::Lock;
use super::open::STORE_NAME;
use std::fs::{File, OpenOptions};
use std::io::{Read, Write};
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};

/// A copy that is whole, checked, and to be put in place; the rest of the name is that of the kept folder.
pub const READY_PREFIX: &str = "restored-for-";
/// A copy on its way in.
const COMING_NAME: &str = "restore.tmp";
/// Bytes copied at a time.
const CHUNK: usize = 1 << 20;

/// What a restore did.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct Restored {
    /// What was put in place.
    pub copy: Copied,
    /// Where the store that was there before is kept; none where there was none.
    pub kept: Option<PathBuf>,
}

/// Puts a copy in place of the store of `folder`. `label` names the folder the present store is kept in, and
/// must be new; `told` hears how many bytes have been copied.
///
/// # Errors
/// Someone holds the store, the copy is no whole store of this or an older version, the disk is full. The
/// present store is untouched then.
pub fn restore(
    folder: &Path,
    from: &Path,
    label: &str,
    mut told: impl FnMut(u64),
) -> Result<Restored, StoreError> {
    std::fs::create_dir_all(folder).map_err(fail("make the folder", folder))?;
    let _lock = Lock::take(folder)?;
    finish(folder)?;
    // Checked before it is copied, and the copy again: what was read is not yet what was written.
    verify(from)?;
    if with_ending(from, "-wal").metadata().is_ok_and(|log| log.len() > 0) {
        return Err(StoreError::HasLog { path: from.to_owned() });
    }
    let kept = folder.join(label);
    if kept.exists() {
        let source = std::io::Error::from(std::io::ErrorKind::AlreadyExists);
        return Err(StoreError::File { tried: "make the folder", path: kept, source });
    }
    let coming = folder.join(COMING_NAME);
    let brought = bring(from, &coming, &mut told).and_then(|()| verify(&coming));
    let copy = match brought {
        Ok(copy) => copy,
        Err(error) => {
            let _ = std::fs::remove_file(&coming);
            return Err(error);
        }
    };
    let was_there = parts(folder).iter().any(|part| part.exists());
    let ready = folder.join(format!("{READY_PREFIX}{label}"));
    std::fs::rename(&coming, &ready).map_err(fail("rename", &coming))?;
    sync_folder(folder)?;
    finish(folder)?;
    Ok(Restored { copy, kept: was_there.then_some(kept) })
}

fn bring(from: &Path, to: &Path, told: &mut impl FnMut(u64)) -> Result<(), StoreError> {
    let mut source = File::open(from).map_err(fail("open", from))?;
    let mut target =
        OpenOptions::new().create(true).truncate(true).write(true).open(to).map_err(fail("make", to))?;
    let mut chunk = vec![0; CHUNK];
    let mut copied = 0;
    loop {
        let n = source.read(&mut chunk).map_err(fail("read", from))?;
        if n == 0 {
            break;
        }
        target.write_all(&chunk[..n]).map_err(fail("write", to))?;
        copied += n as u64;
        told(copied);
    }
    // Root restores for the daemon's user, who owns the folder.
    let (owner, mine) = (to.parent().map(std::fs::metadata), target.metadata());
    if let (Some(Ok(owner)), Ok(mine)) = (owner, mine)
        && (owner.uid(), owner.gid()) != (mine.uid(), mine.gid())
    {
        // Not root: the file stays the one's who made it, as with any other file.
        let _ = std::os::unix::fs::chown(to, Some(owner.uid()), Some(owner.gid()));
    }
    target.sync_all().map_err(fail("write", to))
}

/// Whether a restore waits to be finished.
#[must_use]
pub fn waits(folder: &Path) -> bool {
    ready(folder).is_some()
}

fn ready(folder: &Path) -> Option<(PathBuf, String)> {
    std::fs::read_dir(folder).ok()?.filter_map(Result::ok).find_map(|entry| {
        let name = entry.file_name().into_string().ok()?;
        let label = name.strip_prefix(READY_PREFIX)?.to_owned();
        Some((entry.path(), label))
    })
}

fn parts(folder: &Path) -> [PathBuf; 4] {
    ["", "-wal", "-shm", "-journal"].map(|ending| with_ending(&folder.join(STORE_NAME), ending))
}

/// Finishes a restore that was decided on. Under the store's lock; does nothing where there is none.
///
/// # Errors
/// The folder cannot be changed.
pub(super) fn finish(folder: &Path) -> Result<(), StoreError> {
    let Some((ready, label)) = ready(folder) else { return Ok(()) };
    let kept = folder.join(label);
    // The old log must be away before the new file is there: SQLite would apply it.
    for part in parts(folder).iter().filter(|part| part.exists()) {
        std::fs::create_dir_all(&kept).map_err(fail("make the folder", &kept))?;
        let to = kept.join(part.file_name().unwrap_or_default());
        std::fs::rename(part, &to).map_err(fail("rename", part))?;
    }
    if kept.exists() {
        sync_folder(&kept)?;
    }
    sync_folder(folder)?;
    let store = folder.join(STORE_NAME);
    std::fs::rename(&ready, &store).map_err(fail("rename", &ready))?;
    sync_folder(folder)
}

/// Makes names in a folder outlive a power cut.
///
/// # Errors
/// The system's.
pub fn sync_folder(folder: &Path) -> Result<(), StoreError> {
    File::open(folder).and_then(|open| open.sync_all()).map_err(fail("write the folder", folder))
}

fn fail(tried: &'static str, path: &Path) -> impl FnOnce(std::io::Error) -> StoreError {
    let path = path.to_owned();
    move |source| StoreError::File { tried, path, source }
}
