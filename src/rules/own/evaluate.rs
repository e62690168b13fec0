//! Working out a checked rule for the values of one time.
//!
//! Three answers: true, false, and nothing to say. The last follows from the
//! first value that is not there and was needed, as errors do in the language:
//! `false && x` is false and `true || x` true whatever x is, in either order;
//! everything else that needs a missing value has nothing to say.

use std::cell::Cell;

use super::names::OwnInputs;
use super::tree::{Number, Place, Sum, Truth, Whole, Word};

/// Why a part has nothing to say.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum OwnLack {
    /// A value is not there.
    #[error("a value that it needs is not there")]
    Missing,
    /// A division by zero, or its rest.
    #[error("it would divide by zero")]
    DividedByZero,
    /// A number beyond what its kind can hold.
    #[error("a number in it grows beyond what can be counted with")]
    TooLarge,
}

type Known<T> = Result<T, OwnLack>;

/// The values of one time, and which of them were looked at.
pub(super) struct Look<'a> {
    inputs: &'a OwnInputs,
    /// One bit for each place of what the rule asks for.
    looked_at: Cell<u64>,
}

impl<'a> Look<'a> {
    pub(super) fn at(inputs: &'a OwnInputs) -> Self {
        Look {
            inputs,
            looked_at: Cell::new(0),
        }
    }

    pub(super) fn looked_at(&self) -> u64 {
        self.looked_at.get()
    }

    fn asked<T>(&self, place: Place, read: impl FnOnce(&OwnInputs) -> Option<T>) -> Known<T> {
        self.looked_at.set(self.looked_at.get() | 1 << place);
        read(self.inputs).ok_or(OwnLack::Missing)
    }
}

impl Number {
    fn work_out(&self, look: &Look<'_>) -> Known<f64> {
        match self {
            Number::Fixed(number) => Ok(*number),
            Number::Asked(place, source) => look.asked(*place, |inputs| source.read(inputs)),
            Number::OfWhole(whole) => Ok(whole.work_out(look)? as f64),
            Number::Minus(part) => Ok(-part.work_out(look)?),
            Number::Worked(parts) => {
                let (left, right) = (parts.0.work_out(look)?, parts.2.work_out(look)?);
                of_numbers(left, parts.1, right)
            }
            Number::Unsigned(part) => Ok(part.work_out(look)?.abs()),
            Number::Of(pick, first, others) => {
                let mut others = others.iter().map(|part| part.work_out(look));
                let first = first.work_out(look)?;
                others.try_fold(first, |best, next| Ok(pick.number(best, next?)))
            }
            Number::Chosen(parts) => match parts.0.work_out(look)? {
                true => parts.1.work_out(look),
                false => parts.2.work_out(look),
            },
        }
    }
}

fn of_numbers(left: f64, sum: Sum, right: f64) -> Known<f64> {
    let number = match sum {
        Sum::Plus => left + right,
        Sum::Minus => left - right,
        Sum::Times => left * right,
        Sum::Over | Sum::Rest if right == 0.0 => return Err(OwnLack::DividedByZero),
        Sum::Over => left / right,
        Sum::Rest => left % right,
    };
    if number.is_finite() {
        Ok(number)
    } else {
        Err(OwnLack::TooLarge)
    }
}

impl Whole {
    fn work_out(&self, look: &Look<'_>) -> Known<i64> {
        match self {
            Whole::Fixed(number) => Ok(*number),
            Whole::Asked(place, read) => look.asked(*place, read),
            Whole::OfNumber(number) => whole_of(number.work_out(look)?),
            Whole::Minus(part) => part.work_out(look)?.checked_neg().ok_or(OwnLack::TooLarge),
            Whole::Worked(parts) => {
                let (left, right) = (parts.0.work_out(look)?, parts.2.work_out(look)?);
                of_wholes(left, parts.1, right)
            }
            Whole::Unsigned(part) => part.work_out(look)?.checked_abs().ok_or(OwnLack::TooLarge),
            Whole::Of(pick, first, others) => {
                let mut others = others.iter().map(|part| part.work_out(look));
                let first = first.work_out(look)?;
                others.try_fold(first, |best, next| Ok(pick.whole(best, next?)))
            }
            Whole::Chosen(parts) => match parts.0.work_out(look)? {
                true => parts.1.work_out(look),
                false => parts.2.work_out(look),
            },
        }
    }
}

fn of_wholes(left: i64, sum: Sum, right: i64) -> Known<i64> {
    let number = match sum {
        Sum::Plus => left.checked_add(right),
        Sum::Minus => left.checked_sub(right),
        Sum::Times => left.checked_mul(right),
        Sum::Over | Sum::Rest if right == 0 => return Err(OwnLack::DividedByZero),
        Sum::Over => left.checked_div(right),
        Sum::Rest => left.checked_rem(right),
    };
    number.ok_or(OwnLack::TooLarge)
}

/// Without what stands behind the point; the bounds are the floats next to
/// those of whole numbers, and outside.
fn whole_of(number: f64) -> Known<i64> {
    const BEYOND: f64 = 9_223_372_036_854_775_808.0;
    if -BEYOND < number && number < BEYOND {
        Ok(number.trunc() as i64)
    } else {
        Err(OwnLack::TooLarge)
    }
}

impl Truth {
    pub(super) fn work_out(&self, look: &Look<'_>) -> Known<bool> {
        match self {
            Truth::Fixed(truth) => Ok(*truth),
            Truth::Asked(place, source) => look.asked(*place, |inputs| source.read(inputs)),
            Truth::HasValue(place, asked) => {
                Ok(look.asked(*place, |inputs| asked.read(inputs)).is_ok())
            }
            Truth::Not(part) => Ok(!part.work_out(look)?),
            Truth::Both(parts) => decided_by(false, &parts.0, &parts.1, look),
            Truth::Either(parts) => decided_by(true, &parts.0, &parts.1, look),
            Truth::Same(parts) => Ok(parts.0.work_out(look)? == parts.1.work_out(look)?),
            Truth::Numbers(parts) => {
                let (left, right) = (parts.0.work_out(look)?, parts.2.work_out(look)?);
                Ok(parts.1.holds(&left, &right))
            }
            Truth::Wholes(parts) => {
                let (left, right) = (parts.0.work_out(look)?, parts.2.work_out(look)?);
                Ok(parts.1.holds(&left, &right))
            }
            Truth::SameWord(parts) => Ok(parts.0.work_out(look)? == parts.1.work_out(look)?),
            Truth::AmongNumbers(number, list) => Ok(list.contains(&number.work_out(look)?)),
            Truth::AmongWholes(number, list) => Ok(list.contains(&number.work_out(look)?)),
            Truth::AmongWords(word, list) => {
                let word = word.work_out(look)?;
                Ok(list.iter().any(|item| **item == *word))
            }
            Truth::Chosen(parts) => match parts.0.work_out(look)? {
                true => parts.1.work_out(look),
                false => parts.2.work_out(look),
            },
        }
    }
}

/// Two truths of which one that is `deciding` settles the matter, whatever is
/// wrong with the other.
fn decided_by(deciding: bool, left: &Truth, right: &Truth, look: &Look<'_>) -> Known<bool> {
    let left = left.work_out(look);
    if left == Ok(deciding) {
        return left;
    }
    let right = right.work_out(look);
    if right == Ok(deciding) {
        return right;
    }
    left.and(right)
}

impl Word {
    fn work_out<'a>(&'a self, look: &Look<'_>) -> Known<&'a str> {
        match self {
            Word::Fixed(word) => Ok(word),
            Word::Asked(place, read) => look.asked(*place, read),
            Word::Chosen(parts) => match parts.0.work_out(look)? {
                true => parts.1.work_out(look),
                false => parts.2.work_out(look),
            },
        }
    }
}
