//! What the kernel accounts to a process: processor time and memory (proc(5)).
//!
//! Must not know what the process does.

use super::figure::Outcome;

/// Clock ticks a second in /proc/PID/stat on every Linux this builds for (USER_HZ).
const TICKS_HZ: f64 = 100.0;

/// Processor seconds of a process so far, all its threads, user and system; steps of 10 ms.
pub fn cpu_s(pid: u32) -> Outcome<f64> {
    let stat = std::fs::read_to_string(format!("/proc/{pid}/stat"))?;
    // The name in parentheses may hold anything, so fields are counted from its end.
    let rest = stat.rsplit_once(") ").map(|(_, rest)| rest).ok_or("stat without a name")?;
    let field = |n: usize| rest.split(' ').nth(n - 3).and_then(|text| text.parse::<f64>().ok());
    let (user, system) = field(14).zip(field(15)).ok_or("stat without processor times")?;
    Ok((user + system) / TICKS_HZ)
}

/// Processor seconds of this thread, as finely as the kernel keeps them (a few milliseconds).
pub fn thread_cpu_s() -> Outcome<f64> {
    let stat = std::fs::read_to_string("/proc/thread-self/schedstat")?;
    let ns: f64 = stat.split(' ').next().ok_or("an empty schedstat")?.parse()?;
    Ok(ns / 1e9)
}

/// A line of /proc/PID/status in MiB, such as `VmRSS` or `VmHWM`.
pub fn memory_mib(pid: u32, key: &str) -> Outcome<f64> {
    let status = std::fs::read_to_string(format!("/proc/{pid}/status"))?;
    let line = status.lines().find(|line| line.starts_with(key)).ok_or("no such line in status")?;
    let kib: f64 = line.split_whitespace().nth(1).ok_or("no number in status")?.parse()?;
    Ok(kib / 1024.0)
}
