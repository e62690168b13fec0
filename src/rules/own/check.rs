//! From an expression to a tree of known kinds; everything that is wrong is
//! written down on the way.

use cel::common::ast::{CallExpr, Expr, IdedExpr, LiteralValue, SourceInfo};

use super::functions::OwnFunction;
use super::mistake::{OwnFault, OwnMistake};
use super::names::{Asked, OwnName};
use super::parse::mistake_at;
use super::tree::{Number, Place, Tree, Truth, Whole, Word};

/// How deep parts may stand in one another. Choice.
const DEEPEST: usize = 32;
/// Most steps of a rule. Choice: far more than rules of people, and nothing to
/// the daemon.
pub(super) const MOST_STEPS: u32 = 250;
/// Most different values that a rule may ask for: the bits that tell which of
/// them were looked at.
const MOST_QUESTIONS: usize = 64;

/// A value that a rule asks for.
#[derive(Debug)]
pub(super) struct Question {
    /// How it is written.
    pub(super) label: Box<str>,
    pub(super) unit: &'static str,
    pub(super) asked: Asked,
    /// The byte of the text at which it is asked for first.
    pub(super) at: usize,
    /// Whether the rule asks with `has_value` if it is there.
    pub(super) may_be_missing: bool,
}

/// The tree of the rule, and what it asks for.
pub(super) fn check(
    text: &str,
    expression: &IdedExpr,
    places: &SourceInfo,
) -> Result<(Truth, Vec<Question>), Vec<OwnMistake>> {
    let mut check = Check {
        text,
        places,
        depth: 0,
        questions: Vec::new(),
        mistakes: Vec::new(),
    };
    let tree = check.part(expression);
    let truth = tree.and_then(|tree| check.whole_rule(expression, tree));
    match truth {
        Some(truth) if check.mistakes.is_empty() => Ok((truth, check.questions)),
        _ => Err(check.into_mistakes()),
    }
}

/// The way through an expression.
pub(super) struct Check<'a> {
    text: &'a str,
    places: &'a SourceInfo,
    depth: usize,
    questions: Vec<Question>,
    mistakes: Vec<OwnMistake>,
}

impl Check<'_> {
    pub(super) fn tell<T>(&mut self, at: &IdedExpr, fault: OwnFault) -> Option<T> {
        let mistake = mistake_at(self.text, self.start(at), fault);
        self.mistakes.push(mistake);
        None
    }

    /// The byte at which a part begins; an operator stands where its sign does,
    /// and a call, for the library at its bracket, where its name does.
    fn start(&self, at: &IdedExpr) -> usize {
        let start = self.places.offset_for(at.id).map_or(0, |(start, _)| start);
        let start = usize::try_from(start).unwrap_or(0);
        let before = self.text.get(..start).unwrap_or_default().trim_end();
        match &at.expr {
            Expr::Call(call) if before.ends_with(&call.func_name) => match &call.target {
                Some(target) => self.start(target),
                None => before.len() - call.func_name.len(),
            },
            _ => start,
        }
    }

    fn into_mistakes(mut self) -> Vec<OwnMistake> {
        self.mistakes
            .sort_by_key(|mistake| (mistake.line, mistake.character));
        self.mistakes.dedup();
        self.mistakes
    }

    fn whole_rule(&mut self, at: &IdedExpr, tree: Tree) -> Option<Truth> {
        let truth = match tree {
            Tree::Truth(truth) => truth,
            other => return self.tell(at, OwnFault::NotTruth(other.kind())),
        };
        if self.questions.is_empty() {
            return self.tell(at, OwnFault::AsksNothing);
        }
        let found = truth.cost();
        if found > MOST_STEPS {
            let most = MOST_STEPS;
            let fault = OwnFault::TooDear { found, most };
            self.mistakes.push(mistake_at(self.text, 0, fault));
            return None;
        }
        Some(truth)
    }

    /// One part of the expression; nothing where something is wrong with it,
    /// which has been told then.
    pub(super) fn part(&mut self, at: &IdedExpr) -> Option<Tree> {
        if self.depth == DEEPEST {
            // Once is enough: what lies deeper is not looked at.
            let fault = OwnFault::TooDeep { most: DEEPEST };
            let told = self.mistakes.iter().any(|told| told.fault == fault);
            return match told {
                true => None,
                false => self.tell(at, fault),
            };
        }
        self.depth += 1;
        let part = self.part_within(at);
        self.depth -= 1;
        part
    }

    fn part_within(&mut self, at: &IdedExpr) -> Option<Tree> {
        let (what, instead) = match &at.expr {
            Expr::Literal(literal) => return self.literal(at, literal),
            Expr::Ident(name) => return self.value(at, name),
            Expr::Call(call) => return self.call(at, call),
            Expr::Select(select) if select.test => (
                "has(…)",
                "values have no parts here: write has_value(ph) with the name of a value",
            ),
            Expr::Select(_) => ("a part of a value", "values have no parts here"),
            Expr::List(_) => (
                "a list",
                "it can only stand behind in, as weekday in [\"sat\", \"sun\"]",
            ),
            Expr::Map(_) | Expr::Struct(_) => ("{…}", "there is nothing to look up in it"),
            Expr::Comprehension(_) => (
                "what goes through a list (all, exists, exists_one, map, filter)",
                "write the comparisons one by one with && and ||",
            ),
            Expr::Unspecified => ("this", "nothing is known of it"),
        };
        self.tell(at, OwnFault::NotHere { what, instead })
    }

    fn literal(&mut self, at: &IdedExpr, literal: &LiteralValue) -> Option<Tree> {
        let (what, instead) = match literal {
            LiteralValue::Boolean(truth) => return Some(Truth::Fixed(*truth.inner()).into()),
            LiteralValue::Double(number) if number.inner().is_finite() => {
                return Some(Number::Fixed(*number.inner()).into());
            }
            LiteralValue::Double(_) => return self.tell(at, OwnFault::Literal),
            LiteralValue::Int(number) => return Some(Whole::Fixed(*number.inner()).into()),
            LiteralValue::String(word) => return Some(Word::Fixed(word.inner().into()).into()),
            LiteralValue::UInt(_) => ("a number with u", "write it without the u"),
            LiteralValue::Bytes(_) => ("a text with b", "write it without the b"),
            LiteralValue::Null => (
                "null",
                "to ask whether a value is there, write has_value(…)",
            ),
        };
        self.tell(at, OwnFault::NotHere { what, instead })
    }

    fn value(&mut self, at: &IdedExpr, name: &str) -> Option<Tree> {
        let Some(known) = OwnName::find(name) else {
            return match OwnFunction::find(name) {
                Some(OwnFunction { name, takes, .. }) => {
                    self.tell(at, OwnFault::FunctionAlone { name, takes })
                }
                None => {
                    let known = OwnName::ALL.iter().map(|known| known.name);
                    self.unknown(at, "value", name, known)
                }
            };
        };
        let place = self.ask(at, name, known.unit, known.read.clone())?;
        Some(asked(place, &known.read))
    }

    /// Something that there is not.
    pub(super) fn unknown<T>(
        &mut self,
        at: &IdedExpr,
        kind: &'static str,
        found: &str,
        known: impl Iterator<Item = &'static str>,
    ) -> Option<T> {
        let fault = OwnFault::Unknown {
            kind,
            found: found.chars().take(40).collect(),
            known: known.collect(),
        };
        self.tell(at, fault)
    }

    /// Puts a question on the list, once.
    pub(super) fn ask(
        &mut self,
        at: &IdedExpr,
        label: &str,
        unit: &'static str,
        asked: Asked,
    ) -> Option<Place> {
        let known = self
            .questions
            .iter()
            .position(|known| *known.label == *label);
        let place = known.unwrap_or(self.questions.len());
        if place == MOST_QUESTIONS {
            let (of, most) = ("different values", MOST_QUESTIONS);
            let found = place + 1;
            return self.tell(at, OwnFault::TooMany { of, found, most });
        }
        if known.is_none() {
            self.questions.push(Question {
                label: label.into(),
                unit,
                asked,
                at: self.start(at),
                may_be_missing: false,
            });
        }
        Place::try_from(place).ok()
    }

    /// The rule goes on without this value where it is not there.
    pub(super) fn may_be_missing(&mut self, place: Place) {
        self.questions[usize::from(place)].may_be_missing = true;
    }

    fn call(&mut self, at: &IdedExpr, call: &CallExpr) -> Option<Tree> {
        if let Some(target) = &call.target {
            return match &target.expr {
                Expr::Ident(of) => self.function(at, &format!("{of}.{}", call.func_name), call),
                _ => {
                    let what = "a function of a value, as \"…\".contains(…),";
                    let instead = "see the README for the functions that there are";
                    self.tell(at, OwnFault::NotHere { what, instead })
                }
            };
        }
        match self.operator(at, call) {
            Some(tree) => tree,
            None => self.function(at, &call.func_name, call),
        }
    }
}

/// The part that asks for a value.
pub(super) fn asked(place: Place, asked: &Asked) -> Tree {
    match asked {
        Asked::Number(source) => Number::Asked(place, *source).into(),
        Asked::Whole(read) => Whole::Asked(place, *read).into(),
        Asked::Truth(source) => Truth::Asked(place, source.clone()).into(),
        Asked::Weekday(read) => Word::Asked(place, *read).into(),
    }
}
