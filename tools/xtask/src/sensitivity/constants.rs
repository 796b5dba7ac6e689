//! The float literals in the constants of the run finder: where they stand and what they are worth.
//!
//! Must not know what is made of them. A literal of a tuple, an array or an expression is one of its own.

use crate::error::Failed;
use crate::tidy::source::Tree;
use std::ops::Range;
use std::path::Path;

/// The folder that is looked through.
pub const FOLDER: &str = "src/signal/runs/";

/// One literal in a constant.
#[derive(Clone, Debug, PartialEq)]
pub struct Constant {
    /// Name of the constant.
    pub name: String,
    /// Which of its literals, where it has several.
    pub element: Option<usize>,
    /// File, from the top of the repository.
    pub path: String,
    /// Bytes of the file it takes.
    pub place: Range<usize>,
    /// As it is written.
    pub literal: String,
    /// Its value.
    pub value: f64,
}

impl Constant {
    /// Name, with the number of the literal where there are several.
    pub fn label(&self) -> String {
        self.element.map_or_else(|| self.name.clone(), |i| format!("{}.{i}", self.name))
    }

    /// File below the folder.
    pub fn file(&self) -> &str {
        self.path.strip_prefix(FOLDER).unwrap_or(&self.path)
    }

    /// The text of its file with the value scaled; none where the literal is not at its place.
    pub fn scaled(&self, text: &str, factor: f64) -> Option<String> {
        let (before, after) = (text.get(..self.place.start)?, text.get(self.place.end..)?);
        let kept = text.get(self.place.clone()) == Some(&self.literal);
        kept.then(|| format!("{before}{:?}{after}", self.value * factor))
    }

    /// It is called so: by its name, its label, or `file:name`.
    pub fn is_named(&self, name: &str) -> bool {
        let (file, name) = name.rsplit_once(':').map_or((None, name), |(file, name)| (Some(file), name));
        file.is_none_or(|file| file == self.file()) && (name == self.name || name == self.label())
    }
}

/// All of them in a tree, by file and place; tests are left out, and so is what is 0.
///
/// # Errors
/// The tree cannot be read.
pub fn all(root: &Path) -> Result<Vec<Constant>, Failed> {
    let tree = Tree::read(root)?;
    let sources = tree.sources();
    let runs = sources.iter().filter(|s| s.path.starts_with(FOLDER));
    Ok(runs.flat_map(|s| in_text(s.path, s.text, |line| s.tests.holds(line))).collect())
}

/// Those of one file; `skipped` says which lines, from 1, are for tests.
fn in_text(path: &str, text: &str, skipped: impl Fn(usize) -> bool) -> Vec<Constant> {
    let code = without_comments(text);
    let mut found = Vec::new();
    let mut start = 0;
    for (i, line) in code.split_inclusive('\n').enumerate() {
        let begin = start;
        start += line.len();
        let Some(name) = declared(line).filter(|_| !skipped(i + 1)) else { continue };
        // The length in an array's type has a semicolon, an initialiser has none.
        let Some(equals) = code[begin..].find('=').map(|at| begin + at) else { continue };
        let end = code[equals..].find(';').map_or(code.len(), |at| equals + at);
        if !code[begin..equals].contains("f64") {
            continue;
        }
        let places: Vec<Range<usize>> = literals(&code[equals..end]);
        let several = places.len() > 1;
        for (n, place) in places.into_iter().enumerate() {
            let place = equals + place.start..equals + place.end;
            let literal = text[place.clone()].to_owned();
            if let Some(value) = value(&literal).filter(|v| *v != 0.0) {
                let element = several.then_some(n);
                found.push(Constant {
                    name: name.clone(),
                    element,
                    path: path.to_owned(),
                    place,
                    literal,
                    value,
                });
            }
        }
    }
    found
}

/// The same bytes, with blanks for what stands in line comments.
fn without_comments(text: &str) -> String {
    let blank = |line: &str| {
        let code = line.find("//").unwrap_or(line.len());
        let rest: String = line[code..].bytes().map(|b| if b == b'\n' { '\n' } else { ' ' }).collect();
        format!("{}{rest}", &line[..code])
    };
    text.split_inclusive('\n').map(blank).collect()
}

/// The name that a line declares as a constant.
fn declared(line: &str) -> Option<String> {
    let line = line.trim_start();
    let line =
        line.strip_prefix("pub").map_or(line, |rest| rest.trim_start_matches(|c| c != ' ').trim_start());
    let (name, _) = line.strip_prefix("const ")?.split_once(':')?;
    name.chars().all(|c| c.is_ascii_uppercase() || c.is_ascii_digit() || c == '_').then(|| name.to_owned())
}

/// Where float literals stand in an initialiser.
fn literals(text: &str) -> Vec<Range<usize>> {
    let bytes = text.as_bytes();
    let is_word = |b: &u8| b.is_ascii_alphanumeric() || *b == b'_';
    let mut found = Vec::new();
    let mut at = 0;
    while at < bytes.len() {
        if !bytes[at].is_ascii_digit() {
            at += if is_word(&bytes[at]) { bytes[at..].iter().take_while(|b| is_word(b)).count() } else { 1 };
            continue;
        }
        let start = at;
        let digits =
            |from: usize| bytes[from..].iter().take_while(|b| b.is_ascii_digit() || **b == b'_').count();
        at += digits(at);
        if bytes.get(at) == Some(&b'.') && bytes.get(at + 1).is_some_and(u8::is_ascii_digit) {
            at += 1 + digits(at + 1);
        }
        if matches!(bytes.get(at), Some(b'e' | b'E')) {
            at += 1 + usize::from(bytes.get(at + 1) == Some(&b'-'));
            at += digits(at);
        }
        at += bytes[at..].iter().take_while(|b| is_word(b)).count();
        if value(&text[start..at]).is_some() {
            found.push(start..at);
        }
    }
    found
}

/// The value of a float literal; none for a whole number.
fn value(literal: &str) -> Option<f64> {
    let bare = literal.replace('_', "");
    let number = bare.strip_suffix("f64").unwrap_or(&bare);
    (number != bare || bare.contains(['.', 'e'])).then(|| number.parse().ok())?
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(text: &str) -> Vec<(String, f64)> {
        in_text("src/signal/runs/x.rs", text, |_| false).iter().map(|c| (c.label(), c.value)).collect()
    }

    #[test]
    fn literals_of_constants_are_found_one_by_one() {
        let text = "/// 0.7 of it.\nconst A_S: f64 = 0.62;\npub const B: [f64; 2] = [\n    0.006, // not 9.9\n    1_000.5,\n];\n";
        assert_eq!(found(text), [("A_S".into(), 0.62), ("B.0".into(), 0.006), ("B.1".into(), 1000.5)]);
        let text = "pub(super) const C: (f64, f64) = (1e-3, 4f64);\nconst D: Range<f64> = 0.4..1.6;\n";
        let names = ["C.0", "C.1", "D.0", "D.1"].map(str::to_owned);
        assert_eq!(found(text), names.into_iter().zip([1e-3, 4.0, 0.4, 1.6]).collect::<Vec<_>>());
    }

    #[test]
    fn what_is_no_float_constant_is_left_out() {
        let text = "const N: usize = 8;\nlet x = 0.5;\nconst fn f() -> f64 { 0.3 }\nconst Z: f64 = 0.0;\nconst A: f64 = B;\n";
        assert_eq!(found(text), []);
        let tests =
            in_text("src/signal/runs/x.rs", "const A: f64 = 0.3;\nconst B: f64 = 0.4;\n", |line| line == 2);
        assert_eq!(tests.len(), 1);
    }

    #[test]
    fn a_place_is_where_the_literal_stands_also_behind_other_letters() {
        let text = "// µs, é\nconst A: f64 = 0.62;\n";
        let constant = &in_text("src/signal/runs/x.rs", text, |_| false)[0];
        assert_eq!(&text[constant.place.clone()], "0.62");
        assert!(constant.is_named("A") && constant.is_named("x.rs:A") && !constant.is_named("y.rs:A"));
    }

    #[test]
    fn the_real_room_has_many() {
        let all = all(&crate::tree::root()).unwrap();
        assert!(all.len() > 100, "{} literals", all.len());
        assert!(all.iter().any(|c| c.label() == "FAINT_REACH.1" && c.file() == "starts.rs"));
    }
}
