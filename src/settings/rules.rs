//! Rules for texts in the settings; each says what it expected.
//!
//! Length of a Unix socket's path: unix(7) allows 107 bytes and a closing zero. This file must not know
//! which key a text belongs to.

use std::net::{IpAddr, Ipv6Addr, SocketAddr};

/// Name of the API's socket within the store's folder.
pub const SOCKET_NAME: &str = "api.sock";
/// Longest path of a Unix socket, bytes.
const SOCKET_PATH_BYTES_MAX: usize = 107;

fn demand(holds: bool, expected: &str) -> Result<(), String> {
    if holds { Ok(()) } else { Err(expected.to_owned()) }
}

/// An address and port; whether others may reach it depends on the tokens beside it.
pub(super) fn listen(text: &str) -> Result<(), String> {
    text.parse::<SocketAddr>()
        .map(|_| ())
        .map_err(|_| "an IP address and port such as \"127.0.0.1:7483\"".to_owned())
}

/// A name of this machine as browsers ask for it, without a port (RFC 1123).
pub(super) fn own_name(text: &str) -> Result<(), String> {
    let label = |part: &str| {
        (1..=63).contains(&part.len())
            && part.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-')
            && !part.starts_with('-')
            && !part.ends_with('-')
    };
    demand(text.len() <= 253 && text.split('.').all(label), "a name such as \"rig.example\", without a port")
}

/// A name of the time zone database that this machine knows.
pub(super) fn time_zone(text: &str) -> Result<(), String> {
    demand(
        jiff::tz::TimeZone::get(text).is_ok(),
        "a time zone that this machine knows, such as \"Europe/Vienna\"",
    )
}

/// An absolute folder short enough for the socket in it.
pub(super) fn folder(text: &str) -> Result<(), String> {
    demand(plain_path(text), "an absolute folder such as \"/var/lib/boltscribe\"")?;
    demand(
        text.trim_end_matches('/').len() + 1 + SOCKET_NAME.len() <= SOCKET_PATH_BYTES_MAX,
        "a folder of at most 98 bytes, because the path of the socket in it is limited",
    )
}

/// Lower-case letters, digits and inner hyphens, 1 to 32: rig names stand in file names and addresses.
pub(super) fn rig_name(text: &str) -> Result<(), String> {
    let inner = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
    demand(
        (1..=32).contains(&text.len())
            && text.chars().all(inner)
            && !text.starts_with('-')
            && !text.ends_with('-'),
        "1 to 32 of a-z, 0-9 and inner hyphens",
    )
}

/// An absolute path of a port.
pub(super) fn port(text: &str) -> Result<(), String> {
    demand(plain_path(text), "an absolute path such as \"/dev/serial/by-id/usb-...\"")
}

fn plain_path(text: &str) -> bool {
    text.starts_with('/') && (2..=255).contains(&text.len()) && !text.chars().any(char::is_control)
}

/// The pattern of an ASCII board's lines.
pub(super) fn pattern(text: &str) -> Result<(), String> {
    demand(
        (1..=200).contains(&text.len()) && !text.chars().any(char::is_control),
        "1 to 200 characters without control characters",
    )?;
    let mut rest = text;
    let (mut values, mut ticks) = (0, 0);
    while let Some(open) = rest.find(['{', '}']) {
        rest = &rest[open..];
        let field = ["{value}", "{tick}", "{skip}"]
            .into_iter()
            .find(|field| rest.starts_with(field))
            .ok_or("only the fields {value}, {tick} and {skip} in braces")?;
        values += u32::from(field == "{value}");
        ticks += u32::from(field == "{tick}");
        rest = &rest[field.len()..];
    }
    demand(values == 1 && ticks <= 1, "{value} once and {tick} at most once")
}

/// A name of a calibration: 1 to 64 characters that can be seen.
pub(super) fn id(text: &str) -> Result<(), String> {
    demand(
        (1..=64).contains(&text.chars().count())
            && text.trim() == text
            && !text.chars().any(char::is_control),
        "1 to 64 printable characters",
    )
}

/// An absolute path of a file.
pub(super) fn file(text: &str) -> Result<(), String> {
    demand(plain_path(text), "an absolute path such as \"/etc/boltscribe/forward-token\"")
}

/// The address of a central store: scheme, host, port. No path, because the transport would drop it; no name
/// and password, because addresses are shown and logged.
pub(super) fn forward_url(text: &str) -> Result<(), String> {
    demand(
        text.len() <= 255 && host(text).is_some(),
        "an address such as \"https://central.example:8086\", http or https with a host, a port and nothing behind",
    )
}

/// Whether what is sent there passes no network in the open.
pub(super) fn keeps_secrets(url: &str) -> bool {
    url.starts_with("https://")
        || host(url).is_some_and(|host| match host {
            Host::Address(address) => address.is_loopback(),
            Host::Name(name) => name == "localhost",
        })
}

enum Host<'a> {
    Address(IpAddr),
    Name(&'a str),
}

/// The host of an address (RFC 3986, section 3.2), where all of it may be used.
fn host(url: &str) -> Option<Host<'_>> {
    let rest = url.strip_prefix("http://").or_else(|| url.strip_prefix("https://"))?;
    let rest = rest.strip_suffix('/').unwrap_or(rest);
    let (host, port) = match rest.strip_prefix('[') {
        Some(inner) => {
            let (address, port) = inner.split_once(']')?;
            (Host::Address(IpAddr::V6(address.parse::<Ipv6Addr>().ok()?)), port)
        }
        None => {
            let (name, port) = rest.find(':').map_or((rest, ""), |at| rest.split_at(at));
            (named(name)?, port)
        }
    };
    let known = port.is_empty()
        || port.strip_prefix(':').is_some_and(|digits| {
            digits.bytes().all(|b| b.is_ascii_digit()) && digits.parse::<u16>().is_ok_and(|port| port > 0)
        });
    known.then_some(host)
}

/// A name by RFC 1123, or an IPv4 address; what is digits and dots only must be an address.
fn named(name: &str) -> Option<Host<'_>> {
    if let Ok(address) = name.parse::<std::net::Ipv4Addr>() {
        return Some(Host::Address(IpAddr::V4(address)));
    }
    let label = |label: &str| {
        !label.is_empty()
            && !label.starts_with('-')
            && !label.ends_with('-')
            && label.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-')
    };
    let last_is_word = name.rsplit('.').next()?.bytes().any(|b| !b.is_ascii_digit());
    (name.len() <= 253 && last_is_word && name.split('.').all(label)).then_some(Host::Name(name))
}

#[cfg(test)]
#[path = "rules_tests.rs"]
mod tests;
