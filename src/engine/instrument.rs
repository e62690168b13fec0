//! How the instruments of a sump are: what the fluid does at each, and what
//! their signs amount to.

use serde::Serialize;

use crate::signal::{Fluid, InstrumentClass, InstrumentJudgement, InstrumentReason, Probe};
use crate::units::{Measured, Quantity, Span, Timestamp};

use super::channel::Standing;
use super::event::{Form, Quality};
use super::input::Calibration;
use super::instrument_told::InstrumentFigures;
use super::instrument_words;
use super::setup::{ChannelKind, SwitchOf};
use super::watch::SumpWatch;

/// A channel that moved tells for so long that the fluid does not just stand.
/// Choice: short against the hours after which an instrument is frozen.
const MOVING_FOR: Span = Span::from_hours(1);

/// How an instrument is, for those who are shown it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct InstrumentStatus {
    /// The status signal of NAMUR NE 107.
    pub class: InstrumentClass,
    /// Why, unless it is good.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reason: Option<InstrumentReason>,
    /// Since when.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub since: Option<Timestamp>,
    /// What that goes by, in the channel's unit.
    #[serde(flatten)]
    pub figures: InstrumentFigures,
    /// What it shows, since when, and what to look at first.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub words: Option<String>,
}

impl SumpWatch {
    /// What the instrument itself sent, where that is known, and what the fluid
    /// does there: that is only asked for where the digits stand still.
    #[inline]
    pub(super) fn standing(&self, channel: usize, reported: f64, form: Form) -> Standing {
        let digits = self.digits(channel, reported, form);
        let still = digits.is_some_and(|digits| self.channels[channel].instrument.stays_at(digits));
        let fluid = if still && self.fluid_moves(channel) {
            Fluid::Moves
        } else {
            Fluid::Stands
        };
        let surface = self.setup.channels[channel].instrument.probe == Probe::Surface;
        Standing {
            digits,
            fluid,
            pumps_stand: surface && self.pumps_run() == Some(false),
        }
    }

    /// What was settled already is what the instrument sent only where nothing
    /// lies between.
    #[inline]
    fn digits(&self, channel: usize, reported: f64, form: Form) -> Option<f64> {
        let input = &self.setup.channels[channel].input;
        let as_sent = input.current_loop.is_none() && input.calibration == Calibration::InUnit;
        (form == Form::Reported || as_sent).then_some(reported)
    }

    /// Whether the pumps run; where nobody says so, whether another channel of
    /// the sump moved of late.
    fn fluid_moves(&self, channel: usize) -> bool {
        match self.pumps() {
            Some(run) => run,
            None if self.pumps_said.is_some_and(|(_, run)| !run) => false,
            None => self.others_move(channel),
        }
    }

    /// Whether any of the pumps runs, by their switches.
    pub(super) fn pumps(&self) -> Option<bool> {
        let switches = (0..self.channels.len()).filter(|&ix| {
            let pumps = ChannelKind::Switch {
                of: SwitchOf::Pumps,
            };
            self.setup.channels[ix].kind == pumps
        });
        let states = switches.filter_map(|ix| self.usable(ix));
        states.map(|state| state >= 0.5).reduce(|a, b| a || b)
    }

    /// Temperature does not count: a standing sump cools.
    fn others_move(&self, channel: usize) -> bool {
        let channels = self.channels.iter().zip(&self.setup.channels);
        channels.enumerate().any(|(ix, (watch, setup))| {
            let tells = ix != channel && setup.quantity != Quantity::Temperature;
            let moved_at = watch.instrument.moved_at();
            tells && moved_at.is_some_and(|moved| self.now - moved < MOVING_FOR)
        })
    }

    /// Whether the instrument of the signal is neither doubted nor worse than in
    /// want of maintenance.
    pub(super) fn well(&self, signal: Quantity) -> bool {
        self.channel_of(signal).is_some_and(|channel| {
            let class = self.instrument_judgement(channel).class;
            !self.alarms.is_doubted(channel) && class <= InstrumentClass::MaintenanceRequired
        })
    }

    /// The marks of what is estimated of the concentration or the volume: unsure
    /// while the instrument that it is worked out from is not well, or shows more
    /// than can be true.
    pub(super) fn marks_of(&self, signal: Quantity) -> Quality {
        let (channel, possible) = match signal {
            Quantity::Concentration => (self.concentration_channel(), !self.is_more_than_can_be()),
            _ => (self.volume_channel(), true),
        };
        let well = channel.is_none_or(|(channel, _)| {
            self.instrument_judgement(channel).class <= InstrumentClass::MaintenanceRequired
        });
        match well && possible {
            true => Quality::GOOD,
            false => Quality::UNSURE,
        }
    }

    /// How the channel's instrument is now.
    pub(super) fn instrument_judgement(&self, channel: usize) -> InstrumentJudgement {
        let (setup, watch) = (&self.setup.channels[channel], &self.channels[channel]);
        let silent = watch.is_silent(setup, self.now);
        let silent_since = silent.then_some(watch.usable_at);
        watch
            .instrument
            .status(&setup.instrument, self.now, silent_since)
    }

    /// How the channel's instrument was when it was last heard.
    pub(super) fn judged_when_heard(&self, channel: usize) -> InstrumentJudgement {
        let (setup, watch) = (&self.setup.channels[channel], &self.channels[channel]);
        watch.instrument.status(&setup.instrument, self.now, None)
    }

    /// Whether what the channel shows is not to be acted on yet.
    pub(super) fn is_unsettled(&self, channel: usize) -> bool {
        let setup = &self.setup.channels[channel].instrument;
        self.channels[channel].instrument.is_unsettled(setup)
    }

    pub(super) fn instrument_status(&self, channel: usize) -> InstrumentStatus {
        let (setup, watch) = (&self.setup.channels[channel], &self.channels[channel]);
        let judged = self.instrument_judgement(channel);
        let figures = InstrumentFigures::of(setup, watch, &judged);
        InstrumentStatus {
            class: judged.class,
            reason: judged.reason,
            since: judged.since,
            figures,
            words: instrument_words::words(setup.quantity, &judged, &figures),
        }
    }

    /// The model's word on a channel at this place: it drifts so fast, in its
    /// unit a day, as no addition and no loss explains; none where all is
    /// explained. What is not certain at 90 % counts for nothing.
    pub fn forbidden_drift(&mut self, channel: u16, drift: Option<Measured>) {
        if let Some(watch) = self.channels.get_mut(usize::from(channel)) {
            watch.instrument.forbidden_drift(self.now, drift);
        }
    }
}
