//! Packs the built page into the program: each file of `web/dist` gzipped, with its type and whether its
//! name carries a hash of its content; and the manual, rendered by `render.rs`.
//!
//! Where nothing was built the program still is, with a page that says how to build the real one, so that cargo alone
//! needs no Node. `PAGE_REQUIRED=1` makes that an error. Must not know how the page is built.

mod render;

use flate2::Compression;
use flate2::write::GzEncoder;
use std::fmt::Write as _;
use std::io::{Error, Result, Write as _, stdout};
use std::path::{Path, PathBuf};
use std::{env, fs};

const BUILT: &str = "web/dist";
const STUB: &str = "stub.html";
/// More than any file of the page has; what is larger got here by mistake.
const FILE_BYTES_MAX: u64 = 8 << 20;

fn main() -> Result<()> {
    let top = PathBuf::from(given("CARGO_MANIFEST_DIR")?);
    let out = PathBuf::from(given("OUT_DIR")?);
    let mut say = stdout().lock();
    for path in [BUILT, STUB, render::FOLDER, "build.rs", "render.rs"] {
        writeln!(say, "cargo::rerun-if-changed={path}")?;
    }
    writeln!(say, "cargo::rerun-if-env-changed=PAGE_REQUIRED")?;
    let built = top.join(BUILT).join("index.html").is_file();
    if !built && env::var_os("PAGE_REQUIRED").is_some_and(|word| word != "0") {
        writeln!(
            say,
            "cargo::error=PAGE_REQUIRED is set: expected the page in {BUILT}, found none; cargo xtask page"
        )?;
        return Ok(());
    }
    let mut files = Vec::new();
    if built {
        collect(&top.join(BUILT), "/", &mut files)?;
    } else {
        files.push(("/index.html".to_owned(), top.join(STUB)));
    }
    let chapters = render::chapters(&top)?;
    files.extend(render::write(&top, &chapters, &out)?);
    files.sort();
    let mut text = table(&files, built, &out)?;
    text.push_str("/// Its chapters in their order.\npub const CHAPTERS: &[Chapter] = &[\n");
    for chapter in &chapters {
        let (name, title, path) = (chapter.name, &chapter.title, &chapter.path);
        writeln!(text, "    Chapter {{ name: {name:?}, title: {title:?}, text: include_str!({path:?}) }},")
            .map_err(Error::other)?;
    }
    text.push_str("];\n");
    fs::write(out.join("page.rs"), text)
}

fn given(name: &str) -> Result<String> {
    env::var(name).map_err(|error| Error::other(format!("cargo gives no {name}: {error}")))
}

/// Paths from the page's root with the files they name; names that begin with a dot are left out.
fn collect(folder: &Path, prefix: &str, files: &mut Vec<(String, PathBuf)>) -> Result<()> {
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        let name = entry.file_name().to_string_lossy().into_owned();
        if name.starts_with('.') {
            continue;
        }
        let path = format!("{prefix}{name}");
        if entry.file_type()?.is_dir() {
            collect(&entry.path(), &format!("{path}/"), files)?;
        } else {
            files.push((path, entry.path()));
        }
    }
    Ok(())
}

fn table(files: &[(String, PathBuf)], built: bool, out: &Path) -> Result<String> {
    let mut text = format!(
        "/// The real page is in the program, not the one that says how to build it.\npub const BUILT: bool = {built};\n/// Its files.\npub const FILES: &[File] = &[\n"
    );
    for (n, (path, from)) in files.iter().enumerate() {
        if fs::metadata(from)?.len() > FILE_BYTES_MAX {
            return Err(Error::other(format!("{}: expected at most {FILE_BYTES_MAX} bytes", from.display())));
        }
        let mut packed = GzEncoder::new(Vec::new(), Compression::best());
        packed.write_all(&fs::read(from)?)?;
        let to = out.join(format!("page-{n}.gz"));
        fs::write(&to, packed.finish()?)?;
        let lasting = path.starts_with("/assets/");
        let kind = kind(path)?;
        writeln!(
            text,
            "    File {{ path: {path:?}, kind: {kind:?}, lasting: {lasting}, gzipped: include_bytes!({to:?}) }},"
        )
        .map_err(Error::other)?;
    }
    text.push_str("];\n");
    Ok(text)
}

fn kind(path: &str) -> Result<&'static str> {
    Ok(match path.rsplit('.').next() {
        Some("html") => "text/html; charset=utf-8",
        Some("js") => "text/javascript; charset=utf-8",
        Some("css") => "text/css; charset=utf-8",
        Some("svg") => "image/svg+xml",
        Some("woff2") => "font/woff2",
        Some("txt") => "text/plain; charset=utf-8",
        _ => {
            return Err(Error::other(format!(
                "{path}: expected a kind of file that the page is known to have"
            )));
        }
    })
}
