//! Renders the chapters of the manual for the page: one document each, a list of them, and all on one page to search.
//!
//! A part of the build script. The documents load nothing but one style sheet of their own origin, as the policy of the
//! server asks. Must not know how they are packed or served.

use pulldown_cmark::{CowStr, Event, HeadingLevel, Options, Parser, Tag, TagEnd, html};
use std::fmt::Write as _;
use std::fs;
use std::io::{Error, Result};
use std::path::{Path, PathBuf};

/// The folder of the chapters.
pub const FOLDER: &str = "manual";
/// Their order.
const ORDER: [&str; 15] = [
    "first-rig",
    "dial",
    "page",
    "trial",
    "tools",
    "comparing",
    "calibrating",
    "keeping",
    "export",
    "central-store",
    "commands",
    "measures",
    "accuracy",
    "files",
    "glossary",
];
const STYLE: &str = "manual.css";

/// One chapter.
pub struct Chapter {
    /// As it is asked for.
    pub name: &'static str,
    /// Its first heading.
    pub title: String,
    /// Where its text lies.
    pub path: PathBuf,
    text: String,
}

/// All chapters in their order.
///
/// # Errors
/// One cannot be read, has no title, or lies in the folder and not in the order.
pub fn chapters(top: &Path) -> Result<Vec<Chapter>> {
    let folder = top.join(FOLDER);
    let there = fs::read_dir(&folder)?.collect::<Result<Vec<_>>>()?;
    for entry in there {
        let name = entry.file_name().to_string_lossy().into_owned();
        if name.strip_suffix(".md").is_some_and(|stem| !ORDER.contains(&stem)) {
            return Err(Error::other(format!(
                "{name}: expected a chapter that the order of render.rs names"
            )));
        }
    }
    let chapter = |name: &'static str| {
        let path = folder.join(format!("{name}.md"));
        let text = fs::read_to_string(&path).map_err(|e| Error::other(format!("{}: {e}", path.display())))?;
        let title = text.lines().next().and_then(|line| line.strip_prefix("# "));
        let title =
            title.ok_or_else(|| Error::other(format!("{name}.md: expected a title, '# …', first")))?;
        Ok(Chapter { name, title: title.to_owned(), path, text })
    };
    ORDER.into_iter().map(chapter).collect()
}

/// Writes the documents into a folder; their paths from the page's root with the files.
///
/// # Errors
/// One cannot be written; a link leads to no chapter.
pub fn write(top: &Path, chapters: &[Chapter], out: &Path) -> Result<Vec<(String, PathBuf)>> {
    let mut files = vec![(format!("/{FOLDER}/{STYLE}"), top.join(FOLDER).join(STYLE))];
    let mut all = String::new();
    for chapter in chapters {
        let body = rendered(chapter)?;
        let _ = writeln!(all, "<section>{body}</section>");
        put(out, chapter.name, &document(&chapter.title, chapters, chapter.name, &body), &mut files)?;
    }
    let list: String = chapters
        .iter()
        .map(|c| format!("<li><a href=\"{}.html\">{}</a></li>\n", c.name, escaped(&c.title)))
        .collect();
    let body = format!(
        "<h1>Manual</h1>\n<ul>\n{list}</ul>\n<p><a href=\"all.html\">All on one page</a>, to search or to print.</p>\n"
    );
    put(out, "index", &document("Manual", chapters, "index", &body), &mut files)?;
    put(out, "all", &document("The whole manual", chapters, "all", &all), &mut files)?;
    Ok(files)
}

fn put(out: &Path, name: &str, text: &str, files: &mut Vec<(String, PathBuf)>) -> Result<()> {
    let path = out.join(format!("manual-{name}.html"));
    fs::write(&path, text)?;
    files.push((format!("/{FOLDER}/{name}.html"), path));
    Ok(())
}

fn document(title: &str, chapters: &[Chapter], here: &str, body: &str) -> String {
    let link = |(name, title): (&str, &str)| {
        let now = if name == here { " aria-current=\"page\"" } else { "" };
        format!("<a href=\"{name}.html\"{now}>{}</a>\n", escaped(title))
    };
    let links: String = chapters.iter().map(|c| link((c.name, &c.title))).collect();
    format!(
        "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>{} – boltscribe</title>\n\
         <link rel=\"stylesheet\" href=\"{STYLE}\">\n</head>\n<body>\n<nav aria-label=\"Manual\">\n\
         <a href=\"/\">To the rig</a>\n{}{links}</nav>\n<main>\n{body}</main>\n</body>\n</html>\n",
        escaped(title),
        link(("index", "Manual")),
    )
}

/// The chapter's text; links to other chapters lead to their documents, headings can be linked to.
fn rendered(chapter: &Chapter) -> Result<String> {
    let mut events: Vec<Event<'_>> = Parser::new_ext(&chapter.text, Options::ENABLE_TABLES).collect();
    for at in 0..events.len() {
        let words = heading(&events[at..]);
        match &mut events[at] {
            // The title stands for the chapter itself, also where all are on one page.
            Event::Start(Tag::Heading { level: HeadingLevel::H1, id, .. }) => *id = Some(chapter.name.into()),
            Event::Start(Tag::Heading { id, .. }) => *id = Some(anchor(&words).into()),
            Event::Start(Tag::Link { dest_url, .. }) => *dest_url = led(chapter, dest_url)?,
            _ => {}
        }
    }
    let mut body = String::new();
    html::push_html(&mut body, events.into_iter());
    Ok(body)
}

fn heading(events: &[Event<'_>]) -> String {
    let inside = events.iter().take_while(|event| !matches!(event, Event::End(TagEnd::Heading(_))));
    inside
        .filter_map(|event| match event {
            Event::Text(text) | Event::Code(text) => Some(text.to_string()),
            _ => None,
        })
        .collect()
}

/// As common renderers of sources make them of a heading, so that a link holds there too.
fn anchor(words: &str) -> String {
    let kept = words.to_lowercase();
    kept.chars()
        .filter(|c| c.is_alphanumeric() || *c == ' ' || *c == '-')
        .collect::<String>()
        .replace(' ', "-")
}

fn led(chapter: &Chapter, to: &str) -> Result<CowStr<'static>> {
    let (file, place) = to.split_once('#').map_or((to, None), |(file, place)| (file, Some(place)));
    let name = file.strip_suffix(".md");
    if !file.is_empty() && name.is_none_or(|name| !ORDER.contains(&name)) {
        return Err(Error::other(format!("{}.md: expected a link to a chapter, found '{to}'", chapter.name)));
    }
    let document = name.map(|name| format!("{name}.html")).unwrap_or_default();
    Ok(format!("{document}{}", place.map(|place| format!("#{place}")).unwrap_or_default()).into())
}

fn escaped(text: &str) -> String {
    let mut out = String::new();
    html::push_html(&mut out, std::iter::once(Event::Text(text.into())));
    out
}
