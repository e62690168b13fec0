//! Patterns: how a line looks, with names where its numbers stand.
//!
//! | in the pattern | in the line |
//! | --- | --- |
//! | `{name}` | a decimal number; white space may stand before it |
//! | white space | any white space, at least some |
//! | `*` | anything, up to the first place where what follows in the pattern stands |
//! | `{{`, `}}`, `**` | one `{`, `}`, `*` |
//! | anything else | itself |
//!
//! The whole line must look so; at both of its ends white space is passed over.
//! Characters beyond ASCII are passed over in both. Example:
//! `BX={brix} T={temp} *` reads `BX=  4.25 T=21.0 OK`.
//!
//! What could be read in two ways is refused: two fields, or a field and `*`,
//! with nothing between them, a field right behind `*`, and digits or a point
//! right beside a field.

use super::format::{LineError, shown};
use super::number;

/// The longest pattern, characters. Choice: longer than any line's text needs.
const LONGEST: usize = 256;

/// The longest name of a field, characters.
const LONGEST_NAME: usize = 32;

/// A checked pattern.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pattern {
    tokens: Vec<Token>,
    fields: Vec<String>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
enum Token {
    /// Text as it stands; never empty.
    Word(String),
    /// A number; its name has the same place among the fields.
    Field,
    /// White space.
    Blank,
    /// Anything.
    Any,
}

/// Why a text is no pattern.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PatternError {
    /// Nothing to read.
    #[error("the pattern has no field; write {{name}} where a number stands, as in BX={{brix}}")]
    NoField,
    /// Too long.
    #[error("the pattern has {0} characters; at most {LONGEST} are possible")]
    TooLong(usize),
    /// A brace alone.
    #[error(
        "a brace stands alone; write {{name}} where a number stands, {{{{ or }}}} for the character itself"
    )]
    Brace,
    /// A name that is none.
    #[error(
        "\"{0}\" is no name of a field; it has 1 to {LONGEST_NAME} letters, digits, '_' and '-'"
    )]
    Name(String),
    /// One name twice.
    #[error("the field {{{0}}} is there twice")]
    Twice(String),
    /// It could be read in two ways.
    #[error("{0}; write a blank or other text between them, as the lines have it")]
    Ambiguous(&'static str),
}

impl Pattern {
    /// Reads a pattern.
    ///
    /// # Errors
    /// When it is none, or could be read in two ways.
    pub fn parse(text: &str) -> Result<Self, PatternError> {
        let count = text.chars().count();
        if count > LONGEST {
            return Err(PatternError::TooLong(count));
        }
        let mut pattern = Pattern {
            tokens: Vec::new(),
            fields: Vec::new(),
        };
        let mut rest = text;
        while let Some(next) = rest.chars().next() {
            rest = pattern.take(next, rest)?;
        }
        if pattern.fields.is_empty() {
            return Err(PatternError::NoField);
        }
        Ok(pattern)
    }

    /// Takes what `rest` begins with, and gives what is behind it.
    fn take<'a>(&mut self, next: char, rest: &'a str) -> Result<&'a str, PatternError> {
        for (twice, once) in [("{{", '{'), ("}}", '}'), ("**", '*')] {
            if let Some(rest) = rest.strip_prefix(twice) {
                self.text(once)?;
                return Ok(rest);
            }
        }
        let behind = &rest[next.len_utf8()..];
        match next {
            '{' => {
                let (name, behind) = behind.split_once('}').ok_or(PatternError::Brace)?;
                self.field(name)?;
                return Ok(behind);
            }
            '}' => return Err(PatternError::Brace),
            '*' => self.any()?,
            blank if blank.is_whitespace() => self.blank(),
            other => self.text(other)?,
        }
        Ok(behind)
    }

    fn text(&mut self, next: char) -> Result<(), PatternError> {
        if !next.is_ascii_graphic() {
            return Ok(());
        }
        match self.tokens.last_mut() {
            Some(Token::Word(word)) => {
                word.push(next);
                return Ok(());
            }
            // An e could be an exponent's.
            Some(Token::Field) if next.is_ascii_digit() || ".eE".contains(next) => {
                return Err(PatternError::Ambiguous(
                    "digits, a point or an e stand right behind a field",
                ));
            }
            _ => self.tokens.push(Token::Word(next.into())),
        }
        Ok(())
    }

    fn field(&mut self, name: &str) -> Result<(), PatternError> {
        let plain = |c: char| c.is_ascii_alphanumeric() || c == '_' || c == '-';
        if name.is_empty() || name.len() > LONGEST_NAME || !name.chars().all(plain) {
            return Err(PatternError::Name(
                name.chars().take(LONGEST_NAME).collect(),
            ));
        }
        if self.field_named(name).is_some() {
            return Err(PatternError::Twice(name.to_owned()));
        }
        let two_ways = match self.tokens.as_slice() {
            [.., Token::Field] => Some("two fields stand side by side"),
            [.., Token::Any] | [.., Token::Any, Token::Blank] => {
                Some("a field follows \"*\" without text to find it by")
            }
            [.., Token::Word(word)] if word.ends_with(|c: char| c.is_ascii_digit() || c == '.') => {
                Some("digits or a point stand right before a field")
            }
            _ => None,
        };
        if let Some(why) = two_ways {
            return Err(PatternError::Ambiguous(why));
        }
        self.tokens.push(Token::Field);
        self.fields.push(name.to_owned());
        Ok(())
    }

    fn any(&mut self) -> Result<(), PatternError> {
        match self.tokens.as_slice() {
            [.., Token::Field] => {
                return Err(PatternError::Ambiguous("\"*\" stands right behind a field"));
            }
            [.., Token::Any] => {}
            [.., Token::Any, Token::Blank] => {
                self.tokens.pop();
            }
            _ => self.tokens.push(Token::Any),
        }
        Ok(())
    }

    fn blank(&mut self) {
        if !matches!(self.tokens.last(), None | Some(Token::Blank)) {
            self.tokens.push(Token::Blank);
        }
    }

    /// The names of the fields, in the order in which they stand.
    pub fn fields(&self) -> &[String] {
        &self.fields
    }

    /// The place of a field among the fields.
    pub fn field_named(&self, name: &str) -> Option<usize> {
        self.fields.iter().position(|field| field == name)
    }

    /// The numbers of a line, one a field.
    ///
    /// # Errors
    /// When the line does not look so.
    pub fn read(&self, line: &str) -> Result<Vec<f64>, LineError> {
        let line = line.trim_ascii();
        let mut numbers = Vec::with_capacity(self.fields.len());
        let mut rest = line;
        // What follows "*" is looked for; anything else stands where it must.
        let mut look_for = false;
        let mut after_blank = false;
        for token in &self.tokens {
            match token {
                Token::Any => look_for = true,
                Token::Blank if look_for => after_blank = true,
                Token::Blank => rest = skip_blank(line, rest)?,
                Token::Word(word) => {
                    rest = match look_for {
                        true => find(line, rest, word, after_blank),
                        false => rest.strip_prefix(word.as_str()),
                    }
                    .ok_or_else(|| LineError::Text {
                        wanted: word.clone(),
                        found: shown(rest),
                    })?;
                    (look_for, after_blank) = (false, false);
                }
                Token::Field => {
                    let read = number::leading(rest.trim_ascii_start());
                    let (number, behind) = read.ok_or_else(|| LineError::Number {
                        field: self.fields[numbers.len()].clone(),
                        found: shown(rest),
                    })?;
                    numbers.push(number);
                    rest = behind;
                }
            }
        }
        if look_for || rest.trim_ascii_start().is_empty() {
            Ok(numbers)
        } else {
            Err(LineError::GoesOn(shown(rest)))
        }
    }
}

/// Whether white space, or nothing, stands before `rest`, the end of `line`.
fn is_after_blank(line: &str, rest: &str) -> bool {
    let before = &line[..line.len() - rest.len()];
    before.is_empty() || before.ends_with(|c: char| c.is_ascii_whitespace())
}

/// Passes over white space, which must be there; at the line's end it may have
/// been trimmed.
fn skip_blank<'a>(line: &str, rest: &'a str) -> Result<&'a str, LineError> {
    let behind = rest.trim_ascii_start();
    if behind.is_empty() || is_after_blank(line, behind) {
        return Ok(behind);
    }
    Err(LineError::Text {
        wanted: " ".to_owned(),
        found: shown(rest),
    })
}

/// What stands behind the first place of `word` in `rest`, the end of `line`;
/// behind white space only, where that is wanted.
fn find<'a>(line: &str, rest: &'a str, word: &str, after_blank: bool) -> Option<&'a str> {
    rest.match_indices(word)
        .map(|(at, _)| &rest[at..])
        .find(|found| !after_blank || is_after_blank(line, found))
        .map(|found| &found[word.len()..])
}

#[cfg(test)]
mod tests;
