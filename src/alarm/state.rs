//! The states of an alarm and the steps between them, as ISA-18.2 and IEC 62682
//! have them. (The letters of the states are from memory.)

use serde::{Deserialize, Serialize};

/// Where an alarm stands (states A to I of the state diagram).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
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
    /// E: the condition is over, the alarm stands until it is reset, and nobody
    /// has taken it on.
    LatchedUnacknowledged,
    /// F: the same, and somebody has taken it on.
    LatchedAcknowledged,
    /// G: a person set it aside, for a time.
    Shelved,
    /// H: it would tell of what is known anyway, or is meant to be so.
    Suppressed,
    /// I: a person took it out of service.
    OutOfService,
}

impl AlarmState {
    /// Whether the condition is taken to hold; of the states A to F.
    #[inline]
    pub const fn holds(self) -> bool {
        matches!(self, AlarmState::Unacknowledged | AlarmState::Acknowledged)
    }

    /// Whether somebody has to take note of it.
    pub const fn asks(self) -> bool {
        matches!(
            self,
            AlarmState::Unacknowledged
                | AlarmState::ReturnedUnacknowledged
                | AlarmState::LatchedUnacknowledged
        )
    }

    /// The name in messages and the journal.
    pub const fn name(self) -> &'static str {
        match self {
            AlarmState::Normal => "normal",
            AlarmState::Unacknowledged => "unacknowledged",
            AlarmState::Acknowledged => "acknowledged",
            AlarmState::ReturnedUnacknowledged => "returned_unacknowledged",
            AlarmState::LatchedUnacknowledged => "latched_unacknowledged",
            AlarmState::LatchedAcknowledged => "latched_acknowledged",
            AlarmState::Shelved => "shelved",
            AlarmState::Suppressed => "suppressed",
            AlarmState::OutOfService => "out_of_service",
        }
    }
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

impl Verdict {
    /// Of a condition that holds or does not.
    pub const fn of(holds: bool) -> Verdict {
        if holds {
            Verdict::Outside
        } else {
            Verdict::Inside
        }
    }
}

/// A step of the state diagram.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Transition {
    /// A→B, D→B, E→B or F→B.
    Raised,
    /// C→B: it was taken on and stands for too long. C→B and B→B: there is more to
    /// tell of what stands, as of an alarm with a list; the standard has no B→B.
    RaisedAgain,
    /// B→C, D→A or E→F.
    Acknowledged,
    /// B→D, C→A, or of a latching alarm B→E, C→F.
    Returned,
    /// An acknowledgement that was a mistake is taken back: C→B, A→D or F→E.
    /// The standard has no such step.
    Unacknowledged,
    /// F→A.
    Reset,
    /// Any→G.
    Shelved,
    /// From G, by a person or because its time is over, to what holds.
    Unshelved,
    /// Any→H.
    Suppressed,
    /// From H to what holds.
    Unsuppressed,
    /// Any→I.
    TakenOutOfService,
    /// From I to what holds.
    PutIntoService,
    /// Any→A: the settings watch for it no more. The standard has no such step, but
    /// removal as a change that is managed and recorded (memory).
    Removed,
}

impl Transition {
    /// The name in messages and the journal.
    pub const fn name(self) -> &'static str {
        match self {
            Transition::Raised => "raised",
            Transition::RaisedAgain => "raised_again",
            Transition::Acknowledged => "acknowledged",
            Transition::Returned => "returned",
            Transition::Unacknowledged => "unacknowledged",
            Transition::Reset => "reset",
            Transition::Shelved => "shelved",
            Transition::Unshelved => "unshelved",
            Transition::Suppressed => "suppressed",
            Transition::Unsuppressed => "unsuppressed",
            Transition::TakenOutOfService => "taken_out_of_service",
            Transition::PutIntoService => "put_into_service",
            Transition::Removed => "removed",
        }
    }

    /// Whether with this step, into `state`, people are told of something that
    /// holds now: an annunciation.
    pub const fn annunciates(self, state: AlarmState) -> bool {
        match self {
            Transition::Raised | Transition::RaisedAgain => true,
            Transition::Unshelved | Transition::Unsuppressed | Transition::PutIntoService => {
                matches!(state, AlarmState::Unacknowledged)
            }
            _ => false,
        }
    }
}
