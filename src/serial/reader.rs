//! The life of one port: open, settle, read and write until it goes, wait, open again.
//!
//! An empty read and any error mean the port is gone: reading on would spin. Reading waits while the
//! queue of events is full, so nothing read is ever dropped (see `counters`). After opening, old bytes of
//! the kernel's buffer are cleared. This file must not know what bytes mean.

use super::backoff::Backoff;
use super::clock;
use super::counters::{Counters, add};
use super::event::{PortError, PortEvent};
use super::open::open;
use super::settings::Settings;
use std::io;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWriteExt, ReadBuf, ReadHalf, WriteHalf};
use tokio::sync::{mpsc, watch};
use tokio_serial::{ClearBuffer, SerialPort, SerialStream};

/// Most bytes of one event: all that is there at a wake, up to this.
pub const READ_BYTES_MAX: usize = 65_536;
/// Most bytes waiting to be sent; a message that would pass it is dropped and counted.
pub const SEND_BYTES_MAX: usize = 65_536;
/// Wait between opening and clearing: a USB adapter hands on old bytes within its 16 ms latency timer.
const SETTLE: Duration = Duration::from_millis(20);
/// A port that stayed open this long, or brought bytes, has worked; its waits start again at the shortest.
const WORKED_NS: u64 = 1_000_000_000;

/// Why a session with an open port ended.
enum Ended {
    /// Told to stop, or nobody listens any more.
    Stop,
    /// The port is gone.
    Gone(PortError),
}

/// The ends of the queues, and what is remembered between sessions.
struct Wires {
    settings: Settings,
    to: mpsc::Sender<PortEvent>,
    from: mpsc::Receiver<Vec<u8>>,
    from_open: bool,
    stop: watch::Receiver<bool>,
    counters: Arc<Counters>,
    buffer: Vec<u8>,
}

/// Serves one port until `stop` holds true (or its sender is gone), or the receiver of events is gone.
///
/// Bytes from `from` are sent to the device in order; while the port is away they are dropped and counted,
/// because a request that is minutes old would surprise. A missing port is told as
/// [`PortEvent::Down`] and tried again for ever.
pub async fn run(
    settings: Settings,
    to: mpsc::Sender<PortEvent>,
    from: mpsc::Receiver<Vec<u8>>,
    stop: watch::Receiver<bool>,
    counters: Arc<Counters>,
) {
    let mut wires =
        Wires { settings, to, from, from_open: true, stop, counters, buffer: vec![0; READ_BYTES_MAX] };
    let mut backoff = Backoff::new();
    let mut told: Option<PortError> = None;
    loop {
        let reason = match wires.session(&mut told, &mut backoff).await {
            Ended::Stop => return,
            Ended::Gone(reason) => reason,
        };
        if told.as_ref() != Some(&reason) {
            let event = PortEvent::Down { at: clock::now(), reason: reason.clone() };
            told = Some(reason);
            if wires.tell(event).await.is_err() {
                return;
            }
        }
        if wires.wait(backoff.take()).await.is_err() {
            return;
        }
    }
}

/// Told to stop, or nobody listens.
struct Stopped;

impl Wires {
    /// Opens the port and serves it until it goes.
    async fn session(&mut self, told: &mut Option<PortError>, backoff: &mut Backoff) -> Ended {
        add(&self.counters.attempts, 1);
        let stream = match open(&self.settings) {
            Ok(stream) => stream,
            Err(reason) => return Ended::Gone(reason),
        };
        if self.wait(SETTLE).await.is_err() {
            return Ended::Stop;
        }
        match stream.bytes_to_read() {
            Ok(old) => add(&self.counters.bytes_cleared, old as usize),
            Err(_) => return Ended::Gone(self.gone()),
        }
        if stream.clear(ClearBuffer::Input).is_err() {
            return Ended::Gone(self.gone());
        }
        add(&self.counters.opens, 1);
        *told = None;
        let up = clock::now();
        if self.tell(PortEvent::Up { at: up }).await.is_err() {
            return Ended::Stop;
        }
        let bytes_before = self.counters.now().bytes_in;
        let ended = self.serve(stream).await;
        let brought = self.counters.now().bytes_in > bytes_before;
        if brought || clock::now().since_ns(up) >= WORKED_NS {
            backoff.reset();
        }
        if matches!(ended, Ended::Gone(_)) {
            add(&self.counters.losses, 1);
        }
        ended
    }

    /// Reads and writes an open port until it goes.
    async fn serve(&mut self, stream: SerialStream) -> Ended {
        let (mut reading, mut writing) = tokio::io::split(stream);
        let mut waiting: Vec<u8> = Vec::new();
        loop {
            tokio::select! {
                biased;
                () = stopped(&mut self.stop) => return Ended::Stop,
                message = self.from.recv(), if self.from_open => match message {
                    None => self.from_open = false,
                    Some(bytes) if waiting.len() + bytes.len() > SEND_BYTES_MAX => {
                        add(&self.counters.bytes_send_dropped, bytes.len());
                    }
                    Some(bytes) => waiting.extend_from_slice(&bytes),
                },
                sent = write_some(&mut writing, &waiting), if !waiting.is_empty() => match sent {
                    Ok(n) if n > 0 => {
                        add(&self.counters.bytes_sent, n);
                        waiting.drain(..n);
                    }
                    _ => {
                        add(&self.counters.bytes_send_dropped, waiting.len());
                        return Ended::Gone(self.gone());
                    }
                },
                read = read_event(&mut reading, &mut self.buffer, &self.to, &self.counters) => match read {
                    Ok(Flow::On) => {}
                    Ok(Flow::NobodyListens) => return Ended::Stop,
                    Err(_) => {
                        add(&self.counters.bytes_send_dropped, waiting.len());
                        return Ended::Gone(self.gone());
                    }
                },
            }
        }
    }

    fn gone(&self) -> PortError {
        PortError::Gone { path: self.settings.path.clone() }
    }

    /// Puts an event into the queue, waiting for room.
    async fn tell(&mut self, event: PortEvent) -> Result<(), Stopped> {
        tokio::select! {
            biased;
            () = stopped(&mut self.stop) => Err(Stopped),
            sent = self.to.send(event) => sent.map_err(|_| Stopped),
        }
    }

    /// Waits; what is to be sent meanwhile is dropped and counted.
    async fn wait(&mut self, duration: Duration) -> Result<(), Stopped> {
        let sleep = tokio::time::sleep(duration);
        tokio::pin!(sleep);
        loop {
            tokio::select! {
                biased;
                () = stopped(&mut self.stop) => return Err(Stopped),
                () = self.to.closed() => return Err(Stopped),
                () = &mut sleep => return Ok(()),
                message = self.from.recv(), if self.from_open => match message {
                    None => self.from_open = false,
                    Some(bytes) => add(&self.counters.bytes_send_dropped, bytes.len()),
                },
            }
        }
    }
}

/// Returns once `stop` holds true or its sender is gone.
async fn stopped(stop: &mut watch::Receiver<bool>) {
    // An error means that the sender is gone, which is a stop as well.
    let _ = stop.wait_for(|stop| *stop).await;
}

async fn write_some(writing: &mut WriteHalf<SerialStream>, waiting: &[u8]) -> io::Result<usize> {
    writing.write(waiting).await
}

/// What follows a read.
enum Flow {
    On,
    NobodyListens,
}

/// Waits for room in the queue first, then reads all there is, so that no byte is held outside either.
///
/// Dropping the future between its polls loses nothing: bytes are read and handed on within one poll.
async fn read_event(
    reading: &mut ReadHalf<SerialStream>,
    buffer: &mut [u8],
    to: &mpsc::Sender<PortEvent>,
    counters: &Counters,
) -> io::Result<Flow> {
    let permit = match to.try_reserve() {
        Ok(permit) => permit,
        Err(mpsc::error::TrySendError::Closed(())) => return Ok(Flow::NobodyListens),
        Err(mpsc::error::TrySendError::Full(())) => {
            add(&counters.waits, 1);
            match to.reserve().await {
                Ok(permit) => permit,
                Err(_) => return Ok(Flow::NobodyListens),
            }
        }
    };
    let read = std::future::poll_fn(|cx| drain(reading, buffer, cx));
    let filled = tokio::select! {
        biased;
        filled = read => filled?,
        () = to.closed() => return Ok(Flow::NobodyListens),
    };
    let at = clock::now();
    add(&counters.bytes_in, filled);
    add(&counters.reads, 1);
    permit.send(PortEvent::Bytes { at, bytes: buffer[..filled].to_vec() });
    Ok(Flow::On)
}

/// Reads until nothing is left or the buffer is full; ready with at least one byte.
///
/// An end or an error behind good bytes is left for the next call, which meets it again.
fn drain(
    reading: &mut ReadHalf<SerialStream>,
    buffer: &mut [u8],
    cx: &mut Context<'_>,
) -> Poll<io::Result<usize>> {
    let mut filled = 0;
    while filled < buffer.len() {
        let mut rest = ReadBuf::new(&mut buffer[filled..]);
        match Pin::new(&mut *reading).poll_read(cx, &mut rest) {
            Poll::Pending => break,
            Poll::Ready(result) => {
                let got = rest.filled().len();
                if filled > 0 && (result.is_err() || got == 0) {
                    break;
                }
                result?;
                if got == 0 {
                    return Poll::Ready(Err(io::ErrorKind::UnexpectedEof.into()));
                }
                filled += got;
            }
        }
    }
    if filled == 0 { Poll::Pending } else { Poll::Ready(Ok(filled)) }
}

#[cfg(test)]
#[path = "reader_tests.rs"]
mod tests;
