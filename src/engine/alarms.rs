//! The sump's alarms: what the rules see goes in, journal lines come out.

use std::sync::Arc;

use crate::alarm::{AlarmDelays, AlarmLife, Priority, Transition, Verdict};
use crate::rules::{Condition, LimitLevel, judge_limit};
use crate::units::Quantity;

use super::event::Effect;
use super::journal::{AlarmLine, JournalBody};
use super::watch::SumpWatch;

/// Alarms about instruments tell at once and go at once: what they look at is
/// already a delay of its own.
const AT_ONCE: AlarmDelays = AlarmDelays {
    on: crate::units::Span::ZERO,
    off: crate::units::Span::ZERO,
};

/// Which of the sump's alarms.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Which {
    /// Of the limit at this place.
    Limit(usize),
    /// Of the silence of the channel at this place.
    Silence(usize),
    /// Of the doubt about the channel at this place.
    Doubt(usize),
}

impl SumpWatch {
    /// Judges one limit as things stand now.
    #[inline]
    pub(super) fn watch_limit(&mut self, ix: usize, out: &mut Vec<Effect>) {
        let limit = self.setup.limits[ix];
        let value = self.signal(limit.signal);
        let verdict = judge_limit(limit.level, limit.threshold, limit.dead_band, value);
        let delays = limit.delays();
        let transition = self.limits[ix].observe(self.now, verdict, delays);
        if let Some(due) = self.limits[ix].due(delays) {
            self.expect(due);
        }
        if let Some(transition) = transition {
            self.tell(Which::Limit(ix), transition, None, out);
            self.after_limit(ix, transition, out);
        }
    }

    fn after_limit(&mut self, ix: usize, transition: Transition, out: &mut Vec<Effect>) {
        if transition == Transition::Returned && self.condition(Which::Limit(ix)).calls_for_dose() {
            self.withdraw_if_idle(out);
        }
    }

    /// A usable reading of the channel came.
    #[inline]
    pub(super) fn heard(&mut self, channel: usize, out: &mut Vec<Effect>) {
        if self.silences[channel].is_active() {
            self.watch_silence(channel, out);
        }
    }

    /// Judges the channel's silence as things stand now.
    pub(super) fn watch_silence(&mut self, channel: usize, out: &mut Vec<Effect>) {
        let silent = self.channels[channel].is_silent(&self.setup.channels[channel], self.now);
        let verdict = if silent {
            Verdict::Outside
        } else {
            Verdict::Inside
        };
        if let Some(transition) = self.silences[channel].observe(self.now, verdict, AT_ONCE) {
            self.tell(Which::Silence(channel), transition, None, out);
            if transition == Transition::Returned {
                self.advise_again(out);
            }
        }
    }

    /// A hand reading was compared with the channel, or the probe was touched.
    pub(super) fn watch_doubt(&mut self, channel: usize, doubted: bool, out: &mut Vec<Effect>) {
        let verdict = if doubted {
            Verdict::Outside
        } else {
            Verdict::Inside
        };
        if let Some(transition) = self.doubts[channel].observe(self.now, verdict, AT_ONCE) {
            self.tell(Which::Doubt(channel), transition, None, out);
            if transition == Transition::Returned {
                self.advise_again(out);
            }
        }
    }

    /// A person takes the alarm with this id on.
    pub(super) fn acknowledge(&mut self, id: &str, by: Option<&str>, out: &mut Vec<Effect>) {
        let found = self
            .all_alarms()
            .find(|&which| self.alarm_id(which).as_deref() == Some(id));
        let Some(which) = found else { return };
        if let Some(transition) = self.life_mut(which).acknowledge() {
            self.tell(which, transition, by, out);
        }
    }

    /// The acknowledgement of the alarm with this id was taken back.
    pub(super) fn unacknowledge(&mut self, id: &str, by: Option<&str>, out: &mut Vec<Effect>) {
        let found = self
            .all_alarms()
            .find(|&which| self.alarm_id(which).as_deref() == Some(id));
        let Some(which) = found else { return };
        if let Some(transition) = self.life_mut(which).unacknowledge() {
            self.tell(which, transition, by, out);
        }
    }

    /// Writes a transition to the journal, with advice when the alarm is new.
    fn tell(
        &mut self,
        which: Which,
        transition: Transition,
        by: Option<&str>,
        out: &mut Vec<Effect>,
    ) {
        let condition = self.condition(which);
        let advice = (transition == Transition::Raised).then(|| self.advise(&condition, out));
        let life = *self.life(which);
        let (value, limit, window, unit) = self.evidence(which);
        let line = AlarmLine {
            id: self.alarm_id(which).unwrap_or_default(),
            condition,
            priority: self.priority(which),
            transition,
            state: life.state(),
            since: life.since().unwrap_or(self.now),
            value,
            unit,
            limit,
            window,
            by: by.map(str::to_owned),
            advice,
        };
        self.journal(JournalBody::Alarm(line), out);
        self.show(out);
    }

    fn evidence(&self, which: Which) -> Evidence {
        match which {
            Which::Limit(ix) => {
                let limit = self.setup.limits[ix];
                let value = self.signal(limit.signal);
                let window = self.window(limit.signal);
                (
                    value,
                    Some(limit.threshold),
                    Some(window),
                    Some(limit.signal.unit()),
                )
            }
            Which::Silence(channel) | Which::Doubt(channel) => {
                let unit = self.setup.channels[channel].quantity.unit();
                (self.value_of(channel), None, None, Some(unit))
            }
        }
    }

    /// The band between the signal's low and high limits.
    pub(super) fn window(&self, signal: Quantity) -> (Option<f64>, Option<f64>) {
        let limit = |level: LimitLevel| {
            let mut of_signal = self.setup.limits.iter().filter(|l| l.signal == signal);
            of_signal.find(|l| l.level == level).map(|l| l.threshold)
        };
        (limit(LimitLevel::Low), limit(LimitLevel::High))
    }

    /// Every alarm of the sump, in a fixed order.
    pub(super) fn all_alarms(&self) -> impl Iterator<Item = Which> + use<> {
        let channels = self.channels.len();
        (0..self.limits.len())
            .map(Which::Limit)
            .chain((0..channels).map(Which::Silence))
            .chain((0..channels).map(Which::Doubt))
    }

    pub(super) fn life(&self, which: Which) -> &AlarmLife {
        match which {
            Which::Limit(ix) => &self.limits[ix],
            Which::Silence(ix) => &self.silences[ix],
            Which::Doubt(ix) => &self.doubts[ix],
        }
    }

    fn life_mut(&mut self, which: Which) -> &mut AlarmLife {
        match which {
            Which::Limit(ix) => &mut self.limits[ix],
            Which::Silence(ix) => &mut self.silences[ix],
            Which::Doubt(ix) => &mut self.doubts[ix],
        }
    }

    pub(super) fn condition(&self, which: Which) -> Condition {
        let channel = |ix: usize| Arc::clone(&self.setup.channels[ix].name);
        match which {
            Which::Limit(ix) => {
                Condition::Limit(self.setup.limits[ix].signal, self.setup.limits[ix].level)
            }
            Which::Silence(ix) => Condition::Silent(channel(ix)),
            Which::Doubt(ix) => Condition::Disagrees(channel(ix)),
        }
    }

    pub(super) fn priority(&self, which: Which) -> Priority {
        match which {
            Which::Limit(ix) => self.setup.limits[ix].priority,
            // Diagnostic alarms have a class of their own, usually low
            // (common practice, no source).
            Which::Silence(_) | Which::Doubt(_) => Priority::Low,
        }
    }

    /// The id of the present or last occurrence.
    pub(super) fn alarm_id(&self, which: Which) -> Option<String> {
        let raised = self.life(which).raised()?;
        Some(format!(
            "{}/{}/{raised}",
            self.setup.name,
            self.condition(which)
        ))
    }
}

/// Value, limit, window and unit of an alarm.
type Evidence = (
    Option<f64>,
    Option<f64>,
    Option<(Option<f64>, Option<f64>)>,
    Option<&'static str>,
);
