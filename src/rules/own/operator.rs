//! The operators of the language, by the kinds that they go with.

use std::sync::Arc;

use cel::common::ast::{CallExpr, Expr, IdedExpr, LiteralValue, operators};

use super::check::Check;
use super::mistake::OwnFault;
use super::names::WEEKDAYS;
use super::tree::{Number, Order, Sum, Tree, Truth, Whole, Word};

/// Most items of a list. Choice.
pub(super) const MOST_ITEMS: usize = 32;

const TURNS: &str = "it turns what is true or false (bool)";
const CHOOSES: &str = "it chooses by what is true or false (bool)";
const JOINS: &str = "it joins what is true or false (bool)";
const POINT: &str = "write both with a point, as 5.0, or use double(…)";
const NUMBERS: &str = "it takes two doubles or two ints";
const BETWEEN: &str = "to say that x lies between two values, write a < x && x < b";
const ORDERED: &str = "only numbers are larger or smaller than others";
const ALIKE: &str = "only values of one kind can be equal";

/// An operator of two operands.
enum Two {
    Both,
    Either,
    Compared(Order),
    Worked(Sum),
}

fn two(name: &str) -> Option<(&'static str, Two)> {
    Some(match name {
        operators::LOGICAL_AND => ("&&", Two::Both),
        operators::LOGICAL_OR => ("||", Two::Either),
        operators::LESS => ("<", Two::Compared(Order::Below)),
        operators::LESS_EQUALS => ("<=", Two::Compared(Order::AtMost)),
        operators::EQUALS => ("==", Two::Compared(Order::Equal)),
        operators::NOT_EQUALS => ("!=", Two::Compared(Order::Unequal)),
        operators::GREATER_EQUALS => (">=", Two::Compared(Order::AtLeast)),
        operators::GREATER => (">", Two::Compared(Order::Above)),
        operators::ADD => ("+", Two::Worked(Sum::Plus)),
        operators::SUBSTRACT => ("-", Two::Worked(Sum::Minus)),
        operators::MULTIPLY => ("*", Two::Worked(Sum::Times)),
        operators::DIVIDE => ("/", Two::Worked(Sum::Over)),
        operators::MODULO => ("%", Two::Worked(Sum::Rest)),
        _ => return None,
    })
}

impl Check<'_> {
    /// What an operator makes; nothing where the call is none.
    pub(super) fn operator(&mut self, at: &IdedExpr, call: &CallExpr) -> Option<Option<Tree>> {
        match (call.func_name.as_str(), &call.args[..]) {
            (operators::LOGICAL_NOT, [part]) => Some(self.not(part)),
            (operators::NEGATE, [part]) => Some(self.minus(part)),
            (operators::CONDITIONAL, [when, then, otherwise]) => {
                Some(self.chosen(at, [when, then, otherwise]))
            }
            (operators::IN, [item, list]) => Some(self.among(at, item, list)),
            (operators::INDEX | operators::OPT_INDEX | operators::OPT_SELECT, _) => {
                let (what, instead) = ("[…] behind a value", "values have no parts here");
                Some(self.tell(at, OwnFault::NotHere { what, instead }))
            }
            (name, [left, right]) => {
                let (sign, operator) = two(name)?;
                Some(self.of_two(at, left, (sign, operator), right))
            }
            _ => None,
        }
    }

    fn not(&mut self, part: &IdedExpr) -> Option<Tree> {
        Some(Truth::Not(Box::new(self.truth(("!", TURNS), part)?)).into())
    }

    /// A part that must be true or false for the sake of an operator.
    fn truth(
        &mut self,
        (operator, wants): (&'static str, &'static str),
        at: &IdedExpr,
    ) -> Option<Truth> {
        match self.part(at)? {
            Tree::Truth(truth) => Some(truth),
            other => {
                let found = other.kind();
                self.tell(
                    at,
                    OwnFault::Operand {
                        operator,
                        found,
                        wants,
                    },
                )
            }
        }
    }

    fn minus(&mut self, at: &IdedExpr) -> Option<Tree> {
        match self.part(at)? {
            Tree::Number(number) => Some(Number::Minus(Box::new(number)).into()),
            Tree::Whole(whole) => Some(Whole::Minus(Box::new(whole)).into()),
            other => {
                let (operator, found) = ("-", other.kind());
                let wants = "it takes a number";
                self.tell(
                    at,
                    OwnFault::Operand {
                        operator,
                        found,
                        wants,
                    },
                )
            }
        }
    }

    fn chosen(&mut self, at: &IdedExpr, parts: [&IdedExpr; 3]) -> Option<Tree> {
        let [when, then, otherwise] = parts;
        let when = self.truth(("? :", CHOOSES), when);
        let (then, otherwise) = (self.part(then), self.part(otherwise));
        let (when, then, otherwise) = (when?, then?, otherwise?);
        Some(match (then, otherwise) {
            (Tree::Number(then), Tree::Number(otherwise)) => {
                Number::Chosen(Box::new((when, then, otherwise))).into()
            }
            (Tree::Whole(then), Tree::Whole(otherwise)) => {
                Whole::Chosen(Box::new((when, then, otherwise))).into()
            }
            (Tree::Truth(then), Tree::Truth(otherwise)) => {
                Truth::Chosen(Box::new((when, then, otherwise))).into()
            }
            (Tree::Word(then), Tree::Word(otherwise)) => {
                Word::Chosen(Box::new((when, then, otherwise))).into()
            }
            (then, otherwise) => {
                let wants = "both values to choose from must be of one kind";
                return self.tell(at, OwnFault::operands("? :", &then, &otherwise, wants));
            }
        })
    }

    fn of_two(
        &mut self,
        at: &IdedExpr,
        left: &IdedExpr,
        (sign, operator): (&'static str, Two),
        right: &IdedExpr,
    ) -> Option<Tree> {
        if let Two::Both | Two::Either = operator {
            let parts = (
                self.truth((sign, JOINS), left),
                self.truth((sign, JOINS), right),
            );
            let parts = Box::new((parts.0?, parts.1?));
            return Some(match operator {
                Two::Both => Truth::Both(parts).into(),
                _ => Truth::Either(parts).into(),
            });
        }
        let parts = (self.part(left), self.part(right));
        let parts = (parts.0?, parts.1?);
        let made = match operator {
            Two::Worked(sum) => worked(sign, sum, parts),
            Two::Compared(order) => {
                self.check_weekday(left, right, &parts)?;
                compared(sign, order, parts)
            }
            Two::Both | Two::Either => return None,
        };
        made.or_else(|fault| self.tell(at, fault).ok_or(())).ok()
    }

    /// A day of the week is compared with days only.
    fn check_weekday(
        &mut self,
        left: &IdedExpr,
        right: &IdedExpr,
        parts: &(Tree, Tree),
    ) -> Option<()> {
        match parts {
            (Tree::Word(Word::Asked(..)), Tree::Word(Word::Fixed(word))) => {
                self.is_weekday(right, word)
            }
            (Tree::Word(Word::Fixed(word)), Tree::Word(Word::Asked(..))) => {
                self.is_weekday(left, word)
            }
            _ => Some(()),
        }
    }

    fn is_weekday(&mut self, at: &IdedExpr, word: &str) -> Option<()> {
        if WEEKDAYS.contains(&word) {
            return Some(());
        }
        self.unknown(at, "day", word, WEEKDAYS.into_iter())
    }

    fn among(&mut self, at: &IdedExpr, item: &IdedExpr, list: &IdedExpr) -> Option<Tree> {
        let item_tree = self.part(item);
        let Expr::List(written) = &list.expr else {
            let (what, instead) = (
                "in before anything but a list",
                "write for example weekday in [\"sat\", \"sun\"]",
            );
            return self.tell(list, OwnFault::NotHere { what, instead });
        };
        let found = written.elements.len();
        if found > MOST_ITEMS || found == 0 {
            let most = MOST_ITEMS;
            let fault = match found {
                0 => OwnFault::EmptyList,
                found => OwnFault::TooMany {
                    of: "items in this list",
                    found,
                    most,
                },
            };
            return self.tell(list, fault);
        }
        let items: Vec<_> = written
            .elements
            .iter()
            .map(|element| self.item(element))
            .collect();
        let items: Option<Vec<_>> = items.into_iter().collect();
        let (item_tree, items) = (item_tree?, items?);
        match item_tree {
            Tree::Number(number) => self.among_numbers(at, number, &items),
            Tree::Whole(whole) => match wholes(&items) {
                Some(items) => Some(Truth::AmongWholes(Box::new(whole), items).into()),
                None => self.among_numbers(at, Number::OfWhole(Box::new(whole)), &items),
            },
            Tree::Word(word) => self.among_words(at, word, (&written.elements, &items)),
            Tree::Truth(_) => {
                let (operator, found) = ("in", item_tree.kind());
                let wants = "it looks for a number or a text in a list";
                self.tell(
                    item,
                    OwnFault::Operand {
                        operator,
                        found,
                        wants,
                    },
                )
            }
        }
    }

    fn item<'a>(&mut self, at: &'a IdedExpr) -> Option<&'a LiteralValue> {
        match &at.expr {
            Expr::Literal(
                literal
                @ (LiteralValue::Double(_) | LiteralValue::Int(_) | LiteralValue::String(_)),
            ) => Some(literal),
            _ => {
                let what = "anything but plain numbers and texts in a list";
                let instead = "write what is worked out as comparisons with ||";
                self.tell(at, OwnFault::NotHere { what, instead })
            }
        }
    }

    fn among_numbers(
        &mut self,
        at: &IdedExpr,
        number: Number,
        items: &[&LiteralValue],
    ) -> Option<Tree> {
        let numbers: Option<Vec<f64>> = items
            .iter()
            .map(|item| match item {
                LiteralValue::Double(number) => Some(*number.inner()),
                LiteralValue::Int(number) => Some(*number.inner() as f64),
                _ => None,
            })
            .collect();
        match numbers {
            Some(numbers) => Some(Truth::AmongNumbers(Box::new(number), numbers).into()),
            None => self.tell(at, OwnFault::ListOfOther),
        }
    }

    fn among_words(
        &mut self,
        at: &IdedExpr,
        word: Word,
        (elements, items): (&[IdedExpr], &[&LiteralValue]),
    ) -> Option<Tree> {
        let words: Option<Vec<Arc<str>>> = items
            .iter()
            .map(|item| match item {
                LiteralValue::String(word) => Some(word.inner().into()),
                _ => None,
            })
            .collect();
        let Some(words) = words else {
            return self.tell(at, OwnFault::ListOfOther);
        };
        if let Word::Asked(..) = word {
            for (element, day) in elements.iter().zip(&words) {
                self.is_weekday(element, day);
            }
        }
        Some(Truth::AmongWords(Box::new(word), words).into())
    }
}

fn wholes(items: &[&LiteralValue]) -> Option<Vec<i64>> {
    let wholes = items.iter().map(|item| match item {
        LiteralValue::Int(number) => Some(*number.inner()),
        _ => None,
    });
    wholes.collect()
}

fn worked(sign: &'static str, sum: Sum, parts: (Tree, Tree)) -> Result<Tree, OwnFault> {
    match parts {
        (Tree::Whole(left), Tree::Whole(right)) => {
            Ok(Whole::Worked(Box::new((left, sum, right))).into())
        }
        (Tree::Number(left), Tree::Number(right)) if sum != Sum::Rest => {
            Ok(Number::Worked(Box::new((left, sum, right))).into())
        }
        (left, right) => {
            let wants = match (&left, &right) {
                _ if sum == Sum::Rest => "it is the rest of a division of two ints",
                (Tree::Number(_), Tree::Whole(_)) | (Tree::Whole(_), Tree::Number(_)) => POINT,
                _ => NUMBERS,
            };
            Err(OwnFault::operands(sign, &left, &right, wants))
        }
    }
}

fn compared(sign: &'static str, order: Order, parts: (Tree, Tree)) -> Result<Tree, OwnFault> {
    let numbers = |left, right| Ok(Truth::Numbers(Box::new((left, order, right))).into());
    let as_number = |whole| Number::OfWhole(Box::new(whole));
    let equality = match order {
        Order::Equal => Some(true),
        Order::Unequal => Some(false),
        _ => None,
    };
    let turned = |same, equal: bool| match equal {
        true => Ok(Tree::Truth(same)),
        false => Ok(Truth::Not(Box::new(same)).into()),
    };
    match (parts, equality) {
        ((Tree::Number(left), Tree::Number(right)), _) => numbers(left, right),
        ((Tree::Number(left), Tree::Whole(right)), _) => numbers(left, as_number(right)),
        ((Tree::Whole(left), Tree::Number(right)), _) => numbers(as_number(left), right),
        ((Tree::Whole(left), Tree::Whole(right)), _) => {
            Ok(Truth::Wholes(Box::new((left, order, right))).into())
        }
        ((Tree::Truth(left), Tree::Truth(right)), Some(equal)) => {
            turned(Truth::Same(Box::new((left, right))), equal)
        }
        ((Tree::Word(left), Tree::Word(right)), Some(equal)) => {
            turned(Truth::SameWord(Box::new((left, right))), equal)
        }
        ((left, right), equality) => {
            let wants = match (&left, equality) {
                (Tree::Truth(_), None) => BETWEEN,
                (_, None) => ORDERED,
                (_, Some(_)) => ALIKE,
            };
            Err(OwnFault::operands(sign, &left, &right, wants))
        }
    }
}
