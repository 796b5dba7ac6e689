//! A program on a pseudo terminal, and a person who answers its questions as they appear.
//!
//! Waiting in vain is a fault of the test and shows all that was said.

use rustix::pty::{OpenptFlags, grantpt, ioctl_tiocgptpeer, openpt, unlockpt};
use std::fs::File;
use std::io::{Read, Write};
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

/// Longest wait for a question.
const PATIENCE: Duration = Duration::from_secs(40);

pub struct Terminal {
    child: Child,
    keys: File,
    screen: Arc<Mutex<String>>,
    /// Up to where the screen has been answered.
    read: usize,
}

impl Terminal {
    pub fn start(mut command: Command) -> Self {
        let ours = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).unwrap();
        grantpt(&ours).unwrap();
        unlockpt(&ours).unwrap();
        let theirs = ioctl_tiocgptpeer(&ours, OpenptFlags::RDWR | OpenptFlags::NOCTTY).unwrap();
        let theirs = File::from(theirs);
        command.stdin(Stdio::from(theirs.try_clone().unwrap()));
        command.stdout(Stdio::from(theirs.try_clone().unwrap()));
        command.stderr(Stdio::from(theirs));
        let child = command.spawn().unwrap();
        // The command holds copies of the other end, which would keep the terminal open.
        drop(command);
        let keys = File::from(ours);
        let screen = Arc::<Mutex<String>>::default();
        let (mut from, to) = (keys.try_clone().unwrap(), Arc::clone(&screen));
        std::thread::spawn(move || {
            let mut bytes = [0; 4096];
            while let Ok(n @ 1..) = from.read(&mut bytes) {
                to.lock().unwrap().push_str(&String::from_utf8_lossy(&bytes[..n]));
            }
        });
        Self { child, keys, screen, read: 0 }
    }

    /// All that was shown.
    pub fn text(&self) -> String {
        self.screen.lock().unwrap().clone()
    }

    /// Waits until `words` appear behind what was answered last.
    pub fn expect(&mut self, words: &str) {
        let since = Instant::now();
        loop {
            let text = self.text();
            if let Some(at) = text[self.read..].find(words) {
                self.read += at + words.len();
                return;
            }
            assert!(since.elapsed() < PATIENCE, "waited in vain for '{words}' in:\n{text}");
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// Waits for a question and answers it.
    pub fn answer(&mut self, question: &str, answer: &str) {
        self.expect(question);
        writeln!(self.keys, "{answer}").unwrap();
    }

    /// Waits until `words` appear, with an empty answer each time `question` does.
    pub fn insist(&mut self, words: &str, question: &str) {
        let since = Instant::now();
        while !self.text()[self.read..].contains(words) {
            if self.text()[self.read..].contains(question) {
                std::thread::sleep(Duration::from_secs(1));
                self.answer(question, "");
            }
            assert!(since.elapsed() < PATIENCE, "waited in vain for '{words}' in:\n{}", self.text());
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// Waits for the end; gives the exit code.
    pub fn end(mut self) -> Option<i32> {
        let since = Instant::now();
        loop {
            if let Some(status) = self.child.try_wait().unwrap() {
                return status.code();
            }
            assert!(since.elapsed() < PATIENCE, "it goes on:\n{}", self.text());
            std::thread::sleep(Duration::from_millis(20));
        }
    }
}

impl Drop for Terminal {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
