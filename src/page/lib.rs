//! The page as it is built from `web`, and the manual, packed into the program by `build.rs`.
//!
//! Must not know what serves it, nor what it shows.

/// A packed file.
pub struct File {
    /// From the page's root.
    pub path: &'static str,
    /// Media type.
    pub kind: &'static str,
    /// Its name changes with its content.
    pub lasting: bool,
    /// Its content.
    pub gzipped: &'static [u8],
}

/// A chapter of the manual.
pub struct Chapter {
    /// As it is asked for.
    pub name: &'static str,
    /// Its first heading.
    pub title: &'static str,
    /// Its text, Markdown.
    pub text: &'static str,
}

include!(concat!(env!("OUT_DIR"), "/page.rs"));
