//! Serving the router on a Unix socket and on an address.
//!
//! An accept loop of our own: a client must send its headers and take its answer in time, connections are limited,
//! and a stop lets answers that are under way finish, but not for long.

use super::access::Access;
use super::guard::{self, Guard, Peer};
use super::paced::{PAGED_AFTER, Paced, STALLED_AFTER};
use axum::{Extension, Router};
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use std::future::Future;
use std::io;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::{TcpListener, UnixListener};
use tokio::sync::{Semaphore, watch};
use tokio::task::JoinSet;

/// Most connections of one listener.
pub const CONNECTIONS_MAX: usize = 128;
const HEADERS_WITHIN: Duration = Duration::from_secs(5);
const HEADER_BYTES_MAX: usize = 16 << 10;
/// What the system keeps of an answer for a client, so that one that stands still is soon noticed; it takes twice that.
const SEND_BUFFER_BYTES: usize = 64 << 10;
const FINISH_WITHIN: Duration = Duration::from_secs(1);
/// After a failed accept (no descriptor left): rest instead of spinning.
const ACCEPT_REST: Duration = Duration::from_millis(100);

/// Makes the socket file: mode 0660, a file left behind by a dead daemon replaced. To be called with the
/// store's lock held, so that a file that is there is known to be dead.
///
/// # Errors
/// What the system says.
pub fn bind_unix(path: &Path) -> io::Result<UnixListener> {
    use std::os::unix::fs::{FileTypeExt, PermissionsExt};
    match std::fs::symlink_metadata(path) {
        Ok(meta) if meta.file_type().is_socket() => std::fs::remove_file(path)?,
        Ok(_) => {
            let detail = format!("{}: expected a socket or nothing, found another file", path.display());
            return Err(io::Error::new(io::ErrorKind::AlreadyExists, detail));
        }
        Err(error) if error.kind() == io::ErrorKind::NotFound => {}
        Err(error) => return Err(error),
    }
    let listener = UnixListener::bind(path)?;
    std::fs::set_permissions(path, std::fs::Permissions::from_mode(0o660))?;
    Ok(listener)
}

/// Serves on a Unix socket until `stop` becomes true (or its sender is gone).
pub async fn unix(listener: UnixListener, router: Router, stop: watch::Receiver<bool>) {
    let accept = async || listener.accept().await.map(|(stream, _)| (stream, None));
    run(accept, router, stop).await;
}

/// Serves on an address until `stop` becomes true (or its sender is gone), behind [`guard::guarded`].
///
/// # Errors
/// The listener has no local address, or not a loopback one and no tokens are asked for: then nobody else may reach it.
pub async fn tcp(
    listener: TcpListener,
    router: Router,
    host: Option<String>,
    access: Option<Arc<Access>>,
    stop: watch::Receiver<bool>,
) -> io::Result<()> {
    let address = listener.local_addr()?;
    let open = !address.ip().is_loopback();
    if open && access.is_none() {
        let detail = format!("cannot serve on {address}: expected a loopback address, or tokens");
        return Err(io::Error::new(io::ErrorKind::InvalidInput, detail));
    }
    let hardened = router.layer(axum::middleware::from_fn(guard::harden));
    let router = guard::guarded(hardened, Guard { port: address.port(), open, host, access });
    let accept = async || {
        let (stream, peer) = listener.accept().await?;
        // Small answers and events must not wait for more to come.
        stream.set_nodelay(true)?;
        socket2::SockRef::from(&stream).set_send_buffer_size(SEND_BUFFER_BYTES)?;
        Ok((stream, Some(Peer(peer.ip()))))
    };
    run(accept, router, stop).await;
    Ok(())
}

async fn run<S, F>(accept: impl Fn() -> F, router: Router, mut stop: watch::Receiver<bool>)
where
    S: AsyncRead + AsyncWrite + Unpin + Send + 'static,
    F: Future<Output = io::Result<(S, Option<Peer>)>>,
{
    let room = Arc::new(Semaphore::new(CONNECTIONS_MAX));
    let mut connections = JoinSet::new();
    loop {
        let next = async {
            let permit = Arc::clone(&room).acquire_owned().await;
            (permit, accept().await)
        };
        let (permit, accepted) = tokio::select! {
            next = next => next,
            Some(_) = connections.join_next(), if !connections.is_empty() => continue,
            () = stopped(&mut stop) => break,
        };
        match (permit, accepted) {
            (Ok(permit), Ok((stream, peer))) => {
                let stream = Paced::new(stream, if peer.is_some() { STALLED_AFTER } else { PAGED_AFTER });
                let router = match peer {
                    Some(peer) => router.clone().layer(Extension(peer)),
                    None => router.clone(),
                };
                let stop = stop.clone();
                connections.spawn(async move {
                    connection(stream, router, stop).await;
                    drop(permit);
                });
            }
            (Ok(_), Err(error)) => {
                tracing::warn!("cannot accept a connection: {error}");
                tokio::time::sleep(ACCEPT_REST).await;
            }
            // The semaphore is never closed.
            (Err(_), _) => break,
        }
    }
    let rest = async { while connections.join_next().await.is_some() {} };
    // A live feed never ends by itself.
    if tokio::time::timeout(FINISH_WITHIN, rest).await.is_err() {
        connections.shutdown().await;
    }
}

async fn stopped(stop: &mut watch::Receiver<bool>) {
    // An error means that the sender is gone: nobody could stop us any more, so that is a stop too.
    let _ = stop.wait_for(|stop| *stop).await;
}

async fn connection<S>(stream: Paced<S>, router: Router, mut stop: watch::Receiver<bool>)
where
    S: AsyncRead + AsyncWrite + Unpin + Send + 'static,
{
    let serving = hyper::server::conn::http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEADERS_WITHIN)
        .max_buf_size(HEADER_BYTES_MAX)
        .serve_connection(TokioIo::new(stream), TowerToHyperService::new(router))
        .with_upgrades();
    tokio::pin!(serving);
    let ended = tokio::select! {
        ended = serving.as_mut() => ended,
        () = stopped(&mut stop) => {
            serving.as_mut().graceful_shutdown();
            serving.await
        }
    };
    if let Err(error) = ended {
        tracing::debug!("a connection ended: {error}");
    }
}
