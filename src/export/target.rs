//! The file that is written to: a temporary one beside it, synced, then given its name.
//!
//! What has the name is always whole. Until then nothing that was there is touched, and where the work ends
//! early, for whatever reason short of a kill, the temporary file is removed.

use rustix::fs::{CWD, RenameFlags, renameat_with};
use std::fs::File;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Why a file was not made.
#[derive(Debug, thiserror::Error)]
pub enum TargetError {
    /// It is there already.
    #[error("cannot write {}: expected no such file, found one", .0.display())]
    Exists(PathBuf),
    /// What is there is no file.
    #[error("cannot write {}: expected a file or nothing, found {found}", path.display())]
    NoFile {
        /// The path.
        path: PathBuf,
        /// What is there.
        found: &'static str,
    },
    /// The system refuses.
    #[error("cannot {tried} {}: {source}", path.display())]
    Io {
        /// What was tried.
        tried: &'static str,
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
}

/// A file on its way.
#[derive(Debug)]
pub struct Target {
    path: PathBuf,
    temporary: PathBuf,
    file: Option<File>,
    force: bool,
    bytes: u64,
}

impl Target {
    /// Makes the temporary file. `force`: a file of that name is replaced at the end.
    ///
    /// # Errors
    /// There is such a file (without `force`) or something that is no file, the folder cannot be written.
    pub fn create(path: &Path, force: bool) -> Result<Self, TargetError> {
        match std::fs::metadata(path) {
            Ok(meta) if meta.is_dir() => {
                return Err(TargetError::NoFile { path: path.into(), found: "a folder" });
            }
            Ok(meta) if !meta.is_file() => {
                return Err(TargetError::NoFile { path: path.into(), found: "a device or pipe" });
            }
            Ok(_) if !force => return Err(TargetError::Exists(path.into())),
            _ => {}
        }
        // A link is followed, so that what it points to is replaced and the link stays.
        let path = std::fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        let temporary = path.with_file_name(format!(".{name}.{}.part", std::process::id()));
        match File::options().write(true).create_new(true).open(&temporary) {
            Ok(file) => Ok(Self { path, temporary, file: Some(file), force, bytes: 0 }),
            Err(source) => Err(TargetError::Io { tried: "make", path: temporary, source }),
        }
    }

    /// Where it will stand.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Syncs it and gives it its name; how many bytes it holds.
    ///
    /// # Errors
    /// The system refuses, or a file of that name came meanwhile; nothing is left behind then.
    pub fn commit(mut self) -> Result<u64, TargetError> {
        let failed = |tried, path: &Path, source| TargetError::Io { tried, path: path.into(), source };
        if let Some(file) = &self.file {
            file.sync_all().map_err(|source| failed("write", &self.path, source))?;
        }
        let renamed = if self.force {
            std::fs::rename(&self.temporary, &self.path)
        } else {
            rename_to_nothing(&self.temporary, &self.path)
        };
        renamed.map_err(|source| match source.kind() {
            io::ErrorKind::AlreadyExists => TargetError::Exists(self.path.clone()),
            _ => failed("make", &self.path, source),
        })?;
        self.file = None;
        // The new name must be on disk too. A file system that cannot sync a folder has nothing to say here.
        let folder = self.path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
        if let Ok(folder) = File::open(folder) {
            let _ = folder.sync_all();
        }
        Ok(self.bytes)
    }
}

/// Renames, unless something of the new name is there.
fn rename_to_nothing(from: &Path, to: &Path) -> io::Result<()> {
    match renameat_with(CWD, from, CWD, to, RenameFlags::NOREPLACE) {
        // Some file systems cannot refuse by themselves: a second name is refused by all.
        Err(rustix::io::Errno::INVAL | rustix::io::Errno::NOSYS | rustix::io::Errno::NOTSUP) => {
            std::fs::hard_link(from, to)?;
            std::fs::remove_file(from)
        }
        other => Ok(other?),
    }
}

impl Write for Target {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let Some(file) = &mut self.file else {
            return Err(io::Error::other("the file is finished"));
        };
        let written = file.write(bytes)?;
        self.bytes += written as u64;
        Ok(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Drop for Target {
    fn drop(&mut self) {
        if self.file.take().is_some() {
            let _ = std::fs::remove_file(&self.temporary);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let entries = std::fs::read_dir(folder).unwrap();
        let mut names: Vec<String> = entries.map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    #[test]
    fn a_file_is_there_when_it_is_whole_and_never_before() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.csv");
        let mut target = Target::create(&path, false).unwrap();
        target.write_all(b"abc").unwrap();
        assert!(!path.exists());
        assert_eq!(target.commit().unwrap(), 3);
        assert_eq!(names(folder.path()), ["a.csv"]);
    }

    #[test]
    fn what_is_there_is_replaced_by_force_only_and_stays_when_the_work_ends_early() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.csv");
        std::fs::write(&path, "old").unwrap();
        assert!(matches!(Target::create(&path, false), Err(TargetError::Exists(_))));
        let mut dropped = Target::create(&path, true).unwrap();
        dropped.write_all(b"new").unwrap();
        drop(dropped);
        assert_eq!(std::fs::read_to_string(&path).unwrap(), "old");
        let mut target = Target::create(&path, true).unwrap();
        target.write_all(b"new").unwrap();
        target.commit().unwrap();
        assert_eq!(std::fs::read_to_string(&path).unwrap(), "new");
        assert_eq!(names(folder.path()), ["a.csv"]);
    }

    #[test]
    fn a_file_that_came_meanwhile_is_not_replaced() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.csv");
        let target = Target::create(&path, false).unwrap();
        std::fs::write(&path, "theirs").unwrap();
        assert!(matches!(target.commit(), Err(TargetError::Exists(_))));
        assert_eq!(std::fs::read_to_string(&path).unwrap(), "theirs");
        assert_eq!(names(folder.path()), ["a.csv"]);
    }

    #[test]
    fn folders_and_devices_are_refused() {
        let folder = tempfile::tempdir().unwrap();
        assert!(matches!(Target::create(folder.path(), true), Err(TargetError::NoFile { .. })));
        assert!(matches!(Target::create(Path::new("/dev/null"), true), Err(TargetError::NoFile { .. })));
    }
}
