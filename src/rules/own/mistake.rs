//! What can be wrong with a rule of a plant's own, and where.

use std::fmt;

use crate::units::nearest;

use super::kind::Kind;
use super::tree::Tree;

/// One mistake in a rule.
#[derive(Debug, Clone, PartialEq)]
pub struct OwnMistake {
    /// Line of the rule, from 1.
    pub line: usize,
    /// Character of that line, from 1.
    pub character: usize,
    /// What is wrong.
    pub fault: OwnFault,
}

impl fmt::Display for OwnMistake {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.line > 1 {
            write!(f, "line {}, ", self.line)?;
        }
        write!(f, "character {}: {}", self.character, self.fault)
    }
}

impl std::error::Error for OwnMistake {}

/// What is wrong.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum OwnFault {
    /// Nothing is written.
    #[error("the rule is empty; write for example concentration < 5.0 && pumps_run")]
    Empty,
    /// A text beyond what is read, in bytes.
    #[error("the rule has {found} bytes; at most {most} are allowed, so make two rules of it")]
    TooLong {
        /// How many it has.
        found: usize,
        /// How many it may have.
        most: usize,
    },
    /// More signs of a kind than are read.
    #[error("the rule has {found} {of}; at most {most} are allowed, so make two rules of it")]
    TooMany {
        /// What there is too much of.
        of: &'static str,
        /// How much there is.
        found: usize,
        /// How much there may be.
        most: usize,
    },
    /// Parts within parts.
    #[error("parts stand more than {most} deep in one another here; make two rules of it")]
    TooDeep {
        /// How deep they may stand.
        most: usize,
    },
    /// Too much to work out.
    #[error(
        "the rule takes {found} steps to work out; at most {most} are allowed, so make two rules of it"
    )]
    TooDear {
        /// What it takes.
        found: u32,
        /// What it may take.
        most: u32,
    },
    /// A text that stops in the middle.
    #[error("the rule ends here, and something is missing: a value, or a closing bracket or quote{}", .hint.unwrap_or_default())]
    EndsEarly {
        /// What was probably meant.
        hint: Option<&'static str>,
    },
    /// Something that fits nowhere.
    #[error("\"{found}\" cannot stand here{}", .hint.unwrap_or_default())]
    Stray {
        /// What was found.
        found: String,
        /// What was probably meant.
        hint: Option<&'static str>,
    },
    /// Whatever else the grammar forbids.
    #[error("{0}")]
    Syntax(String),
    /// A number that cannot be held.
    #[error("this number is larger than can be counted with")]
    Literal,
    /// A part of the language that rules do not have.
    #[error("{what} cannot be used in rules; {instead}")]
    NotHere {
        /// The part.
        what: &'static str,
        /// What to write.
        instead: &'static str,
    },
    /// A name of nothing.
    #[error("there is no {kind} \"{found}\"{}", offer(.found, .known))]
    Unknown {
        /// What is looked for.
        kind: &'static str,
        /// What was found.
        found: String,
        /// Every one that there is.
        known: Vec<&'static str>,
    },
    /// A function's name without brackets.
    #[error("{name} is a function; write {name}(…) with {takes}")]
    FunctionAlone {
        /// Its name.
        name: &'static str,
        /// What it takes.
        takes: &'static str,
    },
    /// A value with brackets.
    #[error("{0} is a value, not a function; write it without the brackets")]
    ValueCalled(&'static str),
    /// A function called with something else than it takes.
    #[error("{name} takes {takes}")]
    Argument {
        /// Its name.
        name: &'static str,
        /// What it takes.
        takes: &'static str,
    },
    /// An operator between kinds that do not go together.
    #[error("{operator} does not go with {left} and {right}; {wants}")]
    Operands {
        /// How it is written.
        operator: &'static str,
        /// Kind of what stands before it.
        left: Kind,
        /// Kind of what stands behind it.
        right: Kind,
        /// What goes.
        wants: &'static str,
    },
    /// An operator before something that it does not go with.
    #[error("{operator} does not go with {found}; {wants}")]
    Operand {
        /// How it is written.
        operator: &'static str,
        /// Kind of what it stands before.
        found: Kind,
        /// What goes.
        wants: &'static str,
    },
    /// A list with nothing in it.
    #[error("the list is empty, so nothing is ever in it")]
    EmptyList,
    /// A list with items of another kind than what is looked for.
    #[error("the list holds another kind of values than what is looked for in it")]
    ListOfOther,
    /// A text that no condition can have as its name.
    #[error(
        "\"{0}\" is no name of a condition; write it as in topics, for example \"concentration.low\""
    )]
    BadCondition(String),
    /// An alarm of the plant, not of a sump.
    #[error("\"{0}\" is an alarm of the plant; a rule can ask for alarms of its sump only")]
    OfPlant(String),
    /// An alarm that no sump of the rule can have.
    #[error("there is no alarm \"{found}\" at the sumps of this rule{}", offer_alarm(.found, .known))]
    NoSuchAlarm {
        /// What was found.
        found: String,
        /// Every one that there is.
        known: Vec<String>,
    },
    /// A signal that no sump of the rule measures.
    #[error(
        "no sump of this rule has a channel that measures {0}, so that the rule says nothing of \
         it; add one, or ask with has_value(…) where it may be missing"
    )]
    NotMeasured(String),
    /// A rule that is not true or false.
    #[error(
        "the rule must be true or false (bool), and this is {0}; compare it with something, as concentration < 5.0"
    )]
    NotTruth(Kind),
    /// A rule that asks for nothing.
    #[error(
        "the rule asks for no value, so it would always say the same; see the README for the values"
    )]
    AsksNothing,
}

fn offer(found: &str, known: &[&'static str]) -> String {
    match nearest(found, known.iter().copied()) {
        Some(word) => format!("; did you mean \"{word}\"?"),
        None if known.len() <= 20 => format!("; there are {}", known.join(", ")),
        None => "; they are listed in the README under \"Own rules\"".to_owned(),
    }
}

/// The nearest name; else those that begin as it does.
fn offer_alarm(found: &str, known: &[String]) -> String {
    const MOST: usize = 8;
    if let Some(name) = nearest(found, known.iter().map(String::as_str)) {
        return format!("; did you mean \"{name}\"?");
    }
    let first = |name: &str| name.split('.').next().map(str::to_owned);
    let alike = known.iter().filter(|name| first(name) == first(found));
    let alike: Vec<&str> = alike.map(String::as_str).take(MOST).collect();
    match alike.is_empty() {
        true => "; write it as in topics, for example \"concentration.low\"".to_owned(),
        false => format!("; there are {}", alike.join(", ")),
    }
}

impl OwnFault {
    pub(super) fn operands(
        operator: &'static str,
        left: &Tree,
        right: &Tree,
        wants: &'static str,
    ) -> Self {
        OwnFault::Operands {
            operator,
            left: left.kind(),
            right: right.kind(),
            wants,
        }
    }
}
