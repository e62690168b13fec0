//! One cause, one alarm: what an alarm is suppressed for by design.
//!
//! An alarm whose condition does not hold is never suppressed: there is nothing
//! to keep from anybody. What suppresses an alarm is looked at whenever it would
//! be told, and from time to time while it stands.

use std::sync::Arc;

use serde::Serialize;

use crate::alarm::{Hiding, Verdict};
use crate::rules::{Condition, Direction, LimitLevel, Rule, Step, judge_limit};
use crate::signal::InstrumentReason;
use crate::units::{Quantity, Span};

use super::alarm_list::{AlarmIx, Watched};
use super::alarms::Told;
use super::event::Effect;
use super::own_inputs::InputsOnce;
use super::watch::SumpWatch;

/// A clean-out takes no longer than this; after it, nobody has written down that
/// the sump was filled anew. Choice: a long weekend.
const LONGEST_RECHARGE: Span = Span::from_hours(96);

/// After a stop the probes are believed once the pumps have run for so long:
/// what stood in the cells is no longer the sump's mix, and despiking and
/// smoothing remember it. (choice)
const FLUSHED: Span = Span::from_mins(20);
/// A limit that is passed waits for so long at most until it is known whether its
/// instrument is to be believed: the share of spikes is that of an hour.
const LONGEST_DOUBT: Span = Span::from_mins(60);
/// A sump that is somewhat full, for so long: foam billows for hours, and what runs
/// over is another limit's. (choice)
const LONGEST_DOUBT_OF_FOAM: Span = Span::from_hours(3);

/// The level of pumps that just started or stopped is judged after so long.
/// Choice: lines fill and drain within minutes, and foam shows by then.
const RUNS_BACK: Span = Span::from_mins(20);

/// What an alarm is suppressed for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(tag = "suppressed_by", content = "name", rename_all = "snake_case")]
pub enum Suppressor {
    /// The circulation pumps stand: the probes do not see the sump's mix.
    PumpsStopped,
    /// The probe is being cleaned or calibrated.
    ProbeTouched(Arc<str>),
    /// The sump is being cleaned out or filled anew.
    Recharge,
    /// The channel's source is gone, and with it all its channels.
    SourceGone,
    /// The instrument of this channel is told of itself.
    Instrument(Arc<str>),
    /// What this channel shows has not settled, or nothing that is known of the
    /// sump explains it: before long that is told of the instrument, or this is.
    Unsettled(Arc<str>),
    /// Another alarm of the sump tells of the same, and worse.
    Alarm(String),
    /// The plant starts after a stand-still, and tells of this with what many other
    /// sumps have.
    StartUp,
}

impl SumpWatch {
    /// What the alarm is to be suppressed for as things stand.
    pub(super) fn suppressor(&self, alarm: AlarmIx) -> Option<Suppressor> {
        self.of_sump(alarm).or_else(|| self.of_start_up(alarm))
    }

    /// What the sump itself has to suppress it for.
    fn of_sump(&self, alarm: AlarmIx) -> Option<Suppressor> {
        match self.alarms.watched(alarm) {
            Watched::Limit(limit) => {
                let limit = &self.setup.limits[limit];
                self.of_limit(alarm, limit.signal, limit.level)
                    .or_else(|| self.of_doubtful(alarm, limit.signal, limit.level))
            }
            Watched::Silence(channel) => self.of_silence(channel),
            Watched::Doubt(_) => None,
            Watched::Rule(rule) => match &self.setup.rules[rule].rule {
                Rule::Souring(_) if self.waits_for_start(alarm) => Some(Suppressor::PumpsStopped),
                rule => self.of_rule(alarm, rule),
            },
        }
    }

    /// A sump that stands for longer than a night sours more often than not, its
    /// probes do not see its mix, and nobody can change that before it starts:
    /// it is told then, once fresh mix has reached the probes.
    fn waits_for_start(&self, alarm: AlarmIx) -> bool {
        let longest = self.setup.souring.still;
        match self.chemistry.now.souring.circulates() {
            Some((since, false)) => self.now - since > longest,
            Some((since, true)) => {
                let is_flushed = self.now - since >= FLUSHED && self.pumps_flush();
                self.alarms.life(alarm).is_suppressed() && !is_flushed
            }
            None => false,
        }
    }

    fn of_limit(&self, alarm: AlarmIx, signal: Quantity, level: LimitLevel) -> Option<Suppressor> {
        if self.recharge_under_way() {
            return Some(Suppressor::Recharge);
        }
        if let Some(worse) = self.covering(alarm, &Condition::Limit(signal, level)) {
            return Some(Suppressor::Alarm(worse.to_string()));
        }
        if let Some(step) = self.step_that_tells(signal, level) {
            return Some(Suppressor::Alarm(step.to_string()));
        }
        if (signal, level.is_low()) == (Quantity::Concentration, false) && self.is_by_oil(alarm) {
            return Some(Suppressor::Alarm(Condition::TrampOil.to_string()));
        }
        let channel = self.channel_of(signal)?;
        self.of_signal(channel, signal)
            .or_else(|| self.of_misled(alarm, channel, level.is_low()))
    }

    /// What people were told is taken back only once they are told of the
    /// instrument: its judgement by itself comes and goes with foam and spikes.
    fn of_misled(&self, alarm: AlarmIx, channel: usize, low: bool) -> Option<Suppressor> {
        let is_new = !self.alarms.life(alarm).is_told() || self.is_raised_now(alarm);
        let is_told_of =
            || self.alarms.is_doubted(channel) || self.instrument_alarm_stands(channel);
        let misled = self.misleads(channel, low) && (is_new || is_told_of());
        misled.then(|| Suppressor::Instrument(self.name_of(channel)))
    }

    pub(super) fn is_raised_now(&self, alarm: AlarmIx) -> bool {
        self.alarms.life(alarm).raised() == Some(self.now)
    }

    /// What is about to be told, or waits to be, waits a little longer where its
    /// instrument may be to blame; what people were told is not taken back.
    fn of_doubtful(
        &self,
        alarm: AlarmIx,
        signal: Quantity,
        level: LimitLevel,
    ) -> Option<Suppressor> {
        let life = self.alarms.life(alarm);
        let waits = life.is_suppressed() || self.is_raised_now(alarm);
        let channel = self.channel_of(signal).filter(|_| waits)?;
        let longest = match (signal, level) {
            (Quantity::Volume, LimitLevel::High) => LONGEST_DOUBT_OF_FOAM,
            _ => LONGEST_DOUBT,
        };
        let young = life.since().is_some_and(|since| self.now - since < longest);
        let unsettled = young && (self.is_unsettled(channel) || self.runs_back(signal));
        let impossible = signal == Quantity::Concentration
            && !level.is_low()
            && self.has_instrument_alarm(channel);
        let unsettled = unsettled || (impossible && self.is_more_than_can_be());
        let unsettled = unsettled || (impossible && self.is_by_film(alarm));
        unsettled.then(|| Suppressor::Unsettled(self.name_of(channel)))
    }

    /// Whether the level follows pumps that just started or stopped.
    pub(super) fn runs_back(&self, signal: Quantity) -> bool {
        let of_level = matches!(signal, Quantity::Level | Quantity::Volume);
        let since = self.pumps_since().map(|(since, _)| since);
        of_level && since.is_some_and(|since| self.now - since < RUNS_BACK)
    }

    /// What every judgement on the channel's signal is suppressed for.
    pub(super) fn of_signal(&self, channel: usize, signal: Quantity) -> Option<Suppressor> {
        let judged = self.instrument_judgement(channel);
        if judged.reason == Some(InstrumentReason::JustTouched) {
            return Some(Suppressor::ProbeTouched(self.name_of(channel)));
        }
        let sampled = !matches!(
            signal,
            Quantity::Level | Quantity::Volume | Quantity::Temperature
        );
        (sampled && !self.pumps_flush()).then_some(Suppressor::PumpsStopped)
    }

    fn of_silence(&self, channel: usize) -> Option<Suppressor> {
        if self.channels[channel].source_gone {
            return Some(Suppressor::SourceGone);
        }
        if self.recharge_under_way() {
            return Some(Suppressor::Recharge);
        }
        let failed = self.judged_when_heard(channel).reason == Some(InstrumentReason::Fault);
        let told = self.instrument_alarm_stands(channel);
        let by_instrument = || Suppressor::Instrument(self.name_of(channel));
        (failed && told)
            .then(by_instrument)
            .or_else(|| self.of_silent_together(channel))
    }

    fn of_rule(&self, alarm: AlarmIx, rule: &Rule) -> Option<Suppressor> {
        match rule {
            Rule::Instrument { channel } => {
                let ix = self.channel_named(channel)?;
                if self.channels[ix].source_gone {
                    return Some(Suppressor::SourceGone);
                }
                self.recharge_under_way().then_some(Suppressor::Recharge)
            }
            Rule::Mixer => None,
            Rule::Own(own) => self.of_own(alarm, own),
            Rule::Overdue(planned) => self.of_overdue(planned.check),
            Rule::Nitrite(step) => self.of_nitrite_step(*step),
            Rule::PhDrop(step) => self.of_ph_step(*step),
            Rule::Rate(rate) => {
                let low = rate.direction == Direction::Falling;
                self.of_moving(alarm, Some(rate.signal), low)
            }
            Rule::Shifted(chart) => {
                let low = self.shift_of(chart).is_some_and(|shift| shift.by < 0.0);
                self.of_moving(alarm, chart.of.signal(), low)
            }
            other => {
                if self.recharge_under_way() {
                    return Some(Suppressor::Recharge);
                }
                if let Some(worse) = self.covering(alarm, &other.condition()) {
                    return Some(Suppressor::Alarm(worse.to_string()));
                }
                // What stands before the probes tells nothing of what comes.
                match other {
                    Rule::Ahead { signal, .. } => {
                        let channel = self.channel_of(*signal)?;
                        self.of_signal(channel, *signal)
                    }
                    _ => None,
                }
            }
        }
    }

    /// A signal that moves, up or to the `low` side; the refractive factor is none.
    fn of_moving(&self, alarm: AlarmIx, signal: Option<Quantity>, low: bool) -> Option<Suppressor> {
        if self.recharge_under_way() {
            return Some(Suppressor::Recharge);
        }
        if let Some(worse) = self.covering(alarm, &self.condition(alarm)) {
            return Some(Suppressor::Alarm(worse.to_string()));
        }
        let channel = self.channel_of(signal?)?;
        self.of_signal(channel, signal?)
            .or_else(|| self.of_misled(alarm, channel, low))
    }

    /// The alarm that tells of the same and of more, while people know of it. One that
    /// they are about to be told takes nothing back. Signs of souring are more than
    /// what a shelved pH may stand for.
    fn covering(&self, alarm: AlarmIx, condition: &Condition) -> Option<Condition> {
        let is_told = self.alarms.life(alarm).is_told() && !self.is_raised_now(alarm);
        let needs_telling = matches!(condition, Condition::Souring(Step::Act));
        let stands = |worse: &Condition| {
            let mut each = self.alarms.each();
            each.any(|(other, spec, life)| {
                let known = match needs_telling {
                    true => life.is_told(),
                    false => life.is_known(),
                };
                let known = known || (!is_told && self.is_on_list(other));
                spec.condition == *worse && (known || (life.is_rising() && !is_told))
            })
        };
        condition.covered_by().into_iter().find(stands)
    }

    /// Whether what is known of the channel's instrument would show the signal
    /// too low (or too high) by itself; one that fell silent is no better for that.
    pub(super) fn misleads(&self, channel: usize, low: bool) -> bool {
        let watch = &self.channels[channel].instrument;
        if self.alarms.is_doubted(channel) {
            let below = watch.drift().map(|drift| drift.difference < 0.0);
            return below.is_none_or(|below| below == low);
        }
        if !self.has_instrument_alarm(channel) {
            return false;
        }
        match self.judged_when_heard(channel).reason {
            Some(InstrumentReason::Fouled) => {
                let falls = watch.drift_forbidden().map(|a_day| a_day < 0.0);
                falls == Some(low)
            }
            Some(InstrumentReason::Drifting) => {
                let below = watch.drift().map(|drift| drift.difference < 0.0);
                below == Some(low)
            }
            Some(
                InstrumentReason::Frozen
                | InstrumentReason::Fault
                | InstrumentReason::OutOfRange
                | InstrumentReason::Foam
                | InstrumentReason::Noisy
                | InstrumentReason::Spiking,
            ) => true,
            // Foam billows: what was told of it is over when its alarm is.
            None => {
                let of_level = self.setup.channels[channel].quantity == Quantity::Level;
                of_level && self.instrument_alarm_stands(channel)
            }
            _ => false,
        }
    }

    /// Whether its instrument has an alarm at all, which tells of it in its time.
    fn has_instrument_alarm(&self, channel: usize) -> bool {
        let name = &self.setup.channels[channel].name;
        let mut each = self.alarms.each();
        each.any(|(_, spec, _)| matches!(&spec.condition, Condition::Instrument(of) if of == name))
    }

    fn instrument_alarm_stands(&self, channel: usize) -> bool {
        let name = &self.setup.channels[channel].name;
        let mut each = self.alarms.each();
        each.any(|(_, spec, life)| {
            matches!(&spec.condition, Condition::Instrument(of) if of == name) && life.is_told()
        })
    }

    /// The channel that the signal is taken from, usable or not.
    pub(super) fn channel_of(&self, signal: Quantity) -> Option<usize> {
        let first = |quantity: Quantity| {
            let mut channels = self.setup.channels.iter();
            channels.position(|channel| channel.quantity == quantity)
        };
        match signal {
            Quantity::Concentration => first(Quantity::Brix).or_else(|| first(signal)),
            Quantity::Volume => first(Quantity::Level).or_else(|| first(signal)),
            other => first(other),
        }
    }

    pub(super) fn channel_named(&self, name: &str) -> Option<usize> {
        let mut channels = self.setup.channels.iter();
        channels.position(|channel| *channel.name == *name)
    }

    pub(super) fn name_of(&self, channel: usize) -> Arc<str> {
        Arc::clone(&self.setup.channels[channel].name)
    }

    /// Whether the sump is being cleaned out: emptied and not yet filled anew, or
    /// what was filled in still mixes, and is on its way through the filters.
    pub(super) fn recharge_under_way(&self) -> bool {
        let emptied = self.emptied;
        let mixes = self.mixing_span(self.setup.working_volume);
        emptied.is_some_and(|since| self.now - since < LONGEST_RECHARGE)
            || self.refilled.is_some_and(|since| self.now - since < mixes)
    }

    /// Whether the probes see the sump's mix: the pumps run, and have flushed
    /// away what stood in the cells and hung in the filters.
    pub(super) fn pumps_flush(&self) -> bool {
        self.pumps_run() != Some(false)
            && self
                .balance
                .balance
                .pumps_ran_for(self.now)
                .is_none_or(|ran| ran >= FLUSHED)
    }

    pub(super) fn suppress(&mut self, alarm: AlarmIx, because: Suppressor, out: &mut Vec<Effect>) {
        let is_of_start = because == Suppressor::StartUp;
        if let Some(transition) = self.alarms.life_mut(alarm).hide(Hiding::Suppress) {
            if is_of_start {
                self.put_on_list(alarm, out);
            }
            let told = Told {
                because: Some(because),
                ..Told::default()
            };
            self.tell(alarm, transition, &told, out);
        }
    }

    /// Whether the alarm's condition is over by now, whatever its off-delay.
    pub(super) fn is_over(&self, alarm: AlarmIx) -> bool {
        let verdict = match self.alarms.watched(alarm) {
            Watched::Limit(limit) => {
                let limit = &self.setup.limits[limit];
                let value = self.signal(limit.signal);
                judge_limit(limit.level, limit.threshold, limit.dead_band, value)
            }
            Watched::Rule(rule) => {
                let rule = &self.setup.rules[rule].rule;
                self.finding(rule, &InputsOnce::default()).verdict
            }
            Watched::Silence(channel) => {
                let setup = &self.setup.channels[channel];
                Verdict::of(self.channels[channel].is_silent(setup, self.now))
            }
            Watched::Doubt(_) => Verdict::Unknown,
        };
        verdict == Verdict::Inside
    }

    /// Suppresses what stands and is to be suppressed, and brings forth what no
    /// longer is.
    pub(super) fn review_suppression(&mut self, out: &mut Vec<Effect>) {
        for alarm in self.alarms.all() {
            let life = self.alarms.life(alarm);
            let (active, suppressed) = (life.is_active(), life.is_suppressed());
            if !active && !suppressed {
                continue;
            }
            let because = self.suppressor(alarm).filter(|_| active);
            match (because, suppressed) {
                (Some(because), false) => self.suppress(alarm, because, out),
                (Some(Suppressor::StartUp), true) => self.go_on_list(alarm, out),
                // What is over is not told for a moment only to return.
                (None, true) if active && self.is_over(alarm) => {}
                (None, true) => {
                    let hidden = self.alarms.life_mut(alarm).hide(Hiding::Unsuppress);
                    if let Some(transition) = hidden {
                        self.came_forth(alarm, transition, &Told::default(), out);
                    }
                }
                _ => {}
            }
        }
        self.strike_from_list();
    }
}
