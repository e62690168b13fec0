//! What is judged from time to time, with what it is held against.

use std::sync::Arc;

use jiff::tz::TimeZone;
use serde::Serialize;

use crate::alarm::{AlarmManner, Priority};
use crate::model::Mineral;
use crate::units::{Quantity, Span};

use super::own::OwnRule;
use super::{ChartRule, Condition, LimitLevel, PlanStep, PlannedCheck, RateRule, Step};

/// A rule over signals and model. What it is held against comes from the
/// settings.
#[derive(Debug, Clone, PartialEq)]
pub enum Rule {
    /// The instrument of this channel asks for somebody, by its NE 107 status.
    Instrument {
        /// The channel.
        channel: Arc<str>,
    },
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
    /// A check of the plan is overdue.
    Overdue(PlannedCheck),
    /// Nitrite stands where the test plans say what is to be done.
    Nitrite(PlanStep),
    /// pH has fallen since the first fill so far that they do.
    PhDrop(PlanStep),
    /// The mix holds more of a mineral than it should.
    Mineral(Mineral, Step),
    /// Conductivity is above what the concentration accounts for.
    Excess(Step),
    /// There are signs of souring.
    Souring(Step),
    /// Tramp oil falsifies the refractometer, or seems to.
    TrampOil,
    /// The refractometer and another method part, and not by tramp oil.
    Factor,
    /// A signal will be beyond a limit before long.
    Ahead {
        /// The signal.
        signal: Quantity,
        /// The limit.
        level: LimitLevel,
        /// Told when it is reached within so long.
        within: Span,
    },
    /// A signal moves too fast.
    Rate(RateRule),
    /// What a control chart is kept of has moved away from what is usual.
    Shifted(ChartRule),
    /// The pumps have stood for longer than this while people work.
    PumpsStopped {
        /// Of one stretch of work.
        after: Span,
    },
    /// What the plant has written itself.
    Own(Arc<OwnAlarm>),
}

/// A rule of the plant's own, with what people are told when it holds.
#[derive(Debug, Clone, PartialEq)]
pub struct OwnAlarm {
    /// Its name in settings.
    pub name: Arc<str>,
    /// When it is to be.
    pub rule: OwnRule,
    /// By whose clocks hours and weekdays go.
    pub zone: TimeZone,
    /// What its alarm is suppressed for.
    pub suppressed_by: OwnSuppressors,
    /// What is told.
    pub words: Arc<OwnWords>,
}

/// What the alarm of a rule of the plant's own is suppressed for, as far as the rule
/// reads what that falsifies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OwnSuppressors {
    /// The sources of all channels that it reads are gone.
    pub source_gone: bool,
    /// The sump is being cleaned out or filled anew.
    pub recharge: bool,
}

impl OwnSuppressors {
    /// All of them, as of the other rules.
    pub const ALL: OwnSuppressors = OwnSuppressors {
        source_gone: true,
        recharge: true,
    };
}

/// What people are told of a rule of the plant's own.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct OwnWords {
    /// Its name as people say it.
    pub title: String,
    /// What goes out with the alarm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub message: Option<String>,
    /// What to look at first.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub look_at: Vec<String>,
}

impl Rule {
    /// The condition that it tells of.
    pub fn condition(&self) -> Condition {
        match self {
            Rule::Instrument { channel } => Condition::Instrument(Arc::clone(channel)),
            Rule::Loss => Condition::Loss,
            Rule::Gain => Condition::Gain,
            Rule::DoseMissed => Condition::DoseMissed,
            Rule::Contradicted => Condition::Contradicted,
            Rule::Mixer => Condition::Mixer,
            Rule::Own(own) => Condition::Own(Arc::clone(&own.name)),
            Rule::Mineral(mineral, step) => Condition::Mineral(*mineral, *step),
            Rule::Excess(step) => Condition::Excess(*step),
            Rule::Souring(step) => Condition::Souring(*step),
            Rule::TrampOil => Condition::TrampOil,
            Rule::Factor => Condition::Factor,
            Rule::Ahead { signal, level, .. } => Condition::Ahead(*signal, *level),
            Rule::Rate(rate) => Condition::Rate(rate.signal, rate.direction),
            Rule::Shifted(chart) => Condition::Shifted(chart.of),
            Rule::PumpsStopped { .. } => Condition::PumpsStopped,
            Rule::Overdue(planned) => Condition::Overdue(planned.check),
            Rule::Nitrite(step) => Condition::Nitrite(*step),
            Rule::PhDrop(step) => Condition::PhDrop(*step),
        }
    }
}

/// A rule with how its alarm behaves.
#[derive(Debug, Clone, PartialEq)]
pub struct RuleSetup {
    /// The rule.
    pub rule: Rule,
    /// How much hurry.
    pub priority: Priority,
    /// How the alarm behaves.
    pub manner: AlarmManner,
}
