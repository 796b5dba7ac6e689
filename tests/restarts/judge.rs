//! What a session's store says beside what was played.
//!
//! Stored runs are matched with played ones by when they began. Tolerances are stated here.

use crate::session::SPEED;
use serde_json::Value;
use std::fmt;

/// An end of the daemon and the start after it, device seconds.
pub struct Restart {
    /// When it was ended.
    pub ended_s: f64,
    /// When samples came again at the latest.
    pub up_s: f64,
    /// It was told to stop, not killed.
    pub gently: bool,
}

/// All that is known after a session.
pub struct Story {
    /// The store's runs.
    pub runs: Vec<Value>,
    /// What was played.
    pub truth: Vec<Value>,
    /// What happened to the daemon.
    pub restarts: Vec<Restart>,
    /// Wall time of the rig's sample 0, seconds.
    pub origin_s: f64,
    /// When it was over, device seconds.
    pub last_s: f64,
}

/// A run that counts holds what was played within this share.
const HELD_BY: f64 = 0.002;
/// A stored run began at most this long before the played one, device seconds: clocks are compared over a pty.
const EARLY_S: f64 = 0.15;
/// A run is on the disk this long after its first blow: up to 0.1 s to the crossing of a soft start, 0.15 s until
/// it is sure, and 250 ms of the wall that a kill may lose.
const STORED_S: f64 = 0.25 + 0.25 * SPEED;
/// A run is announced this long after its last blow at the latest, on the disk as late as above.
const ANNOUNCED_S: f64 = 0.7 + STORED_S;
/// Once samples flow, and after a release, a rest of half a second is waited for; as much again for the machine.
const READY_S: f64 = 1.0;
/// Where the daemon heard the whole run before, the next one may follow its release so soon.
const NEXT_S: f64 = 0.4;

/// What was found.
#[derive(Default)]
pub struct Findings {
    restarts: usize,
    gently: usize,
    played: usize,
    counting: usize,
    /// Ends while a run was open and known.
    cut_off: usize,
    /// Of those, runs that are there, left out as interrupted.
    kept: usize,
    invented: Vec<String>,
    doubled: Vec<String>,
    lost: Vec<String>,
}

impl Findings {
    /// Nothing was invented, doubled or lost.
    pub fn sound(&self) -> bool {
        self.invented.is_empty() && self.doubled.is_empty() && self.lost.is_empty()
    }

    /// Adds those of another session.
    pub fn add(&mut self, more: &Self) {
        self.restarts += more.restarts;
        self.gently += more.gently;
        self.played += more.played;
        self.counting += more.counting;
        self.cut_off += more.cut_off;
        self.kept += more.kept;
        self.invented.extend(more.invented.iter().cloned());
        self.doubled.extend(more.doubled.iter().cloned());
        self.lost.extend(more.lost.iter().cloned());
    }
}

impl fmt::Display for Findings {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{} restarts ({} in order); {} runs played, {} count; {} cut off, {} of them kept as interrupted; \
             {} invented, {} doubled, {} lost",
            self.restarts,
            self.gently,
            self.played,
            self.counting,
            self.cut_off,
            self.kept,
            self.invented.len(),
            self.doubled.len(),
            self.lost.len()
        )?;
        for (what, all) in [("invented", &self.invented), ("doubled", &self.doubled), ("lost", &self.lost)] {
            for one in all {
                write!(f, "\n  {what}: {one}")?;
            }
        }
        Ok(())
    }
}

struct Played {
    first_s: f64,
    last_s: f64,
    released_s: f64,
    held_kn: f64,
    blows: u64,
}

fn number(object: &Value, key: &str) -> f64 {
    object[key].as_f64().unwrap_or(f64::NAN)
}

/// Wall time of a stored run's first blow, seconds since 1970.
pub fn began_utc_s(run: &Value) -> f64 {
    run["utc_ns"].as_f64().unwrap() * 1e-9
}

/// Looks at a session.
pub fn judge(story: &Story) -> Findings {
    let played: Vec<Played> = story
        .truth
        .iter()
        .map(|t| Played {
            first_s: number(t, "first_blow_s"),
            last_s: number(t, "last_blow_s"),
            released_s: t["released_s"].as_f64().unwrap_or(f64::INFINITY),
            held_kn: number(t, "held_kN"),
            blows: t["blows"].as_u64().unwrap(),
        })
        .filter(|p| p.first_s < story.last_s)
        .collect();
    let mut found = Findings {
        restarts: story.restarts.len(),
        gently: story.restarts.iter().filter(|r| r.gently).count(),
        played: played.len(),
        ..Findings::default()
    };
    let mut stored: Vec<Vec<&Value>> = played.iter().map(|_| Vec::new()).collect();
    for run in &story.runs {
        let began_s = (began_utc_s(run) - story.origin_s) * SPEED;
        let of = played.iter().rposition(|p| began_s > p.first_s - EARLY_S);
        if let Some(of) = of {
            stored[of].push(run);
        }
        if run["excluded"] == true {
            continue;
        }
        found.counting += 1;
        let like = |p: &Played| {
            (number(run, "held_kN") / p.held_kn - 1.0).abs() < HELD_BY
                && run["blows"].as_u64().is_none_or(|blows| blows == p.blows)
                && (began_s - p.first_s).abs() < EARLY_S
        };
        if !of.is_some_and(|of| like(&played[of])) {
            let before = of.map(|of| (played[of].first_s, played[of].last_s, played[of].held_kn));
            found.invented.push(format!("at {began_s:.2} s, after what was played {before:?}: {run}"));
        }
    }
    for (p, runs) in played.iter().zip(&stored) {
        if runs.len() > 1 {
            let short: Vec<String> =
                runs.iter().map(|r| format!("{} at {} kN {}", r["id"], r["peak_kN"], r["flags"])).collect();
            found.doubled.push(format!("{:.2} to {:.2} s: {short:?}", p.first_s, p.last_s));
        }
    }
    cut_offs(story, &played, &stored, &mut found);
    found
}

/// Every end of the daemon inside a run that it knew: that run is there and left out.
fn cut_offs(story: &Story, played: &[Played], stored: &[Vec<&Value>], found: &mut Findings) {
    for (n, restart) in story.restarts.iter().enumerate() {
        let up_s = n.checked_sub(1).map_or(0.0, |before| story.restarts[before].up_s);
        let Some(at) = played.iter().position(|p| p.first_s < restart.ended_s && restart.ended_s < p.last_s)
        else {
            continue;
        };
        let p = &played[at];
        let rested_s = match at.checked_sub(1).map(|before| &played[before]) {
            Some(before) if up_s + READY_S < before.first_s => before.released_s + NEXT_S,
            Some(before) => before.released_s.max(up_s) + READY_S,
            None => up_s + READY_S,
        };
        if p.first_s < rested_s || restart.ended_s < p.first_s + STORED_S {
            continue;
        }
        found.cut_off += 1;
        let kept = stored[at].iter().any(|run| {
            run["excluded"] == true
                && run["flags"].as_array().unwrap().iter().any(|flag| flag == "interrupted")
        });
        if kept {
            found.kept += 1;
        } else {
            found.lost.push(format!(
                "{:.2} to {:.2} s, cut off at {:.2} s{}",
                p.first_s,
                p.last_s,
                restart.ended_s,
                if restart.gently { " in order" } else { "" }
            ));
        }
    }
    whole_runs(story, played, stored, found);
}

/// Every run that was played while the daemon was there counts.
fn whole_runs(story: &Story, played: &[Played], stored: &[Vec<&Value>], found: &mut Findings) {
    for (at, p) in played.iter().enumerate() {
        let released_s = at.checked_sub(1).map_or(0.0, |before| played[before].released_s);
        // A run close upon the one before may be missed after a restart, which waits for a rest.
        let near =
            |r: &Restart| r.ended_s < p.last_s + ANNOUNCED_S && p.first_s < r.up_s.max(released_s) + READY_S;
        let hit = story.restarts.iter().any(|r| near(r) && r.up_s + 6.0 > p.first_s);
        if hit || p.last_s + ANNOUNCED_S > story.last_s {
            continue;
        }
        if !stored[at].iter().any(|run| run["excluded"] == false) {
            let what: Vec<_> = stored[at].iter().map(|run| (&run["id"], &run["flags"])).collect();
            found.lost.push(format!("{:.2} to {:.2} s, played in peace: {what:?}", p.first_s, p.last_s));
        }
    }
}
