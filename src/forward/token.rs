//! The token from its file: refused where others may read it, and shown nowhere.
//!
//! No error, log line or debug output holds a byte of it.

use std::fmt;
use std::io::Read;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;

/// Longest token, bytes.
const TOKEN_BYTES_MAX: u64 = 512;

/// A secret word for the server.
#[derive(Clone, Default, PartialEq, Eq)]
pub struct Token(String);

impl fmt::Debug for Token {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Token(..)")
    }
}

impl Token {
    /// The word itself; for the transport only.
    #[cfg_attr(not(feature = "forward"), allow(dead_code))]
    pub(super) fn expose(&self) -> &str {
        &self.0
    }

    /// Reads it: one line of visible ASCII in a file that only its owner may read.
    ///
    /// # Errors
    /// A sentence without a byte of the file's content.
    pub fn read(path: &Path) -> Result<Self, String> {
        let cannot = |what: String| format!("cannot read the token in {}: {what}", path.display());
        let file = std::fs::File::open(path).map_err(|e| cannot(e.to_string()))?;
        let facts = file.metadata().map_err(|e| cannot(e.to_string()))?;
        if !facts.is_file() {
            return Err(cannot("expected a file, found something else".into()));
        }
        // Looked at on the open file, so that nobody can put another in its place between.
        let mode = facts.permissions().mode() & 0o777;
        if mode & 0o077 != 0 {
            return Err(cannot(format!(
                "expected a mode such as 0600, which keeps others out, found {mode:04o}"
            )));
        }
        let mut text = String::new();
        file.take(TOKEN_BYTES_MAX + 2)
            .read_to_string(&mut text)
            .map_err(|_| cannot("expected one line of visible ASCII, found other bytes".into()))?;
        let word = text.strip_suffix('\n').unwrap_or(&text);
        let word = word.strip_suffix('\r').unwrap_or(word);
        let fits = (1..=TOKEN_BYTES_MAX).contains(&(word.len() as u64));
        if !fits || !word.bytes().all(|b| b.is_ascii_graphic()) {
            return Err(cannot(format!(
                "expected one line of 1 to {TOKEN_BYTES_MAX} visible ASCII characters"
            )));
        }
        Ok(Self(word.to_owned()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn file(content: &[u8], mode: u32) -> tempfile::NamedTempFile {
        let file = tempfile::NamedTempFile::new().unwrap();
        std::fs::write(file.path(), content).unwrap();
        std::fs::set_permissions(file.path(), std::fs::Permissions::from_mode(mode)).unwrap();
        file
    }

    #[test]
    fn a_token_that_others_may_read_is_refused() {
        for mode in [0o640, 0o604, 0o644, 0o620, 0o601, 0o660] {
            let error = Token::read(file(b"secret-word\n", mode).path()).unwrap_err();
            assert!(error.contains(&format!("found {mode:04o}")) && !error.contains("secret"), "{error}");
        }
        for mode in [0o600, 0o400] {
            assert_eq!(Token::read(file(b"secret-word\n", mode).path()).unwrap().expose(), "secret-word");
        }
    }

    #[test]
    fn no_error_and_no_debug_output_holds_a_byte_of_the_token() {
        for content in
            [&b""[..], b"\n", b"secret word\n", b"secret\nsecret\n", b"secret\x1b[0m", b"secret\xff"]
        {
            let error = Token::read(file(content, 0o600).path()).unwrap_err();
            assert!(!error.contains("secret"), "{error}");
        }
        let token = Token::read(file(b"secret", 0o600).path()).unwrap();
        assert_eq!(format!("{token:?}"), "Token(..)");
        assert!(Token::read(file(&[b'x'; 513], 0o600).path()).is_err());
        assert!(Token::read(Path::new("/no/such/file")).unwrap_err().contains("/no/such/file"));
        assert!(Token::read(Path::new("/dev/null")).is_err());
    }
}
