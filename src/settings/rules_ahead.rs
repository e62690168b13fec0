//! Limits that are told before they are reached.

use crate::engine::{LimitLevel, Rule};
use crate::units::{Parse, Quantity, Span};

use super::key_path::KeyPath;
use super::raw_rules::{RawAhead, RawRule, RawRules};
use super::review::Review;
use super::written::Switch;

/// A limit ahead as it stands where nothing is written.
pub(super) struct Ahead<'a> {
    /// Its key.
    pub(super) key: &'static str,
    /// What is written.
    pub(super) raw: Option<&'a Switch<RawAhead>>,
    signal: Quantity,
    level: LimitLevel,
    /// None where it is off unless something is written.
    standard: Option<Span>,
}

/// All of them. Choice, by what a person gains: concentration a shift, to read by
/// hand and make ready a dose; pH three days, to take a dip slide and ask the
/// supplier; minerals two weeks, to change the water. The level is off: a top-up
/// that is due within hours is routine, and stands in the sump's state.
///
/// There are no others, by what a person would not gain. Conductivity rises with
/// minerals, of which hardness and chloride have theirs, and with the concentration,
/// which has its own; what is beyond both is told from half as much again as the base
/// line on (`conductivity.excess`), long before it harms. Temperature rises and falls
/// with the day, so that its slope says nothing of tomorrow. A level rises by what is
/// put in or runs in, and a gain tells that. pH rises with the concentration, or in a
/// jump by a cleaner.
pub(super) fn all(raw: &RawRules) -> [Ahead<'_>; 6] {
    let ahead = |key, raw, signal, level, standard| Ahead {
        key,
        raw,
        signal,
        level,
        standard,
    };
    let (shift, days, weeks) = (
        Some(Span::from_hours(8)),
        Some(Span::from_hours(3 * 24)),
        Some(Span::from_hours(14 * 24)),
    );
    let (low, high) = (LimitLevel::Low, LimitLevel::High);
    [
        ahead(
            "concentration_low_ahead",
            raw.concentration_low_ahead.as_ref(),
            Quantity::Concentration,
            low,
            shift,
        ),
        ahead(
            "concentration_high_ahead",
            raw.concentration_high_ahead.as_ref(),
            Quantity::Concentration,
            high,
            shift,
        ),
        ahead(
            "level_low_ahead",
            raw.level_low_ahead.as_ref(),
            Quantity::Volume,
            low,
            None,
        ),
        ahead(
            "ph_low_ahead",
            raw.ph_low_ahead.as_ref(),
            Quantity::Ph,
            low,
            days,
        ),
        ahead(
            "hardness_high_ahead",
            raw.hardness_high_ahead.as_ref(),
            Quantity::Hardness,
            high,
            weeks,
        ),
        ahead(
            "chloride_high_ahead",
            raw.chloride_high_ahead.as_ref(),
            Quantity::Chloride,
            high,
            weeks,
        ),
    ]
}

/// Where the level is told ahead and nothing else is written.
const A_SHIFT: Span = Span::from_hours(8);

impl Ahead<'_> {
    /// The rule, and how its alarm is written to behave; no rule where it is off.
    pub(super) fn rule(
        &self,
        review: &mut Review,
        at: &KeyPath,
    ) -> Option<(Option<Rule>, Option<Switch<RawRule>>)> {
        let (within, behaves) = match self.raw {
            None => (self.standard, None),
            Some(Switch::Off) => (None, Some(Switch::Off)),
            Some(Switch::On(raw)) => {
                let path = at.key("within");
                let standard = self.standard.unwrap_or(A_SHIFT);
                let within =
                    review.or_default(&path, raw.within.as_ref(), Span::parse, standard)?;
                let range = (Span::from_mins(30), Span::from_hours(60 * 24));
                let within = review.within(&path, within, range, |span| span.to_string())?;
                (Some(within), Some(Switch::On(RawRule::from(raw))))
            }
        };
        let rule = within.map(|within| Rule::Ahead {
            signal: self.signal,
            level: self.level,
            within,
        });
        Some((rule, behaves))
    }
}
