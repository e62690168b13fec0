//! A plant's own rules, in the Common Expression Language.
//!
//! ```text
//! text ─ parse ─▶ expression ─ check ─▶ tree of known kinds ─ evaluate ─▶ true, false, nothing to say
//! ```
//!
//! Promises: a rule that was compiled cannot fail when it is worked out: names,
//! kinds and functions are checked before, what it takes is bounded, and
//! nothing in it can repeat. A value that is not there makes the rule say
//! nothing, unless the rest settles it. Asks of its caller: a stack of
//! [`OwnRule::STACK`] to read a rule on. Refuses: whatever of the language could
//! repeat (`all`, `exists`, `map`), maps and messages, times and patterns.

mod call;
mod check;
mod cost;
mod evaluate;
mod functions;
mod kind;
mod mistake;
mod names;
mod operator;
mod parse;
mod reads;
#[cfg(test)]
mod tests;
mod tree;

use std::sync::Arc;

use crate::alarm::Verdict;

pub use evaluate::OwnLack;
pub use functions::{Origin, OwnFunction};
pub use kind::{Kind, OwnValue};
pub use mistake::{OwnFault, OwnMistake};
pub use names::{OwnEntry, OwnInputs, OwnName, WEEKDAYS};
pub use reads::{OwnReach, OwnRead};

use check::Question;
use evaluate::Look;
use tree::Truth;

/// A rule, checked; copies share it.
#[derive(Debug, Clone)]
pub struct OwnRule(Arc<Checked>);

#[derive(Debug)]
struct Checked {
    text: Box<str>,
    holds: Truth,
    questions: Vec<Question>,
    cost: u32,
}

/// What a rule says at one time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OwnVerdict {
    /// Outside where the rule holds, inside where it does not, unknown where it
    /// has nothing to say.
    pub verdict: Verdict,
    /// Why it has nothing to say.
    pub lack: Option<OwnLack>,
    /// One bit for each question of the rule that was looked at.
    looked_at: u64,
}

/// A value that a rule looked at.
#[derive(Debug, Clone, PartialEq)]
pub struct OwnEvidence<'a> {
    /// How the rule asks for it: a name, or a function with its word.
    pub asked: &'a str,
    /// What it was; `None` where it was not there.
    pub value: Option<OwnValue>,
    /// Its unit; empty where it has none.
    pub unit: &'static str,
}

impl OwnRule {
    /// Bytes of stack that [`OwnRule::compile`] takes at most; a thread has less by
    /// default.
    pub const STACK: usize = parse::STACK;

    /// Reads and checks a rule, on a stack of [`OwnRule::STACK`].
    ///
    /// # Errors
    /// Everything that is wrong with it, in the order of the text; where it
    /// cannot be read, only the first.
    pub fn compile(text: &str) -> Result<OwnRule, Vec<OwnMistake>> {
        let (expression, places) = parse::parse(text)?;
        let (holds, questions) = check::check(text, &expression, &places)?;
        Ok(OwnRule(Arc::new(Checked {
            text: text.into(),
            cost: holds.cost(),
            holds,
            questions,
        })))
    }

    /// As it is written.
    pub fn text(&self) -> &str {
        &self.0.text
    }

    /// Most steps that working it out takes.
    pub fn cost(&self) -> u32 {
        self.0.cost
    }

    /// Everything that it may ask for.
    pub fn asks(&self) -> impl Iterator<Item = &str> {
        self.0.questions.iter().map(|question| &*question.label)
    }

    /// What it says of these values.
    pub fn verdict(&self, inputs: &OwnInputs) -> OwnVerdict {
        let look = Look::at(inputs);
        let (verdict, lack) = match self.0.holds.work_out(&look) {
            Ok(true) => (Verdict::Outside, None),
            Ok(false) => (Verdict::Inside, None),
            Err(lack) => (Verdict::Unknown, Some(lack)),
        };
        OwnVerdict {
            verdict,
            lack,
            looked_at: look.looked_at(),
        }
    }

    /// What it looked at to say that, of the same values, in the order in which
    /// they stand in the rule.
    pub fn evidence<'a>(
        &'a self,
        verdict: OwnVerdict,
        inputs: &'a OwnInputs,
    ) -> impl Iterator<Item = OwnEvidence<'a>> {
        let questions = self.0.questions.iter().enumerate();
        let looked_at = questions.filter(move |(place, _)| verdict.looked_at >> place & 1 == 1);
        looked_at.map(|(_, question)| OwnEvidence {
            asked: &question.label,
            value: question.asked.read(inputs),
            unit: question.unit,
        })
    }
}

impl PartialEq for OwnRule {
    fn eq(&self, other: &Self) -> bool {
        self.0.text == other.0.text
    }
}
