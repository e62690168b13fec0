//! The arguments of one call, and what is wrong with them.

use std::fmt::Display;

use crate::units::Span;

use super::argument::Argument;
use super::parameter::{Declared, Need, Parameter};
use super::unknown::unknown;

/// The arguments of one call. A calculation takes its values out and goes on
/// as far as it can, so that every mistake is found in one go.
pub(super) struct Given<'a> {
    /// Key and text of every argument whose key is known.
    texts: Vec<(&'static str, &'a str)>,
    /// What the calculation has taken, with its text.
    taken: Vec<(&'static str, String)>,
    mistakes: Vec<String>,
    no: Option<String>,
}

/// What stands in the way of an answer.
pub(super) enum Stop {
    /// The call was wrong in these ways.
    Mistakes(Vec<String>),
    /// The answer is no, for this reason.
    No(String),
}

impl<'a> Given<'a> {
    /// Sorts `key=value` pairs by the parameters there are.
    pub(super) fn new(parameters: &[&'static dyn Declared], pairs: &'a [String]) -> Self {
        let mut given = Given {
            texts: Vec::new(),
            taken: Vec::new(),
            mistakes: Vec::new(),
            no: None,
        };
        for pair in pairs {
            if let Err(mistake) = given.sort_in(parameters, pair) {
                given.mistakes.push(mistake);
            }
        }
        given
    }

    fn sort_in(
        &mut self,
        parameters: &[&'static dyn Declared],
        pair: &'a str,
    ) -> Result<(), String> {
        let (key, text) = pair
            .split_once('=')
            .ok_or_else(|| format!("\"{pair}\" is not an argument; write key=value"))?;
        let Some(parameter) = parameters.iter().find(|known| known.name() == key) else {
            let names: Vec<_> = parameters.iter().map(|known| known.name()).collect();
            return Err(unknown("argument", key, &names));
        };
        let name = parameter.name();
        if self.texts.iter().any(|(known, _)| *known == name) {
            return Err(format!("{name} is given twice; give it once"));
        }
        self.texts.push((name, text));
        parameter
            .check(text)
            .map_err(|mistake| format!("{name}: {mistake}"))
    }

    /// Whether the parameter was given, rightly or not.
    pub(super) fn has<T>(&self, parameter: &Parameter<T>) -> bool {
        self.text(parameter.name).is_some()
    }

    /// The value of a parameter, or its default. None when it is missing or
    /// wrong, which has been noted then, and none for an optional one that is
    /// left out.
    pub(super) fn take<T: Argument>(&mut self, parameter: &Parameter<T>) -> Option<T> {
        let text = match (self.text(parameter.name), parameter.need) {
            (Some(text), _) => text,
            (None, Need::Default(text)) => text,
            (None, Need::Optional) => return None,
            (None, Need::Required) => {
                self.missing(parameter, "");
                return None;
            }
        };
        self.taken.push((parameter.name, text.trim().to_owned()));
        T::read(text).ok()
    }

    /// As [`Given::take`], of a span that must be above zero.
    pub(super) fn take_span(&mut self, parameter: &Parameter<Span>) -> Option<Span> {
        let span = self.take(parameter)?;
        if span > Span::ZERO {
            return Some(span);
        }
        let name = parameter.name;
        self.mistake(format!("{name} is {span}; give more than nothing"));
        None
    }

    /// The value of an optional parameter that must be there because of
    /// `reason`.
    pub(super) fn take_for<T: Argument>(
        &mut self,
        reason: &str,
        parameter: &Parameter<T>,
    ) -> Option<T> {
        if !self.has(parameter) {
            self.missing(parameter, &format!(" for {reason}"));
        }
        self.take(parameter)
    }

    /// Notes something wrong with the call.
    pub(super) fn mistake(&mut self, mistake: impl Display) {
        self.mistakes.push(mistake.to_string());
    }

    /// Notes that the answer is no.
    pub(super) fn answer_is_no(&mut self, reason: impl Display) {
        self.no = Some(reason.to_string());
    }

    /// What was taken, name and text, when nothing stands in the way.
    pub(super) fn finish(mut self) -> Result<Vec<(&'static str, String)>, Stop> {
        if self.mistakes.is_empty() {
            for (name, _) in &self.texts {
                if !self.taken.iter().any(|(taken, _)| taken == name) {
                    let told = format!("{name} has no part in this calculation; leave it out");
                    self.mistakes.push(told);
                }
            }
        }
        match (self.mistakes.is_empty(), self.no) {
            (false, _) => Err(Stop::Mistakes(self.mistakes)),
            (true, Some(reason)) => Err(Stop::No(reason)),
            (true, None) => Ok(self.taken),
        }
    }

    fn text(&self, name: &str) -> Option<&'a str> {
        let found = self.texts.iter().find(|(known, _)| *known == name);
        found.map(|(_, text)| *text)
    }

    fn missing<T: Argument>(&mut self, parameter: &Parameter<T>, reason: &str) {
        self.mistakes.push(format!(
            "{} is missing{reason}: {} ({})",
            parameter.name,
            parameter.about,
            T::allowed()
        ));
    }
}
