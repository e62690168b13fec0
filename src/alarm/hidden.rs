//! What keeps an alarm from being told: shelved, suppressed by design, out of
//! service. Several may hold at once; the one that a person would want to see
//! first gives the state (choice: out of service, shelved, suppressed).

use serde::{Deserialize, Serialize};

use crate::units::Timestamp;

use super::state::{AlarmState, Transition};

/// A change of what hides an alarm.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Hiding {
    /// A person sets it aside until then.
    Shelve(Timestamp),
    /// And takes that back.
    Unshelve,
    /// It is suppressed by design.
    Suppress,
    /// And no longer is.
    Unsuppress,
    /// A person takes it out of service.
    TakeOut,
    /// And puts it back into service.
    PutBack,
}

impl Hiding {
    /// The step of the state diagram.
    pub const fn transition(self) -> Transition {
        match self {
            Hiding::Shelve(_) => Transition::Shelved,
            Hiding::Unshelve => Transition::Unshelved,
            Hiding::Suppress => Transition::Suppressed,
            Hiding::Unsuppress => Transition::Unsuppressed,
            Hiding::TakeOut => Transition::TakenOutOfService,
            Hiding::PutBack => Transition::PutIntoService,
        }
    }
}

/// What hides an alarm now.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub(super) struct Hidden {
    shelved: Option<Timestamp>,
    suppressed: bool,
    out_of_service: bool,
}

impl Hidden {
    #[inline]
    pub(super) const fn any(&self) -> bool {
        self.suppressed || self.by_a_person()
    }

    #[inline]
    pub(super) const fn by_a_person(&self) -> bool {
        self.shelved.is_some() || self.out_of_service
    }

    pub(super) const fn suppressed(&self) -> bool {
        self.suppressed
    }

    pub(super) const fn shelved_until(&self) -> Option<Timestamp> {
        self.shelved
    }

    pub(super) const fn state(&self) -> Option<AlarmState> {
        if self.out_of_service {
            Some(AlarmState::OutOfService)
        } else if self.shelved.is_some() {
            Some(AlarmState::Shelved)
        } else if self.suppressed {
            Some(AlarmState::Suppressed)
        } else {
            None
        }
    }

    /// Gives whether anything changed.
    pub(super) fn set(&mut self, hiding: Hiding) -> bool {
        let before = *self;
        match hiding {
            Hiding::Shelve(until) => self.shelved = Some(until),
            Hiding::Unshelve => self.shelved = None,
            Hiding::Suppress => self.suppressed = true,
            Hiding::Unsuppress => self.suppressed = false,
            Hiding::TakeOut => self.out_of_service = true,
            Hiding::PutBack => self.out_of_service = false,
        }
        *self != before
    }
}
