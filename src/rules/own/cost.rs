//! What working out a rule takes at most, told before it is ever done.
//!
//! A step is one part of the tree, one item of a list, one condition's name
//! looked up. Each part is worked out at most once and refers to nothing but
//! the parts below it: there are no loops and no functions of the plant's own,
//! and who asks for another rule is told how its alarm stood before, so the sum of
//! the parts bounds every run.

use super::names::TruthSource;
use super::tree::{Number, Truth, Whole, Word};

/// Looking up whether a condition holds: as many as a sump has at once are gone
/// through. Choice.
const LOOK_UP: u32 = 8;

impl Number {
    pub(super) fn cost(&self) -> u32 {
        1 + match self {
            Number::Fixed(_) | Number::Asked(..) => 0,
            Number::OfWhole(whole) => whole.cost(),
            Number::Minus(part) | Number::Unsigned(part) => part.cost(),
            Number::Worked(parts) => parts.0.cost() + parts.2.cost(),
            Number::Of(_, first, others) => {
                first.cost() + others.iter().map(Number::cost).sum::<u32>()
            }
            Number::Chosen(parts) => parts.0.cost() + parts.1.cost() + parts.2.cost(),
        }
    }
}

impl Whole {
    pub(super) fn cost(&self) -> u32 {
        1 + match self {
            Whole::Fixed(_) | Whole::Asked(..) => 0,
            Whole::OfNumber(number) => number.cost(),
            Whole::Minus(part) | Whole::Unsigned(part) => part.cost(),
            Whole::Worked(parts) => parts.0.cost() + parts.2.cost(),
            Whole::Of(_, first, others) => {
                first.cost() + others.iter().map(Whole::cost).sum::<u32>()
            }
            Whole::Chosen(parts) => parts.0.cost() + parts.1.cost() + parts.2.cost(),
        }
    }
}

impl Truth {
    pub(super) fn cost(&self) -> u32 {
        1 + match self {
            Truth::Fixed(_) | Truth::HasValue(..) | Truth::Asked(_, TruthSource::Value(_)) => 0,
            Truth::Asked(_, TruthSource::Active(_)) => LOOK_UP,
            Truth::Not(part) => part.cost(),
            Truth::Both(parts) | Truth::Either(parts) | Truth::Same(parts) => {
                parts.0.cost() + parts.1.cost()
            }
            Truth::Numbers(parts) => parts.0.cost() + parts.2.cost(),
            Truth::Wholes(parts) => parts.0.cost() + parts.2.cost(),
            Truth::SameWord(parts) => parts.0.cost() + parts.1.cost(),
            Truth::AmongNumbers(number, list) => number.cost() + items(list),
            Truth::AmongWholes(number, list) => number.cost() + items(list),
            Truth::AmongWords(word, list) => word.cost() + items(list),
            Truth::Chosen(parts) => parts.0.cost() + parts.1.cost() + parts.2.cost(),
        }
    }
}

impl Word {
    fn cost(&self) -> u32 {
        1 + match self {
            Word::Fixed(_) | Word::Asked(..) => 0,
            Word::Chosen(parts) => parts.0.cost() + parts.1.cost() + parts.2.cost(),
        }
    }
}

/// Lists are bounded long before they can overflow this.
fn items<T>(list: &[T]) -> u32 {
    u32::try_from(list.len()).unwrap_or(u32::MAX / 2)
}
