//! What talks at a port that no rig has yet: bytes heard for a moment, read as lines and as frames.
//!
//! A framed device speaks only when asked, so it is asked only where the operator says that it is one.

use boltscribe_http::{Hear, Heard, Refusal};
use boltscribe_model::time::MonoNs;
use boltscribe_serial as port;
use boltscribe_signal::frames::{self, Frame, Item, guess};
use boltscribe_signal::samples::Ask;
use std::time::Duration;

/// Lines shown.
const SHOWN_MAX: usize = 12;
/// Characters of a line shown.
const CHARS_MAX: usize = 80;

/// Listens and looks.
///
/// # Errors
/// The port does not open, or goes away.
pub async fn hear(at: &Hear) -> Result<Heard, Refusal> {
    let settings = port::Settings { path: at.port.clone(), baud: at.baud };
    let say = at.framed.then(|| Ask::Identify.bytes());
    let heard = port::hear(settings, say, Duration::from_secs_f64(at.for_s)).await.map_err(|reason| {
        let what = match reason.advice() {
            Some(advice) => format!("{reason}; {advice}"),
            None => reason.to_string(),
        };
        Refusal::Failed { tried: format!("listen at {}", at.port), what }
    })?;
    Ok(if at.framed { as_frames(&heard) } else { as_lines(&heard) })
}

fn as_frames(heard: &[(MonoNs, Vec<u8>)]) -> Heard {
    let mut found = Heard { bytes: total(heard), ..Heard::default() };
    let Ok(mut parser) = frames::Parser::new(&frames::Settings::Framed) else { return found };
    for (_, bytes) in heard {
        parser.push(bytes, &mut |item| match item {
            Item::Frame(Frame::Identity(identity)) => {
                found.rates_hz.clone_from(&identity.rates_hz);
                found.device = Some(format!(
                    "serial number {}, firmware {}, {} bits, codes {} to {}",
                    identity.serial,
                    identity.firmware,
                    identity.adc_bits,
                    identity.count_min,
                    identity.count_max
                ));
            }
            Item::Frame(_) => {}
            Item::Bad { detail, .. } => {
                if found.remarks.len() < SHOWN_MAX {
                    found.remarks.push(detail);
                }
            }
        });
    }
    found
}

fn as_lines(heard: &[(MonoNs, Vec<u8>)]) -> Heard {
    let mut found = Heard { bytes: total(heard), ..Heard::default() };
    let (mut lines, mut line): (Vec<(f64, String)>, Vec<u8>) = (Vec::new(), Vec::new());
    let mut not_text = 0;
    for (at, bytes) in heard {
        for byte in bytes {
            if matches!(byte, b'\r' | b'\n') {
                if !line.is_empty() {
                    lines.push((at.seconds(), String::from_utf8_lossy(&line).into_owned()));
                    line.clear();
                }
            } else {
                not_text += u64::from(!(0x20..0x7f).contains(byte) && *byte != b'\t');
                line.push(*byte);
            }
        }
    }
    // The first may have lost its front.
    if lines.len() > 1 {
        lines.remove(0);
    }
    found.lines = lines
        .iter()
        .rev()
        .take(SHOWN_MAX)
        .rev()
        .map(|(_, l)| l.escape_debug().take(CHARS_MAX).collect())
        .collect();
    if not_text * 10 > found.bytes {
        found.remarks.push(format!(
            "{not_text} of {} bytes are no text: another baud rate, or no ASCII board",
            found.bytes
        ));
        return found;
    }
    let seen: Vec<(f64, &str)> = lines.iter().map(|(at, l)| (*at, l.as_str())).collect();
    let guess = guess::guess(&seen);
    found.remarks.extend(guess.remarks.iter().cloned());
    found.guess = Some(guess);
    found
}

fn total(heard: &[(MonoNs, Vec<u8>)]) -> u64 {
    heard.iter().map(|(_, bytes)| bytes.len() as u64).sum()
}
