//! One step of one alarm, as the journal tells it.

use std::sync::Arc;

use serde::Serialize;

use crate::alarm::Priority;
use crate::units::Timestamp;

/// Which alarm: one condition of one sump.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
pub struct AlarmName {
    /// The sump.
    pub sump: Arc<str>,
    /// What is wrong, as in the journal: `concentration.low`.
    pub condition: Arc<str>,
}

/// One step of one alarm.
#[derive(Debug, Clone, PartialEq)]
pub struct AlarmEvent {
    /// When.
    pub time: Timestamp,
    /// Of which alarm.
    pub alarm: AlarmName,
    /// How much hurry.
    pub priority: Priority,
    /// What happened.
    pub step: Step,
    /// Where the alarm stands after it.
    pub standing: Standing,
    /// Who did it, where a person did.
    pub by: Option<Arc<str>>,
    /// Why, where the journal says so.
    pub reason: Option<Arc<str>>,
    /// Until when it is shelved, where the journal says so.
    pub until: Option<Timestamp>,
}

/// What happened, as far as the figures tell steps apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Step {
    /// People are told of something new.
    Raised,
    /// People are told again of what still stands.
    RaisedAgain,
    /// A person took it on.
    Acknowledged,
    /// That was a mistake.
    Unacknowledged,
    /// It is no longer hidden.
    Shown,
    /// A step of which where the alarm stands after it says all.
    Other,
}

/// Where an alarm stands, as far as the figures tell states apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Standing {
    /// There is nothing to tell.
    Normal,
    /// The condition holds and nobody has taken it on.
    Unacknowledged,
    /// The condition holds and somebody has taken it on.
    Acknowledged,
    /// The condition is over, and the alarm waits for a person.
    Over,
    /// A person set it aside, for a time.
    Shelved,
    /// The settings suppress it by design.
    Suppressed,
    /// A person took it out of service.
    OutOfService,
}

impl Standing {
    /// Whether the condition holds and people are told so.
    pub const fn holds(self) -> bool {
        matches!(self, Standing::Unacknowledged | Standing::Acknowledged)
    }

    /// Whether people are not told, whatever holds.
    pub const fn is_hidden(self) -> bool {
        matches!(
            self,
            Standing::Shelved | Standing::Suppressed | Standing::OutOfService
        )
    }
}

/// What a transition and the state after it, as the journal names them, mean
/// for the figures; nothing where one of them is not known here.
pub fn meaning(transition: &str, state: &str) -> Option<(Step, Standing)> {
    let step = match transition {
        "raised" => Step::Raised,
        "raised_again" => Step::RaisedAgain,
        "acknowledged" => Step::Acknowledged,
        "unacknowledged" => Step::Unacknowledged,
        "unshelved" | "unsuppressed" | "put_into_service" => Step::Shown,
        "returned" | "reset" | "shelved" | "suppressed" | "taken_out_of_service" | "removed" => {
            Step::Other
        }
        _ => return None,
    };
    let standing = match state {
        "normal" => Standing::Normal,
        "unacknowledged" => Standing::Unacknowledged,
        "acknowledged" => Standing::Acknowledged,
        "returned_unacknowledged" | "latched_unacknowledged" | "latched_acknowledged" => {
            Standing::Over
        }
        "shelved" => Standing::Shelved,
        "suppressed" => Standing::Suppressed,
        "out_of_service" => Standing::OutOfService,
        _ => return None,
    };
    Some((step, standing))
}
