//! The alarms that every channel of a sump has: that it is silent, and that a hand
//! reading contradicts it.

use crate::engine::{AlarmSetup, Priority};
use crate::units::Span;

use super::key_path::KeyPath;
use super::problem::Problem;
use super::raw_rules::{RawDoubt, RawRule, RawRules};
use super::review::Review;
use super::rules::{Behaviour, Standard, behaviour};
use super::written::Switch;

/// Diagnostic alarms have a class of their own, usually low (common practice, no
/// source). What they look at is already a delay of its own: `silent_after`, and a
/// reading by hand.
const OF_INSTRUMENTS: Standard = Standard {
    priority: Priority::Low,
    on: Span::ZERO,
    off: Span::ZERO,
};

/// How the alarms of each channel behave.
#[derive(Debug, Clone, Copy)]
pub(super) struct OfChannels {
    /// None where nobody is to be told of silence.
    pub(super) silent: Option<AlarmSetup>,
    pub(super) disagrees: AlarmSetup,
}

/// Reads what is written of them.
pub(super) fn of_channels(review: &mut Review, at: &KeyPath, raw: &RawRules) -> Option<OfChannels> {
    let silent = behaviour(
        review,
        &at.key("silent"),
        raw.silent.as_ref(),
        &OF_INSTRUMENTS,
    );
    let disagrees = disagrees(review, &at.key("disagrees"), raw.disagrees.as_ref());
    Some(OfChannels {
        silent: silent?.map(Behaviour::alone),
        disagrees: disagrees?.alone(),
    })
}

/// A hand reading counts at once, for doses too: there is no delay to settle, and
/// no switch.
fn disagrees(
    review: &mut Review,
    at: &KeyPath,
    raw: Option<&Switch<RawDoubt>>,
) -> Option<Behaviour> {
    let raw = match raw {
        None => None,
        Some(Switch::Off) => {
            review.tell(at, Problem::DoubtStays);
            return None;
        }
        Some(Switch::On(raw)) => Some(Switch::On(RawRule {
            priority: raw.priority.clone(),
            latching: raw.latching,
            again_after: raw.again_after.clone(),
            ..RawRule::default()
        })),
    };
    behaviour(review, at, raw.as_ref(), &OF_INSTRUMENTS)?
}
