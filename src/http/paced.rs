//! A connection that must move: what cannot be sent for [`STALLED_AFTER`] ends it.
//!
//! One place for all that is sent, whether an answer, a stream, a copy of the store or a WebSocket: who stopped reading
//! holds no memory, no file and no place. Must not know HTTP.

use std::io;
use std::pin::Pin;
use std::task::{Context, Poll};
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::time::Sleep;

/// Longest time without a byte taken by the other side, while there are some for it.
pub const STALLED_AFTER: Duration = Duration::from_secs(10);

/// The same at the socket of this machine, where somebody may page through what a command prints.
pub const PAGED_AFTER: Duration = Duration::from_secs(600);

/// A connection with such a limit.
pub struct Paced<S> {
    inner: S,
    patience: Duration,
    /// Runs while nothing can be sent.
    stalled: Option<Pin<Box<Sleep>>>,
}

impl<S> Paced<S> {
    /// Around a connection that may stand still for so long.
    pub const fn new(inner: S, patience: Duration) -> Self {
        Self { inner, patience, stalled: None }
    }

    fn watched<T>(&mut self, context: &mut Context<'_>, sent: Poll<io::Result<T>>) -> Poll<io::Result<T>> {
        if sent.is_ready() {
            self.stalled = None;
            return sent;
        }
        let patience = self.patience;
        let limit = self.stalled.get_or_insert_with(|| Box::pin(tokio::time::sleep(patience)));
        limit.as_mut().poll(context).map(|()| Err(io::ErrorKind::TimedOut.into()))
    }
}

impl<S: AsyncRead + Unpin> AsyncRead for Paced<S> {
    fn poll_read(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        into: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        Pin::new(&mut self.inner).poll_read(context, into)
    }
}

impl<S: AsyncWrite + Unpin> AsyncWrite for Paced<S> {
    fn poll_write(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        let sent = Pin::new(&mut self.inner).poll_write(context, bytes);
        self.watched(context, sent)
    }

    fn poll_write_vectored(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        pieces: &[io::IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        let sent = Pin::new(&mut self.inner).poll_write_vectored(context, pieces);
        self.watched(context, sent)
    }

    fn is_write_vectored(&self) -> bool {
        self.inner.is_write_vectored()
    }

    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.inner).poll_flush(context)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.inner).poll_shutdown(context)
    }
}
