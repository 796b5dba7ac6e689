//! The encoder against a parser of its own, written from the reference's grammar, and against the examples
//! printed there: InfluxDB OSS v2 documentation, "Line protocol reference".
//!
//! The parser below shares nothing with the encoder; it reads byte by byte and knows only the reference.

use super::*;
use proptest::prelude::*;

/// What the parser reads: measurement, tags, fields, time.
type Parsed = (String, Vec<(String, String)>, Vec<(String, Value)>, i64);

/// Reads exactly one line.
struct Parser<'a> {
    rest: std::iter::Peekable<std::str::Chars<'a>>,
}

impl Parser<'_> {
    fn parse(line: &str) -> Result<Parsed, String> {
        let body = line.strip_suffix('\n').ok_or("no newline at the end")?;
        if body.contains('\n') || body.starts_with('#') {
            return Err("more than one line, or a comment".into());
        }
        let mut parser = Parser { rest: body.chars().peekable() };
        let measurement = parser.word(&[',', ' '])?;
        let mut tags = Vec::new();
        while parser.took(',') {
            let key = parser.word(&[',', '=', ' '])?;
            parser.take('=')?;
            tags.push((key, parser.word(&[',', '=', ' '])?));
        }
        parser.take(' ')?;
        let mut fields = Vec::new();
        loop {
            let key = parser.word(&[',', '=', ' '])?;
            parser.take('=')?;
            fields.push((key, parser.value()?));
            if !parser.took(',') {
                break;
            }
        }
        parser.take(' ')?;
        let time: String = parser.rest.collect();
        Ok((measurement, tags, fields, time.parse().map_err(|_| format!("no time: '{time}'"))?))
    }

    fn took(&mut self, c: char) -> bool {
        self.rest.next_if_eq(&c).is_some()
    }

    fn take(&mut self, c: char) -> Result<(), String> {
        if self.took(c) { Ok(()) } else { Err(format!("expected '{c}', found {:?}", self.rest.peek())) }
    }

    /// Up to one of `ends`; a backslash takes the special meaning from it and from a backslash.
    fn word(&mut self, ends: &[char]) -> Result<String, String> {
        let mut word = String::new();
        while let Some(c) = self.rest.next_if(|c| !ends.contains(c)) {
            let next = self.rest.peek().copied();
            match next {
                Some(n) if c == '\\' && (n == '\\' || ends.contains(&n)) => {
                    word.push(n);
                    self.rest.next();
                }
                _ => word.push(c),
            }
        }
        if word.is_empty() { Err("an empty word".into()) } else { Ok(word) }
    }

    fn value(&mut self) -> Result<Value, String> {
        if self.took('"') {
            let mut text = String::new();
            loop {
                match self.rest.next().ok_or("no end of a string")? {
                    '"' => return Ok(Value::Text(text)),
                    '\\' => match self.rest.next().ok_or("no end of a string")? {
                        c @ ('"' | '\\') => text.push(c),
                        c => text.extend(['\\', c]),
                    },
                    c => text.push(c),
                }
            }
        }
        let mut word = String::new();
        while let Some(c) = self.rest.next_if(|c| !matches!(c, ',' | ' ')) {
            word.push(c);
        }
        match word.as_str() {
            "t" | "T" | "true" | "True" | "TRUE" => return Ok(Value::Boolean(true)),
            "f" | "F" | "false" | "False" | "FALSE" => return Ok(Value::Boolean(false)),
            _ => {}
        }
        if let Some(digits) = word.strip_suffix('i') {
            return digits.parse().map(Value::Integer).map_err(|_| format!("no integer: '{word}'"));
        }
        let digits = word.chars().all(|c| c.is_ascii_digit() || "+-.eE".contains(c));
        match word.parse() {
            Ok(number) if digits => Ok(Value::Float(number)),
            _ => Err(format!("no float: '{word}'")),
        }
    }
}

fn text(t: &str) -> Option<Value> {
    Some(Value::Text(t.into()))
}

#[test]
fn the_examples_of_the_reference_come_out_as_printed() {
    let t = 1_556_813_561_098_000_000;
    let printed = [
        // "Elements of line protocol".
        (
            Point::new("myMeasurement", 1_556_813_561_098_000_000)
                .tag("tag1", Some("value1"))
                .tag("tag2", Some("value2"))
                .field("fieldKey", text("fieldValue")),
            "myMeasurement,tag1=value1,tag2=value2 fieldKey=\"fieldValue\" 1556813561098000000\n",
        ),
        // "Data types": float, integer, string, boolean; the times are ours where the page has none.
        (
            Point::new("myMeasurement", t).float("fieldKey", Some(1.0)),
            "myMeasurement fieldKey=1.0 1556813561098000000\n",
        ),
        (
            Point::new("myMeasurement", t).float("fieldKey", Some(-1.234_456e78)),
            "myMeasurement fieldKey=-1.234456e78 1556813561098000000\n",
        ),
        (
            Point::new("myMeasurement", t).integer("fieldKey", Some(12_485_903)),
            "myMeasurement fieldKey=12485903i 1556813561098000000\n",
        ),
        (
            Point::new("myMeasurement", t).field("fieldKey", text("this is a string")),
            "myMeasurement fieldKey=\"this is a string\" 1556813561098000000\n",
        ),
        (
            Point::new("myMeasurement", t).field("fieldKey", Some(Value::Boolean(true))),
            "myMeasurement fieldKey=true 1556813561098000000\n",
        ),
        // "Examples of special characters in line protocol".
        (
            Point::new("my Measurement", t).field("fieldKey", text("string value")),
            "my\\ Measurement fieldKey=\"string value\" 1556813561098000000\n",
        ),
        (
            Point::new("myMeasurement", t).field("fieldKey", text("\"string\" within a string")),
            "myMeasurement fieldKey=\"\\\"string\\\" within a string\" 1556813561098000000\n",
        ),
        (
            Point::new("myMeasurement", t)
                .tag("tag Key1", Some("tag Value1"))
                .tag("tag Key2", Some("tag Value2"))
                .float("fieldKey", Some(100.0)),
            "myMeasurement,tag\\ Key1=tag\\ Value1,tag\\ Key2=tag\\ Value2 fieldKey=100.0 1556813561098000000\n",
        ),
        (
            Point::new("myMeasurement", t).tag("tagKey", Some("🍭")).field("fieldKey", text("Launch 🚀")),
            "myMeasurement,tagKey=🍭 fieldKey=\"Launch 🚀\" 1556813561098000000\n",
        ),
    ];
    for (point, line) in printed {
        assert_eq!(point.line().unwrap(), line);
    }
}

#[test]
fn a_backslash_never_swallows_what_separates_it_from_the_next_part() {
    let point =
        Point::new("m\\", 1).tag("k\\", Some("v\\")).tag("l", Some("\\,=\\ ")).field("f\\", text("\\\"\\"));
    let line = point.line().unwrap();
    assert_eq!(line, "m\\\\,k\\\\=v\\\\,l=\\\\\\,\\=\\\\\\  f\\\\=\"\\\\\\\"\\\\\" 1\n");
    let (measurement, tags, fields, _) = Parser::parse(&line).unwrap();
    assert_eq!(measurement, "m\\");
    assert_eq!(tags, [("k\\".to_owned(), "v\\".to_owned()), ("l".to_owned(), "\\,=\\ ".to_owned())]);
    assert_eq!(fields, [("f\\".to_owned(), Value::Text("\\\"\\".into()))]);
}

#[test]
fn numbers_at_their_ends_read_back_in_every_bit() {
    for number in
        [f64::MAX, f64::MIN, f64::MIN_POSITIVE, 5e-324, -0.0, 0.1, 1e15, 1e16, 1.0 / 3.0, 2f64.powi(53) + 2.0]
    {
        let line = Point::new("m", 0).float("f", Some(number)).line().unwrap();
        match &Parser::parse(&line).unwrap().2[0].1 {
            Value::Float(back) => assert_eq!(back.to_bits(), number.to_bits(), "{line}"),
            other => panic!("expected a float, found {other:?} in {line}"),
        }
    }
    for number in [i64::MIN, -1, 0, i64::MAX] {
        let line = Point::new("m", 0).integer("f", Some(number)).line().unwrap();
        assert_eq!(Parser::parse(&line).unwrap().2[0].1, Value::Integer(number));
    }
}

#[test]
fn what_servers_would_take_for_something_else_is_refused_and_leaves_nothing_behind() {
    let good = || Point::new("m", 0).tag("k", Some("v")).float("f", Some(1.0));
    let long = "x".repeat(NAME_BYTES_MAX + 1);
    let mut bad: Vec<Point> = Vec::new();
    for number in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        bad.push(good().float("g", Some(number)));
    }
    for name in ["", "a\nb", "a\rb", "a\0", "\u{7f}", "\u{85}", "_a", &long] {
        bad.push(Point { measurement: name.into(), ..good() });
        bad.push(good().tag(name, Some("v")));
        bad.push(good().float(name, Some(1.0)));
        if name != "_a" {
            bad.push(good().tag("l", Some(name)));
        }
    }
    for name in ["a\nb", "\u{1b}[31m", &"x".repeat(TEXT_BYTES_MAX + 1)] {
        bad.push(good().field("g", text(name)));
    }
    bad.push(Point::new("#m", 0).float("f", Some(1.0)));
    bad.push(Point::new("m", 0));
    bad.push(good().tag("k", Some("w")));
    bad.push(good().float("f", Some(2.0)));
    bad.push(good().tag("time", Some("now")));
    bad.push(good().float("time", Some(2.0)));
    bad.push(Point { time_ns: i64::MIN, ..good() });
    bad.push(Point { time_ns: i64::MAX, ..good() });
    for point in bad {
        let mut out = String::from("before\n");
        let error = point.write_to(&mut out).unwrap_err();
        assert_eq!(out, "before\n", "{error}");
        assert!(!error.to_string().contains('\n'), "{error:?}");
    }
    assert_eq!(
        good().tag("l", Some("a\nb")).line().unwrap_err().to_string(),
        "cannot write the tag value 'a\\nb': expected no control character"
    );
}

fn any_text() -> impl Strategy<Value = String> {
    // Half of it made of what has a meaning somewhere, so that sequences of it are common.
    prop_oneof![
        proptest::collection::vec(
            proptest::sample::select(vec!['\\', ',', '=', ' ', '"', '#', 'i', '1', '\n', 'ä']),
            0..8
        )
        .prop_map(|chars| chars.into_iter().collect()),
        proptest::collection::vec(any::<char>(), 0..8).prop_map(|chars| chars.into_iter().collect()),
    ]
}

fn any_value() -> impl Strategy<Value = Value> {
    prop_oneof![
        any::<u64>().prop_map(|bits| Value::Float(f64::from_bits(bits))),
        any::<i64>().prop_map(Value::Integer),
        any::<bool>().prop_map(Value::Boolean),
        any_text().prop_map(Value::Text),
    ]
}

fn any_point() -> impl Strategy<Value = Point> {
    let tags = proptest::collection::vec((any_text(), any_text()), 0..4);
    let fields = proptest::collection::vec((any_text(), any_value()), 0..4);
    (any_text(), tags, fields, any::<i64>()).prop_map(|(measurement, tags, fields, time_ns)| Point {
        measurement,
        tags,
        fields,
        time_ns,
    })
}

/// Whether the reference and the head of `line.rs` let the point through.
fn allowed(point: &Point) -> bool {
    let plain = |t: &str| !t.is_empty() && !t.chars().any(char::is_control);
    let name = |t: &str| plain(t) && !t.starts_with('_');
    let mut tag_keys: Vec<&str> = point.tags.iter().map(|(k, _)| k.as_str()).collect();
    let mut field_keys: Vec<&str> = point.fields.iter().map(|(k, _)| k.as_str()).collect();
    let once = |keys: &mut Vec<&str>| {
        let all = keys.len();
        keys.sort_unstable();
        keys.dedup();
        keys.len() == all
    };
    name(&point.measurement)
        && !point.measurement.starts_with('#')
        && point.tags.iter().all(|(k, v)| name(k) && plain(v))
        && !point.fields.is_empty()
        && point.fields.iter().all(|(k, v)| {
            name(k)
                && match v {
                    Value::Float(number) => number.is_finite(),
                    Value::Text(t) => !t.chars().any(char::is_control),
                    Value::Integer(_) | Value::Boolean(_) => true,
                }
        })
        && once(&mut tag_keys)
        && once(&mut field_keys)
        && point.time_ns > i64::MIN + 1
        && point.time_ns < i64::MAX
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 100_000, ..ProptestConfig::default() })]
    #[test]
    fn every_point_reads_back_as_it_was_or_is_refused(point in any_point()) {
        match point.line() {
            Ok(line) => {
                prop_assert!(allowed(&point), "written, but to be refused: {line}");
                let (measurement, tags, fields, time_ns) = Parser::parse(&line).map_err(TestCaseError::fail)?;
                let mut sorted = point.tags.clone();
                sorted.sort();
                prop_assert_eq!(measurement, point.measurement);
                prop_assert_eq!(tags, sorted);
                // Floats bit by bit, so that -0.0 is not 0.0.
                prop_assert_eq!(format!("{fields:?}"), format!("{:?}", point.fields));
                prop_assert_eq!(time_ns, point.time_ns);
            }
            Err(error) => prop_assert!(!allowed(&point), "refused, but allowed: {error}"),
        }
    }
}
