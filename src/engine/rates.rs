//! How fast the signals move, where a rule asks for it.

use std::collections::{BTreeMap, VecDeque};

use serde::{Deserialize, Serialize};

use crate::rules::{Rule, Speed};
use crate::signal::{Confidence, theil_sen_per_hour};
use crate::units::{Quantity, Span, Timestamp};

use super::watch::SumpWatch;

/// Points of one window. Choice: a slope through so many is sure to a few per
/// cent of what the readings scatter.
const POINTS: i64 = 24;
/// From so many points on there is a speed: half of a window.
const LEAST: usize = 12;

/// The course of one signal over its window: fixed memory.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
struct SignalRate {
    points: VecDeque<(Timestamp, f64)>,
    /// None where nothing is judged.
    speed: Option<Speed>,
}

impl SignalRate {
    /// The signal as it is now; not more often than the window has points.
    fn step(&mut self, over: Span, now: Timestamp, value: Option<f64>) {
        let window = now - over;
        while self.points.front().is_some_and(|(time, _)| *time < window) {
            self.points.pop_front();
        }
        let Some(value) = value else {
            self.speed = None;
            return;
        };
        let every = Span::from_millis(over.millis() / POINTS);
        let is_due = |(last, _): &(Timestamp, f64)| now - *last >= every;
        if !self.points.back().is_none_or(is_due) {
            return;
        }
        self.points.push_back((now, value));
        self.speed = speed(self.points.make_contiguous());
    }

    fn begin_anew(&mut self) {
        self.points.clear();
        self.speed = None;
    }
}

/// The slope through these points with its interval.
fn speed(points: &[(Timestamp, f64)]) -> Option<Speed> {
    if points.len() < LEAST {
        return None;
    }
    let trend = theil_sen_per_hour(points, Confidence::Ninety).ok()?;
    Some(Speed {
        likely: trend.slope,
        between: trend.interval,
    })
}

/// The speeds of a sump's signals.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct Rates(BTreeMap<Quantity, SignalRate>);

impl Rates {
    /// Something went in or out, or a probe was touched: what was before says
    /// nothing of what follows.
    pub(super) fn disturbed(&mut self) {
        self.0.values_mut().for_each(SignalRate::begin_anew);
    }

    /// How fast the signal moves; none where that cannot be said.
    pub(super) fn speed(&self, signal: Quantity) -> Option<Speed> {
        self.0.get(&signal)?.speed
    }
}

impl SumpWatch {
    /// Takes the signals in as they are now.
    pub(super) fn follow_rates(&mut self) {
        let setup = std::sync::Arc::clone(&self.setup);
        let rules = setup.rules.iter().filter_map(|setup| match &setup.rule {
            Rule::Rate(rate) => Some((rate.signal, rate.over)),
            _ => None,
        });
        let shows = self.shows_the_mix();
        let mut before = None;
        for (signal, over) in rules {
            // Both ways of one signal go over the same window.
            if before.replace(signal) == Some(signal) {
                continue;
            }
            let value = self.signal(signal);
            let doubted = value.is_some() && !self.well(signal) || self.is_thinned_just_now(signal);
            let rate = self.rates.0.entry(signal).or_default();
            if !shows || doubted {
                rate.begin_anew();
            } else {
                rate.step(over, self.now, value);
            }
        }
    }

    /// Whether the signal is of a mix into which something has just gone that nobody
    /// wrote down: how fast it moves says how that mixes.
    fn is_thinned_just_now(&self, signal: Quantity) -> bool {
        let of_mix = !matches!(
            signal,
            Quantity::Level | Quantity::Volume | Quantity::Temperature
        );
        let balance = &self.balance.balance;
        of_mix && balance.mixes_unseen(&self.balance_setup, self.now)
    }

    /// Whether what the probes see goes as the fluid of the whole sump does: no
    /// addition mixes in, nobody cleans it out, and the pumps do not stand, nor
    /// did they until just now.
    pub(super) fn shows_the_mix(&self) -> bool {
        if self.dosing.mixing_until.is_some() || self.recharge_under_way() {
            return false;
        }
        match (self.pumps_since(), self.pumps_run()) {
            (Some((since, true)), _) => {
                since + self.mixing_span(self.setup.working_volume) <= self.now
            }
            (_, run) => run != Some(false),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const OVER: Span = Span::from_hours(2);

    fn at(minutes: i64) -> Timestamp {
        Timestamp::from_millis(1_772_409_600_000) + Span::from_mins(minutes)
    }

    #[test]
    fn its_memory_is_its_window() {
        let mut rate = SignalRate::default();
        for five in 0..500 {
            rate.step(OVER, at(5 * five), Some(8.0));
        }
        assert_eq!(rate.points.len(), POINTS as usize + 1);
        let mut slow = SignalRate::default();
        for five in 0..500 {
            slow.step(Span::from_hours(24), at(5 * five), Some(8.0));
            assert!(slow.points.len() <= POINTS as usize + 1);
        }
    }

    #[test]
    fn half_a_window_tells_the_speed_and_a_step_is_never_sure_to_be_one() {
        let mut rate = SignalRate::default();
        for five in 0..12 {
            assert_eq!(rate.speed, None);
            let wave = 0.01 * (five % 3) as f64;
            rate.step(OVER, at(5 * five), Some(8.0 - 0.05 * five as f64 + wave));
        }
        let speed = rate.speed.unwrap();
        assert!((speed.likely + 0.6).abs() < 0.05, "{speed:?}");
        assert!(speed.between.1 < -0.5, "{speed:?}");
        let mut step = SignalRate::default();
        for five in 0..60 {
            let value = if five < 25 { 8.0 } else { 9.0 };
            step.step(OVER, at(5 * five), Some(value));
            assert!(step.speed.is_none_or(|speed| speed.between.0 == 0.0));
        }
    }

    #[test]
    fn without_a_value_there_is_no_speed_and_what_is_old_is_let_go() {
        let mut rate = SignalRate::default();
        for five in 0..24 {
            rate.step(OVER, at(5 * five), Some(8.0));
        }
        assert!(rate.speed.is_some());
        rate.step(OVER, at(120), None);
        assert_eq!(rate.speed, None);
        rate.step(OVER, at(400), None);
        assert!(rate.points.is_empty());
    }
}
