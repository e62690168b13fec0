//! One alarm from normal to normal.

use serde::{Deserialize, Serialize};

use crate::units::{Span, Timestamp};

/// How much hurry (ISA-18.2: from consequence and time to respond).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Priority {
    /// Within the day.
    Low,
    /// Within the shift.
    Medium,
    /// Now.
    High,
}

/// Where an alarm stands (states A to D of the ISA-18.2 state diagram).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum AlarmState {
    /// A: nothing to tell.
    #[default]
    Normal,
    /// B: the condition holds and nobody has taken it on.
    Unacknowledged,
    /// C: the condition holds and somebody has taken it on.
    Acknowledged,
    /// D: the condition is over and nobody had taken it on.
    ReturnedUnacknowledged,
}

/// What a rule sees at one time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// The condition holds.
    Outside,
    /// The condition does not hold, but is not over by the dead band either.
    Band,
    /// The condition does not hold.
    Inside,
    /// There is no value to judge.
    Unknown,
}

/// How long a change must last before it counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct AlarmDelays {
    /// From the condition to the alarm.
    pub on: Span,
    /// From the end of the condition to the return to normal.
    pub off: Span,
}

/// A step of the state diagram.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Transition {
    /// A→B or D→B.
    Raised,
    /// B→C or D→A.
    Acknowledged,
    /// B→D or C→A.
    Returned,
    /// C→B or A→D: an acknowledgement that was a mistake is taken back. The
    /// standard has no such step.
    Unacknowledged,
}

/// One alarm. Each rise to [`AlarmState::Unacknowledged`] is an occurrence of
/// its own, told apart by the time it was raised.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct AlarmLife {
    state: AlarmState,
    /// When the condition of the present or last occurrence began.
    since: Option<Timestamp>,
    /// When the present or last occurrence was raised.
    raised: Option<Timestamp>,
    /// Since when the condition has been other than the state says.
    turning: Option<Timestamp>,
}

impl AlarmLife {
    /// Takes in what the rule sees at `now`; times must not go back.
    #[inline]
    pub fn observe(
        &mut self,
        now: Timestamp,
        verdict: Verdict,
        delays: AlarmDelays,
    ) -> Option<Transition> {
        let turns = match verdict {
            Verdict::Outside => !self.is_active(),
            Verdict::Inside => self.is_active(),
            Verdict::Band | Verdict::Unknown => false,
        };
        if !turns {
            self.turning = None;
            return None;
        }
        let began = *self.turning.get_or_insert(now);
        let delay = if self.is_active() {
            delays.off
        } else {
            delays.on
        };
        if now - began < delay {
            return None;
        }
        self.turning = None;
        if self.is_active() {
            self.state = match self.state {
                AlarmState::Acknowledged => AlarmState::Normal,
                _ => AlarmState::ReturnedUnacknowledged,
            };
            Some(Transition::Returned)
        } else {
            self.state = AlarmState::Unacknowledged;
            self.since = Some(began);
            self.raised = Some(now);
            Some(Transition::Raised)
        }
    }

    /// A running delay begins anew: nobody watched in between.
    pub fn restart_delay(&mut self) {
        self.turning = None;
    }

    /// A person takes the alarm on.
    pub fn acknowledge(&mut self) -> Option<Transition> {
        self.state = match self.state {
            AlarmState::Unacknowledged => AlarmState::Acknowledged,
            AlarmState::ReturnedUnacknowledged => AlarmState::Normal,
            AlarmState::Normal | AlarmState::Acknowledged => return None,
        };
        Some(Transition::Acknowledged)
    }

    /// The acknowledgement was a mistake: the alarm stands as if nobody had
    /// taken it on.
    pub fn unacknowledge(&mut self) -> Option<Transition> {
        self.state = match self.state {
            AlarmState::Acknowledged => AlarmState::Unacknowledged,
            AlarmState::Normal if self.raised.is_some() => AlarmState::ReturnedUnacknowledged,
            _ => return None,
        };
        Some(Transition::Unacknowledged)
    }

    /// Where it stands.
    pub fn state(&self) -> AlarmState {
        self.state
    }

    /// Whether the condition is taken to hold.
    pub fn is_active(&self) -> bool {
        matches!(
            self.state,
            AlarmState::Unacknowledged | AlarmState::Acknowledged
        )
    }

    /// When the condition of the present or last occurrence began.
    pub fn since(&self) -> Option<Timestamp> {
        self.since
    }

    /// When the present or last occurrence was raised.
    pub fn raised(&self) -> Option<Timestamp> {
        self.raised
    }

    /// When a running delay ends.
    pub fn due(&self, delays: AlarmDelays) -> Option<Timestamp> {
        let delay = if self.is_active() {
            delays.off
        } else {
            delays.on
        };
        self.turning.map(|began| began + delay)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const DELAYS: AlarmDelays = AlarmDelays {
        on: Span::from_mins(10),
        off: Span::from_mins(5),
    };

    fn at(minute: i64) -> Timestamp {
        Timestamp::from_millis(minute * 60_000)
    }

    #[test]
    fn raised_only_after_the_on_delay() {
        let mut alarm = AlarmLife::default();
        assert_eq!(alarm.observe(at(0), Verdict::Outside, DELAYS), None);
        assert_eq!(alarm.due(DELAYS), Some(at(10)));
        assert_eq!(alarm.observe(at(9), Verdict::Outside, DELAYS), None);
        let raised = alarm.observe(at(10), Verdict::Outside, DELAYS);
        assert_eq!(raised, Some(Transition::Raised));
        assert_eq!((alarm.since(), alarm.raised()), (Some(at(0)), Some(at(10))));
    }

    #[test]
    fn a_short_return_starts_the_on_delay_anew() {
        let mut alarm = AlarmLife::default();
        alarm.observe(at(0), Verdict::Outside, DELAYS);
        alarm.observe(at(8), Verdict::Band, DELAYS);
        assert_eq!(alarm.observe(at(12), Verdict::Outside, DELAYS), None);
        assert_eq!(alarm.due(DELAYS), Some(at(22)));
    }

    #[test]
    fn missing_data_and_the_dead_band_never_clear() {
        let mut alarm = AlarmLife::default();
        alarm.observe(at(0), Verdict::Outside, DELAYS);
        alarm.observe(at(10), Verdict::Outside, DELAYS);
        for minute in 11..600 {
            let verdict = if minute % 2 == 0 {
                Verdict::Unknown
            } else {
                Verdict::Band
            };
            assert_eq!(alarm.observe(at(minute), verdict, DELAYS), None);
        }
        assert!(alarm.is_active());
    }

    #[test]
    fn both_orders_of_return_and_acknowledgement_end_in_normal() {
        for acknowledge_first in [true, false] {
            let mut alarm = AlarmLife::default();
            let none = AlarmDelays::default();
            alarm.observe(at(0), Verdict::Outside, none);
            if acknowledge_first {
                alarm.acknowledge();
                assert_eq!(alarm.state(), AlarmState::Acknowledged);
                alarm.observe(at(1), Verdict::Inside, none);
            } else {
                alarm.observe(at(1), Verdict::Inside, none);
                assert_eq!(alarm.state(), AlarmState::ReturnedUnacknowledged);
                alarm.acknowledge();
            }
            assert_eq!(alarm.state(), AlarmState::Normal);
        }
    }

    /// The arrows of the ISA-18.2 diagram between the states A to D.
    fn allowed(from: AlarmState, to: AlarmState, by: Transition) -> bool {
        use AlarmState::*;
        matches!(
            (from, by, to),
            (
                Normal | ReturnedUnacknowledged,
                Transition::Raised,
                Unacknowledged
            ) | (Unacknowledged, Transition::Acknowledged, Acknowledged)
                | (ReturnedUnacknowledged, Transition::Acknowledged, Normal)
                | (Unacknowledged, Transition::Returned, ReturnedUnacknowledged)
                | (Acknowledged, Transition::Returned, Normal)
        )
    }

    proptest! {
        #[test]
        fn no_sequence_leaves_the_diagram(steps in prop::collection::vec((0u8..5, 0i64..20), 0..200)) {
            let mut alarm = AlarmLife::default();
            let mut minute = 0;
            for (what, wait) in steps {
                minute += wait;
                let before = alarm.state();
                let transition = match what {
                    0 => alarm.observe(at(minute), Verdict::Outside, DELAYS),
                    1 => alarm.observe(at(minute), Verdict::Inside, DELAYS),
                    2 => alarm.observe(at(minute), Verdict::Band, DELAYS),
                    3 => alarm.observe(at(minute), Verdict::Unknown, DELAYS),
                    _ => alarm.acknowledge(),
                };
                match transition {
                    Some(by) => prop_assert!(allowed(before, alarm.state(), by)),
                    None => prop_assert_eq!(before, alarm.state()),
                }
            }
        }
    }
}
