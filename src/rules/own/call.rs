//! Calls of the functions that rules may call.

use cel::common::ast::{CallExpr, Expr, IdedExpr, LiteralValue};

use crate::units::Quantity;

use super::super::Condition;
use super::check::{Check, asked};
use super::functions::{Function, OwnFunction};
use super::mistake::OwnFault;
use super::names::{Asked, NumberSource, OwnEntry, OwnName, TruthSource};
use super::tree::{Number, Pick, Tree, Truth, Whole};

/// Most numbers to pick one from. Choice.
const MOST_PICKED: usize = 8;
/// Longest name of an alarm, in bytes: its first word, and a name of 64 with what
/// goes with it.
const LONGEST_CONDITION: usize = 130;

impl Check<'_> {
    /// What a function makes.
    pub(super) fn function(&mut self, at: &IdedExpr, name: &str, call: &CallExpr) -> Option<Tree> {
        let Some(function) = OwnFunction::find(name) else {
            return match OwnName::find(name) {
                Some(known) => self.tell(at, OwnFault::ValueCalled(known.name)),
                None => {
                    let known = OwnFunction::ALL.iter().map(|known| known.name);
                    self.unknown(at, "function", name, known)
                }
            };
        };
        let args = &call.args[..];
        match (function.is, args) {
            (Function::HasValue, [value]) => self.has_value(function, value),
            (Function::Active | Function::SinceReading | Function::SinceEntry, [word]) => {
                let (label, unit, what) = self.asked_by_word(function, word)?;
                let place = self.ask(word, &label, unit, what.clone())?;
                Some(asked(place, &what))
            }
            (Function::Double, [part]) => self.double(function, part),
            (Function::Int, [part]) => self.int(function, part),
            (Function::Abs, [part]) => self.unsigned(function, part),
            (Function::Greatest, [_, ..]) => self.picked(at, function, Pick::Greatest, args),
            (Function::Least, [_, ..]) => self.picked(at, function, Pick::Least, args),
            _ => self.wrong(at, function),
        }
    }

    fn wrong<T>(&mut self, at: &IdedExpr, function: &OwnFunction) -> Option<T> {
        let OwnFunction { name, takes, .. } = *function;
        self.tell(at, OwnFault::Argument { name, takes })
    }

    /// What a function asks for by its word: how it is written, its unit, and
    /// what it is.
    fn asked_by_word(
        &mut self,
        function: &OwnFunction,
        at: &IdedExpr,
    ) -> Option<(String, &'static str, Asked)> {
        let Expr::Literal(LiteralValue::String(word)) = &at.expr else {
            return self.wrong(at, function);
        };
        let word = word.inner();
        let (unit, what) = match function.is {
            Function::SinceReading => {
                let found = Quantity::ALL.into_iter().find(|known| known.name() == word);
                let Some(quantity) = found else {
                    let known = Quantity::ALL.into_iter().map(Quantity::name);
                    return self.unknown(at, "quantity", word, known);
                };
                let source = NumberSource::SinceReading(quantity);
                ("min", Asked::Number(source))
            }
            Function::SinceEntry => {
                let found = OwnEntry::ALL.into_iter().find(|known| known.name() == word);
                let Some(entry) = found else {
                    let known = OwnEntry::ALL.into_iter().map(OwnEntry::name);
                    return self.unknown(at, "kind of entry", word, known);
                };
                let source = NumberSource::SinceEntry(entry);
                ("min", Asked::Number(source))
            }
            _ => {
                self.is_condition(at, word)?;
                ("", Asked::Truth(TruthSource::Active(word.into())))
            }
        };
        Some((format!("{}(\"{word}\")", function.name), unit, what))
    }

    /// Whether an alarm of a sump can have this name: words with points between
    /// them. Which there are depends on the sump.
    fn is_condition(&mut self, at: &IdedExpr, name: &str) -> Option<()> {
        let of_word =
            |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_' || c == '-';
        let is_word = |word: &str| !word.is_empty() && word.chars().all(of_word);
        let shown = || name.chars().take(40).collect();
        if name.len() > LONGEST_CONDITION || !name.split('.').all(is_word) {
            return self.tell(at, OwnFault::BadCondition(shown()));
        }
        let first = name.split('.').next().unwrap_or_default();
        if Condition::OF_PLANT.contains(&first) {
            return self.tell(at, OwnFault::OfPlant(shown()));
        }
        Some(())
    }

    fn has_value(&mut self, function: &OwnFunction, at: &IdedExpr) -> Option<Tree> {
        let (label, unit, what) = match &at.expr {
            Expr::Ident(name) => {
                // Told there if there is no such value.
                self.part(at)?;
                let known = OwnName::find(name)?;
                (name.clone(), known.unit, known.read.clone())
            }
            Expr::Call(call) if call.target.is_none() => match OwnFunction::find(&call.func_name) {
                Some(inner)
                    if matches!(inner.is, Function::SinceReading | Function::SinceEntry) =>
                {
                    let [word] = &call.args[..] else {
                        return self.wrong(at, inner);
                    };
                    self.asked_by_word(inner, word)?
                }
                _ => return self.wrong(at, function),
            },
            _ => return self.wrong(at, function),
        };
        let place = self.ask(at, &label, unit, what.clone())?;
        self.may_be_missing(place);
        Some(Truth::HasValue(place, what).into())
    }

    fn double(&mut self, function: &OwnFunction, at: &IdedExpr) -> Option<Tree> {
        match self.part(at)? {
            Tree::Whole(whole) => Some(Number::OfWhole(Box::new(whole)).into()),
            number @ Tree::Number(_) => Some(number),
            _ => self.wrong(at, function),
        }
    }

    fn int(&mut self, function: &OwnFunction, at: &IdedExpr) -> Option<Tree> {
        match self.part(at)? {
            Tree::Number(number) => Some(Whole::OfNumber(Box::new(number)).into()),
            whole @ Tree::Whole(_) => Some(whole),
            _ => self.wrong(at, function),
        }
    }

    fn unsigned(&mut self, function: &OwnFunction, at: &IdedExpr) -> Option<Tree> {
        match self.part(at)? {
            Tree::Number(number) => Some(Number::Unsigned(Box::new(number)).into()),
            Tree::Whole(whole) => Some(Whole::Unsigned(Box::new(whole)).into()),
            _ => self.wrong(at, function),
        }
    }

    fn picked(
        &mut self,
        at: &IdedExpr,
        function: &OwnFunction,
        pick: Pick,
        args: &[IdedExpr],
    ) -> Option<Tree> {
        if args.len() > MOST_PICKED {
            return self.wrong(at, function);
        }
        let parts: Vec<Option<Tree>> = args.iter().map(|arg| self.part(arg)).collect();
        let parts: Vec<Tree> = parts.into_iter().collect::<Option<_>>()?;
        let (mut numbers, mut wholes) = (Vec::new(), Vec::new());
        for part in parts {
            match part {
                Tree::Number(number) => numbers.push(number),
                Tree::Whole(whole) => wholes.push(whole),
                _ => return self.wrong(at, function),
            }
        }
        match (numbers.is_empty(), wholes.is_empty()) {
            (false, true) => {
                let first = Box::new(numbers.remove(0));
                Some(Number::Of(pick, first, numbers).into())
            }
            (true, false) => {
                let first = Box::new(wholes.remove(0));
                Some(Whole::Of(pick, first, wholes).into())
            }
            _ => self.wrong(at, function),
        }
    }
}
