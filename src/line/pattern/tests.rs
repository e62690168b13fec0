use proptest::prelude::*;

use super::*;

fn read(pattern: &str, line: &str) -> Result<Vec<f64>, LineError> {
    Pattern::parse(pattern).unwrap().read(line)
}

#[test]
fn reads_what_looks_so() {
    let both = "BX={brix} T={temp} *";
    for line in [
        "BX=4.25 T=21.0 OK",
        "BX=  4.25   T= 21.0",
        "  BX=4.25\tT=21.0\t\tSENSOR 7 GOOD ",
        "BX=+4.25 T=2.1e1 ",
    ] {
        assert_eq!(read(both, line), Ok(vec![4.25, 21.0]), "{line}");
    }
    assert_eq!(read("{a},{b};{c}", "1,-2; 3."), Ok(vec![1.0, -2.0, 3.0]));
    assert_eq!(read("{a} {b}", "1 -2"), Ok(vec![1.0, -2.0]));
    assert_eq!(read("{{\"bx\":{a}}}", "{\"bx\": 4.2}"), Ok(vec![4.2]));
    assert_eq!(read("** {a} **", "* 5 *"), Ok(vec![5.0]));
    assert_eq!(read("T={t} °C", "T=5 C"), Ok(vec![5.0]));
}

#[test]
fn anything_ends_where_what_follows_stands() {
    assert_eq!(read("* T={t}", "DT=5 T=4"), Ok(vec![4.0]));
    assert_eq!(read("*T={t} *", "DT=5 T=4"), Ok(vec![5.0]));
    assert_eq!(read("A={a} * T={t}", "A=1 T=4"), Ok(vec![1.0, 4.0]));
    assert_eq!(read("A={a} * T={t}", "A=1 x y T=4"), Ok(vec![1.0, 4.0]));
    assert_eq!(read("* * T={t}", "T=4"), Ok(vec![4.0]));
}

#[test]
fn what_looks_otherwise_is_told() {
    let text = |wanted: &str, found: &str| {
        Err(LineError::Text {
            wanted: wanted.to_owned(),
            found: found.to_owned(),
        })
    };
    let both = "BX={brix} T={temp}";
    assert_eq!(
        read(both, "BRIX=4.25 T=21.0"),
        text("BX=", "BRIX=4.25 T=21.0")
    );
    assert_eq!(read(both, "BX=4.25T=21.0"), text(" ", "T=21.0"));
    assert_eq!(read(both, "BX=4,25 T=21.0"), text(" ", ",25 T=21.0"));
    assert_eq!(read("* T={t}", "DT=5"), text("T=", "DT=5"));
    // Another channel of the same instrument is not taken for this one.
    assert_eq!(read("CH1 {a} *", "CH12 5 x"), text(" ", "2 5 x"));
    let number = LineError::Number {
        field: "temp".to_owned(),
        found: "----".to_owned(),
    };
    assert_eq!(read(both, "BX=4.25 T=----"), Err(number));
    let on = LineError::GoesOn(" OK".to_owned());
    assert_eq!(read(both, "BX=4.25 T=21.0 OK"), Err(on));
    assert!(read(both, "").is_err());
}

#[test]
fn what_could_be_read_in_two_ways_is_no_pattern() {
    for text in [
        "{a}{b}", "{a}5", "{a}.", "{a}e", "{a}*", "*{a}", "* {a}", "5{a}", "5.{a}",
    ] {
        let ambiguous = matches!(Pattern::parse(text), Err(PatternError::Ambiguous(_)));
        assert!(ambiguous, "{text}");
    }
    for text in ["{a} {b}", "{a} 5", "{a} *", "* x{a}", "5 {a}", "-{a}"] {
        assert!(Pattern::parse(text).is_ok(), "{text}");
    }
}

#[test]
fn mistakes_in_a_pattern_are_told() {
    let told = |text: &str| Pattern::parse(text).unwrap_err();
    assert_eq!(told("BX="), PatternError::NoField);
    assert_eq!(told("{a"), PatternError::Brace);
    assert_eq!(told("a}"), PatternError::Brace);
    assert_eq!(told("{}"), PatternError::Name(String::new()));
    assert_eq!(told("{a b}"), PatternError::Name("a b".to_owned()));
    assert_eq!(told("{a} {a}"), PatternError::Twice("a".to_owned()));
    assert_eq!(told(&"x".repeat(257)), PatternError::TooLong(257));
    assert!(
        told("{a").to_string().contains("write {name}"),
        "{}",
        told("{a")
    );
}

/// A line as an instrument would write it, with something for each "*".
fn written(pattern: &Pattern, numbers: &[f64], anything: &str) -> String {
    let mut numbers = numbers.iter();
    let tokens = pattern.tokens.iter().map(|token| match token {
        Token::Word(word) => word.clone(),
        Token::Field => numbers.next().unwrap().to_string(),
        Token::Blank => "  ".to_owned(),
        Token::Any => format!(" {anything} "),
    });
    tokens.collect()
}

/// Texts that often are patterns.
fn any_pattern() -> impl Strategy<Value = String> {
    let piece = prop_oneof![
        3 => Just("{}".to_owned()),
        2 => Just(" ".to_owned()),
        1 => Just(" * ".to_owned()),
        3 => "[A-Z=:;,#$%/-]{1,3}",
        1 => "[0-9.e]",
        1 => prop::sample::select(vec!["{{", "}}", "**", "°"]).prop_map(str::to_owned),
    ];
    prop::collection::vec(piece, 1..12).prop_map(|pieces| {
        let named = pieces
            .iter()
            .enumerate()
            .map(|(nth, piece)| match piece.as_str() {
                "{}" => format!("{{f{nth}}}"),
                other => other.to_owned(),
            });
        named.collect()
    })
}

proptest! {
    #[test]
    fn what_a_pattern_writes_it_reads(
        text in any_pattern(),
        numbers in prop::collection::vec(-1e6..1e6_f64, 12),
        anything in "[q-z]{0,8}",
    ) {
        if let Ok(pattern) = Pattern::parse(&text) {
            let numbers = &numbers[..pattern.fields().len()];
            let line = written(&pattern, numbers, &anything);
            prop_assert_eq!(pattern.read(&line), Ok(numbers.to_vec()), "{}", line);
        }
    }

    #[test]
    fn no_text_panics(text: String, line: String, pattern in any_pattern()) {
        let _ = Pattern::parse(&text);
        if let Ok(pattern) = Pattern::parse(&pattern) {
            let _ = pattern.read(&line);
        }
    }
}
