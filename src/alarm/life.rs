//! One alarm from normal to normal.

use serde::{Deserialize, Serialize};

use crate::units::{Span, Timestamp};

use super::hidden::{Hidden, Hiding};
use super::state::{AlarmState, Transition, Verdict};

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

/// How an alarm behaves.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct AlarmManner {
    /// From the condition to the alarm.
    pub on: Span,
    /// From the end of the condition to the return to normal.
    pub off: Span,
    /// Whether it stands until a person resets it.
    pub latching: bool,
    /// An acknowledged alarm that still stands is raised again after this.
    pub again_after: Option<Span>,
}

/// One alarm. Each rise to [`AlarmState::Unacknowledged`] is an occurrence of
/// its own, told apart by the time it was raised; one that is raised again
/// because it stands for too long stays the same occurrence.
///
/// While it is hidden (shelved, suppressed by design, out of service) the
/// condition is judged on, and nothing is told.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct AlarmLife {
    /// Where it stands behind whatever hides it: one of the states A to F.
    state: AlarmState,
    /// When the condition of the present or last occurrence began, later by the time
    /// in which nobody watched.
    since: Option<Timestamp>,
    /// When the present or last occurrence was raised.
    raised: Option<Timestamp>,
    /// Since when the condition has been other than the state says.
    turning: Option<Timestamp>,
    /// For how long it had been so when nobody watched any more: its delay goes on
    /// with that once there is something to judge by.
    #[serde(default, skip_serializing_if = "is_zero")]
    had: Span,
    /// When it was taken on.
    #[serde(default)]
    taken_on: Option<Timestamp>,
    #[serde(default)]
    hidden: Hidden,
}

impl AlarmLife {
    /// Takes in what the rule sees at `now`; times must not go back.
    #[inline]
    pub fn observe(
        &mut self,
        now: Timestamp,
        verdict: Verdict,
        manner: AlarmManner,
    ) -> Option<Transition> {
        let turned = self.turn(now, verdict, manner);
        if self.hidden.any() {
            return None;
        }
        turned.or_else(|| self.raise_again(now, manner))
    }

    #[inline]
    fn turn(
        &mut self,
        now: Timestamp,
        verdict: Verdict,
        manner: AlarmManner,
    ) -> Option<Transition> {
        let turns = match verdict {
            Verdict::Outside => !self.state.holds(),
            Verdict::Inside => self.state.holds(),
            Verdict::Band | Verdict::Unknown => false,
        };
        if !turns {
            self.turning = None;
            if verdict != Verdict::Unknown {
                self.had = Span::ZERO;
            }
            return None;
        }
        let began = *self.turning.get_or_insert(now - self.had);
        self.had = Span::ZERO;
        if now - began < self.delay(manner) {
            return None;
        }
        self.turning = None;
        Some(if self.state.holds() {
            self.return_to_normal(manner)
        } else {
            self.rise(began, now)
        })
    }

    fn rise(&mut self, began: Timestamp, now: Timestamp) -> Transition {
        self.state = AlarmState::Unacknowledged;
        self.since = Some(began);
        self.raised = Some(now);
        self.taken_on = None;
        Transition::Raised
    }

    fn return_to_normal(&mut self, manner: AlarmManner) -> Transition {
        let acknowledged = self.state == AlarmState::Acknowledged;
        self.state = match (acknowledged, manner.latching) {
            (true, true) => AlarmState::LatchedAcknowledged,
            (false, true) => AlarmState::LatchedUnacknowledged,
            (true, false) => AlarmState::Normal,
            // Of what nobody was told of nobody has to take note.
            (false, false) if self.hidden.any() => AlarmState::Normal,
            (false, false) => AlarmState::ReturnedUnacknowledged,
        };
        Transition::Returned
    }

    #[inline]
    fn raise_again(&mut self, now: Timestamp, manner: AlarmManner) -> Option<Transition> {
        if self.again_due(manner)? > now {
            return None;
        }
        self.state = AlarmState::Unacknowledged;
        self.taken_on = None;
        Some(Transition::RaisedAgain)
    }

    /// There is more to tell of what stands: it is raised again, taken on or not.
    pub fn raise_for_more(&mut self) -> Option<Transition> {
        if self.hidden.any() || !self.state.holds() {
            return None;
        }
        self.state = AlarmState::Unacknowledged;
        self.taken_on = None;
        Some(Transition::RaisedAgain)
    }

    /// When an acknowledged alarm is raised again.
    #[inline]
    fn again_due(&self, manner: AlarmManner) -> Option<Timestamp> {
        let stands = self.state == AlarmState::Acknowledged && !self.hidden.any();
        Some(self.taken_on.filter(|_| stands)? + manner.again_after?)
    }

    /// A running delay begins anew: what was seen says nothing about when.
    pub fn restart_delay(&mut self) {
        self.turning = None;
        self.had = Span::ZERO;
    }

    /// Nobody watches from `now` on: a running delay goes on with the time that it
    /// has had once the condition is seen to be so still.
    pub fn pause_delay(&mut self, now: Timestamp) {
        if let Some(began) = self.turning.take() {
            self.had = (now - began).max(Span::ZERO);
        }
    }

    /// Whether a delay waits for something to judge by.
    #[inline]
    pub fn is_paused(&self) -> bool {
        self.had > Span::ZERO
    }

    /// A person takes the alarm on.
    pub fn acknowledge(&mut self, now: Timestamp) -> Option<Transition> {
        if self.hidden.any() {
            return None;
        }
        self.state = match self.state {
            AlarmState::Unacknowledged => AlarmState::Acknowledged,
            AlarmState::ReturnedUnacknowledged => AlarmState::Normal,
            AlarmState::LatchedUnacknowledged => AlarmState::LatchedAcknowledged,
            _ => return None,
        };
        self.taken_on = Some(now);
        Some(Transition::Acknowledged)
    }

    /// The acknowledgement was a mistake: the alarm stands as if nobody had
    /// taken it on.
    pub fn unacknowledge(&mut self) -> Option<Transition> {
        if self.hidden.any() || self.taken_on.is_none() {
            return None;
        }
        self.state = match self.state {
            AlarmState::Acknowledged => AlarmState::Unacknowledged,
            AlarmState::LatchedAcknowledged => AlarmState::LatchedUnacknowledged,
            AlarmState::Normal => AlarmState::ReturnedUnacknowledged,
            _ => return None,
        };
        self.taken_on = None;
        Some(Transition::Unacknowledged)
    }

    /// A person lets go of a latched alarm that was taken on.
    pub fn reset(&mut self) -> Option<Transition> {
        if self.hidden.any() || self.state != AlarmState::LatchedAcknowledged {
            return None;
        }
        self.state = AlarmState::Normal;
        Some(Transition::Reset)
    }

    /// Something hides the alarm, or no longer does. Where a change of what
    /// hides it does not change the state that is told, there is none.
    pub fn hide(&mut self, hiding: Hiding) -> Option<Transition> {
        let before = self.state();
        let was_shelved_or_out = self.hidden.by_a_person();
        if !self.hidden.set(hiding) {
            return None;
        }
        if !self.hidden.any() && was_shelved_or_out && self.state.holds() {
            // The standard lets it go on as one that nobody has taken on.
            self.state = AlarmState::Unacknowledged;
            self.taken_on = None;
        }
        (self.state() != before).then(|| hiding.transition())
    }

    /// A shelf's time is over.
    pub fn end_shelf(&mut self, now: Timestamp) -> Option<Transition> {
        let until = self.hidden.shelved_until()?;
        if now < until {
            return None;
        }
        self.hide(Hiding::Unshelve)
    }

    /// Where it stands.
    pub fn state(&self) -> AlarmState {
        self.hidden.state().unwrap_or(self.state)
    }

    /// Whether the condition is taken to hold, hidden or not.
    #[inline]
    pub fn is_active(&self) -> bool {
        self.state.holds()
    }

    /// Whether the condition is taken to hold, and people are told so.
    pub fn is_told(&self) -> bool {
        !self.hidden.any() && self.state.holds()
    }

    /// Whether the condition is taken to hold, and people know: they are told so,
    /// or have set it aside themselves.
    pub fn is_known(&self) -> bool {
        self.is_told() || (self.state() == AlarmState::Shelved && self.state.holds())
    }

    /// Whether the condition holds and the alarm waits for its on-delay.
    pub fn is_rising(&self) -> bool {
        !self.state.holds() && self.turning.is_some()
    }

    /// Whether it is suppressed by design, whatever else hides it.
    pub fn is_suppressed(&self) -> bool {
        self.hidden.suppressed()
    }

    /// Until when it is shelved.
    pub fn shelved_until(&self) -> Option<Timestamp> {
        self.hidden.shelved_until()
    }

    /// When the condition of the present or last occurrence began, later by the time
    /// in which nobody watched its on-delay.
    pub fn since(&self) -> Option<Timestamp> {
        self.since
    }

    /// When the present or last occurrence was raised.
    pub fn raised(&self) -> Option<Timestamp> {
        self.raised
    }

    /// Whether nobody has taken on what holds, hidden or not.
    pub fn awaits_acknowledgement(&self) -> bool {
        self.state == AlarmState::Unacknowledged
    }

    /// When a running delay, a shelf or the wait before it is raised again
    /// ends.
    #[inline]
    pub fn due(&self, manner: AlarmManner) -> Option<Timestamp> {
        let turned = self.turning.map(|began| began + self.delay(manner));
        let later = [self.hidden.shelved_until(), self.again_due(manner)];
        later.into_iter().flatten().chain(turned).min()
    }

    #[inline]
    fn delay(&self, manner: AlarmManner) -> Span {
        if self.state.holds() {
            manner.off
        } else {
            manner.on
        }
    }
}

fn is_zero(span: &Span) -> bool {
    *span == Span::ZERO
}

#[cfg(test)]
mod tests;
