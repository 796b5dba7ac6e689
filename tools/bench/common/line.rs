//! The device's end of a pseudo-terminal: sends a feed at a pace or as fast as the line takes it, and answers.
//!
//! Nothing is dropped: a full line makes the sender wait. Must not know who reads.

use super::feed::Feed;
use super::figure::Outcome;
use boltscribe_wire::MAX_FRAME;
use std::path::Path;
use std::time::{Duration, Instant};
use virtual_rig::pty::Port;
use virtual_rig::talk::{Action, Listener};

/// Most bytes handed to the line at a time.
const CHUNK: usize = 32 << 10;
/// A reader that takes nothing for so long has failed.
const PATIENCE: Duration = Duration::from_secs(20);

/// A device with a feed.
pub struct Line {
    port: Port,
    listener: Listener,
}

impl Line {
    /// Opens a pseudo-terminal and links it.
    pub fn open(link: &Path, feed: &Feed) -> Outcome<Self> {
        let port = Port::open(link, 2 * CHUNK + 8 * MAX_FRAME)?;
        Ok(Self { port, listener: Listener::new(&feed.scenario.rig) })
    }

    /// Answers the host; true if it asked for samples.
    fn answer(&mut self, feed: &Feed) -> Outcome<bool> {
        let mut bytes = [0; 4096];
        let count = self.port.read(&mut bytes)?;
        let mut start = false;
        for action in self.listener.hear(&bytes[..count]) {
            match action {
                // An answer for which there is no room is lost; the host asks again.
                Action::Identify => _ = self.port.offer(&feed.identity),
                Action::Status => _ = self.port.offer(&feed.status),
                Action::Start(_) => start = true,
                Action::Stop | Action::Send(_) => {}
            }
        }
        self.port.flush()?;
        Ok(start)
    }

    /// Answers until the host asks for samples.
    pub fn wait_for_start(&mut self, feed: &Feed) -> Outcome<()> {
        let since = Instant::now();
        while !self.answer(feed)? {
            if since.elapsed() > PATIENCE {
                return Err("waited in vain for the host to ask for samples".into());
            }
            self.port.wait(Duration::from_millis(20), false);
        }
        Ok(())
    }

    /// Sends the frames of a feed between its answers; `frames_a_second` none: as fast as the line goes.
    /// `sent` is told the number of each frame and when the line was about to take its last byte.
    pub fn send(
        &mut self,
        feed: &Feed,
        frames_a_second: Option<f64>,
        mut sent: impl FnMut(usize, Instant),
    ) -> Outcome<()> {
        let began = Instant::now();
        let mut moved = began;
        let mut next = 0;
        while next < feed.ends.len() || self.port.waiting() > 0 {
            self.answer(feed)?;
            let due = match frames_a_second {
                Some(hz) => ((began.elapsed().as_secs_f64() * hz) as usize).min(feed.ends.len()),
                None => feed.ends.len(),
            };
            let from = next.checked_sub(1).map_or(0, |last| feed.ends[last]);
            while next < due && feed.ends[next] - from <= CHUNK && self.port.waiting() == 0 {
                next += 1;
            }
            let until = next.checked_sub(1).map_or(0, |last| feed.ends[last]);
            if until > from {
                let now = Instant::now();
                for frame in feed.ends.partition_point(|end| *end <= from)..next {
                    sent(frame, now);
                }
                if !self.port.offer(&feed.bytes[from..until]) {
                    return Err("the queue of the line has no room for a chunk".into());
                }
                moved = now;
            }
            self.port.flush()?;
            if moved.elapsed() > PATIENCE {
                return Err("the reader takes no bytes any more".into());
            }
            if self.port.waiting() > 0 {
                self.port.wait(Duration::from_millis(20), true);
            } else if let Some(hz) = frames_a_second {
                let at = Duration::from_secs_f64((next + 1) as f64 / hz);
                std::thread::sleep(at.saturating_sub(began.elapsed()));
            }
        }
        Ok(())
    }

    /// Sends plain bytes as fast as the line goes, to a reader that asks nothing.
    pub fn pour(&mut self, bytes: &[u8]) -> Outcome<()> {
        let mut moved = Instant::now();
        let mut rest = bytes;
        while !rest.is_empty() || self.port.waiting() > 0 {
            if self.port.waiting() == 0 {
                let (now, later) = rest.split_at(rest.len().min(CHUNK));
                if !self.port.offer(now) {
                    return Err("the queue of the line has no room for a chunk".into());
                }
                rest = later;
                moved = Instant::now();
            }
            self.port.flush()?;
            if self.port.waiting() > 0 {
                self.port.wait(Duration::from_millis(20), true);
            }
            if moved.elapsed() > PATIENCE {
                return Err("the reader takes no bytes any more".into());
            }
        }
        Ok(())
    }
}
