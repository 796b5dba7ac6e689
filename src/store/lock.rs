//! The lock beside the store: one process owns it, and its number is written inside.
//!
//! The lock is the operating system's (released when the process dies, however it dies); the number is
//! only there so that the next one can say who holds it.

use super::error::StoreError;
use std::fs::{File, OpenOptions, TryLockError};
use std::io::{Read, Seek, Write};
use std::path::Path;

/// Name of the lock file in the store's folder.
pub const LOCK_NAME: &str = "lock";

/// Holds the lock until it is dropped.
#[derive(Debug)]
pub struct Lock {
    _file: File,
}

impl Lock {
    /// Takes the lock of a store's folder.
    ///
    /// # Errors
    /// Another process holds it (its id is named), or the file cannot be made.
    pub fn take(folder: &Path) -> Result<Self, StoreError> {
        let path = folder.join(LOCK_NAME);
        let fail = |tried: &'static str| {
            let path = path.clone();
            move |source| StoreError::File { tried, path, source }
        };
        let mut file = OpenOptions::new()
            .create(true)
            .truncate(false)
            .read(true)
            .write(true)
            .open(&path)
            .map_err(fail("open the lock file"))?;
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                return Err(StoreError::Held {
                    folder: folder.to_owned(),
                    holder: holder(&mut file),
                });
            }
            Err(TryLockError::Error(source)) => return Err(fail("lock")(source)),
        }
        file.set_len(0).map_err(fail("write the lock file"))?;
        writeln!(file, "{}", std::process::id()).map_err(fail("write the lock file"))?;
        Ok(Self { _file: file })
    }
}

fn holder(file: &mut File) -> String {
    let mut text = String::new();
    let read = file
        .rewind()
        .and_then(|()| file.take(32).read_to_string(&mut text));
    match (read, text.trim().parse::<u32>()) {
        (Ok(_), Ok(pid)) => pid.to_string(),
        _ => "unknown".to_owned(),
    }
}
