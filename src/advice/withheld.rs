//! Why there is no dose, and what to do about it.

use std::sync::Arc;

use serde::Serialize;

use crate::units::Timestamp;

/// Why there is no dose.
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
        /// How it is, and what to do.
        why: String,
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
        why: String,
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

    /// The reason in words, and what to do about it.
    pub fn words(&self) -> String {
        match self {
            Withheld::NoConcentration => {
                "No dose: no instrument here measures the concentration. Read it by hand.".into()
            }
            Withheld::Silent { channel } => format!(
                "No dose: {channel} gives no usable reading. Bring it back; until then read by hand."
            ),
            Withheld::Doubted { channel } => format!(
                "No dose: {channel} and the hand reading disagree. Clean and check the probe, enter event probe_cleaned, then compare again."
            ),
            Withheld::Bad { channel } => format!(
                "No dose: the newest reading of {channel} cannot be true, or its instrument reports a fault. Look at the instrument; until then read by hand."
            ),
            Withheld::Unsure { channel } => format!(
                "No dose yet: {channel} is not sure of its readings (its source's clock, temperature or status). Look there; then the dose follows by itself."
            ),
            Withheld::Instrument { channel, why } => format!("No dose: {channel}: {why}."),
            Withheld::TooFew {
                channel,
                good,
                needed,
            } => format!(
                "No dose yet: {good} of {needed} good readings of {channel} in a row. Wait; the dose follows by itself."
            ),
            Withheld::Foaming { seen } => format!(
                "No dose yet: foam was seen at {seen}, which deceives the level probe. Wait until it settles, then enter how it looks."
            ),
            Withheld::PumpsStopped { since } => format!(
                "No dose yet: the pumps have stood still since {since}, so that no sample is mixed. Start the pumps, enter event pumps_on, and wait; the dose follows by itself."
            ),
            Withheld::Mixing { until } => {
                format!(
                    "No dose yet: it is not mixed before {until} (an addition, or pumps just started)."
                )
            }
            Withheld::OnTarget { within_pct } => format!(
                "No dose: level and concentration are near enough to their targets (within {within_pct:.1} points; the reading is no surer or the dead band is so wide)."
            ),
            Withheld::StepTooCoarse { step_l } => format!(
                "No dose: in steps of {step_l} L it would do no good here; set a finer dose.step for this sump."
            ),
            Withheld::NoBalance { why } => format!("No dose: {why}."),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_words_name_the_channel() {
        let channel: Arc<str> = "brix-2".into();
        let named = [
            Withheld::Silent {
                channel: Arc::clone(&channel),
            },
            Withheld::Doubted {
                channel: Arc::clone(&channel),
            },
            Withheld::Bad {
                channel: Arc::clone(&channel),
            },
            Withheld::Unsure {
                channel: Arc::clone(&channel),
            },
            Withheld::TooFew {
                channel,
                good: 1,
                needed: 3,
            },
        ];
        for withheld in named {
            assert!(withheld.words().contains("brix-2"), "{withheld:?}");
            assert!(withheld.passes_by_itself());
        }
    }
}
