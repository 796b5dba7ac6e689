//! Rust text as words, strings and signs with their lines; comments and white space are left out.
//!
//! Knows the lexical rules of the Rust reference only as far as needed to never mistake a string, a
//! character or a comment for code. Numbers come out as words.

/// What stands there.
#[derive(Clone, Debug, PartialEq)]
pub enum Kind {
    /// An identifier, keyword, number or lifetime's name.
    Word(String),
    /// The inside of a string.
    Text(String),
    /// `::`
    PathSep,
    /// Any other sign.
    Sign(char),
}

/// A token.
#[derive(Clone, Debug)]
pub struct Token {
    /// What.
    pub kind: Kind,
    /// Line, from 1.
    pub line: usize,
}

impl Token {
    /// It is this sign.
    pub fn is_sign(&self, sign: char) -> bool {
        self.kind == Kind::Sign(sign)
    }

    /// The word, if it is one.
    pub fn word(&self) -> Option<&str> {
        match &self.kind {
            Kind::Word(word) => Some(word),
            _ => None,
        }
    }
}

/// Takes a text apart.
pub fn tokens(text: &str) -> Vec<Token> {
    let chars: Vec<char> = text.chars().collect();
    let mut lexer = Lexer { chars: &chars, at: 0, line: 1, out: Vec::new() };
    while lexer.at < chars.len() {
        lexer.step();
    }
    lexer.out
}

struct Lexer<'a> {
    chars: &'a [char],
    at: usize,
    line: usize,
    out: Vec<Token>,
}

fn is_word(c: char) -> bool {
    c.is_alphanumeric() || c == '_'
}

impl Lexer<'_> {
    fn peek(&self, ahead: usize) -> char {
        self.chars.get(self.at + ahead).copied().unwrap_or('\0')
    }

    /// Passes one character, counting lines.
    fn pass(&mut self) -> char {
        let c = self.peek(0);
        self.line += usize::from(c == '\n');
        self.at += 1;
        c
    }

    fn put(&mut self, kind: Kind, line: usize) {
        self.out.push(Token { kind, line });
    }

    fn step(&mut self) {
        let line = self.line;
        match (self.peek(0), self.peek(1)) {
            ('/', '/') => {
                while self.at < self.chars.len() && self.peek(0) != '\n' {
                    self.pass();
                }
            }
            ('/', '*') => self.block_comment(),
            ('"', _) => self.string(),
            ('\'', _) => self.quote(),
            (':', ':') => {
                self.at += 2;
                self.put(Kind::PathSep, line);
            }
            (c, _) if c.is_whitespace() => {
                self.pass();
            }
            (c, _) if is_word(c) => self.word(),
            (c, _) => {
                self.pass();
                self.put(Kind::Sign(c), line);
            }
        }
    }

    /// Block comments nest.
    fn block_comment(&mut self) {
        let mut depth = 0;
        while self.at < self.chars.len() {
            match (self.peek(0), self.peek(1)) {
                ('/', '*') => {
                    depth += 1;
                    self.at += 2;
                }
                ('*', '/') => {
                    depth -= 1;
                    self.at += 2;
                    if depth == 0 {
                        return;
                    }
                }
                _ => {
                    self.pass();
                }
            }
        }
    }

    fn string(&mut self) {
        let line = self.line;
        let mut inside = String::new();
        self.pass();
        while self.at < self.chars.len() && self.peek(0) != '"' {
            if self.peek(0) == '\\' {
                inside.push(self.pass());
            }
            inside.push(self.pass());
        }
        self.pass();
        self.put(Kind::Text(inside), line);
    }

    /// A character, or the tick before a lifetime or label.
    fn quote(&mut self) {
        self.pass();
        if self.peek(0) == '\\' {
            self.pass();
            self.pass();
            while self.at < self.chars.len() && self.peek(0) != '\'' {
                self.pass();
            }
            self.pass();
        } else if self.peek(1) == '\'' {
            self.pass();
            self.pass();
        }
    }

    /// A word, or the prefix of a string: `r"`, `r#"`, `b"`, `br#"`, `c"`, `b'`; `r#word` is a word.
    fn word(&mut self) {
        let (line, start) = (self.line, self.at);
        while is_word(self.peek(0)) {
            self.at += 1;
        }
        let word: String = self.chars[start..self.at].iter().collect();
        let hashes = (0..).take_while(|n| self.peek(*n) == '#').count();
        match (word.as_str(), self.peek(0), self.peek(hashes)) {
            ("r" | "br" | "cr", _, '"') => self.raw_string(hashes),
            ("b" | "c", '"', _) => self.string(),
            ("b", '\'', _) => self.quote(),
            ("r", '#', c) if hashes == 1 && is_word(c) => {
                self.at += 1;
                self.word();
            }
            _ => self.put(Kind::Word(word), line),
        }
    }

    fn raw_string(&mut self, hashes: usize) {
        let line = self.line;
        self.at += hashes + 1;
        let mut inside = String::new();
        while self.at < self.chars.len() {
            if self.peek(0) == '"' && (1..=hashes).all(|n| self.peek(n) == '#') {
                self.at += hashes + 1;
                break;
            }
            inside.push(self.pass());
        }
        self.put(Kind::Text(inside), line);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(text: &str) -> Vec<String> {
        tokens(text).iter().filter_map(|t| t.word().map(str::to_owned)).collect()
    }

    #[test]
    fn comments_strings_and_characters_are_no_words() {
        let text = r##"a /* b /* c */ d */ "e \" f" r#"g " h"# '"' i '\'' j b"k" b'"' l // m
n"##;
        assert_eq!(words(text), ["a", "i", "j", "l", "n"]);
    }

    #[test]
    fn lifetimes_and_raw_words_are_words() {
        assert_eq!(words("&'a str, r#type, 'x: loop"), ["a", "str", "type", "x", "loop"]);
    }

    #[test]
    fn lines_are_counted_through_strings_and_comments() {
        let found = tokens("\"one\ntwo\" /* \n */ a\n::b");
        assert_eq!(found.iter().map(|t| t.line).collect::<Vec<_>>(), [1, 3, 4, 4]);
    }
}
