//! The names of what can be wrong.

use std::fmt;
use std::sync::Arc;

use serde::{Serialize, Serializer};

use crate::model::Mineral;
use crate::units::Quantity;

use super::{Charted, Check, Direction, LimitLevel, PlanStep, Step};

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
    /// Tramp oil falsifies the refractometer, or seems to.
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
    /// A server of series does not get what is stored; of the plant.
    Forward(Arc<str>),
    /// The disk is too full for the store; of the plant.
    Disk,
    /// Sumps are not in order at the start after a stand-still; of the plant.
    StartUp,
    /// A signal moves faster than it should.
    Rate(Quantity, Direction),
    /// What a control chart is kept of has moved away from what is usual.
    Shifted(Charted),
    /// The pumps stand while people work.
    PumpsStopped,
}

impl Condition {
    /// First words of the conditions that are the plant's and no sump's.
    pub const OF_PLANT: [&str; 5] = ["source", "stock", "forward", "disk", "start_up"];

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
            Condition::Forward(_) => "forward",
            Condition::Disk => "disk",
            Condition::StartUp => "start_up",
            Condition::Mineral(..) => "mineral",
            Condition::Excess(_) => "excess",
            Condition::Souring(_) => "souring",
            Condition::TrampOil => "tramp_oil",
            Condition::Factor => "factor",
            Condition::Ahead(..) => "ahead",
            Condition::Rate(..) => "rate",
            Condition::Shifted(_) => "shifted",
            Condition::PumpsStopped => "pumps",
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
                None => {
                    let mut more = both(signal, level);
                    let towards = match level.is_low() {
                        true => Direction::Falling,
                        false => Direction::Rising,
                    };
                    more.push(Condition::Rate(signal, towards));
                    // Who is called for signs of souring looks at pH first.
                    if (signal, towards) == (Quantity::Ph, Direction::Falling) {
                        more.extend([Step::Act, Step::Watch].map(Condition::Souring));
                    }
                    more
                }
            },
            Condition::Rate(signal, direction) => {
                let (level, moved) = match direction {
                    Direction::Falling => (LimitLevel::Low, Condition::Loss),
                    Direction::Rising => (LimitLevel::High, Condition::Gain),
                };
                let mut more = both(signal, level);
                more.extend((signal == Quantity::Volume).then_some(moved));
                more
            }
            Condition::Shifted(of) => shifts_covered_by(of),
            // What a low pH may mean stands with it.
            Condition::Souring(Step::Act) => vec![limit(Quantity::Ph, LimitLevel::LowLow)],
            Condition::Souring(Step::Watch) => {
                let mut more = both(Quantity::Ph, LimitLevel::Low);
                more.push(Condition::Souring(Step::Act));
                more
            }
            _ => Vec::new(),
        }
    }
}

/// What tells of a shift too, and of more: the limits of its signal, what pH says
/// by itself, and what the pairs of methods say.
fn shifts_covered_by(of: Charted) -> Vec<Condition> {
    let limits = |signal| LimitLevel::ALL.map(|level| Condition::Limit(signal, level));
    match of {
        Charted::Concentration => limits(Quantity::Concentration).to_vec(),
        Charted::Ph => {
            let of_plan = [PlanStep::Act, PlanStep::Watch].map(Condition::PhDrop);
            let souring = [Step::Act, Step::Watch].map(Condition::Souring);
            let others = of_plan.into_iter().chain(souring);
            limits(Quantity::Ph).into_iter().chain(others).collect()
        }
        Charted::RefractiveFactor => vec![Condition::Factor, Condition::TrampOil],
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
            | Condition::Stock(name)
            | Condition::Forward(name) => {
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
            Condition::Rate(quantity, direction) => write!(f, "{quantity}.{}", direction.name()),
            Condition::Shifted(of) => write!(f, "{}.shifted", of.name()),
            Condition::PumpsStopped => f.write_str("pumps.stopped"),
            _ => f.write_str(self.kind()),
        }
    }
}

impl Serialize for Condition {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every condition that another may tell of better.
    fn covered() -> Vec<Condition> {
        let signals = [
            Quantity::Concentration,
            Quantity::Ph,
            Quantity::Conductivity,
            Quantity::Temperature,
            Quantity::Volume,
        ];
        let levels = signals.into_iter().flat_map(|signal| {
            LimitLevel::ALL.into_iter().flat_map(move |level| {
                [
                    Condition::Limit(signal, level),
                    Condition::Ahead(signal, level),
                ]
            })
        });
        let rates = signals
            .into_iter()
            .flat_map(|signal| Direction::ALL.map(|direction| Condition::Rate(signal, direction)));
        let charts = [
            Charted::Concentration,
            Charted::Ph,
            Charted::RefractiveFactor,
        ];
        let steps = [Step::Watch, Step::Act];
        let steps = steps.into_iter().flat_map(|step| {
            let minerals = Mineral::ALL.map(|mineral| Condition::Mineral(mineral, step));
            let others = [Condition::Excess(step), Condition::Souring(step)];
            minerals.into_iter().chain(others)
        });
        levels
            .chain(rates)
            .chain(charts.map(Condition::Shifted))
            .chain(steps)
            .chain([Condition::Factor, Condition::TrampOil])
            .collect()
    }

    /// Or two alarms would suppress each other, and nobody be told.
    #[test]
    fn nothing_covers_itself_over_others() {
        for condition in covered() {
            let (mut seen, mut left) = (Vec::new(), condition.covered_by());
            while let Some(worse) = left.pop() {
                assert_ne!(worse, condition);
                if !seen.contains(&worse) {
                    left.extend(worse.covered_by());
                    seen.push(worse);
                }
            }
        }
    }

    #[test]
    fn conditions_of_the_plant_begin_with_its_words() {
        let name = || Arc::<str>::from("a");
        let of_plant = [
            Condition::Source(name()),
            Condition::Stock(name()),
            Condition::Forward(name()),
            Condition::Disk,
            Condition::StartUp,
        ];
        assert_eq!(of_plant.map(|one| one.kind()), Condition::OF_PLANT);
    }

    #[test]
    fn what_moves_is_named_by_its_way() {
        let names = [
            Condition::Rate(Quantity::Ph, Direction::Falling),
            Condition::Rate(Quantity::Volume, Direction::Rising),
            Condition::Shifted(Charted::RefractiveFactor),
            Condition::PumpsStopped,
        ]
        .map(|condition| condition.to_string());
        let expected = [
            "ph.falling",
            "volume.rising",
            "refractive_factor.shifted",
            "pumps.stopped",
        ];
        assert_eq!(names, expected);
    }
}
