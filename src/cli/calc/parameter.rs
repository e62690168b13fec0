//! What a calculation takes.

use std::marker::PhantomData;

use super::argument::Argument;

/// Whether an argument must be given.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Need {
    /// It must.
    Required,
    /// It need not, and what goes without it is said in its description.
    Optional,
    /// It need not, and this is taken instead.
    Default(&'static str),
}

/// A parameter whose value is a `T`.
pub(super) struct Parameter<T> {
    pub(super) name: &'static str,
    pub(super) need: Need,
    pub(super) about: &'static str,
    value: PhantomData<fn() -> T>,
}

impl<T> Parameter<T> {
    const fn new(name: &'static str, need: Need, about: &'static str) -> Self {
        Parameter {
            name,
            need,
            about,
            value: PhantomData,
        }
    }

    /// One that must be given.
    pub(super) const fn required(name: &'static str, about: &'static str) -> Self {
        Self::new(name, Need::Required, about)
    }

    /// One that may be left out.
    pub(super) const fn optional(name: &'static str, about: &'static str) -> Self {
        Self::new(name, Need::Optional, about)
    }

    /// One that is `default` when it is left out.
    pub(super) const fn or(name: &'static str, default: &'static str, about: &'static str) -> Self {
        Self::new(name, Need::Default(default), about)
    }
}

/// A parameter, whatever its value is.
pub(super) trait Declared: Sync {
    /// The key that it is given by.
    fn name(&self) -> &'static str;
    /// Whether it must be given.
    fn need(&self) -> Need;
    /// What it is.
    fn about(&self) -> &'static str;
    /// What may be written for it.
    fn allowed(&self) -> String;
    /// Whether a text can be read as its value.
    fn check(&self, text: &str) -> Result<(), String>;
}

impl<T: Argument> Declared for Parameter<T> {
    fn name(&self) -> &'static str {
        self.name
    }

    fn need(&self) -> Need {
        self.need
    }

    fn about(&self) -> &'static str {
        self.about
    }

    fn allowed(&self) -> String {
        T::allowed()
    }

    fn check(&self, text: &str) -> Result<(), String> {
        T::read(text).map(drop)
    }
}
