//! Templates that can neither run on nor read anything.

use std::io;

use minijinja::value::Value;
use minijinja::{AutoEscape, Environment, Error, ErrorKind, Template, UndefinedBehavior};

use super::filters;

/// Steps that one layout may take, sentences not counted. Choice: some twenty
/// times those of the longest that comes with the program.
pub(super) const LAYOUT_FUEL: u64 = 50_000;
/// Steps that one sentence may take. Choice: as above.
pub(super) const SENTENCE_FUEL: u64 = 2_000;
/// Layouts within layouts.
const DEEPEST: usize = 32;
/// Longest text, in bytes. Choice: many screens of a phone.
const LONGEST: usize = 64 * 1024;

/// An environment without a loader: it knows the templates that it is given.
pub(super) fn environment(fuel: u64) -> Environment<'static> {
    let mut env = Environment::new();
    env.set_auto_escape_callback(|_| AutoEscape::None);
    env.set_undefined_behavior(UndefinedBehavior::Strict);
    env.set_recursion_limit(DEEPEST);
    env.set_fuel(Some(fuel));
    env
}

/// What a template gives.
///
/// # Errors
/// Of the template; or when it is longer than any message.
pub(super) fn render(template: &Template<'_, '_>, context: Value) -> Result<String, Error> {
    let mut text = Bounded(Vec::new());
    template.render_captured_to(context, &mut text)?;
    String::from_utf8(text.0)
        .map_err(|error| Error::new(ErrorKind::InvalidOperation, error.to_string()))
}

struct Bounded(Vec<u8>);

impl io::Write for Bounded {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if self.0.len() + bytes.len() > LONGEST {
            return Err(io::Error::other("the text is longer than any message"));
        }
        self.0.extend_from_slice(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// What is wrong, in one line.
pub(super) fn complaint(error: &Error) -> String {
    let mut text = error.kind().to_string();
    if let Some(detail) = error.detail() {
        text = format!("{text}: {detail}");
    }
    let part = error.range().zip(error.template_source());
    let part = part.and_then(|(range, source)| source.get(range));
    if let Some(part) = part.filter(|part| !part.is_empty()) {
        text = format!("{text} (at \"{}\")", part.trim());
    }
    if let Some(cause) = std::error::Error::source(error) {
        text = format!("{text}: {cause}");
    }
    if error.kind() == ErrorKind::UnknownFilter {
        text = format!("{text}; ours are {}", filters::NAMES.join(", "));
    }
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}
