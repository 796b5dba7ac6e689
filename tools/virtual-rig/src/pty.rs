//! A pseudo-terminal behind a stable link: bytes in, bytes out, hang up, come back.
//!
//! The link is replaced atomically (made beside, then renamed), as a device's stable name is.
//! What goes out waits in a bounded queue; a packet that does not fit whole is refused, as a
//! serial port's buffer would lose it. The device holds its own end of the line open, so that
//! its settings stay, and lifts the exclusive lock that a reader may have left behind. This
//! file must not know what the bytes mean.

use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::fd::OwnedFd;
use rustix::io::Errno;
use rustix::pty::{OpenptFlags, grantpt, ioctl_tiocgptpeer, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, ioctl_tiocnxcl, tcgetattr, tcsetattr};
use std::ffi::OsStr;
use std::os::unix::ffi::OsStrExt;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Why the line cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum PortError {
    /// The pseudo-terminal cannot be opened or set.
    #[error("cannot open a pseudo-terminal: {0}")]
    Open(Errno),
    /// The link cannot be made.
    #[error("cannot link the port to {path}: {error}")]
    Link {
        /// Where it should stand.
        path: PathBuf,
        /// What the system said.
        error: std::io::Error,
    },
    /// The line cannot be read or written.
    #[error("cannot use the port behind {path}: {error}")]
    Line {
        /// The link.
        path: PathBuf,
        /// What the system said.
        error: Errno,
    },
}

/// The device's end of a line.
#[derive(Debug)]
pub struct Port {
    link: PathBuf,
    ends: Option<Ends>,
    queue: Vec<u8>,
    queue_max: usize,
}

#[derive(Debug)]
struct Ends {
    device: OwnedFd,
    /// Held open only; see the head of this file.
    line: OwnedFd,
}

impl Port {
    /// Opens a port and links it. At most `queue_max` bytes wait to be sent.
    ///
    /// # Errors
    /// The pseudo-terminal or the link cannot be made.
    pub fn open(link: &Path, queue_max: usize) -> Result<Self, PortError> {
        let mut port = Self { link: link.to_owned(), ends: None, queue: Vec::new(), queue_max };
        port.reopen()?;
        Ok(port)
    }

    /// Opens a new pseudo-terminal and puts the link on it.
    ///
    /// # Errors
    /// The pseudo-terminal or the link cannot be made.
    pub fn reopen(&mut self) -> Result<(), PortError> {
        let flags = OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC;
        let device = openpt(flags).map_err(PortError::Open)?;
        grantpt(&device).map_err(PortError::Open)?;
        unlockpt(&device).map_err(PortError::Open)?;
        let line = ioctl_tiocgptpeer(&device, flags).map_err(PortError::Open)?;
        let mut settings = tcgetattr(&line).map_err(PortError::Open)?;
        settings.make_raw();
        tcsetattr(&line, OptionalActions::Now, &settings).map_err(PortError::Open)?;
        rustix::io::ioctl_fionbio(&device, true).map_err(PortError::Open)?;
        let name = ptsname(&device, Vec::new()).map_err(PortError::Open)?;
        self.put_link(Path::new(OsStr::from_bytes(name.to_bytes())))?;
        self.ends = Some(Ends { device, line });
        Ok(())
    }

    fn put_link(&self, target: &Path) -> Result<(), PortError> {
        let fail = |error| PortError::Link { path: self.link.clone(), error };
        if let Ok(found) = std::fs::symlink_metadata(&self.link)
            && !found.is_symlink()
        {
            return Err(fail(std::io::Error::other("something that is not a link stands there")));
        }
        let mut beside = self.link.clone().into_os_string();
        beside.push(format!(".{}.new", std::process::id()));
        let beside = PathBuf::from(beside);
        std::os::unix::fs::symlink(target, &beside).map_err(fail)?;
        std::fs::rename(&beside, &self.link).map_err(fail)
    }

    /// Closes both ends, drops what waits and takes the link away.
    pub fn hang_up(&mut self) {
        self.ends = None;
        self.queue.clear();
        // A link that somebody else took away is as good as removed.
        let _ = std::fs::remove_file(&self.link);
    }

    /// Whether the port is there.
    #[must_use]
    pub fn is_open(&self) -> bool {
        self.ends.is_some()
    }

    /// Puts bytes into the queue if they fit whole and the port is there.
    pub fn offer(&mut self, bytes: &[u8]) -> bool {
        if self.ends.is_none() || self.queue.len() + bytes.len() > self.queue_max {
            return false;
        }
        self.queue.extend_from_slice(bytes);
        true
    }

    /// Bytes that wait to be sent.
    #[must_use]
    pub fn waiting(&self) -> usize {
        self.queue.len()
    }

    /// Drops what waits.
    pub fn clear(&mut self) {
        self.queue.clear();
    }

    /// Sends what the line takes now.
    ///
    /// # Errors
    /// The line failed in another way than by being full.
    pub fn flush(&mut self) -> Result<(), PortError> {
        let Some(ends) = &self.ends else { return Ok(()) };
        let mut sent = 0;
        while sent < self.queue.len() {
            match rustix::io::write(&ends.device, &self.queue[sent..]) {
                Ok(0) | Err(Errno::AGAIN) => break,
                Ok(count) => sent += count,
                Err(Errno::INTR) => {}
                Err(error) => {
                    return Err(PortError::Line { path: self.link.clone(), error });
                }
            }
        }
        self.queue.drain(..sent);
        Ok(())
    }

    /// Reads what the host sent, at most a buffer full; 0 if there is nothing.
    ///
    /// # Errors
    /// The line failed.
    pub fn read(&mut self, into: &mut [u8]) -> Result<usize, PortError> {
        let Some(ends) = &self.ends else { return Ok(0) };
        // A reader's exclusive lock would outlive it because the device holds the line open. A
        // line that does not know such locks has none to lift.
        let _ = ioctl_tiocnxcl(&ends.line);
        match rustix::io::read(&ends.device, into) {
            Ok(count) => Ok(count),
            Err(Errno::AGAIN | Errno::INTR) => Ok(0),
            Err(error) => Err(PortError::Line { path: self.link.clone(), error }),
        }
    }

    /// Waits until the host sent something, for room if it is wanted and something waits to be
    /// sent, or for the stated time.
    pub fn wait(&self, longest: Duration, room_wanted: bool) {
        let limit = Timespec { tv_sec: longest.as_secs() as i64, tv_nsec: i64::from(longest.subsec_nanos()) };
        let for_room = room_wanted && !self.queue.is_empty();
        let flags = if for_room { PollFlags::IN | PollFlags::OUT } else { PollFlags::IN };
        // An interrupted wait is a short wait.
        let _ = match &self.ends {
            Some(ends) => poll(&mut [PollFd::new(&ends.device, flags)], Some(&limit)),
            None => poll(&mut [], Some(&limit)),
        };
    }
}

impl Drop for Port {
    fn drop(&mut self) {
        self.hang_up();
    }
}
