//! The real server: Debian's package victoria-metrics, on a free port of this machine and a folder that goes
//! away. Ended by its own handle. Makes no claim of its own.

use serde_json::Value;
use std::collections::BTreeMap;
use std::io::{Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

const MISSING: &str = "these tests need the program victoria-metrics of Debian's package of the same name: \
                       'apt-get install -y --no-install-recommends victoria-metrics' as root, or 'cargo verify' as root";

/// Name and labels in order, and milliseconds since 1970.
pub type Series = BTreeMap<(String, i64), f64>;

pub struct Central {
    folder: tempfile::TempDir,
    pub address: SocketAddr,
    child: Child,
}

fn start(folder: &std::path::Path, address: SocketAddr) -> Child {
    Command::new("victoria-metrics")
        .arg(format!("-httpListenAddr={address}"))
        .arg(format!("-storageDataPath={}", folder.display()))
        // Keeps one of samples that are sent twice, and takes the invented times of the tests.
        .args(["-dedup.minScrapeInterval=1ms", "-retentionPeriod=50y", "-search.latencyOffset=0s"])
        .args(["-loggerLevel=ERROR", "-memory.allowedBytes=256MB"])
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap_or_else(|e| panic!("{MISSING}: {e}"))
}

impl Central {
    pub fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let address = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
        let mut central = Self { child: start(folder.path(), address), folder, address };
        central.wait();
        central
    }

    fn wait(&mut self) {
        let since = Instant::now();
        while self.get("/health").is_none() {
            assert!(self.child.try_wait().unwrap().is_none(), "the server has ended");
            assert!(since.elapsed() < Duration::from_secs(60), "the server does not answer");
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    pub fn url(&self) -> String {
        format!("http://{}", self.address)
    }

    /// Ends it without a word (SIGKILL), and starts it again on the same folder and port.
    pub fn kill_and_start_again(&mut self) {
        self.kill();
        self.child = start(self.folder.path(), self.address);
        self.wait();
    }

    fn kill(&mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    fn get(&self, path: &str) -> Option<String> {
        let mut stream = TcpStream::connect(self.address).ok()?;
        stream.set_read_timeout(Some(Duration::from_secs(30))).ok()?;
        // HTTP/1.0, so that the answer ends with the connection.
        write!(stream, "GET {path} HTTP/1.0\r\n\r\n").ok()?;
        let mut text = String::new();
        stream.read_to_string(&mut text).ok()?;
        let (head, body) = text.split_once("\r\n\r\n")?;
        head.contains(" 200 ").then(|| body.to_owned())
    }

    /// Hands it a body, which it must take.
    pub fn post(&self, path: &str, body: &str) {
        let mut stream = TcpStream::connect(self.address).unwrap();
        write!(stream, "POST {path} HTTP/1.0\r\nContent-Length: {}\r\n\r\n{body}", body.len()).unwrap();
        let mut text = String::new();
        stream.read_to_string(&mut text).unwrap();
        assert!(text.starts_with("HTTP/1.0 204") || text.starts_with("HTTP/1.1 204"), "{text}");
    }

    /// All it holds of this program, each sample once.
    pub fn export(&self) -> Series {
        let path =
            "/api/v1/export?match[]=%7B__name__%3D~%22boltscribe_.%2A%22%7D&start=2000-01-01T00:00:00Z";
        let body = self.get(path).expect("an export");
        let mut all = Series::new();
        for line in body.lines() {
            let series: Value = serde_json::from_str(line).unwrap();
            let labels: BTreeMap<&str, &str> = series["metric"]
                .as_object()
                .unwrap()
                .iter()
                .map(|(k, v)| (k.as_str(), v.as_str().unwrap()))
                .collect();
            let times = series["timestamps"].as_array().unwrap();
            for (time, value) in times.iter().zip(series["values"].as_array().unwrap()) {
                let key = (name(&labels), time.as_i64().unwrap());
                let before = all.insert(key, value.as_f64().unwrap());
                assert!(before.is_none(), "{labels:?} {time} twice");
            }
        }
        all
    }

    /// A figure of the server's own metrics.
    pub fn metric(&self, wanted: &str) -> f64 {
        let text = self.get("/metrics").expect("metrics");
        text.lines()
            .filter(|line| line.starts_with(wanted))
            .filter_map(|line| line.rsplit(' ').next()?.parse::<f64>().ok())
            .sum()
    }
}

impl Drop for Central {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// `__name__=…;rig=…;…`.
pub fn name(labels: &BTreeMap<&str, &str>) -> String {
    labels.iter().map(|(key, value)| format!("{key}={value};")).collect()
}
