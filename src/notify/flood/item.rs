//! A step of an alarm, as a summary tells of it.

use serde::{Deserialize, Serialize};

use crate::alarm::{AlarmState, Priority};
use crate::engine::AlarmLine;
use crate::units::Timestamp;

/// A step of an alarm.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Item {
    /// The alarm's id.
    pub alarm: String,
    /// Title of its sump.
    pub title: String,
    /// What is wrong.
    pub condition: String,
    /// Title of the rule of the plant's own that says so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub own_title: Option<String>,
    /// How much hurry.
    pub priority: Priority,
    /// The step.
    pub transition: String,
    /// Where the alarm stands after it; normal in what earlier versions kept.
    #[serde(default)]
    pub state: AlarmState,
    /// Whether people are told of something that holds now: an annunciation.
    pub is_new: bool,
    /// When.
    pub time: Timestamp,
    /// Whether it had a message of its own.
    pub told: bool,
}

impl Item {
    /// The step that a line tells.
    pub(in crate::notify) fn new(line: &AlarmLine, title: &str, time: Timestamp) -> Self {
        Item {
            alarm: line.id.clone(),
            title: title.to_owned(),
            condition: line.condition.to_string(),
            own_title: line.own.as_ref().map(|own| own.title.clone()),
            priority: line.priority,
            transition: line.transition.name().to_owned(),
            state: line.state,
            is_new: line.transition.annunciates(line.state),
            time,
            told: false,
        }
    }

    /// Whether it is an annunciation.
    pub(in crate::notify) fn is_new(&self) -> bool {
        self.is_new
    }
}

/// How much hurry a summary of these steps has: that of the high ones, where one of
/// them has had no message of its own.
pub(super) fn hurry(items: &[Item]) -> Priority {
    let urgent = |item: &Item| !item.told && item.priority == Priority::High;
    match items.iter().any(urgent) {
        true => Priority::High,
        false => Priority::Medium,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_high_one_that_had_no_message_hurries_the_summary() {
        let item = |priority, told| Item {
            alarm: "s/ph.low_low/1".to_owned(),
            title: "S".to_owned(),
            condition: "ph.low_low".to_owned(),
            own_title: None,
            priority,
            transition: "raised".to_owned(),
            state: AlarmState::Unacknowledged,
            is_new: true,
            time: Timestamp::from_millis(0),
            told,
        };
        let told = [item(Priority::High, true), item(Priority::Low, false)];
        assert_eq!(hurry(&told), Priority::Medium);
        let held = [item(Priority::High, true), item(Priority::High, false)];
        assert_eq!(hurry(&held), Priority::High);
    }
}
