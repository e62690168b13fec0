//! A checked rule: every part has its kind, so that nothing can be of a wrong
//! one when it is worked out.

use std::sync::Arc;

use super::kind::Kind;
use super::names::{Asked, NumberSource, OwnInputs, TruthSource};

/// Place of a value in the list of what the rule asks for, below 64.
pub(super) type Place = u8;

/// A part of any kind.
#[derive(Debug, Clone)]
pub(super) enum Tree {
    Number(Number),
    Whole(Whole),
    Truth(Truth),
    Word(Word),
}

/// A part that is a number.
#[derive(Debug, Clone)]
pub(super) enum Number {
    Fixed(f64),
    Asked(Place, NumberSource),
    OfWhole(Box<Whole>),
    Minus(Box<Number>),
    Unsigned(Box<Number>),
    Worked(Box<(Number, Sum, Number)>),
    Of(Pick, Box<Number>, Vec<Number>),
    Chosen(Box<(Truth, Number, Number)>),
}

/// A part that is a whole number.
#[derive(Debug, Clone)]
pub(super) enum Whole {
    Fixed(i64),
    Asked(Place, fn(&OwnInputs) -> Option<i64>),
    OfNumber(Box<Number>),
    Minus(Box<Whole>),
    Unsigned(Box<Whole>),
    Worked(Box<(Whole, Sum, Whole)>),
    Of(Pick, Box<Whole>, Vec<Whole>),
    Chosen(Box<(Truth, Whole, Whole)>),
}

/// A part that is true or false.
#[derive(Debug, Clone)]
pub(super) enum Truth {
    Fixed(bool),
    Asked(Place, TruthSource),
    HasValue(Place, Asked),
    Not(Box<Truth>),
    Both(Box<(Truth, Truth)>),
    Either(Box<(Truth, Truth)>),
    Same(Box<(Truth, Truth)>),
    Numbers(Box<(Number, Order, Number)>),
    Wholes(Box<(Whole, Order, Whole)>),
    SameWord(Box<(Word, Word)>),
    AmongNumbers(Box<Number>, Vec<f64>),
    AmongWholes(Box<Whole>, Vec<i64>),
    AmongWords(Box<Word>, Vec<Arc<str>>),
    Chosen(Box<(Truth, Truth, Truth)>),
}

/// A part that is a word.
#[derive(Debug, Clone)]
pub(super) enum Word {
    Fixed(Arc<str>),
    Asked(Place, fn(&OwnInputs) -> Option<&'static str>),
    Chosen(Box<(Truth, Word, Word)>),
}

/// What is done with two numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Sum {
    Plus,
    Minus,
    Times,
    Over,
    /// The rest of a division; of whole numbers only.
    Rest,
}

/// Which one of several numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Pick {
    Greatest,
    Least,
}

impl Pick {
    pub(super) fn number(self, left: f64, right: f64) -> f64 {
        match self {
            Pick::Greatest => left.max(right),
            Pick::Least => left.min(right),
        }
    }

    pub(super) fn whole(self, left: i64, right: i64) -> i64 {
        match self {
            Pick::Greatest => left.max(right),
            Pick::Least => left.min(right),
        }
    }
}

/// How two numbers are compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Order {
    Below,
    AtMost,
    Equal,
    Unequal,
    AtLeast,
    Above,
}

impl Order {
    pub(super) fn holds<T: PartialOrd>(self, left: &T, right: &T) -> bool {
        match self {
            Order::Below => left < right,
            Order::AtMost => left <= right,
            Order::Equal => left == right,
            Order::Unequal => left != right,
            Order::AtLeast => left >= right,
            Order::Above => left > right,
        }
    }
}

impl Tree {
    pub(super) fn kind(&self) -> Kind {
        match self {
            Tree::Number(_) => Kind::Number,
            Tree::Whole(_) => Kind::Whole,
            Tree::Truth(_) => Kind::Truth,
            Tree::Word(_) => Kind::Word,
        }
    }
}

impl From<Number> for Tree {
    fn from(part: Number) -> Self {
        Tree::Number(part)
    }
}

impl From<Whole> for Tree {
    fn from(part: Whole) -> Self {
        Tree::Whole(part)
    }
}

impl From<Truth> for Tree {
    fn from(part: Truth) -> Self {
        Tree::Truth(part)
    }
}

impl From<Word> for Tree {
    fn from(part: Word) -> Self {
        Tree::Word(part)
    }
}
