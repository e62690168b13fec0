//! A line taken apart into text, numbers and what looks like a number and is
//! none.

/// A part of a line.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Token {
    /// Text without white space.
    Word(String),
    /// A number with a decimal point or none.
    Number {
        /// As it stands there.
        text: String,
        /// Whether white space stands before it.
        after_blank: bool,
    },
    /// Digits that are no number that could be read: a date, a time, a number
    /// with a decimal comma.
    Wild,
    /// White space, but that before a number.
    Blank,
}

/// Takes a line of ASCII apart.
pub(super) fn tokens(line: &str) -> Vec<Token> {
    let line = line.trim_ascii();
    let mut tokens = Vec::new();
    let mut at = 0;
    while let Some(next) = line[at..].chars().next() {
        let len = match next {
            blank if blank.is_ascii_whitespace() => {
                tokens.push(Token::Blank);
                let rest = line[at..].trim_ascii_start();
                line.len() - at - rest.len()
            }
            _ => match digits(line, at) {
                Some((token, len)) => {
                    push(&mut tokens, token);
                    len
                }
                None => {
                    word(&mut tokens, next);
                    next.len_utf8()
                }
            },
        };
        at += len;
    }
    tokens
}

/// The values of the numbers among tokens.
pub(super) fn numbers(tokens: &[Token]) -> Vec<f64> {
    let text = |token: &Token| match token {
        Token::Number { text, .. } => text.parse().ok(),
        _ => None,
    };
    tokens.iter().filter_map(text).collect()
}

fn word(tokens: &mut Vec<Token>, next: char) {
    match tokens.last_mut() {
        Some(Token::Word(word)) => word.push(next),
        _ => tokens.push(Token::Word(next.into())),
    }
}

/// White space before a number belongs to it.
fn push(tokens: &mut Vec<Token>, mut token: Token) {
    if let Token::Number { after_blank, .. } = &mut token
        && tokens.last() == Some(&Token::Blank)
    {
        tokens.pop();
        *after_blank = true;
    }
    tokens.push(token);
}

/// What begins at `at` with a digit, or a sign or point before one; `None` where
/// it is part of a word, as in `CH1`.
fn digits(line: &str, at: usize) -> Option<(Token, usize)> {
    let rest = &line[at..];
    let unsigned = rest.trim_start_matches(['+', '-']);
    let is_begun = rest.len() - unsigned.len() <= 1
        && unsigned
            .trim_start_matches('.')
            .starts_with(|c: char| c.is_ascii_digit());
    let before = line[..at].chars().next_back();
    let in_word = before.is_some_and(|c| c.is_ascii_digit() || c == '.' || c == '_');
    if !is_begun || in_word {
        return None;
    }
    let run = &rest[..run(rest)];
    let behind = &rest[run.len()..];
    let number = number(run);
    // Right behind a letter only a number with a point is one: CH1 is a name.
    if before.is_some_and(|c| c.is_ascii_alphabetic()) && !run.contains('.') {
        return None;
    }
    // The pattern of a line knows no e behind a number, since it could belong
    // to it.
    match number.filter(|_| !behind.starts_with(['e', 'E', '.'])) {
        Some(text) => Some((
            Token::Number {
                text: text.to_owned(),
                after_blank: false,
            },
            text.len(),
        )),
        None => {
            let alphanumeric = |c: char| !c.is_ascii_alphanumeric();
            let more = behind.find(alphanumeric).unwrap_or(behind.len());
            Some((Token::Wild, run.len() + more))
        }
    }
}

/// How long the digits go on, with what stands between two of them in numbers,
/// dates and times.
fn run(text: &str) -> usize {
    let bytes = text.as_bytes();
    let is_digit = |at: usize| bytes.get(at).is_some_and(u8::is_ascii_digit);
    let mut at = usize::from(text.starts_with(['+', '-']));
    loop {
        let goes_on = match bytes.get(at) {
            Some(b'0'..=b'9' | b'.') => true,
            Some(b',' | b'-' | b'/' | b'+') => at > 0 && is_digit(at - 1) && is_digit(at + 1),
            Some(b':') => {
                at > 1
                    && is_digit(at - 2)
                    && is_digit(at - 1)
                    && is_digit(at + 1)
                    && is_digit(at + 2)
            }
            Some(b'e' | b'E') => {
                let sign = usize::from(matches!(bytes.get(at + 1), Some(b'+' | b'-')));
                is_digit(at + 1 + sign)
            }
            _ => false,
        };
        if !goes_on {
            return at;
        }
        let is_exponent = matches!(bytes[at], b'e' | b'E');
        at += 1 + usize::from(is_exponent && matches!(bytes.get(at + 1), Some(b'+' | b'-')));
    }
}

/// The number that a run is, or begins with where a comma parts numbers with
/// points.
fn number(run: &str) -> Option<&str> {
    let is_number = |text: &str| text.parse().is_ok_and(f64::is_finite);
    if is_number(run) {
        return Some(run);
    }
    let mut parts = run.split(',');
    let first = parts.next()?;
    let all = run.contains(',') && run.contains('.') && run.split(',').all(is_number);
    all.then_some(first)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn shown(line: &str) -> String {
        let each = tokens(line).into_iter().map(|token| match token {
            Token::Word(word) => word,
            Token::Number { text, after_blank } => {
                format!("{}<{text}>", if after_blank { "_" } else { "" })
            }
            Token::Wild => "?".to_owned(),
            Token::Blank => "_".to_owned(),
        });
        each.collect()
    }

    #[test]
    fn numbers_are_told_from_what_looks_like_them() {
        for (line, parts) in [
            ("BX=  7.42 T=24.1 OK", "BX=_<7.42>_T=<24.1>_OK"),
            (" 7.42 ", "<7.42>"),
            ("CH1=4.2 T-4.5C", "CH1=<4.2>_T<-4.5>C"),
            ("2026-03-02 06:10:00 7.4", "?_?_<7.4>"),
            ("BX=7,42", "BX=?"),
            ("7.42,24.1", "<7.42>,<24.1>"),
            ("1:7.42", "<1>:<7.42>"),
            ("4.2e3 5E", "<4.2e3>_?"),
            ("v1.2.3", "v?"),
            ("+7.42+24.1", "?"),
            ("--", "--"),
        ] {
            assert_eq!(shown(line), parts, "{line}");
        }
    }

    proptest! {
        #[test]
        fn no_text_panics(line in "[ -~\t]{0,60}") {
            numbers(&tokens(&line));
        }
    }
}
