//! What the alarm of a rule of the plant's own is suppressed for: by what the rule
//! reads, as the alarms that come with the program are.

use crate::rules::OwnAlarm;
use crate::rules::own::{OwnRead, OwnRule};

use super::alarm_list::AlarmIx;
use super::suppression::Suppressor;
use super::watch::SumpWatch;

impl SumpWatch {
    pub(super) fn of_own(&self, alarm: AlarmIx, own: &OwnAlarm) -> Option<Suppressor> {
        let by = own.suppressed_by;
        if by.source_gone && self.is_blinded(alarm, &own.rule) {
            return Some(Suppressor::SourceGone);
        }
        let reads_mix = own.rule.reads().next().is_some();
        let recharge = by.recharge && reads_mix && self.recharge_under_way();
        recharge.then_some(Suppressor::Recharge)
    }

    /// Whether the sources of all channels that the rule reads are gone, or were until
    /// just now and the channels have their time to report. What people were told of a
    /// value before is not taken back for that: it stands until the value is known to be
    /// another.
    fn is_blinded(&self, alarm: AlarmIx, rule: &OwnRule) -> bool {
        let known = self.alarms.life(alarm).is_told() && !self.is_raised_now(alarm);
        if known && !rule.looks_for_silence() {
            return false;
        }
        let mut channels = self.channels_read(rule).peekable();
        let is_blinded =
            |ix: usize| self.channels[ix].is_blinded(&self.setup.channels[ix], self.now);
        channels.peek().is_some() && channels.all(is_blinded)
    }

    /// The channels of the sump that the rule reads, some of them more than once.
    fn channels_read(&self, rule: &OwnRule) -> impl Iterator<Item = usize> {
        let channels = || self.setup.channels.iter().enumerate();
        rule.reads().flat_map(move |read| {
            let is_read = channels().filter(move |(_, channel)| match read {
                OwnRead::Signal(quantities) => quantities.contains(&channel.quantity),
                OwnRead::Channel(name) => *channel.name == *name,
                OwnRead::Fluid => false,
            });
            is_read.map(|(ix, _)| ix)
        })
    }
}
