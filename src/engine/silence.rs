//! Channels that fall silent together: what one device sends is one alarm.

use std::sync::Arc;

use crate::rules::Condition;
use crate::units::Span;

use super::alarm_list::{AlarmIx, Watched};
use super::suppression::Suppressor;
use super::watch::SumpWatch;

/// Channels whose last readings came within so long of each other fell silent
/// together. Choice: a device sends all that it measures within a round, and two
/// that break within minutes of each other are no chance.
const TOGETHER: Span = Span::from_mins(5);

impl SumpWatch {
    /// The other channels that have said nothing for about as long as this one, and
    /// that are silent by their settings too, or have been for longer than a round.
    fn silent_with(&self, channel: usize) -> impl Iterator<Item = usize> {
        let last = |ix: usize| self.channels[ix].usable_at;
        let near = move |ix: usize| (last(ix) - last(channel)).millis().abs() <= TOGETHER.millis();
        let missed = move |ix: usize| {
            let setup = &self.setup.channels[ix];
            self.channels[ix].is_silent(setup, self.now) || self.now - last(ix) > TOGETHER
        };
        (0..self.channels.len()).filter(move |&ix| ix != channel && near(ix) && missed(ix))
    }

    /// Their names, where people are told of a silence anew.
    pub(super) fn fell_silent_with(&self, alarm: AlarmIx, told: bool) -> Vec<Arc<str>> {
        match self.alarms.watched(alarm) {
            Watched::Silence(channel) if told => {
                let others = self.silent_with(channel);
                others.map(|other| self.name_of(other)).collect()
            }
            _ => Vec::new(),
        }
    }

    /// The silence that people know of already, and that tells of this one too: no
    /// less urgent, and not told after it.
    pub(super) fn of_silent_together(&self, channel: usize) -> Option<Suppressor> {
        let alarm = self.alarms.silence(channel)?;
        let is_told = self.alarms.life(alarm).is_told() && !self.is_raised_now(alarm);
        let tells = |other: &usize| {
            self.alarms.silence(*other).is_some_and(|other| {
                let urgent = self.alarms.spec(other).priority >= self.alarms.spec(alarm).priority;
                urgent && !is_told && self.alarms.life(other).is_known()
            })
        };
        let teller = self.silent_with(channel).find(tells)?;
        let teller = Condition::Silent(self.name_of(teller));
        Some(Suppressor::Alarm(teller.to_string()))
    }
}
