//! Who may use the interface over the network: tokens of 256 bits with a name and a role, kept as digests in one file.
//!
//! Where no file is set everybody on this machine may do everything, and nobody else reaches it. The file is read
//! anew when it changes, so that taking a token back holds at once. Who has a good token is never kept waiting for what
//! others try: of 256 bits none is guessed by trying. Must not know HTTP.

use super::state::Clock;
use serde::Serialize;
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::fmt;
use std::io::Read;
use std::net::IpAddr;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};
use std::time::SystemTime;
use utoipa::ToSchema;

/// Bytes of a token, before it is written in hexadecimal digits.
pub const TOKEN_BYTES: usize = 32;
/// Most tokens in a file.
pub const TOKENS_MAX: usize = 100;
/// Longest file, bytes.
const FILE_BYTES_MAX: u64 = 64 << 10;
/// Failures within [`FAILURES_WITHIN_NS`] of one secret, or different secrets from one address, after which an unknown
/// one has to wait.
pub const FAILURES_MAX: usize = 5;
const FAILURES_WITHIN_NS: i64 = 60_000_000_000;
/// Most unknown secrets that are remembered; beyond them each further one has to wait.
const UNKNOWN_MAX: usize = 1000;

/// What somebody may do; each role may do what those before it may.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// Look at everything.
    View,
    /// Test: put setups in force, take the zero, walk trials, enter readings.
    Operate,
    /// Change what is kept: shelf, rigs, calibrations, corrections of runs, the store.
    Correct,
}

impl Role {
    /// The word for it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::View => "view",
            Self::Operate => "operate",
            Self::Correct => "correct",
        }
    }

    /// The role of a word.
    #[must_use]
    pub fn of(word: &str) -> Option<Self> {
        [Self::View, Self::Operate, Self::Correct].into_iter().find(|role| role.name() == word)
    }
}

/// A token as it is kept.
#[derive(Clone, PartialEq, Eq)]
pub struct Kept {
    /// Whose it is, or of which device.
    pub name: String,
    /// What it allows.
    pub role: Role,
    /// SHA-256 of its hexadecimal digits.
    digest: [u8; 32],
}

impl fmt::Debug for Kept {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Kept({}, {})", self.name, self.role.name())
    }
}

impl Kept {
    /// Of a token in plain.
    #[must_use]
    pub fn of(name: &str, role: Role, token: &str) -> Self {
        Self { name: name.to_owned(), role, digest: Sha256::digest(token.as_bytes()).into() }
    }

    /// Its line in the file.
    #[must_use]
    pub fn line(&self) -> String {
        format!("{} {} {}", hex(&self.digest), self.role.name(), self.name)
    }

    fn parse(line: &str) -> Option<Self> {
        let mut parts = line.splitn(3, ' ');
        let (digest, role, name) = (parts.next()?, Role::of(parts.next()?)?, parts.next()?.trim());
        let fits = boltscribe_model::setups::check_text("name", name).is_ok();
        fits.then_some(Self { name: name.to_owned(), role, digest: bytes(digest)? })
    }

    /// Whether it is this digest, in a time that does not tell how far they agree.
    fn is(&self, digest: &[u8; 32]) -> bool {
        self.digest.iter().zip(digest).fold(0, |apart, (a, b)| apart | (a ^ b)) == 0
    }
}

/// Hexadecimal digits of bytes.
#[must_use]
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

fn bytes(text: &str) -> Option<[u8; 32]> {
    if text.len() != 64 || !text.is_ascii() {
        return None;
    }
    let mut all = [0; 32];
    for (at, byte) in all.iter_mut().enumerate() {
        *byte = u8::from_str_radix(&text[2 * at..2 * at + 2], 16).ok()?;
    }
    Some(all)
}

/// Reads a file of tokens: a line each, `#` begins a remark. Refused where others than its owner may read it.
///
/// # Errors
/// A sentence without a byte of a token.
pub fn read(path: &Path) -> Result<Vec<Kept>, String> {
    let cannot = |what: String| format!("cannot read the tokens in {}: {what}", path.display());
    let file = std::fs::File::open(path).map_err(|error| cannot(error.to_string()))?;
    let facts = file.metadata().map_err(|error| cannot(error.to_string()))?;
    let mode = facts.permissions().mode() & 0o777;
    if !facts.is_file() || mode & 0o077 != 0 {
        return Err(cannot(format!(
            "expected a file with a mode such as 0600, which keeps others out, found {mode:04o}"
        )));
    }
    let mut text = String::new();
    file.take(FILE_BYTES_MAX).read_to_string(&mut text).map_err(|error| cannot(error.to_string()))?;
    let mut all: Vec<Kept> = Vec::new();
    for (at, line) in text.lines().enumerate().filter(|(_, line)| !line.is_empty() && !line.starts_with('#'))
    {
        let kept = Kept::parse(line).ok_or_else(|| {
            cannot(format!("line {}: expected SHA-256, role and name, found something else", at + 1))
        })?;
        if all.len() >= TOKENS_MAX {
            return Err(cannot(format!("expected at most {TOKENS_MAX} tokens, found more")));
        }
        all.push(kept);
    }
    Ok(all)
}

/// Somebody who was let in.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Visitor {
    /// As the token is named; none where no tokens are asked for.
    pub name: Option<String>,
    /// What he may do.
    pub role: Role,
}

/// Why somebody was not let in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NotIn {
    /// No token, or none that is known.
    Unknown,
    /// Not known, after too many failures.
    Wait,
}

/// A secret as its SHA-256.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Mark([u8; 32]);

impl Mark {
    /// Of a secret in plain.
    #[must_use]
    pub fn of(token: &str) -> Self {
        Self(Sha256::digest(token.as_bytes()).into())
    }
}

/// Tries with one secret that is not known.
struct Failures {
    /// Where it was tried first.
    from: IpAddr,
    /// When, nanoseconds since 1970 UTC.
    times: Vec<i64>,
}

/// The tokens in force.
pub struct Access {
    path: PathBuf,
    now_utc_ns: Clock,
    known: Mutex<(Option<SystemTime>, Vec<Kept>)>,
    failures: Mutex<BTreeMap<Mark, Failures>>,
}

impl Access {
    /// With the tokens of this file.
    ///
    /// # Errors
    /// It cannot be read; see [`read`].
    pub fn open(path: &Path, now_utc_ns: Clock) -> Result<Self, String> {
        let known = Mutex::new((written(path), read(path)?));
        Ok(Self { path: path.to_owned(), now_utc_ns, known, failures: Mutex::default() })
    }

    /// Whose token this is.
    ///
    /// # Errors
    /// Not known; or not known after too many failures.
    pub fn visitor(&self, token: Option<&str>, from: IpAddr) -> Result<Visitor, NotIn> {
        // Without a token nothing was tried.
        let mark = Mark::of(token.ok_or(NotIn::Unknown)?);
        match self.find(&mark) {
            Some(kept) => Ok(Visitor { name: Some(kept.name), role: kept.role }),
            None => Err(self.failed(mark, from)),
        }
    }

    /// Whether a secret is that of a token in force.
    #[must_use]
    pub fn knows(&self, mark: &Mark) -> bool {
        self.find(mark).is_some()
    }

    /// Counts a try with a secret that is not known.
    fn failed(&self, mark: Mark, from: IpAddr) -> NotIn {
        let now = (self.now_utc_ns)();
        let mut failures = self.failures.lock().unwrap_or_else(PoisonError::into_inner);
        failures.retain(|_, failed| {
            failed.times.retain(|at| (0..FAILURES_WITHIN_NS).contains(&(now - at)));
            !failed.times.is_empty()
        });
        let others = failures.values().filter(|failed| failed.from == from).count();
        let room = failures.len() < UNKNOWN_MAX && others < FAILURES_MAX;
        let failed = match failures.get_mut(&mark) {
            Some(failed) => failed,
            None if room => failures.entry(mark).or_insert(Failures { from, times: Vec::new() }),
            None => return NotIn::Wait,
        };
        if failed.times.len() >= FAILURES_MAX {
            return NotIn::Wait;
        }
        failed.times.push(now);
        tracing::warn!("a token from {from} is not known");
        NotIn::Unknown
    }

    fn find(&self, mark: &Mark) -> Option<Kept> {
        let mut known = self.known.lock().unwrap_or_else(PoisonError::into_inner);
        let when = written(&self.path);
        if when.is_none() || when != known.0 {
            // A file that cannot be read lets nobody in.
            let tokens = read(&self.path).unwrap_or_else(|error| {
                tracing::error!("{error}");
                Vec::new()
            });
            *known = (when, tokens);
        }
        known.1.iter().find(|kept| kept.is(&mark.0)).cloned()
    }
}

fn written(path: &Path) -> Option<SystemTime> {
    std::fs::metadata(path).ok()?.modified().ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::Arc;
    use std::sync::atomic::{AtomicI64, Ordering};

    const HERE: IpAddr = IpAddr::V4(std::net::Ipv4Addr::new(192, 0, 2, 7));

    fn file(text: &str, mode: u32) -> tempfile::NamedTempFile {
        let file = tempfile::NamedTempFile::new().unwrap();
        std::fs::write(file.path(), text).unwrap();
        std::fs::set_permissions(file.path(), std::fs::Permissions::from_mode(mode)).unwrap();
        file
    }

    #[test]
    fn a_token_is_kept_as_its_digest_only() {
        // FIPS 180-4, the example "abc".
        let line = Kept::of("tablet", Role::Operate, "abc").line();
        assert_eq!(line, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad operate tablet");
        let found = read(file(&format!("# of the bench\n{line}\n\n"), 0o600).path()).unwrap();
        assert!(found[0].is(&Sha256::digest(b"abc").into()) && !found[0].is(&Sha256::digest(b"abd").into()));
    }

    #[test]
    fn a_file_that_others_read_or_with_another_line_is_refused() {
        for mode in [0o640, 0o604, 0o660] {
            assert!(read(file("", mode).path()).unwrap_err().contains(&format!("found {mode:04o}")));
        }
        for text in [
            "secret\n",
            "00 view a\n",
            &format!("{} owner a\n", "0".repeat(64)),
            &format!("{} view \n", "0".repeat(64)),
        ] {
            let told = read(file(text, 0o600).path()).unwrap_err();
            assert!(
                told.contains("line 1: expected SHA-256, role and name") && !told.contains("secret"),
                "{told}"
            );
        }
    }

    fn with_a_clock(file: &tempfile::NamedTempFile) -> (Access, Arc<AtomicI64>) {
        let time = Arc::new(AtomicI64::new(0));
        let clock = Arc::clone(&time);
        (Access::open(file.path(), Arc::new(move || clock.load(Ordering::Relaxed))).unwrap(), time)
    }

    #[test]
    fn a_secret_that_is_not_known_waits_after_five_tries_and_keeps_no_good_one_waiting() {
        let file = file(&format!("{}\n", Kept::of("tablet", Role::View, "good").line()), 0o600);
        let (access, time) = with_a_clock(&file);
        assert_eq!(access.visitor(None, HERE), Err(NotIn::Unknown));
        for _ in 0..FAILURES_MAX {
            assert_eq!(access.visitor(Some("removed"), HERE), Err(NotIn::Unknown));
        }
        // One that goes on asking, as a page does whose token was taken back.
        for _ in 0..1000 {
            assert_eq!(access.visitor(Some("removed"), HERE), Err(NotIn::Wait));
            assert_eq!(access.visitor(Some("good"), HERE).unwrap().role, Role::View);
        }
        assert_eq!(access.visitor(Some("mistyped"), HERE), Err(NotIn::Unknown), "another one is still told");
        time.store(FAILURES_WITHIN_NS, Ordering::Relaxed);
        assert_eq!(access.visitor(Some("removed"), HERE), Err(NotIn::Unknown));
    }

    #[test]
    fn who_tries_one_secret_after_another_waits_and_what_is_remembered_is_bounded() {
        let file = file(&format!("{}\n", Kept::of("tablet", Role::View, "good").line()), 0o600);
        let (access, _) = with_a_clock(&file);
        let told = |n: u32, from| access.visitor(Some(&format!("guess {n}")), from).unwrap_err();
        for n in 0..100 {
            assert_eq!(told(n, HERE), if n < 5 { NotIn::Unknown } else { NotIn::Wait }, "{n}");
        }
        for n in 0..10_000_u32 {
            told(100 + n, IpAddr::V4(std::net::Ipv4Addr::from_bits(n)));
        }
        assert_eq!(access.failures.lock().unwrap().len(), UNKNOWN_MAX);
        assert!(access.visitor(Some("good"), HERE).is_ok());
    }

    #[test]
    fn a_token_that_is_taken_back_or_added_counts_at_once() {
        let line = |token| format!("{}\n", Kept::of("tablet", Role::View, token).line());
        let file = file(&line("old"), 0o600);
        let access = Access::open(file.path(), Arc::new(|| 0)).unwrap();
        assert!(access.visitor(Some("old"), HERE).is_ok());
        std::fs::write(file.path(), line("new")).unwrap();
        // As if written later, whatever the file system's clock.
        let later = SystemTime::UNIX_EPOCH + std::time::Duration::from_secs(4_000_000_000);
        std::fs::File::options().write(true).open(file.path()).unwrap().set_modified(later).unwrap();
        assert!(access.visitor(Some("old"), HERE).is_err() && access.visitor(Some("new"), HERE).is_ok());
        std::fs::remove_file(file.path()).unwrap();
        assert!(access.visitor(Some("new"), HERE).is_err());
    }
}
