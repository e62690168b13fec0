//! From where on signals move too fast.

use crate::engine::{ChannelSetup, Direction, RateRule, Rule};
use crate::units::{Parse, Quantity, Span};

use super::defaults;
use super::key_path::KeyPath;
use super::measure;
use super::problem::Problem;
use super::raw_rules::{RawRate, RawRule, RawRules};
use super::review::Review;
use super::written::{Switch, Written};

/// The windows that can be looked at over.
const WINDOWS: (Span, Span) = (Span::from_hours(1), Span::from_hours(72));

/// The rate of one signal as it stands where nothing is written.
pub(super) struct Rate<'a> {
    /// Its key.
    pub(super) key: &'static str,
    /// What is written.
    pub(super) raw: Option<&'a Switch<RawRate>>,
    signal: Quantity,
    /// Any of these has to be measured.
    measured_by: [Quantity; 2],
    /// Falling and rising, in the signal's unit an hour; none where it is off
    /// unless something is written.
    standard: [Option<f64>; 2],
    over: Span,
    example: &'static str,
}

/// All of them. Limits: 0.5 points an hour, pH 0.3 an hour and 10 K an hour are
/// what readings are taken to change by at most, additions left out (memory). A
/// sump that cools is no matter, as machines stop every evening (choice). For
/// conductivity and volume the trade gives none, and losses and gains are
/// followed for themselves. Windows: choice, long against what mixes and filters
/// take, short against a shift.
pub(super) fn all(raw: &RawRules) -> [Rate<'_>; 5] {
    let rate = |key, raw, signal, measured_by, standard, hours, example| Rate {
        key,
        raw,
        signal,
        measured_by,
        standard,
        over: Span::from_hours(hours),
        example,
    };
    [
        rate(
            "concentration_rate",
            raw.concentration_rate.as_ref(),
            Quantity::Concentration,
            [Quantity::Brix, Quantity::Concentration],
            [Some(0.5), Some(0.5)],
            2,
            "falling = \"0.5 %/h\"",
        ),
        rate(
            "ph_rate",
            raw.ph_rate.as_ref(),
            Quantity::Ph,
            [Quantity::Ph; 2],
            [Some(0.3), Some(0.3)],
            2,
            "falling = \"0.3 pH/h\"",
        ),
        rate(
            "conductivity_rate",
            raw.conductivity_rate.as_ref(),
            Quantity::Conductivity,
            [Quantity::Conductivity; 2],
            [None, None],
            4,
            "rising = \"200 µS/cm/h\"",
        ),
        rate(
            "temperature_rate",
            raw.temperature_rate.as_ref(),
            Quantity::Temperature,
            [Quantity::Temperature; 2],
            [None, Some(10.0)],
            1,
            "rising = \"10 K/h\"",
        ),
        rate(
            "level_rate",
            raw.level_rate.as_ref(),
            Quantity::Volume,
            [Quantity::Level, Quantity::Volume],
            [None, None],
            4,
            "falling = \"2 %/h\"",
        ),
    ]
}

impl Rate<'_> {
    /// The rules of a sump with these channels and this working volume, and how
    /// their alarms are written to behave.
    pub(super) fn rules(
        &self,
        review: &mut Review,
        at: &KeyPath,
        channels: &[ChannelSetup],
        working: Option<f64>,
    ) -> Option<(Vec<Rule>, Option<Switch<RawRule>>)> {
        let measured = channels
            .iter()
            .any(|channel| self.measured_by.contains(&channel.quantity));
        let raw = match self.raw {
            Some(Switch::Off) => return Some((Vec::new(), Some(Switch::Off))),
            Some(Switch::On(_)) if !measured => {
                review.tell(at, Problem::NotMeasured(self.signal));
                return None;
            }
            None if !measured => return Some((Vec::new(), None)),
            Some(Switch::On(raw)) => Some(raw),
            None => None,
        };
        let over = raw.and_then(|raw| raw.over.as_ref());
        let path = at.key("over");
        let over = review.or_default(&path, over, Span::parse, self.over);
        let over = over.and_then(|over| review.within(&path, over, WINDOWS, |s| s.to_string()));
        let written = [
            raw.and_then(|raw| raw.falling.as_ref()),
            raw.and_then(|raw| raw.rising.as_ref()),
        ];
        let limits = Direction::ALL.into_iter().zip(written).zip(self.standard);
        let limits = limits.map(|((direction, written), standard)| {
            let path = at.key(direction.name());
            let limit = self.limit(review, &path, written, standard, working)?;
            Some(limit.map(|limit| (direction, limit)))
        });
        let limits: Vec<Option<Option<(Direction, f64)>>> = limits.collect();
        let limits: Option<Vec<Option<(Direction, f64)>>> = limits.into_iter().collect();
        let (over, limits) = (over?, limits?);
        if raw.is_some() && limits.iter().all(Option::is_none) {
            review.missing(&at.key("falling"), self.example);
            return None;
        }
        let rules = limits.into_iter().flatten().map(|(direction, limit)| {
            Rule::Rate(RateRule {
                signal: self.signal,
                direction,
                limit_per_hour: limit,
                over,
            })
        });
        let behaves = raw.map(|raw| Switch::On(RawRule::from(raw)));
        Some((rules.collect(), behaves))
    }

    /// A limit, in the signal's unit an hour; the inner nothing is one that is
    /// off.
    fn limit(
        &self,
        review: &mut Review,
        path: &KeyPath,
        written: Option<&Written>,
        standard: Option<f64>,
        working: Option<f64>,
    ) -> Option<Option<f64>> {
        let Some(written) = written else {
            return Some(standard);
        };
        if written.is_off() {
            return Some(None);
        }
        let change = |text: &str| match (self.signal, working) {
            (Quantity::Volume, Some(working)) => measure::volume_or_share(text, working),
            (signal, _) => measure::difference(signal, text),
        };
        let limit = review.good(path, measure::rate(written.text(), change))?;
        let (_, highest) = defaults::conceivable(self.signal);
        review.within(path, limit, (self.least(), highest), |limit| {
            format!("{limit} {}/h", self.signal.unit())
        })?;
        Some(Some(limit))
    }

    /// Slower than this nothing is told from standing still, in the signal's
    /// unit an hour. Choice: what an instrument resolves, over days.
    const fn least(&self) -> f64 {
        match self.signal {
            Quantity::Conductivity => 1.0,
            Quantity::Volume => 0.1,
            Quantity::Temperature => 0.05,
            _ => 0.001,
        }
    }
}
