//! From the text of a rule to its expression, within bounds.
//!
//! The grammar is that of the Common Expression Language, read by the library
//! for it. What would make that library go deep is counted before it sees the
//! text; its words are put into ours.

use cel::common::ast::{IdedExpr, SourceInfo};
use cel::parser::{ParseError, Parser};

use super::mistake::{OwnFault, OwnMistake};

/// Longest text, in bytes. Choice: several times what people can still read.
pub(super) const LONGEST: usize = 1000;
/// Most opening brackets, so that they cannot stand deeper in one another.
/// Choice.
pub(super) const MOST_BRACKETS: usize = 40;
/// Most choices (`? :`), for the same reason. Choice.
pub(super) const MOST_CHOICES: usize = 12;
/// How deep the library goes before it gives up: more than the bounds above let
/// through.
const RECURSION: u16 = 64;

const NO_UNITS: &str = "; numbers stand without their unit, which the value settles";

/// Stack that reading a text takes at most: in an unoptimized build the library
/// takes up to 200 kB for each bracket (measured).
pub(super) const STACK: usize = 16 << 20;

/// The expression, and where each of its parts stands.
type Parsed = Result<(IdedExpr, SourceInfo), Vec<OwnMistake>>;

/// Reads a text.
pub(super) fn parse(text: &str) -> Parsed {
    bounded(text).map_err(|(at, fault)| vec![mistake_at(text, at, fault)])?;
    let parser = Parser::new().max_recursion_depth(RECURSION);
    parser
        .parse_with_source_info(text)
        .map_err(|errors| vec![first(text, &errors.errors)])
}

/// A mistake at a byte of the text.
pub(super) fn mistake_at(text: &str, byte: usize, fault: OwnFault) -> OwnMistake {
    let before = &text[..text.floor_char_boundary(byte)];
    let line_start = before.rfind('\n').map_or(0, |at| at + 1);
    OwnMistake {
        line: before.matches('\n').count() + 1,
        character: before[line_start..].chars().count() + 1,
        fault,
    }
}

fn bounded(text: &str) -> Result<(), (usize, OwnFault)> {
    if text.trim().is_empty() {
        return Err((0, OwnFault::Empty));
    }
    if text.len() > LONGEST {
        let found = text.len();
        let most = LONGEST;
        return Err((0, OwnFault::TooLong { found, most }));
    }
    for (signs, of, most) in [
        (&['(', '[', '{'][..], "opening brackets", MOST_BRACKETS),
        (&['?'][..], "question marks", MOST_CHOICES),
    ] {
        let found = text.matches(signs).count();
        if let Some((at, _)) = text.match_indices(signs).nth(most) {
            return Err((at, OwnFault::TooMany { of, found, most }));
        }
    }
    Ok(())
}

/// The first error: the others mostly follow from it.
fn first(text: &str, errors: &[ParseError]) -> OwnMistake {
    let Some(error) = errors.first() else {
        return mistake_at(text, 0, OwnFault::Syntax("this cannot be read".to_owned()));
    };
    let place = |number: isize| usize::try_from(number).unwrap_or(1).max(1);
    let (line, character) = (place(error.pos.0), place(error.pos.1));
    let rest = rest_of(text, line, character);
    let fault = fault(&error.msg, before(text, rest), rest);
    OwnMistake {
        line,
        character,
        fault,
    }
}

/// The text from a line and a character of it on.
fn rest_of(text: &str, line: usize, character: usize) -> &str {
    let start: usize = text
        .split_inclusive('\n')
        .take(line - 1)
        .map(str::len)
        .sum();
    let from = &text[start..];
    let skipped = from.char_indices().nth(character - 1);
    skipped.map_or("", |(at, _)| &from[at..])
}

/// What stands before the end `rest` of the text.
fn before<'a>(text: &'a str, rest: &str) -> &'a str {
    text[..text.len() - rest.len()].trim_end()
}

fn fault(message: &str, before: &str, rest: &str) -> OwnFault {
    if message.contains("literal") {
        return OwnFault::Literal;
    }
    let Some(found) = word(rest) else {
        let hint = before.ends_with('%').then_some(NO_UNITS);
        return OwnFault::EndsEarly { hint };
    };
    let unclosed = matches!(found.chars().next(), Some('"' | '\''));
    if unclosed && message.contains("token recognition") {
        let why = "this quote is not closed, or a \\ stands in it that means nothing";
        return OwnFault::Syntax(why.to_owned());
    }
    if !message.starts_with("Syntax error") {
        return OwnFault::Syntax(message.chars().take(120).collect());
    }
    OwnFault::Stray {
        hint: hint(&found, before),
        found,
    }
}

/// The word or sign that a text begins with.
fn word(rest: &str) -> Option<String> {
    let rest = rest.trim_start();
    let of_word = |c: char| c.is_alphanumeric() || c == '_';
    let length = rest.find(|c| !of_word(c)).unwrap_or(rest.len());
    let word: String = match length {
        0 => rest.chars().take(1).collect(),
        length => rest[..length].chars().take(40).collect(),
    };
    (!word.is_empty()).then_some(word)
}

fn hint(found: &str, before: &str) -> Option<&'static str> {
    match found.to_ascii_lowercase().as_str() {
        "=" => Some("; to compare, write =="),
        "and" | "&" => Some("; for \"and\" write &&"),
        "or" | "|" => Some("; for \"or\" write ||"),
        _ if before.ends_with("not") || before.ends_with("NOT") => Some("; for \"not\" write !"),
        "," => Some("; a number with a part has a point, as 5.5"),
        "%" | "l" | "mg" => Some(NO_UNITS),
        _ => None,
    }
}
