//! The names of what can be wrong.

use std::fmt;
use std::sync::Arc;

use serde::{Serialize, Serializer};

use crate::model::Mineral;
use crate::units::Quantity;

use super::{Check, LimitLevel, PlanStep, Step};

/// What can be wrong with a sump, or with the plant. Written
/// `concentration.low`, `silent.<channel>`, `loss`, `source.<name>`.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum Condition {
    /// A signal is outside one of its limits.
    Limit(Quantity, LimitLevel),
    /// A channel gave no usable reading for too long.
    Silent(Arc<str>),
    /// A channel and a hand reading contradict each other.
    Disagrees(Arc<str>),
    /// A channel's instrument asks for somebody.
    Instrument(Arc<str>),
    /// More is lost than usual.
    Loss,
    /// More comes in than anybody wrote down.
    Gain,
    /// A dose did not bring what was reckoned.
    DoseMissed,
    /// What somebody wrote down is not what the readings show.
    Contradicted,
    /// A mixer gives another strength than it is set to.
    Mixer,
    /// A rule of the plant's own holds.
    Own(Arc<str>),
    /// A mineral of the mix is above one of its bounds.
    Mineral(Mineral, Step),
    /// Conductivity is that far above its base line.
    Excess(Step),
    /// There are signs of souring.
    Souring(Step),
    /// Tramp oil falsifies the refractometer.
    TrampOil,
    /// The refractometer and another method part, and not by tramp oil.
    Factor,
    /// A source of readings is gone, and with it all its channels; of the plant.
    Source(Arc<str>),
    /// A signal will be beyond one of its limits before long.
    Ahead(Quantity, LimitLevel),
    /// A check of the plan is overdue.
    Overdue(Check),
    /// Nitrite stands where the test plans say what is to be done.
    Nitrite(PlanStep),
    /// pH has fallen since the first fill so far that they do.
    PhDrop(PlanStep),
    /// The concentrate of a fluid in stock runs out; of the plant.
    Stock(Arc<str>),
}

impl Condition {
    /// Whether a dose is what this calls for.
    pub fn calls_for_dose(&self) -> bool {
        match self {
            Condition::Limit(Quantity::Concentration, _) => true,
            Condition::Limit(Quantity::Volume, level) => level.is_low(),
            _ => false,
        }
    }

    /// The name without the channel or whatever else it is about: what messages
    /// have words for.
    pub fn kind(&self) -> &'static str {
        match self {
            Condition::Limit(..) => "limit",
            Condition::Silent(_) => "silent",
            Condition::Disagrees(_) => "disagrees",
            Condition::Instrument(_) => "instrument",
            Condition::Loss => "loss",
            Condition::Gain => "gain",
            Condition::DoseMissed => "dose_missed",
            Condition::Contradicted => "contradicted",
            Condition::Mixer => "mixer",
            Condition::Overdue(_) => "overdue",
            Condition::Nitrite(_) => "nitrite",
            Condition::PhDrop(_) => "ph_drop",
            Condition::Own(_) => "own",
            Condition::Source(_) => "source",
            Condition::Stock(_) => "stock",
            Condition::Mineral(..) => "mineral",
            Condition::Excess(_) => "excess",
            Condition::Souring(_) => "souring",
            Condition::TrampOil => "tramp_oil",
            Condition::Factor => "factor",
            Condition::Ahead(..) => "ahead",
        }
    }

    /// The conditions that tell of the same thing and of more: while one of them
    /// is told, this one need not be.
    pub fn covered_by(&self) -> Vec<Condition> {
        let limit = |quantity, level| Condition::Limit(quantity, level);
        let both = |quantity, level: LimitLevel| {
            let more = level.is_low().then_some(LimitLevel::LowLow);
            let more = more.unwrap_or(LimitLevel::HighHigh);
            vec![limit(quantity, level), limit(quantity, more)]
        };
        match *self {
            Condition::Limit(quantity, LimitLevel::Low) => {
                vec![limit(quantity, LimitLevel::LowLow)]
            }
            Condition::Limit(quantity, LimitLevel::High) => {
                vec![limit(quantity, LimitLevel::HighHigh)]
            }
            Condition::Mineral(mineral, Step::Watch) => {
                vec![Condition::Mineral(mineral, Step::Act)]
            }
            Condition::Excess(step) => {
                let mut more = both(Quantity::Conductivity, LimitLevel::High);
                more.extend((step == Step::Watch).then_some(Condition::Excess(Step::Act)));
                more
            }
            Condition::Ahead(signal, level) => match Mineral::read_as(signal) {
                Some(mineral) => [Step::Watch, Step::Act]
                    .map(|step| Condition::Mineral(mineral, step))
                    .to_vec(),
                None => both(signal, level),
            },
            // What a low pH may mean stands with it.
            Condition::Souring(Step::Watch) => {
                let mut more = both(Quantity::Ph, LimitLevel::Low);
                more.push(Condition::Souring(Step::Act));
                more
            }
            _ => Vec::new(),
        }
    }
}

impl fmt::Display for Condition {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Condition::Limit(quantity, level) => write!(f, "{quantity}.{}", level.name()),
            Condition::Silent(name)
            | Condition::Disagrees(name)
            | Condition::Instrument(name)
            | Condition::Own(name)
            | Condition::Source(name)
            | Condition::Stock(name) => {
                write!(f, "{}.{name}", self.kind())
            }
            Condition::Overdue(check) => write!(f, "{}.{}", self.kind(), check.name()),
            Condition::Nitrite(step) | Condition::PhDrop(step) => {
                write!(f, "{}.{}", self.kind(), step.name())
            }
            Condition::Mineral(mineral, step) => {
                let level = match step {
                    Step::Watch => LimitLevel::High,
                    Step::Act => LimitLevel::HighHigh,
                };
                write!(f, "{}.{}", mineral.quantity(), level.name())
            }
            Condition::Excess(Step::Watch) => f.write_str("conductivity.excess"),
            Condition::Excess(Step::Act) => f.write_str("conductivity.excess_high"),
            Condition::Souring(Step::Watch) => f.write_str("souring.suspected"),
            Condition::Souring(Step::Act) => f.write_str("souring.likely"),
            Condition::Ahead(quantity, level) => write!(f, "{quantity}.{}_ahead", level.name()),
            _ => f.write_str(self.kind()),
        }
    }
}

impl Serialize for Condition {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}
