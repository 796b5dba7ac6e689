//! The frame of a report: head, style, escaped text, tables.
//!
//! Light and dark follow the reader's system; on paper it is black on white. Must not know what is reported.

use std::fmt::Write;

/// Colours by Okabe and Ito (Color Universal Design, 2008), which people with colour blindness can tell apart:
/// blue and vermilion, lighter on a dark ground.
const STYLE: &str = "
:root{--ground:#fff;--ink:#1a1a1a;--faint:#595959;--line:#c8c8c8;--first:#0072b2;--second:#d55e00}
@media (prefers-color-scheme:dark){:root{--ground:#16181a;--ink:#ececec;--faint:#b0b0b0;--line:#4a4d50;--first:#56b4e9;--second:#e69f00}}
@media print{:root{--ground:#fff;--ink:#000;--faint:#333;--line:#999;--first:#0072b2;--second:#d55e00}}
@page{margin:18mm}
body{background:var(--ground);color:var(--ink);font:15px/1.45 system-ui,sans-serif;margin:0}
main{max-width:52rem;margin:2rem auto;padding:0 1rem}
h1{font-size:1.6rem;line-height:1.2} h2{font-size:1.1rem;margin:1.8rem 0 .5rem;border-bottom:1px solid var(--line)}
.wide{overflow-x:auto}
table{border-collapse:collapse;width:100%;font-variant-numeric:tabular-nums}
th,td{padding:.25rem .6rem;text-align:right;border-bottom:1px solid var(--line);vertical-align:top}
th:first-child,td:first-child,.words,.facts th,.facts td{text-align:left} .facts th{width:16rem;font-weight:600}
td{white-space:nowrap} td.long,.facts td{white-space:normal} .facts td{overflow-wrap:anywhere}
caption{text-align:left;color:var(--faint);padding:.3rem 0}
svg{width:100%;height:auto;color:var(--ink)} figure{margin:1rem 0} figcaption{color:var(--faint)}
.note{border-left:4px solid var(--second);padding:.2rem .8rem;margin:1rem 0}
@media print{main{max-width:none;margin:0;padding:0} figure,tr,.facts{break-inside:avoid} h2{break-after:avoid}
 .wide{overflow:visible} table{font-size:8.5pt} th,td{padding:.2rem .35rem}}
";

/// Characters of a cell that is not broken into lines, so that a run takes one.
const SHORT: usize = 28;

/// A document being written.
pub struct Document {
    text: String,
}

/// Text as it may stand between tags and in attributes.
#[must_use]
pub fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

/// Whether a cell holds a figure, or stands for one that is not there.
fn is_figure(cell: &str) -> bool {
    cell.is_empty()
        || cell.starts_with(|c: char| c.is_ascii_digit() || "–-+<".contains(c)) && !cell.contains(['T', ':'])
}

impl Document {
    /// Begins with the title.
    #[must_use]
    pub fn new(title: &str) -> Self {
        let title = escaped(title);
        Self {
            text: format!(
                "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
                 <meta name=\"viewport\" content=\"width=device-width\">\n<title>{title}</title>\n\
                 <style>{STYLE}</style>\n</head>\n<body>\n<main>\n<h1>{title}</h1>\n"
            ),
        }
    }

    /// A part with its heading; `fill` writes what stands in it.
    pub fn section(&mut self, heading: &str, fill: impl FnOnce(&mut Self)) {
        self.raw(&format!("<section>\n<h2>{}</h2>\n", escaped(heading)));
        fill(self);
        self.raw("</section>\n");
    }

    /// A paragraph.
    pub fn paragraph(&mut self, text: &str) {
        self.raw(&format!("<p>{}</p>\n", escaped(text)));
    }

    /// A paragraph that must not be passed over.
    pub fn note(&mut self, text: &str) {
        self.raw(&format!("<p class=\"note\">{}</p>\n", escaped(text)));
    }

    /// What is what, two columns.
    pub fn facts(&mut self, facts: &[(&str, String)]) {
        self.raw("<table class=\"facts\">\n");
        for (what, said) in facts {
            let (what, said) = (escaped(what), escaped(said));
            self.raw(&format!("<tr><th scope=\"row\">{what}</th><td>{said}</td></tr>\n"));
        }
        self.raw("</table>\n");
    }

    /// A table with a header line.
    pub fn table(&mut self, caption: &str, header: &[&str], rows: &[Vec<String>]) {
        self.raw(&format!(
            "<div class=\"wide\"><table>\n<caption>{}</caption>\n<thead><tr>",
            escaped(caption)
        ));
        let of_words =
            |column: usize| !rows.iter().all(|row| row.get(column).is_none_or(|cell| is_figure(cell)));
        let is_long = |column: usize| {
            rows.iter().any(|row| row.get(column).is_some_and(|cell| cell.chars().count() > SHORT))
        };
        // The first column is to the left anyway.
        let class = |column: usize| match (column > 0 && of_words(column), is_long(column)) {
            (true, true) => " class=\"words long\"",
            (true, false) => " class=\"words\"",
            (false, true) => " class=\"long\"",
            (false, false) => "",
        };
        let classes: Vec<&str> = (0..header.len()).map(class).collect();
        for (name, class) in header.iter().zip(&classes) {
            self.raw(&format!("<th scope=\"col\"{class}>{}</th>", escaped(name)));
        }
        self.raw("</tr></thead>\n<tbody>\n");
        for row in rows {
            self.raw("<tr>");
            for (at, cell) in row.iter().enumerate() {
                let class = classes.get(at).copied().unwrap_or_default();
                self.raw(&format!("<td{class}>{}</td>", escaped(cell)));
            }
            self.raw("</tr>\n");
        }
        self.raw("</tbody></table></div>\n");
    }

    /// A drawing with what it shows in words.
    pub fn figure(&mut self, svg: &str, caption: &str) {
        self.raw(&format!("<figure>\n{svg}<figcaption>{}</figcaption>\n</figure>\n", escaped(caption)));
    }

    /// The whole text.
    #[must_use]
    pub fn finish(mut self) -> String {
        self.raw("</main>\n</body>\n</html>\n");
        self.text
    }

    fn raw(&mut self, html: &str) {
        // Writing to a String never fails.
        let _ = self.text.write_str(html);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whatever_stands_in_a_text_stays_text() {
        let mut document = Document::new("<script>alert(1)</script>");
        document.section("a & b", |d| {
            d.facts(&[("who", "\"><img src=x onerror=y>".to_owned())]);
            d.table("t", &["<b>"], &[vec!["'\u{7}'".to_owned()]]);
        });
        let text = document.finish();
        assert!(!text.contains("<script") && !text.contains("<img") && !text.contains("<b>"), "{text}");
        assert!(text.contains("a &amp; b") && text.contains("&#39; &#39;"));
        assert!(!text.contains("http"), "no outside address");
    }
}
