//! Opens the socket and the address and serves the API on both.
//!
//! Who may connect and how is `page::serve`'s rule; must not know what is asked.

use super::error::DaemonError;
use super::hub::Hub;
use boltscribe_http::access::Access;
use boltscribe_http::{State, router, serve};
use boltscribe_settings::Daemon;
use std::net::{IpAddr, UdpSocket};
use std::path::Path;
use std::sync::Arc;
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
    daemon: &Daemon,
    stop: &watch::Receiver<bool>,
    hub: &Hub,
) -> Result<Vec<JoinHandle<()>>, DaemonError> {
    let unix = serve::bind_unix(socket).map_err(|source| DaemonError::System {
        tried: format!("listen at the socket {}", socket.display()),
        source,
    })?;
    let listen = daemon.listen;
    let access = match &daemon.tokens_file {
        None => None,
        Some(file) => {
            let clock = Arc::clone(&state.now_utc_ns);
            Some(Arc::new(Access::open(file, clock).map_err(DaemonError::Tokens)?))
        }
    };
    let refused = |source| DaemonError::System { tried: format!("listen at {listen}"), source };
    let tcp = TcpListener::bind(listen).await.map_err(refused)?;
    let address = tcp.local_addr().map_err(refused)?;
    let router = router(state);
    let servers = vec![
        tokio::spawn(serve::unix(unix, router.clone(), stop.clone())),
        tokio::spawn(over_tcp(tcp, router, daemon.host.clone(), access, stop.clone())),
    ];
    hub.fact("address", format!("http://{address}"));
    if !address.ip().is_loopback() {
        let host = daemon.host.clone().unwrap_or_else(|| seen_from_outside(address.ip()));
        hub.fact("page", format!("http://{host}:{}/", address.port()));
    }
    hub.fact("socket", socket.display().to_string());
    hub.fact("process", std::process::id().to_string());
    tracing::info!("listening on http://{address}");
    Ok(servers)
}

/// The address under which other machines find this one: where all are served, that of the way out.
fn seen_from_outside(ip: IpAddr) -> String {
    // Nothing is sent: the system only chooses by which address it would. 192.0.2.0/24 is nobody's (RFC 5737).
    let way_out = || {
        let socket = UdpSocket::bind("0.0.0.0:0").ok()?;
        socket.connect("192.0.2.1:9").ok()?;
        Some(socket.local_addr().ok()?.ip())
    };
    match if ip.is_unspecified() { way_out().unwrap_or(ip) } else { ip } {
        IpAddr::V4(ip) => ip.to_string(),
        IpAddr::V6(ip) => format!("[{ip}]"),
    }
}

async fn over_tcp(
    tcp: TcpListener,
    router: axum::Router,
    host: Option<String>,
    access: Option<Arc<Access>>,
    stop: watch::Receiver<bool>,
) {
    if let Err(e) = serve::tcp(tcp, router, host, access, stop).await {
        tracing::error!("the API over TCP ended: {e}");
    }
}
