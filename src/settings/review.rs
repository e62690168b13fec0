//! The second pass over the settings: goes through all of them, and writes
//! down everything that is wrong instead of stopping at the first.

use std::collections::HashSet;

use config::{Value, ValueKind};
use jiff::civil::Date;
use serde::de::DeserializeOwned;
use serde_path_to_error::Segment;

use super::key_path::KeyPath;
use super::layers::Merged;
use super::mistake::Mistake;
use super::places::Places;
use super::problem::Problem;
use super::remark::{Remark, Remarked};
use super::sources::is_name;
use super::strict::{Fault, Strict};
use super::written::Written;
use crate::units::nearest;

/// Collects what is wrong. Its methods give nothing back where something was
/// wrong, after having told it.
#[derive(Debug)]
pub(super) struct Review {
    places: Places,
    complete: bool,
    mistakes: Vec<Mistake>,
    remarks: Vec<Remark>,
    told: HashSet<KeyPath>,
    misspelt: HashSet<KeyPath>,
}

impl Review {
    /// Begins with what was wrong with the sources themselves; also gives the
    /// tree to be reviewed.
    pub(super) fn of(merged: Merged) -> (Self, Value) {
        let review = Review {
            places: merged.places,
            complete: merged.complete,
            mistakes: merged.mistakes,
            remarks: Vec::new(),
            told: HashSet::new(),
            misspelt: HashSet::new(),
        };
        (review, merged.tree)
    }

    /// All that was told, and all that was remarked upon.
    pub(super) fn into_told(self) -> (Vec<Mistake>, Vec<Remark>) {
        (self.mistakes, self.remarks)
    }

    /// Writes down something that is no mistake and that a person should look
    /// to.
    pub(super) fn remark(&mut self, path: &KeyPath, date: Option<Date>, about: Remarked) {
        self.remarks.push(Remark {
            place: self.places.of_value(path),
            path: path.to_string(),
            date,
            about,
        });
    }

    /// Writes down that the setting at `path` is wrong. Only the first problem
    /// of a setting is kept: the others mostly follow from it.
    pub(super) fn tell(&mut self, path: &KeyPath, problem: impl Into<Problem>) {
        if !self.told.insert(path.clone()) {
            return;
        }
        let problem = problem.into();
        let place = if problem.is_about_the_name() {
            self.places.of_key(path)
        } else {
            self.places.of_value(path)
        };
        self.mistakes.push(Mistake {
            place,
            path: path.to_string(),
            problem,
        });
    }

    /// Writes down several things that are wrong with the setting at `path`, of
    /// which none follows from another.
    pub(super) fn tell_each(
        &mut self,
        path: &KeyPath,
        problems: impl IntoIterator<Item = impl Into<Problem>>,
    ) {
        for problem in problems {
            self.told.remove(path);
            self.tell(path, problem);
        }
    }

    /// Writes down what a text refers to and there is not, unless it may stand in
    /// what could not be read.
    pub(super) fn tell_unknown(
        &mut self,
        path: &KeyPath,
        problems: impl IntoIterator<Item = impl Into<Problem>>,
    ) {
        if self.complete {
            self.tell_each(path, problems);
        }
    }

    /// Whether this setting, or a table that it stands in, was told already.
    fn is_told(&self, path: &KeyPath) -> bool {
        let mut path = Some(path.clone());
        while let Some(here) = path {
            if self.told.contains(&here) {
                return true;
            }
            path = here.parent();
        }
        false
    }

    /// Tells that a setting is missing, unless it may stand in what could not
    /// be read, or stands there misspelt.
    pub(super) fn missing(&mut self, path: &KeyPath, example: &'static str) {
        if self.complete && !self.is_told(path) && !self.misspelt.contains(path) {
            self.tell(path, Problem::Missing(example));
        }
    }

    /// Tells that a name refers to nothing, unless what it refers to may stand
    /// in what could not be read.
    pub(super) fn unknown_name<'a>(
        &mut self,
        path: &KeyPath,
        kind: &'static str,
        found: &str,
        known: impl IntoIterator<Item = &'a str>,
    ) {
        if self.complete {
            let known = known.into_iter().map(str::to_owned).collect();
            let found = found.to_owned();
            self.tell(path, Problem::UnknownName { kind, found, known });
        }
    }

    /// Reads a part of the tree into its type. Whatever does not fit is told
    /// and taken out, until the rest fits.
    pub(super) fn take<T: DeserializeOwned + Default>(
        &mut self,
        path: &KeyPath,
        mut part: Value,
    ) -> T {
        loop {
            let error = match serde_path_to_error::deserialize(Strict(&part)) {
                Ok(taken) => return taken,
                Err(error) => error,
            };
            let keys: Vec<Segment> = error.path().iter().cloned().collect();
            let place = locate(path, &keys);
            let problem = problem_of(error.into_inner(), &keys);
            if let (Problem::UnknownKey { nearest, .. }, Some(table)) = (&problem, place.parent()) {
                self.misspelt.extend(nearest.map(|meant| table.key(meant)));
            }
            self.tell(&place, problem);
            if !take_out(&mut part, &keys) {
                return T::default();
            }
        }
    }

    /// A setting that must be there.
    pub(super) fn required<T>(
        &mut self,
        path: &KeyPath,
        value: Option<T>,
        example: &'static str,
    ) -> Option<T> {
        if value.is_none() {
            self.missing(path, example);
        }
        value
    }

    /// The good value; what is wrong with a bad one is told.
    pub(super) fn good<T, E: Into<Problem>>(
        &mut self,
        path: &KeyPath,
        value: Result<T, E>,
    ) -> Option<T> {
        value.map_err(|problem| self.tell(path, problem)).ok()
    }

    /// Reads a setting that may be absent; then it has its default.
    pub(super) fn or_default<T, E: Into<Problem>>(
        &mut self,
        path: &KeyPath,
        written: Option<&Written>,
        read: impl FnOnce(&str) -> Result<T, E>,
        default: T,
    ) -> Option<T> {
        match written {
            None => Some(default),
            Some(written) => self.good(path, read(written.text())),
        }
    }

    /// Reads a setting that must be there.
    pub(super) fn needed<T, E: Into<Problem>>(
        &mut self,
        path: &KeyPath,
        written: Option<&Written>,
        read: impl FnOnce(&str) -> Result<T, E>,
        example: &'static str,
    ) -> Option<T> {
        let written = self.required(path, written, example)?;
        self.good(path, read(written.text()))
    }

    /// Whether the name of a table by name can be one.
    pub(super) fn name(&mut self, path: &KeyPath, name: &str) {
        if !is_name(name) {
            self.tell(path, Problem::BadName(name.to_owned()));
        }
    }

    /// One of a few words.
    pub(super) fn one_of<T: Copy>(
        &mut self,
        path: &KeyPath,
        found: &str,
        words: &[(&'static str, T)],
    ) -> Option<T> {
        let meant = words.iter().find(|(word, _)| *word == found);
        if meant.is_none() {
            let allowed = words.iter().map(|(word, _)| *word).collect();
            let found = found.chars().take(40).collect();
            self.tell(path, Problem::NotOneOf { found, allowed });
        }
        meant.map(|(_, value)| *value)
    }

    /// Tells that `value` must lie from `least` to `most`, unless it does.
    pub(super) fn within<T: PartialOrd + Copy>(
        &mut self,
        path: &KeyPath,
        value: T,
        (least, most): (T, T),
        show: impl Fn(T) -> String,
    ) -> Option<T> {
        if least <= value && value <= most {
            return Some(value);
        }
        let allowed = format!("{} to {}", show(least), show(most));
        let found = show(value);
        self.tell(path, Problem::OutOfRange { found, allowed });
        None
    }
}

/// The path of what is wrong, below the part that was read.
fn locate(part: &KeyPath, keys: &[Segment]) -> KeyPath {
    keys.iter().fold(part.clone(), |path, key| match key {
        Segment::Map { key } => path.key(key),
        Segment::Seq { index } => path.item(*index),
        Segment::Enum { .. } | Segment::Unknown => path,
    })
}

fn problem_of(fault: Fault, keys: &[Segment]) -> Problem {
    match (fault, keys.last()) {
        (Fault::UnknownKey { allowed }, Some(Segment::Map { key })) => Problem::UnknownKey {
            nearest: nearest(key, allowed.iter().copied()),
            allowed,
        },
        (Fault::WrongKind { expected, found }, _) => Problem::WrongKind { expected, found },
        (fault, _) => Problem::Other(fault.to_string()),
    }
}

/// Takes the innermost key of the path out of the tree; false where there is
/// none.
fn take_out(part: &mut Value, keys: &[Segment]) -> bool {
    let is_key = |key: &Segment| matches!(key, Segment::Map { .. });
    let Some(last) = keys.iter().rposition(is_key) else {
        return false;
    };
    let inner = match (&mut part.kind, &keys[0]) {
        (ValueKind::Table(table), Segment::Map { key }) if last == 0 => {
            return table.remove(key).is_some();
        }
        (ValueKind::Table(table), Segment::Map { key }) => table.get_mut(key),
        (ValueKind::Array(list), Segment::Seq { index }) => list.get_mut(*index),
        _ => None,
    };
    inner.is_some_and(|inner| take_out(inner, &keys[1..]))
}
