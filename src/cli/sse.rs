//! Server-sent events out of a byte stream, as the HTML Living Standard, section 9.2.6, words them.
//!
//! Only `data:` lines matter here: a message ends with an empty line, several `data:` lines are
//! joined by a newline, comments (`:`) keep the connection alive. It must not know what a message
//! means. A message is at most `MESSAGE_BYTES_MAX` long; a longer one is dropped and counted.

/// Longest message kept, bytes; a longer one is dropped whole.
pub const MESSAGE_BYTES_MAX: usize = 1 << 20;

/// Collects bytes until messages are whole.
#[derive(Debug, Default)]
pub struct Events {
    line: Vec<u8>,
    data: Vec<u8>,
    has_data: bool,
    too_long: bool,
    after_cr: bool,
    /// Messages dropped because they were too long or not UTF-8.
    pub dropped: u64,
}

impl Events {
    /// Takes any number of bytes and gives the messages that became whole.
    pub fn push(&mut self, bytes: &[u8]) -> Vec<String> {
        let mut messages = Vec::new();
        for &byte in bytes {
            let after_cr = std::mem::replace(&mut self.after_cr, byte == b'\r');
            match byte {
                b'\n' if after_cr => {}
                b'\n' | b'\r' => self.end_line(&mut messages),
                _ if self.line.len() >= MESSAGE_BYTES_MAX => self.too_long = true,
                _ => self.line.push(byte),
            }
        }
        messages
    }

    fn end_line(&mut self, messages: &mut Vec<String>) {
        let line = std::mem::take(&mut self.line);
        if line.is_empty() {
            self.end_message(messages);
        } else if let Some(value) = line.strip_prefix(b"data:") {
            let value = value.strip_prefix(b" ").unwrap_or(value);
            if self.data.len() + value.len() > MESSAGE_BYTES_MAX {
                self.too_long = true;
            } else {
                if self.has_data {
                    self.data.push(b'\n');
                }
                self.data.extend_from_slice(value);
                self.has_data = true;
            }
        }
        self.line = line;
        self.line.clear();
    }

    fn end_message(&mut self, messages: &mut Vec<String>) {
        let data = std::mem::take(&mut self.data);
        let has_data = std::mem::take(&mut self.has_data);
        let too_long = std::mem::take(&mut self.too_long);
        if too_long {
            self.dropped += 1;
        } else if has_data {
            match String::from_utf8(data) {
                Ok(text) => messages.push(text),
                Err(_) => self.dropped += 1,
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn messages_are_the_same_however_the_bytes_are_cut() {
        let text = b": hello\n\ndata: {\"a\":1}\r\n\r\nevent: x\ndata:one\ndata: two\n\ndata: \xff\n\n";
        let mut whole = Events::default();
        let expected = whole.push(text);
        assert_eq!(expected, ["{\"a\":1}", "one\ntwo"]);
        assert_eq!(whole.dropped, 1);
        for size in 1..text.len() {
            let mut cut = Events::default();
            let found: Vec<String> = text.chunks(size).flat_map(|c| cut.push(c)).collect();
            assert_eq!(found, expected, "chunks of {size}");
        }
    }

    #[test]
    fn an_endless_line_takes_bounded_memory_and_is_counted() {
        let mut events = Events::default();
        events.push(b"data: ");
        for _ in 0..40 {
            assert!(events.push(&vec![b'x'; 1 << 16]).is_empty());
        }
        assert!(events.line.len() <= MESSAGE_BYTES_MAX);
        assert!(events.push(b"\n\n").is_empty());
        assert_eq!(events.dropped, 1);
        assert_eq!(events.push(b"data: next\n\n"), ["next"]);
    }
}
