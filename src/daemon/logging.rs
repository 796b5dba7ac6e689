//! Log lines on standard error; the journal reads them there.
//!
//! One line for each change of a state, not for each try. Lines wait in a bounded queue for a thread that writes
//! them: whoever logs never waits, and no line that cannot be written (a closed or full pipe, a full disk) stops
//! anything. What is lost is counted. Must not know what is logged.

use std::collections::VecDeque;
use std::fs::File;
use std::io::{self, Write};
use std::os::fd::AsFd;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use tracing_subscriber::filter::LevelFilter;

/// Lines that may wait: some seconds of a rig with every kind of fault at once, a few hundred kilobytes.
const LINES_MAX: usize = 4096;

static LOST: AtomicU64 = AtomicU64::new(0);

/// Lines lost since the start: standard error could not be written, or took too long.
#[must_use]
pub fn lines_lost() -> u64 {
    LOST.load(Ordering::Relaxed)
}

/// Starts logging at this level: error, warn, info, debug or trace. Panics of any thread are logged too.
///
/// # Errors
/// A word that is no level, or the system's, in words.
pub fn start(level: &str) -> Result<Log, String> {
    let filter: LevelFilter = level
        .parse()
        .map_err(|_| format!("cannot log at '{level}': expected error, warn, info, debug or trace"))?;
    // A handle of its own: a write that blocks must not hold the lock of the process's standard error.
    let to =
        io::stderr().as_fd().try_clone_to_owned().map_err(|e| format!("cannot use standard error: {e}"))?;
    let log = Log::to(File::from(to), &LOST).map_err(|e| format!("cannot start the log's thread: {e}"))?;
    let lines = log.clone();
    tracing_subscriber::fmt()
        .with_max_level(filter)
        .with_writer(move || lines.clone())
        .with_ansi(false)
        .with_target(false)
        // It would report a failed write on standard error, and panic where that is gone.
        .log_internal_errors(false)
        .init();
    std::panic::set_hook(Box::new(|panic| {
        let trace = std::backtrace::Backtrace::capture();
        match trace.status() {
            std::backtrace::BacktraceStatus::Captured => tracing::error!("{panic}\n{trace}"),
            _ => tracing::error!("{panic}"),
        }
    }));
    Ok(log)
}

#[derive(Default)]
struct Waiting {
    lines: VecDeque<Vec<u8>>,
    /// The thread has a line in its hands.
    writing: bool,
}

#[derive(Default)]
struct Queue {
    waiting: Mutex<Waiting>,
    changed: Condvar,
}

impl Queue {
    fn lock(&self) -> MutexGuard<'_, Waiting> {
        self.waiting.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Where lines go; each write is one line.
#[derive(Clone)]
pub struct Log {
    queue: Arc<Queue>,
    lost: &'static AtomicU64,
}

impl Log {
    fn to(mut to: impl Write + Send + 'static, lost: &'static AtomicU64) -> io::Result<Self> {
        let log = Self { queue: Arc::default(), lost };
        let queue = Arc::clone(&log.queue);
        let write = move || {
            let mut waiting = queue.lock();
            loop {
                let Some(line) = waiting.lines.pop_front() else {
                    waiting = queue.changed.wait(waiting).unwrap_or_else(PoisonError::into_inner);
                    continue;
                };
                waiting.writing = true;
                drop(waiting);
                if to.write_all(&line).and_then(|()| to.flush()).is_err() {
                    lost.fetch_add(1, Ordering::Relaxed);
                }
                waiting = queue.lock();
                waiting.writing = false;
                queue.changed.notify_all();
            }
        };
        std::thread::Builder::new().name("log".to_owned()).spawn(write)?;
        Ok(log)
    }

    /// Waits until all lines are written, at most so long.
    pub fn finish(&self, within: Duration) {
        let busy = |waiting: &mut Waiting| waiting.writing || !waiting.lines.is_empty();
        drop(self.queue.changed.wait_timeout_while(self.queue.lock(), within, busy));
    }
}

impl Write for Log {
    fn write(&mut self, line: &[u8]) -> io::Result<usize> {
        let mut waiting = self.queue.lock();
        if waiting.lines.len() < LINES_MAX {
            waiting.lines.push_back(line.to_vec());
            self.queue.changed.notify_all();
        } else {
            self.lost.fetch_add(1, Ordering::Relaxed);
        }
        Ok(line.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::mpsc::{Receiver, Sender, channel};

    const SOON: Duration = Duration::from_secs(10);

    /// Takes a line whenever it may; nobody who may say so: it fails.
    struct Slow(Receiver<()>, Sender<Vec<u8>>);

    impl Write for Slow {
        fn write(&mut self, line: &[u8]) -> io::Result<usize> {
            self.0.recv().map_err(io::Error::other)?;
            let _ = self.1.send(line.to_vec());
            Ok(line.len())
        }
        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    #[test]
    fn whoever_logs_never_waits_and_what_finds_no_room_is_counted() {
        static LOST: AtomicU64 = AtomicU64::new(0);
        let ((may, told), (to, got)) = (channel(), channel());
        let mut log = Log::to(Slow(told, to), &LOST).unwrap();
        for n in 0..LINES_MAX + 100 {
            log.write_all(format!("{n}\n").as_bytes()).unwrap();
        }
        // The thread has taken one line, or none yet.
        let lost = LOST.load(Ordering::Relaxed);
        assert!((99..=100).contains(&lost), "{lost}");
        for n in 0..LINES_MAX {
            may.send(()).unwrap();
            assert_eq!(got.recv_timeout(SOON).unwrap(), format!("{n}\n").into_bytes());
        }
    }

    #[test]
    fn lines_that_cannot_be_written_are_counted_and_the_next_are_tried() {
        static LOST: AtomicU64 = AtomicU64::new(0);
        let ((may, told), (to, _got)) = (channel(), channel());
        drop(may);
        let mut log = Log::to(Slow(told, to), &LOST).unwrap();
        for _ in 0..3 {
            log.write_all(b"x\n").unwrap();
        }
        log.finish(SOON);
        assert_eq!(LOST.load(Ordering::Relaxed), 3);
    }

    #[test]
    fn the_end_waits_for_lines_but_not_for_a_writer_that_stands_still() {
        static LOST: AtomicU64 = AtomicU64::new(0);
        let ((may, told), (to, got)) = (channel(), channel());
        let mut log = Log::to(Slow(told, to), &LOST).unwrap();
        log.write_all(b"x\n").unwrap();
        log.finish(Duration::from_millis(1));
        may.send(()).unwrap();
        log.finish(SOON);
        assert_eq!(got.try_recv().unwrap(), b"x\n");
    }
}
