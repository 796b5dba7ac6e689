//! `cargo demo`: the virtual rig plays an invented scenario, the real daemon records it over a
//! pseudo-terminal, the real command line enters the setups and reads the runs.
//!
//! Must not know how runs are measured, nor JSON beyond the name of the next setup.

mod children;
mod options;
mod play;

pub use options::{Options, STAGED};

use crate::error::Failed;
use crate::tree::{cargo, program, root};
use children::Children;
use options::Format;
use play::Player;
use std::fs;
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

/// The scenario played.
const SCENARIO: &str = "tools/virtual-rig/scenarios/trial.toml";
/// Folders of demos that are kept; old ones are for their owner to remove.
const DEMOS_MAX: u32 = 10_000;
/// The setup that counts as 100 %.
const BASELINE: &str = "direct";
/// The trial that is walked, and what it compares.
const TRIAL: &str = "couplings";
const TOOLS: [&str; 2] = ["wrench 1", "wrench 2"];
const SETUPS: &str = "75 mm extension,250 mm extension,universal joint,drive adapter";
/// Share of the first tool's tension that the second must give, percent.
const SHARE: &str = "92";

/// Where one demo keeps its files and programs.
pub struct Stage {
    folder: PathBuf,
    store: PathBuf,
    truth: PathBuf,
    scenario: PathBuf,
}

/// Runs the demo.
///
/// # Errors
/// A program cannot be built, started or used; the rig's runs do not land.
pub fn run(options: &Options) -> Result<(), Failed> {
    if options.staged { perform(options) } else { prepare(options) }
}

/// Builds the programs, then goes on as a process that outlives Ctrl-C.
///
/// Ctrl-C reaches every program at the terminal: the daemon takes it as the sign to store what is open and to
/// end, and this program must still be there to wait for it. What a shell ignores stays ignored in the program
/// that takes its place, which the standard library alone cannot ask for. While cargo builds, Ctrl-C stops all.
fn prepare(options: &Options) -> Result<(), Failed> {
    if crate::page::can_build() {
        crate::page::build()?;
    } else {
        eprintln!("without node and npm the page is not built; everything else is there");
    }
    eprintln!("building (the first time this takes a minute or two) ...");
    let built = cargo()
        .args([
            "build",
            "--quiet",
            "--locked",
            "--bins",
            "--package",
            "boltscribe",
            "--package",
            "virtual-rig",
        ])
        // Nothing is forwarded here, and without it a fresh machine has many crates less to build.
        .arg("--no-default-features")
        .status()
        .map_err(|e| Failed::io("start cargo", e))?;
    if !built.success() {
        return Err(Failed::io("build the programs", "see cargo's messages above"));
    }
    let this = std::env::current_exe().map_err(|e| Failed::io("find this program", e))?;
    let mut again = Command::new("sh");
    again.args(["-c", "trap '' INT; exec \"$0\" \"$@\""]).arg(this).arg("demo");
    Err(Failed::io("go on with the demo", again.args(options.staged_words()).exec()))
}

fn perform(options: &Options) -> Result<(), Failed> {
    let stage = Stage::new()?;
    let mut children = Children::default();
    let result = stage.play(options, &mut children);
    if let Err(failed) = &result {
        eprintln!("{}", children.last_words(&stage.folder));
        children.stop();
        return Err(Failed { what: format!("the demo failed: {}", failed.what), code: failed.code });
    }
    if options.once {
        children.stop();
    } else {
        return children.wait();
    }
    result
}

impl Stage {
    fn new() -> Result<Self, Failed> {
        let folder = fresh(&program("demo", ""))?;
        Ok(Self {
            store: folder.join("store"),
            truth: folder.join("truth.jsonl"),
            scenario: root().join(SCENARIO),
            folder,
        })
    }

    fn play(&self, options: &Options, children: &mut Children) -> Result<(), Failed> {
        eprintln!(
            "demo: a service depot compares four couplings on two tools in a trial. Depot, tools, couplings and every \
             number are invented;\nthe rig is simulated and runs {} times as fast as a real one.\n",
            options.speed
        );
        let port = self.folder.join("port");
        let rig = children.start_piped(
            Command::new(program("debug", "virtual-rig"))
                .arg("serve")
                .arg(&self.scenario)
                .arg("--link")
                .arg(&port)
                .arg("--truth")
                .arg(&self.truth)
                .args(["--stepwise", "--speed", &options.speed.to_string()]),
            &self.folder.join("rig.log"),
        )?;
        self.write_settings(&port)?;
        children.start(
            Command::new(program("debug", "boltscribed")).arg("--config").arg(self.settings()),
            &self.folder.join("daemon.log"),
        )?;
        self.wait_for_daemon()?;
        self.enter_setups()?;
        self.plan()?;
        let address = self.address()?;
        eprintln!("the page: {address}/\n");
        let mut player = Player::new(self, children, rig);
        player.walk(options.by_hand)?;
        self.show(options)?;
        if !options.once {
            eprintln!("\nthe rig and the daemon go on running; Ctrl-C ends them. The page: {address}/");
            eprintln!(
                "a trial that is planned there with the same tools and setups is played by the rig, step by step"
            );
            player.follow()?;
        }
        let input = player.into_input();
        children.keep(input);
        Ok(())
    }

    /// Where the daemon says that it listens.
    fn address(&self) -> Result<String, Failed> {
        let log = fs::read_to_string(self.folder.join("daemon.log"))
            .map_err(|e| Failed::io("read the daemon's log", e))?;
        let after = log.split_once("listening on ").map(|(_, after)| after);
        let address = after.and_then(|after| after.split_whitespace().next());
        address
            .map(str::to_owned)
            .ok_or_else(|| Failed::io("find the page", "the daemon does not say where it listens"))
    }

    fn settings(&self) -> PathBuf {
        self.folder.join("boltscribe.toml")
    }

    fn write_settings(&self, port: &Path) -> Result<(), Failed> {
        let rig = checked(
            Command::new(program("debug", "virtual-rig"))
                .arg("setups")
                .arg(&self.scenario)
                .args(["--as", "settings", "--port"])
                .arg(port),
        )?;
        let head = format!(
            "[daemon]\nlisten = \"127.0.0.1:0\"\n[store]\nfolder = \"{}\"\n[measure]\ngates_s = [3.0]\n",
            self.store.display()
        );
        fs::write(self.settings(), head + &rig).map_err(|e| Failed::io("write the demo's settings", e))
    }

    /// The command line, on this demo's store.
    fn boltscribe(&self) -> Command {
        let mut command = Command::new(program("debug", "boltscribe"));
        command.arg("--store").arg(&self.store);
        command
    }

    fn wait_for_daemon(&self) -> Result<(), Failed> {
        let socket = self.store.join("api.sock");
        for _ in 0..200 {
            if socket.exists()
                && self.boltscribe().args(["rig", "list"]).output().is_ok_and(|o| o.status.success())
            {
                return Ok(());
            }
            std::thread::sleep(std::time::Duration::from_millis(50));
        }
        Err(Failed::io("reach the daemon", format!("nobody answers at {} after 10 s", socket.display())))
    }

    fn enter_setups(&self) -> Result<(), Failed> {
        let lines = checked(
            Command::new(program("debug", "virtual-rig"))
                .arg("setups")
                .arg(&self.scenario)
                .args(["--as", "arguments"]),
        )?;
        for line in lines.lines() {
            checked(self.boltscribe().arg("setup").args(line.split('\t')).args(["--who", "demo"]))?;
        }
        Ok(())
    }

    /// Plans the trial.
    fn plan(&self) -> Result<(), Failed> {
        let tools = TOOLS.join(",");
        let words = [
            "trial",
            "new",
            TRIAL,
            "--rig",
            "demo",
            "--tools",
            &tools,
            "--baseline",
            BASELINE,
            "--setups",
            SETUPS,
            "--repeats",
            "5",
            "--seed",
            "7",
            "--warm-up",
            "--bolt",
            "test bolt 1",
            "--who",
            "demo",
        ];
        checked(self.boltscribe().args(words)).map(|_| ())
    }

    /// What the runs say: comparison, pieces, one judgement. A judgement may be no; then its words matter.
    fn tell(&self) -> Result<(), Failed> {
        let share = format!("--percent {SHARE}");
        eprintln!("\nwhat the trial says (`compare {TRIAL} --measure held`):");
        print!("{}", checked(self.boltscribe().args(["compare", TRIAL, "--measure", "held"]))?);
        eprintln!("\nwhat each piece lets through (`compare {TRIAL} --measure held --by piece`):");
        print!(
            "{}",
            checked(self.boltscribe().args(["compare", TRIAL, "--measure", "held", "--by", "piece"]))?
        );
        eprintln!("\ndoes {} give {SHARE} % of {} (`accept ... {share}`)?", TOOLS[1], TOOLS[0]);
        let words = [
            "accept",
            TOOLS[1],
            "--runs",
            "6",
            "--setup",
            BASELINE,
            "--measure",
            "held",
            "--reference",
            TOOLS[0],
        ];
        let judged = self.boltscribe().args(words).args(["--percent", SHARE]).stdin(Stdio::null()).output();
        let judged = judged.map_err(|e| Failed::io("judge a tool", e))?;
        print!("{}", String::from_utf8_lossy(&judged.stdout));
        Ok(())
    }

    fn show(&self, options: &Options) -> Result<(), Failed> {
        let runs = self.folder.join("runs.json");
        let document = checked(self.boltscribe().args(["--format", "json", "runs", "list", "--all"]))?;
        fs::write(&runs, document).map_err(|e| Failed::io("keep the list of runs", e))?;
        let score = checked(
            Command::new(program("debug", "virtual-rig"))
                .arg("score")
                .arg("--truth")
                .arg(&self.truth)
                .arg("--runs")
                .arg(&runs)
                .args(["--baseline", BASELINE, "--format", options.format.word()]),
        )?;
        eprintln!();
        print!("{score}");
        if options.format == Format::Json {
            return Ok(());
        }
        self.tell()?;
        println!("\nThe bolt's tension is the tool's output;");
        println!(
            "equivalent torque is the steady torque that would give it, not what the tool delivers blow by blow."
        );
        println!(
            "A stretched bolt stores energy: on a real rig stay out of its line and follow README \"Safety\"."
        );
        println!("\nThe store is in {}. To look further:", self.store.display());
        let boltscribe = program("debug", "boltscribe");
        for words in ["trial show", "compare couplings", "runs show 30", "history 'wrench 1'", "doctor"] {
            println!("  {} --store {} {words}", boltscribe.display(), self.store.display());
        }
        Ok(())
    }
}

/// Makes the first folder in `parent` that is named by a number and not there yet: a demo never meets the
/// store of another.
fn fresh(parent: &Path) -> Result<PathBuf, Failed> {
    let failed = |folder: &Path, e| Failed::io(format!("make {}", folder.display()), e);
    fs::create_dir_all(parent).map_err(|e| failed(parent, e))?;
    for number in 1..=DEMOS_MAX {
        let folder = parent.join(number.to_string());
        match fs::create_dir(&folder) {
            Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => {}
            Err(e) => return Err(failed(&folder, e)),
            Ok(()) => return Ok(folder),
        }
    }
    Err(failed(parent, std::io::Error::other(format!("expected fewer than {DEMOS_MAX} old demos in it"))))
}

/// Runs a program to its end; its output, or why not.
fn checked(command: &mut Command) -> Result<String, Failed> {
    let name = format!("{command:?}");
    let Output { status, stdout, stderr } =
        command.stdin(Stdio::null()).output().map_err(|e| Failed::io(format!("start {name}"), e))?;
    if status.success() {
        return Ok(String::from_utf8_lossy(&stdout).into_owned());
    }
    Err(Failed::io(format!("run {name}"), String::from_utf8_lossy(&stderr).trim()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_demo_gets_a_folder_that_was_not_there() {
        let parent = program("xtask-test", &std::process::id().to_string());
        let made: Vec<PathBuf> = (0..3).map(|_| fresh(&parent).unwrap()).collect();
        fs::remove_dir_all(&parent).unwrap();
        assert_eq!(made, ["1", "2", "3"].map(|name| parent.join(name)));
    }
}
