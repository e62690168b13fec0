//! How lines look: a pattern or columns that read them, found by trying.

use super::tokens::{Token, numbers, tokens};
use crate::line::{Columns, LineFormat, Pattern, Place, Shape};
use crate::survey::guess;

/// Delimiters that leave no doubt, then the comma, which may be a decimal one.
const DELIMITERS: [char; 3] = [';', '\t', ','];

/// What reads most of the lines.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Found {
    /// How they look.
    pub(super) shape: Shape,
    /// The pattern as it is written, or the delimiter.
    pub(super) written: String,
    /// Its numbers, each with the name that it is to have.
    pub(super) places: Vec<(String, Place)>,
    /// How many of the lines it reads.
    pub(super) fits: usize,
}

/// What reads most of these lines, which are of ASCII.
pub(super) fn find(lines: &[String]) -> Option<Found> {
    by_delimiter(lines)
        .or_else(|| by_pattern(lines))
        .or_else(|| columns(lines, ' '))
}

/// Whether a line has a number with a decimal comma.
pub(super) fn has_decimal_comma(line: &str) -> bool {
    let digit = |text: &str, at: usize| text.as_bytes().get(at).is_some_and(u8::is_ascii_digit);
    let mut commas = line.match_indices(',');
    commas.any(|(at, _)| at > 0 && digit(line, at - 1) && digit(line, at + 1))
        && !line.contains('.')
}

fn by_delimiter(lines: &[String]) -> Option<Found> {
    let is_split = |delimiter: char| lines.iter().any(|line| line.contains(delimiter));
    let delimiter = DELIMITERS
        .into_iter()
        .find(|delimiter| is_split(*delimiter))?;
    if delimiter == ',' && lines.iter().any(|line| has_decimal_comma(line)) {
        let whole = |cell: &str| {
            cell.parse::<f64>().is_ok() || !cell.contains(|c: char| c.is_ascii_digit())
        };
        let plain = |line: &String| {
            line.split(',').count() > 2 && line.split(',').all(|cell| whole(cell.trim()))
        };
        if !lines.iter().all(plain) {
            return None;
        }
    }
    columns(lines, delimiter)
}

/// Columns, as most of the lines have them.
fn columns(lines: &[String], delimiter: char) -> Option<Found> {
    let columns = Columns {
        delimiter,
        header: 0,
    };
    let shape = Shape::Columns(columns);
    let count = |line: &String| {
        (1..)
            .take_while(|at| columns.cell(line, *at).is_some())
            .count()
    };
    let usual = most_common(lines.iter().map(count))?;
    let numbers_of = |line: &String| -> Vec<usize> {
        let values = LineFormat {
            checksum: None,
            shape: shape.clone(),
        };
        let is_number = |at: &usize| {
            values
                .values(line)
                .is_ok_and(|v| v.get(Place::Column(*at)).is_ok())
        };
        (1..=usual).filter(is_number).collect()
    };
    let alike = lines.iter().filter(|line| count(line) == usual);
    let numbers = most_common(alike.map(numbers_of).filter(|all| !all.is_empty()))?;
    if usual < 2 {
        return None;
    }
    let fits = |line: &&String| count(line) == usual && numbers_of(line) == numbers;
    let name = |at: &usize| (format!("column-{at}"), Place::Column(*at));
    Some(Found {
        fits: lines.iter().filter(fits).count(),
        shape: shape.clone(),
        written: delimiter.to_string(),
        places: numbers.iter().map(name).collect(),
    })
}

fn most_common<T: PartialEq>(all: impl Iterator<Item = T>) -> Option<T> {
    let mut counts: Vec<(T, usize)> = Vec::new();
    for one in all {
        match counts.iter_mut().find(|(known, _)| *known == one) {
            Some((_, count)) => *count += 1,
            None => counts.push((one, 1)),
        }
    }
    let most = counts.into_iter().rev().max_by_key(|(_, count)| *count);
    most.map(|(one, _)| one)
}

/// A pattern of all lines, or of those that look alike most often.
fn by_pattern(lines: &[String]) -> Option<Found> {
    let all: Vec<Vec<Token>> = lines.iter().map(|line| tokens(line)).collect();
    let (begun, whole) = shared(all.iter())?;
    let of_all = if whole {
        pattern(&begun, "")
    } else {
        beginning(begun)
    };
    let found = of_all.or_else(|| {
        let kind = most_common(all.iter().map(|line| kind(line)))?;
        let (alike, _) = shared(all.iter().filter(|line| self::kind(line) == kind))?;
        pattern(&alike, "")
    });
    let (pattern, written) = found?;
    let reads = |(line, tokens): &(&String, &Vec<Token>)| {
        let count = pattern.fields().len();
        let wanted = numbers(tokens);
        pattern
            .read(line)
            .is_ok_and(|read| wanted.get(..count) == Some(&read[..]))
    };
    let fits = lines.iter().zip(&all).filter(reads).count();
    let names = pattern.fields().iter().enumerate();
    let places = names
        .map(|(at, name)| (name.clone(), Place::Field(at)))
        .collect();
    (fits > 0).then_some(Found {
        shape: Shape::Pattern(pattern),
        written,
        places,
        fits,
    })
}

/// What makes lines alike: all but their numbers.
fn kind(tokens: &[Token]) -> Vec<Token> {
    let plain = |token: &Token| match token {
        Token::Number { .. } => Token::Number {
            text: String::new(),
            after_blank: false,
        },
        other => other.clone(),
    };
    tokens.iter().map(plain).collect()
}

/// What all lines begin with, and whether that is all of them.
fn shared<'a>(mut lines: impl Iterator<Item = &'a Vec<Token>>) -> Option<(Vec<Token>, bool)> {
    let mut begun = lines.next()?.clone();
    let mut whole = true;
    for line in lines {
        let (shared, is_all) = shared_by_two(&begun, line);
        begun = shared;
        whole &= is_all;
    }
    Some((begun, whole))
}

fn shared_by_two(one: &[Token], other: &[Token]) -> (Vec<Token>, bool) {
    let mut shared = Vec::new();
    for (a, b) in one.iter().zip(other) {
        match (a, b) {
            (
                Token::Number { text, after_blank },
                Token::Number {
                    after_blank: also, ..
                },
            ) => shared.push(Token::Number {
                text: text.clone(),
                after_blank: *after_blank && *also,
            }),
            (a, b) if a == b => shared.push(a.clone()),
            (Token::Word(a), Token::Word(b)) => {
                let same = a.bytes().zip(b.bytes()).take_while(|(a, b)| a == b).count();
                if same > 0 {
                    shared.push(Token::Word(a[..same].to_owned()));
                }
                return (shared, false);
            }
            _ => return (shared, false),
        }
    }
    let is_all = one.len() == other.len();
    (shared, is_all)
}

/// A pattern of a beginning, whatever stands behind it.
fn beginning(mut begun: Vec<Token>) -> Option<(Pattern, String)> {
    while let Some(Token::Number { .. } | Token::Wild) = begun.last() {
        begun.pop();
    }
    pattern(&begun, "*")
}

/// The pattern that reads such lines, with this at its end; none where they have
/// no number, or could be read in two ways.
fn pattern(tokens: &[Token], end: &str) -> Option<(Pattern, String)> {
    let mut names = Names::of(tokens);
    let mut written = String::new();
    for (at, token) in tokens.iter().enumerate() {
        match token {
            Token::Word(word) => written.push_str(&escaped(word)),
            Token::Blank => written.push(' '),
            Token::Wild => written.push('*'),
            Token::Number { after_blank, .. } => {
                let blank = if *after_blank { " " } else { "" };
                written.push_str(&format!("{blank}{{{}}}", names.next(tokens, at)));
            }
        }
    }
    written.push_str(end);
    let pattern = Pattern::parse(&written).ok()?;
    Some((pattern, written))
}

fn escaped(word: &str) -> String {
    let mut escaped = String::new();
    for c in word.chars() {
        if matches!(c, '{' | '}' | '*') {
            escaped.push(c);
        }
        escaped.push(c);
    }
    escaped
}

/// Names for the numbers of a line: the words before them, or, where the first
/// one has none, those behind them.
struct Names {
    behind: bool,
    taken: Vec<String>,
}

/// The longest name that is made. Patterns know names of up to 32 characters.
const LONGEST_NAME: usize = 24;

impl Names {
    fn of(tokens: &[Token]) -> Self {
        let first = tokens
            .iter()
            .position(|token| matches!(token, Token::Number { .. }));
        Names {
            behind: first.is_some_and(|at| word_before(tokens, at).is_none()),
            taken: Vec::new(),
        }
    }

    fn next(&mut self, tokens: &[Token], at: usize) -> String {
        let word = if self.behind {
            word_behind(tokens, at)
        } else {
            word_before(tokens, at)
        };
        let plain = word.map_or_else(
            || format!("value-{}", self.taken.len() + 1),
            |word| {
                guess::settings_name(&word)
                    .chars()
                    .take(LONGEST_NAME)
                    .collect()
            },
        );
        let mut name = plain.clone();
        let mut count = 1;
        while self.taken.contains(&name) {
            count += 1;
            name = format!("{plain}-{count}");
        }
        self.taken.push(name.clone());
        name
    }
}

fn is_part_of_name(c: char) -> bool {
    c.is_ascii_alphanumeric() || c == '_' || c == '-'
}

fn has_letter(word: &str) -> bool {
    word.contains(|c: char| c.is_ascii_alphabetic())
}

/// The last word before the number at `at` and behind the one before it.
fn word_before(tokens: &[Token], at: usize) -> Option<String> {
    let text = tokens[..at].iter().rev().find_map(|token| match token {
        Token::Word(word) => Some(Some(word)),
        Token::Number { .. } | Token::Wild => Some(None),
        Token::Blank => None,
    })??;
    let text = text.trim_end_matches(|c: char| !c.is_ascii_alphanumeric());
    let name = text.rsplit(|c| !is_part_of_name(c)).next()?;
    has_letter(name).then(|| name.to_owned())
}

/// The first word behind the number at `at` and before the next.
fn word_behind(tokens: &[Token], at: usize) -> Option<String> {
    let text = tokens[at + 1..].iter().find_map(|token| match token {
        Token::Word(word) => Some(Some(word)),
        Token::Number { .. } | Token::Wild => Some(None),
        Token::Blank => None,
    })??;
    let text = text.trim_start_matches(|c: char| !c.is_ascii_alphanumeric());
    let name = text.split(|c| !is_part_of_name(c)).next()?;
    has_letter(name).then(|| name.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn found(lines: &[&str]) -> Option<(String, usize)> {
        let lines: Vec<String> = lines.iter().map(|line| (*line).to_owned()).collect();
        find(&lines).map(|found| (found.written, found.fits))
    }

    #[test]
    fn lines_and_what_reads_them() {
        for (lines, written) in [
            (&["BX=7.42 T=24.1", "BX= 17.42 T=24"][..], "BX={bx} T={t}"),
            (
                &["BX= 7.42 T=24.1 OK", "BX= 7.43 T=24.1 ERR 5"],
                "BX= {bx} T={t} *",
            ),
            (&["7.42 Bx 24.1 C", "7.43 Bx 24.2 C"], "{bx} Bx {c} C"),
            (&["7.42", "7.5"], "{value-1}"),
            (
                &["pH: 9.1", "pH: 9.2", "*** low battery", "pH: 9.1"],
                "pH: {ph}",
            ),
            (&["{a}*b=5;"], "{{a}}**b={b};"),
            (&["7.42;24.1;OK", "7.43;24.2;ERR"], ";"),
            (&["2026-03-02,06:10:00,7.4,24"], ","),
            (&["7,24,15", "8,25,16"], ","),
            (&["06:10:00 7.42 24.1", "06:10:01 7.43 24.1"], " "),
            (&["CH1 7.4*A3", "CH1 7.5*03"], "CH1 {ch1}***"),
        ] {
            let lines_count = lines.len() - usize::from(lines.iter().any(|l| l.starts_with("***")));
            assert_eq!(
                found(lines),
                Some((written.to_owned(), lines_count)),
                "{lines:?}"
            );
        }
    }

    #[test]
    fn a_decimal_comma_is_no_delimiter() {
        for lines in [
            &["7,42"][..],
            &["BX=7,42 T=24,1"],
            &["7,42;24,1"],
            &["hello"],
        ] {
            assert_eq!(found(lines), None, "{lines:?}");
        }
        assert!(has_decimal_comma("BX=7,42"));
        assert!(!has_decimal_comma("7.42,24.1"));
    }

    proptest! {
        /// Lines made of names and numbers are read as they were made.
        #[test]
        fn what_was_written_is_read(
            names in prop::collection::hash_set("[A-Z][A-Za-z]{0,5}", 1..5),
            rows in prop::collection::vec(prop::collection::vec(-999.0..999.0f64, 4), 1..6),
            equals in "(=|: |= {0,2})", tail in "( OK| %|)",
        ) {
            let names: Vec<String> = names.into_iter().collect();
            let line = |row: &Vec<f64>| {
                let each = names.iter().zip(row);
                let each: Vec<String> = each.map(|(n, v)| format!("{n}{equals}{v:.2}")).collect();
                each.join(" ") + &tail
            };
            let lines: Vec<String> = rows.iter().map(line).collect();
            let found = find(&lines).expect("it has numbers");
            prop_assert_eq!(found.fits, lines.len(), "{}", found.written);
            prop_assert_eq!(found.places.len(), names.len());
        }

        #[test]
        fn no_lines_panic(lines in prop::collection::vec("[ -~\t]{0,40}", 0..6)) {
            if let Some(found) = find(&lines) {
                prop_assert!(found.fits > 0 && !found.places.is_empty());
            }
        }
    }
}
