//! How an alarm stands that a link is about, by the journal.

use serde_json::Value;

use crate::alarm::AlarmState;
use crate::store::{Reader, StoreError};
use crate::units::Timestamp;

/// Most steps that are looked through. Choice: an alarm that took more in the
/// days that a link is good has a newer link.
const MOST_STEPS: usize = 2000;

/// What an alarm's id names.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Named {
    pub(super) sump: String,
    pub(super) condition: String,
    pub(super) raised: Timestamp,
}

impl Named {
    /// Reads `sump/condition/time`.
    pub(super) fn read(id: &str) -> Option<Self> {
        let (sump, rest) = id.split_once('/')?;
        let (condition, raised) = rest.rsplit_once('/')?;
        Some(Named {
            sump: sump.to_owned(),
            condition: condition.to_owned(),
            raised: Timestamp::parse(raised).ok()?,
        })
    }
}

/// How one occurrence of an alarm stands.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Look {
    /// The step by which people were told last, and when.
    pub(super) told: (Timestamp, Value),
    pub(super) stands: Stands,
}

/// Where it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Stands {
    /// It asks for somebody.
    Asks,
    /// Somebody has taken it on.
    Acknowledged { by: Option<String>, time: Timestamp },
    /// It is over.
    Over { time: Timestamp },
    /// It is shelved, suppressed or out of service.
    SetAside,
    /// It has come again since.
    Newer,
}

/// Looks the alarm up; nothing where the journal does not know it.
pub(super) fn look(reader: &Reader, id: &str, named: &Named) -> Result<Option<Look>, StoreError> {
    let lines = reader.alarm_lines(&named.sump, &named.condition, named.raised, MOST_STEPS)?;
    let steps = lines.into_iter().filter_map(|(time, body)| {
        let line = serde_json::from_str::<Value>(&body).ok()?;
        Some((time, line))
    });
    Ok(of_steps(id, steps.collect()))
}

fn of_steps(id: &str, steps: Vec<(Timestamp, Value)>) -> Option<Look> {
    let word = |line: &Value, key: &str| line.get(key).and_then(Value::as_str).map(str::to_owned);
    let is_own = |line: &Value| word(line, "id").as_deref() == Some(id);
    let newer = !is_own(&steps.last()?.1);
    let own: Vec<(Timestamp, Value)> = steps.into_iter().filter(|(_, line)| is_own(line)).collect();
    let annunciates = |line: &Value| {
        let step = word(line, "transition");
        matches!(step.as_deref(), Some("raised" | "raised_again"))
    };
    let mut backwards = own.iter().rev();
    let told = backwards.find(|(_, line)| annunciates(line));
    let told = told.or(own.first())?.clone();
    let (time, last) = own.last()?;
    let state = last.get("state").cloned().unwrap_or_default();
    let state: AlarmState = serde_json::from_value(state).ok()?;
    let acknowledged = || {
        let mut backwards = own.iter().rev();
        let step =
            backwards.find(|(_, line)| word(line, "transition").as_deref() == Some("acknowledged"));
        let (time, line) = step.unwrap_or(&told);
        Stands::Acknowledged {
            by: word(line, "by"),
            time: *time,
        }
    };
    let stands = match state {
        _ if newer => Stands::Newer,
        state if state.asks() => Stands::Asks,
        AlarmState::Acknowledged | AlarmState::LatchedAcknowledged => acknowledged(),
        // Acknowledged after it was over.
        AlarmState::Normal if word(last, "transition").as_deref() == Some("acknowledged") => {
            acknowledged()
        }
        AlarmState::Shelved | AlarmState::Suppressed | AlarmState::OutOfService => Stands::SetAside,
        _ => Stands::Over { time: *time },
    };
    Some(Look { told, stands })
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    const ID: &str = "mill-4/concentration.low/2026-03-02T13:05:00Z";

    fn at(minute: i64) -> Timestamp {
        Timestamp::from_millis(1_772_457_900_000 + minute * 60_000)
    }

    fn step(id: &str, transition: &str, state: &str, by: Option<&str>) -> Value {
        json!({ "id": id, "transition": transition, "state": state, "by": by })
    }

    fn stands(steps: &[(&str, &str, &str, Option<&str>)]) -> Option<Stands> {
        let steps = steps.iter().enumerate();
        let steps = steps.map(|(n, (id, transition, state, by))| {
            (at(n as i64), step(id, transition, state, *by))
        });
        of_steps(ID, steps.collect()).map(|look| look.stands)
    }

    #[test]
    fn ids_are_taken_apart() {
        let named = Named::read(ID).unwrap();
        assert_eq!(
            (named.sump.as_str(), named.condition.as_str()),
            ("mill-4", "concentration.low")
        );
        assert_eq!(
            named.raised,
            Timestamp::parse("2026-03-02T13:05:00Z").unwrap()
        );
        for bad in ["", "mill-4", "mill-4/ph.low", "mill-4/ph.low/yesterday"] {
            assert_eq!(Named::read(bad), None, "{bad}");
        }
    }

    #[test]
    fn an_alarm_stands_as_its_last_step_says() {
        let raised = (ID, "raised", "unacknowledged", None);
        assert_eq!(stands(&[]), None);
        assert_eq!(stands(&[raised]), Some(Stands::Asks));
        let own = (ID, "acknowledged", "acknowledged", Some("bert"));
        assert_eq!(
            stands(&[raised, own]),
            Some(Stands::Acknowledged {
                by: Some("bert".to_owned()),
                time: at(1)
            })
        );
        let returned = (ID, "returned", "returned_unacknowledged", None);
        assert_eq!(stands(&[raised, returned]), Some(Stands::Asks));
        let late = (ID, "acknowledged", "normal", None);
        assert_eq!(
            stands(&[raised, returned, late]),
            Some(Stands::Acknowledged {
                by: None,
                time: at(2)
            })
        );
        let over = (ID, "returned", "normal", None);
        assert_eq!(
            stands(&[raised, own, over]),
            Some(Stands::Over { time: at(2) })
        );
        let shelved = (ID, "shelved", "shelved", Some("bert"));
        assert_eq!(stands(&[raised, shelved]), Some(Stands::SetAside));
        let next = (
            "mill-4/concentration.low/2026-03-02T14:00:00Z",
            "raised",
            "unacknowledged",
            None,
        );
        assert_eq!(stands(&[raised, returned, next]), Some(Stands::Newer));
        assert_eq!(stands(&[next]), None);
    }

    #[test]
    fn the_newest_telling_is_shown() {
        let steps = [
            ("raised", "unacknowledged"),
            ("acknowledged", "acknowledged"),
            ("raised_again", "unacknowledged"),
        ];
        let steps = steps
            .iter()
            .enumerate()
            .map(|(n, (transition, state))| (at(n as i64), step(ID, transition, state, None)));
        let look = of_steps(ID, steps.collect()).unwrap();
        assert_eq!(look.told.0, at(2));
    }
}
