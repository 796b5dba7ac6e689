//! Opens the socket and the loopback address and serves the API on both.
//!
//! Who may connect and how is `page::serve`'s rule; must not know what is asked.

use super::error::DaemonError;
use super::hub::Hub;
use crate::page::{State, router, serve};
use std::net::SocketAddr;
use std::path::Path;
use tokio::net::TcpListener;
use tokio::sync::watch;
use tokio::task::JoinHandle;

/// Starts both servers; says the address, because port 0 lets the system choose.
///
/// # Errors
/// The socket or the address cannot be had.
pub async fn start(
    state: State,
    socket: &Path,
    listen: SocketAddr,
    stop: &watch::Receiver<bool>,
    hub: &Hub,
) -> Result<Vec<JoinHandle<()>>, DaemonError> {
    let unix = serve::bind_unix(socket).map_err(|source| DaemonError::System {
        tried: format!("listen at the socket {}", socket.display()),
        source,
    })?;
    let refused = |source| DaemonError::System { tried: format!("listen at {listen}"), source };
    let tcp = TcpListener::bind(listen).await.map_err(refused)?;
    let address = tcp.local_addr().map_err(refused)?;
    let router = router(state);
    let servers = vec![
        tokio::spawn(serve::unix(unix, router.clone(), stop.clone())),
        tokio::spawn(over_tcp(tcp, router, stop.clone())),
    ];
    hub.fact("address", format!("http://{address}"));
    hub.fact("socket", socket.display().to_string());
    hub.fact("process", std::process::id().to_string());
    tracing::info!("listening on http://{address}");
    Ok(servers)
}

async fn over_tcp(tcp: TcpListener, router: axum::Router, stop: watch::Receiver<bool>) {
    if let Err(e) = serve::tcp(tcp, router, stop).await {
        tracing::error!("the API over TCP ended: {e}");
    }
}
