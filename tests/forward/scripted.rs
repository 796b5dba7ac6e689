//! A server that follows a script: one answer for each request to write, then 204 for ever.
//!
//! Remembers every line it said yes to, and how many requests it had at once. Makes no claim of its own.

use std::collections::{BTreeMap, VecDeque};
use std::io::{Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

/// What to do with one request to write.
#[derive(Clone, Debug)]
pub enum Reply {
    /// A status with headers and a body.
    Status(u16, &'static str, &'static str),
    /// These bytes and an end.
    Raw(&'static [u8]),
    /// The connection is reset after the request was read.
    Reset,
    /// Nothing at all for so long, then an end.
    Silence(Duration),
    /// 204, but only after so long.
    Late(Duration),
}

/// Decides by the body, before the script is asked.
pub type Judge = Box<dyn Fn(&str) -> Option<Reply> + Send + Sync>;

#[derive(Default)]
pub struct Inner {
    script: Mutex<VecDeque<Reply>>,
    judge: Mutex<Option<Judge>>,
    /// What `/metrics` tells; none: 404.
    start: Mutex<Option<f64>>,
    /// Lines said yes to: measurement, tags and time, then field by field.
    taken: Mutex<BTreeMap<String, BTreeMap<String, String>>>,
    pub requests: Mutex<Vec<String>>,
    now: AtomicUsize,
    pub most_at_once: AtomicUsize,
    overwritten: Mutex<Vec<String>>,
    stopped: AtomicBool,
}

pub struct Scripted {
    pub address: SocketAddr,
    pub inner: Arc<Inner>,
}

impl Scripted {
    pub fn new(script: &[Reply]) -> Self {
        Self::at("127.0.0.1:0".parse().unwrap(), script)
    }

    pub fn at(address: SocketAddr, script: &[Reply]) -> Self {
        let listener = TcpListener::bind(address).unwrap();
        let inner =
            Arc::new(Inner { script: Mutex::new(script.iter().cloned().collect()), ..Inner::default() });
        let address = listener.local_addr().unwrap();
        let shared = Arc::clone(&inner);
        std::thread::spawn(move || {
            for stream in listener.incoming() {
                if shared.stopped.load(Ordering::SeqCst) {
                    return;
                }
                let shared = Arc::clone(&shared);
                // A client that went away is not this server's trouble.
                std::thread::spawn(move || drop(shared.serve(stream.unwrap())));
            }
        });
        Self { address, inner }
    }

    pub fn url(&self) -> String {
        format!("http://{}", self.address)
    }

    pub fn judged_by(self, judge: impl Fn(&str) -> Option<Reply> + Send + Sync + 'static) -> Self {
        *self.inner.judge.lock().unwrap() = Some(Box::new(judge));
        self
    }

    pub fn inner_judge(&self) -> std::sync::MutexGuard<'_, Option<Judge>> {
        self.inner.judge.lock().unwrap()
    }

    pub fn started_at(&self, seconds: f64) {
        *self.inner.start.lock().unwrap() = Some(seconds);
    }

    /// Loses all it said yes to, as a server killed before its data were on disk.
    pub fn lose_everything(&self) {
        self.inner.taken.lock().unwrap().clear();
    }

    pub fn taken(&self) -> BTreeMap<String, BTreeMap<String, String>> {
        let mut taken = self.inner.taken.lock().unwrap().clone();
        taken.retain(|key, _| !key.starts_with("boltscribe_probe"));
        taken
    }

    /// Fields that got another value than they had.
    pub fn overwritten(&self) -> Vec<String> {
        self.inner.overwritten.lock().unwrap().clone()
    }

    pub fn requests(&self) -> usize {
        self.inner.requests.lock().unwrap().len()
    }
}

impl Drop for Scripted {
    fn drop(&mut self) {
        self.inner.stopped.store(true, Ordering::SeqCst);
        let _ = TcpStream::connect(self.address);
    }
}

impl Inner {
    fn serve(&self, mut stream: TcpStream) -> std::io::Result<()> {
        stream.set_read_timeout(Some(Duration::from_secs(20)))?;
        let mut bytes = Vec::new();
        let mut piece = [0; 8192];
        let (head, body_at, end) = loop {
            if let Some(at) = bytes.windows(4).position(|w| w == b"\r\n\r\n") {
                let head = String::from_utf8_lossy(&bytes[..at]).to_ascii_lowercase();
                let length =
                    head.lines().find_map(|l| l.strip_prefix("content-length:")?.trim().parse().ok());
                break (head, at + 4, at + 4 + length.unwrap_or(0_usize));
            }
            match stream.read(&mut piece)? {
                0 => return Ok(()),
                n => bytes.extend_from_slice(&piece[..n]),
            }
        };
        while bytes.len() < end {
            match stream.read(&mut piece)? {
                0 => return Ok(()),
                n => bytes.extend_from_slice(&piece[..n]),
            }
        }
        if head.starts_with("get /metrics") {
            let text = self.start.lock().unwrap().map(|s| format!("process_start_time_seconds {s}\n"));
            let status = if text.is_some() { 200 } else { 404 };
            return answer(&mut stream, status, "", &text.unwrap_or_default());
        }
        let body = String::from_utf8(bytes[body_at..end].to_vec()).unwrap();
        let at_once = self.now.fetch_add(1, Ordering::SeqCst) + 1;
        self.most_at_once.fetch_max(at_once, Ordering::SeqCst);
        self.requests.lock().unwrap().push(head);
        self.write(&mut stream, &body)
    }

    fn write(&self, stream: &mut TcpStream, body: &str) -> std::io::Result<()> {
        let judged = self.judge.lock().unwrap().as_ref().and_then(|judge| judge(body));
        let scripted = || self.script.lock().unwrap().pop_front();
        let mut reply = judged.or_else(scripted).unwrap_or(Reply::Status(204, "", ""));
        if let Reply::Late(time) | Reply::Silence(time) = &reply {
            std::thread::sleep(*time);
        }
        if let Reply::Late(_) = reply {
            reply = Reply::Status(204, "", "");
        }
        if let Reply::Status(200..300, ..) = reply {
            self.take(body);
        }
        // Before the answer goes out: the next request may come at once.
        self.now.fetch_sub(1, Ordering::SeqCst);
        match reply {
            Reply::Status(status, headers, text) => answer(stream, status, headers, text),
            Reply::Raw(raw) => stream.write_all(raw),
            // Closing without lingering sends a reset instead of an end.
            Reply::Reset => socket2::SockRef::from(&*stream).set_linger(Some(Duration::ZERO)),
            Reply::Silence(_) | Reply::Late(_) => Ok(()),
        }
    }

    fn take(&self, body: &str) {
        let mut taken = self.taken.lock().unwrap();
        for line in body.lines() {
            // No name in these tests has a blank or a comma in it but the escaped one of "tool A".
            let plain = line.replace("\\ ", "_");
            let parts: Vec<&str> = plain.split(' ').collect();
            assert_eq!(parts.len(), 3, "{line}");
            let fields = taken.entry(format!("{} {}", parts[0], parts[2])).or_default();
            for field in parts[1].split(',') {
                let (name, value) = field.split_once('=').unwrap();
                if let Some(before) = fields.insert(name.into(), value.into())
                    && before != value
                {
                    self.overwritten.lock().unwrap().push(format!("{line}: {name} was {before}"));
                }
            }
        }
    }
}

fn answer(stream: &mut TcpStream, status: u16, headers: &str, body: &str) -> std::io::Result<()> {
    let length = if status == 204 { String::new() } else { format!("content-length: {}\r\n", body.len()) };
    let text = format!("HTTP/1.1 {status} x\r\n{headers}{length}connection: close\r\n\r\n{body}");
    stream.write_all(text.as_bytes())
}
