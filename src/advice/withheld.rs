//! Why there is no dose.

use std::sync::Arc;

use serde::Serialize;

use crate::signal::InstrumentReason;
use crate::units::Timestamp;

use super::balance::BalanceError;

/// Why there is no dose. Its words, and what to do about it, stand under
/// `withheld.<key>` in the phrases of each language.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "reason", rename_all = "snake_case")]
pub enum Withheld {
    /// No instrument measures the concentration.
    NoConcentration,
    /// A channel that the dose would go by has given no usable reading for too
    /// long, or never yet.
    Silent {
        /// The channel.
        channel: Arc<str>,
    },
    /// A channel that the dose would go by and a hand reading disagree.
    Doubted {
        /// The channel.
        channel: Arc<str>,
    },
    /// The newest reading of the channel is implausible, or its instrument
    /// reports a fault.
    Bad {
        /// The channel.
        channel: Arc<str>,
    },
    /// The newest reading of the channel may be shown, but not dosed on.
    Unsure {
        /// The channel.
        channel: Arc<str>,
    },
    /// The instrument is not well enough: frozen, over foam, noisy, fouled.
    Instrument {
        /// The channel.
        channel: Arc<str>,
        /// How it is.
        instrument: InstrumentReason,
        /// Since then.
        since: Timestamp,
    },
    /// The channel has not given enough good readings in a row yet.
    TooFew {
        /// The channel.
        channel: Arc<str>,
        /// Good readings so far.
        good: u8,
        /// Good readings needed.
        needed: u8,
    },
    /// The surface foams, and the level is measured through it.
    Foaming {
        /// When it was seen.
        seen: Timestamp,
    },
    /// The circulation pumps stand still: a sample would not be mixed.
    PumpsStopped {
        /// Since then.
        since: Timestamp,
    },
    /// An addition is not mixed in yet, or the pumps have just been started.
    Mixing {
        /// Until then.
        until: Timestamp,
    },
    /// The sump is where it should be.
    OnTarget {
        /// As near as this to its target, in points of concentration: the dead
        /// band, or what the reading is sure to where that is more.
        within_pct: f64,
    },
    /// Rounded to the dosing step, a dose would do no good.
    StepTooCoarse {
        /// The step, L.
        step_l: f64,
    },
    /// The balance has no answer.
    NoBalance {
        /// Why.
        error: BalanceError,
    },
}

impl Withheld {
    /// Whether time and better readings alone can put an end to it.
    pub const fn passes_by_itself(&self) -> bool {
        match self {
            Withheld::Silent { .. }
            | Withheld::Doubted { .. }
            | Withheld::Bad { .. }
            | Withheld::Unsure { .. }
            | Withheld::Instrument { .. }
            | Withheld::TooFew { .. }
            | Withheld::Foaming { .. }
            | Withheld::PumpsStopped { .. }
            | Withheld::Mixing { .. } => true,
            Withheld::NoConcentration
            | Withheld::OnTarget { .. }
            | Withheld::StepTooCoarse { .. }
            | Withheld::NoBalance { .. } => false,
        }
    }
}
