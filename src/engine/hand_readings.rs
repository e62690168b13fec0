//! Hand readings held against the inline channels: which are doubted.

use crate::signal::Drift;
use crate::units::{Quantity, Span, Timestamp};

use super::event::Effect;
use super::remembered::{Comparison, Said, Superseded};
use super::setup::LimitSetup;
use super::watch::SumpWatch;

/// A hand reading is held against what the channels say now if it is not older
/// than this. Choice: within half an hour a sump seldom moves by as much as a
/// hand reading may differ, unless something is added.
const FRESH: Span = Span::from_mins(30);

/// The share of what a hand reading may differ that is enough where it lies beyond a
/// limit that the channel does not tell of: two of three deviations (choice).
const UNTOLD: f64 = 2.0 / 3.0;

impl SumpWatch {
    /// Holds a hand reading against the inline channels of the same quantity:
    /// against what they say now if it is fresh and they show the mix that was
    /// read, or against what they said when the entry came that it corrects.
    pub(super) fn compare(
        &self,
        quantity: Quantity,
        by_hand: f64,
        time: Timestamp,
        superseded: Option<&Superseded>,
    ) -> Vec<Comparison> {
        let near = |one: &&Superseded| time >= one.time - FRESH && time <= one.time + FRESH;
        let corrected = superseded.filter(near).map(|one| &one.said);
        let mut comparisons = Vec::new();
        for (ix, setup) in self.setup.channels.iter().enumerate() {
            if setup.quantity != quantity {
                continue;
            }
            let then = corrected.and_then(|said| inline_of(said, &setup.name));
            let fresh = time >= self.now - FRESH && !self.channels[ix].is_stale(setup, self.now);
            let now = || self.value_of(ix).filter(|_| self.reads_alike(quantity));
            let now = fresh.then(now).flatten();
            // What moves fast the smoothed value follows a little later.
            let newest = now
                .filter(|_| then.is_none())
                .and(self.channels[ix].newest());
            let differs = |shown: f64| (shown - by_hand).abs() > self.allowed(ix, shown, by_hand);
            if let Some(inline) = then.or(now) {
                comparisons.push(Comparison {
                    channel: setup.name.to_string(),
                    inline: Some(inline),
                    by_hand: Some(by_hand),
                    doubted: differs(inline) && newest.is_none_or(differs),
                });
            }
        }
        comparisons
    }

    /// How far the channel may lie from a hand reading before it is doubted: less is
    /// enough where the hand reading lies beyond a limit that the channel does not
    /// tell of.
    fn allowed(&self, channel: usize, shown: f64, by_hand: f64) -> f64 {
        let tolerance = self.setup.channels[channel].hand_tolerance;
        let untold = |limit: &LimitSetup| {
            self.would_pass(limit, channel, by_hand) && !self.would_pass(limit, channel, shown)
        };
        match self.setup.limits.iter().any(untold) {
            true => UNTOLD * tolerance,
            false => tolerance,
        }
    }

    /// Whether the sump's signal would lie beyond the limit if the channel said so.
    fn would_pass(&self, limit: &LimitSetup, channel: usize, value: f64) -> bool {
        let (signal, value) = match self.setup.channels[channel].quantity {
            Quantity::Brix => (
                Quantity::Concentration,
                self.concentration_at(channel, value),
            ),
            Quantity::Level => (Quantity::Volume, self.volume_at(channel, value)),
            other => (other, value),
        };
        let is_beyond = match limit.level.is_low() {
            true => value < limit.threshold,
            false => value > limit.threshold,
        };
        limit.signal == signal && is_beyond
    }

    /// Whether a probe shows what somebody reads by hand at the same time: not
    /// while something mixes in, nor before it is flushed.
    fn reads_alike(&self, quantity: Quantity) -> bool {
        let sampled = !matches!(
            quantity,
            Quantity::Level | Quantity::Volume | Quantity::Temperature
        );
        !sampled || (self.dosing.mixing_until.is_none() && self.pumps_flush())
    }

    pub(super) fn judge_doubts(&mut self, channels: &[String], out: &mut Vec<Effect>) {
        for ix in 0..self.channels.len() {
            let name = &*self.setup.channels[ix].name;
            if channels.iter().any(|channel| channel == name) {
                let compared = self.remembered.compared(name);
                let tolerance = self.setup.channels[ix].hand_tolerance;
                let doubted = self.remembered.doubted(name).unwrap_or(false);
                let drift = Drift::told_by(&compared, tolerance, doubted);
                self.channels[ix].instrument.set_drift(drift);
                if !doubted {
                    // Whatever the balance thought of it: a hand reading agrees.
                    self.channels[ix].instrument.forbidden_drift(self.now, None);
                    self.prism_agrees(ix);
                }
                self.watch_doubt(ix, doubted, out);
            }
        }
    }
}

/// What the channel said in this comparison.
fn inline_of(said: &Said, channel: &str) -> Option<f64> {
    let Said::Channels(comparisons) = said else {
        return None;
    };
    let mut comparisons = comparisons.iter();
    comparisons.find(|one| one.channel == channel)?.inline
}

/// The channels that either spoke of.
pub(super) fn channels_of(before: Option<&Said>, now: &Said) -> Vec<String> {
    let spoken = before.into_iter().chain([now]);
    let comparisons = spoken.filter_map(|said| match said {
        Said::Channels(comparisons) => Some(comparisons),
        _ => None,
    });
    comparisons
        .flatten()
        .map(|one| one.channel.clone())
        .collect()
}
