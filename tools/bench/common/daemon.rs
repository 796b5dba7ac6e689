//! The real daemon on a fresh store in a folder of its own, and its accounts.
//!
//! Ends what it started, by its own handle.

use super::api;
use super::feed::Feed;
use super::figure::{Outcome, expect};
use serde_json::Value;
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// A running daemon.
pub struct Daemon {
    folder: tempfile::TempDir,
    child: Child,
}

impl Daemon {
    /// On a store in the build folder (not in memory), for the rig of a feed, at `rate_hz`.
    pub fn start(feed: &Feed, rate_hz: u32) -> Outcome<Self> {
        let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR"))?;
        let (at, rig) = (folder.path().display(), &feed.scenario.rig);
        let text = format!(
            "[daemon]\nlisten = \"127.0.0.1:0\"\nlog = \"warn\"\n[store]\nfolder = \"{at}/s\"\n[[rig]]\n\
             name = \"bench\"\nport = \"{at}/port\"\ninstrument = \"framed\"\nrate_hz = {rate_hz}\n\
             range_kN = {:?}\n[rig.calibration]\nid = \"invented\"\ncoefficients_kN = [0.0, {:?}]\n\
             nominal = true\n",
            rig.range_kn,
            1.0 / rig.counts_per_kn
        );
        let settings = folder.path().join("settings.toml");
        std::fs::write(&settings, text)?;
        let mut command = Command::new(env!("CARGO_BIN_EXE_boltscribed"));
        command.arg("--config").arg(settings).arg("--socket").arg(folder.path().join("api.sock"));
        let child = command.stdin(Stdio::null()).spawn()?;
        let daemon = Self { folder, child };
        let since = Instant::now();
        while api::get(&daemon.socket(), "/api/v1/status").is_err() {
            expect(since.elapsed() < Duration::from_secs(20), || "the daemon does not answer".to_owned())?;
            std::thread::sleep(Duration::from_millis(20));
        }
        Ok(daemon)
    }

    /// Where the daemon expects the port's link.
    pub fn link(&self) -> PathBuf {
        self.folder.path().join("port")
    }

    /// The socket of its API.
    pub fn socket(&self) -> PathBuf {
        self.folder.path().join("api.sock")
    }

    /// The file of its store.
    pub fn store(&self) -> PathBuf {
        self.folder.path().join("s").join(boltscribe::store::STORE_NAME)
    }

    /// Its process id.
    pub fn pid(&self) -> u32 {
        self.child.id()
    }

    /// The accounts of the pipeline.
    pub fn accounts(&self) -> Outcome<Value> {
        Ok(api::get(&self.socket(), "/api/v1/rigs")?["rigs"][0]["counters"].take())
    }

    /// The newest stored runs, newest first, at most `limit`.
    pub fn runs(&self, limit: usize) -> Outcome<Vec<Value>> {
        let answer = api::get(&self.socket(), &format!("/api/v1/runs?limit={limit}"))?;
        Ok(answer["runs"].as_array().cloned().unwrap_or_default())
    }

    /// Waits until all of a feed is measured and stored.
    pub fn wait_for(&self, feed: &Feed) -> Outcome<()> {
        let (samples, runs) = (feed.samples() as u64, feed.truth.len());
        let since = Instant::now();
        loop {
            let accounts = self.accounts()?;
            if accounts["samples_in"] == samples && self.runs(runs + 1)?.len() >= runs {
                return Ok(());
            }
            expect(since.elapsed() < Duration::from_secs(60), || {
                format!("expected {samples} samples and {runs} runs, found {accounts}")
            })?;
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// Holds that nothing was lost, and that every run was measured as it was played: gives the largest
    /// difference of the held tension in percent.
    pub fn check(&self, feed: &Feed) -> Outcome<f64> {
        let accounts = self.accounts()?;
        let reasons =
            ["samples_dropped", "bytes_discarded"].iter().filter_map(|key| accounts[key].as_object());
        let by_reason = reasons.flat_map(serde_json::Map::values);
        let others = ["samples_missing", "samples_waiting", "bytes_pending"].iter().map(|key| &accounts[key]);
        let samples = feed.samples() as u64;
        let whole = accounts["samples_in"] == samples && accounts["samples_used"] == samples;
        expect(whole && others.chain(by_reason).all(|count| *count == 0), || {
            format!("expected {samples} samples and nothing lost, found {accounts}")
        })?;
        let doctor = api::get(&self.socket(), "/api/v1/doctor")?;
        for key in ["blocks", "run_rows", "rows"] {
            let counter = format!("boltscribe_{key}_dropped_total");
            let count = &doctor["daemon"]["counters"][&counter];
            let count = if count.is_null() { &doctor["counters"][&counter] } else { count };
            expect(*count == 0, || format!("expected {counter} 0, found {count} in {doctor}"))?;
        }
        let mut runs = self.runs(feed.truth.len() + 1)?;
        runs.reverse();
        let mut worst = 0.0_f64;
        for (run, truth) in runs.iter().zip(&feed.truth) {
            let held = run["held_kN"].as_f64().ok_or_else(|| format!("no held tension in {run}"))?;
            let off = 100.0 * (held / truth.held_kn - 1.0);
            expect(off.abs() < 0.5, || format!("held {held} kN, played {} kN: {run}", truth.held_kn))?;
            worst = worst.max(off.abs());
        }
        Ok(worst)
    }

    /// Ends it as a service manager would (SIGTERM), and keeps the folder until the value is dropped.
    pub fn stop(&mut self) -> Outcome<()> {
        Command::new("kill").arg("-TERM").arg(self.child.id().to_string()).status()?;
        let status = self.child.wait()?;
        expect(status.success(), || format!("the daemon ended with {status}"))
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        // After `stop` there is nothing left to end, which is what these say then.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
