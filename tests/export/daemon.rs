//! Through a running daemon: the same bytes as without one; and a peer that stops in the middle of an answer.
//!
//! Ends what it started, by its own handles.

use crate::desk::Desk;
use std::io::{BufRead, BufReader, Read, Write};
use std::os::unix::net::{UnixListener, UnixStream};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc;

struct Daemon(Child);

impl Daemon {
    fn start(desk: &Desk) -> Self {
        let settings =
            format!("[daemon]\nlisten = \"127.0.0.1:0\"\n[store]\nfolder = \"{}\"\n", desk.store().display());
        std::fs::write(desk.path("settings.toml"), settings).unwrap();
        let mut command = Command::new(env!("CARGO_BIN_EXE_boltscribed"));
        command.arg("--config").arg(desk.path("settings.toml")).stdin(Stdio::null()).stderr(Stdio::piped());
        let mut child = command.spawn().unwrap();
        let mut lines = BufReader::new(child.stderr.take().unwrap()).lines();
        let said = lines.by_ref().map_while(Result::ok).any(|line| line.contains("listening on http://"));
        // The pipe must be emptied, or the daemon would wait for us.
        std::thread::spawn(move || lines.for_each(drop));
        assert!(said, "the daemon says where it listens");
        Self(child)
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

#[test]
fn a_running_daemon_gives_the_same_bytes_as_its_store_without_one() {
    let desk = Desk::new();
    let words: [&[&str]; 5] = [
        &["export", "runs", "--all"],
        &["export", "blows", "--all", "--as", "jsonl"],
        &["export", "trace", "1"],
        &["export", "trace", "--rig", "knock", "--from", "2026-01-01", "--to", "2026-01-02"],
        &["export", "trace", "--rig", "knock", "--from", "2026-01-01", "--to", "2026-01-02", "--thinned"],
    ];
    let without: Vec<String> = words.iter().map(|words| desk.done(words)).collect();
    let daemon = Daemon::start(&desk);
    let with: Vec<String> = words.iter().map(|words| desk.done(words)).collect();
    assert!(desk.store().join("api.sock").exists());
    drop(daemon);
    for ((words, without), with) in words.iter().zip(&without).zip(&with) {
        assert!(without.lines().count() > 10, "{words:?}");
        assert!(without == with, "{words:?}");
    }
}

/// Listens where a daemon would, sends the head and one run of an answer, and then nothing.
pub struct Stalled {
    hang_up: mpsc::Sender<()>,
}

impl Stalled {
    pub fn open(folder: &Path) -> Self {
        std::fs::create_dir_all(folder).unwrap();
        let listener = UnixListener::bind(folder.join("api.sock")).unwrap();
        let (hang_up, hung_up) = mpsc::channel();
        std::thread::spawn(move || {
            let mut held = Vec::new();
            for stream in listener.incoming().take(2) {
                let Ok(mut stream) = stream else { return };
                // The first connection only looks whether anybody is there.
                answer(&mut stream);
                held.push(stream);
            }
            let _ = hung_up.recv();
        });
        Self { hang_up }
    }

    pub fn hang_up(self) {
        let _ = self.hang_up.send(());
    }
}

fn answer(stream: &mut UnixStream) {
    let mut request = [0; 4096];
    if !matches!(stream.read(&mut request), Ok(n) if n > 0) {
        return;
    }
    let lines = "{\"head\":{\"last_run\":5}}\n";
    let text = format!(
        "HTTP/1.1 200 OK\r\ncontent-type: application/x-ndjson\r\ntransfer-encoding: chunked\r\n\r\n{:x}\r\n{lines}\r\n",
        lines.len()
    );
    let _ = stream.write_all(text.as_bytes());
}
