//! How a sump stands in bare numbers, for whoever collects them from all sumps
//! again and again: cheaper than [`SumpWatch::status`], and without a sentence.

use std::sync::Arc;

use crate::alarm::{AlarmState, Priority};
use crate::model::DepartureKind;
use crate::model::money::Litres;
use crate::signal::InstrumentClass;
use crate::units::{Measured, Quantity, Timestamp};

use super::plant_watch::PlantWatch;
use super::watch::SumpWatch;

/// How a sump stands.
#[derive(Debug, Clone, PartialEq)]
pub struct SumpFigures {
    /// The sump.
    pub sump: Arc<str>,
    /// Concentration, %, if it is known.
    pub concentration_pct: Option<Measured>,
    /// Concentration wanted, lowest and highest, %.
    pub window_pct: (f64, f64),
    /// Volume, L, if it is measured.
    pub volume_l: Option<f64>,
    /// Volume that the sump is to be kept at, L.
    pub working_volume_l: f64,
    /// Water lost as vapour on a mean day of late, L/d, where it can be told.
    pub evaporation_l_per_d: Option<Measured>,
    /// Mix lost with parts, chips and mist on a mean day of late, L/d.
    pub carry_off_l_per_d: Option<Measured>,
    /// What is lost or gained beyond what is usual, L/h, and what it looks like.
    pub departure_l_per_h: Option<(DepartureKind, f64)>,
    /// What was used since the charge began, L.
    pub used: Litres,
    /// The channels, in the order of the settings.
    pub channels: Vec<ChannelFigures>,
    /// How many alarms stand, by priority and state; none that is normal.
    pub alarms: AlarmCounts,
}

/// How a channel stands.
#[derive(Debug, Clone, PartialEq)]
pub struct ChannelFigures {
    /// Its name.
    pub channel: Arc<str>,
    /// What it measures.
    pub quantity: Quantity,
    /// Smoothed value in the quantity's unit, however old.
    pub value: Option<f64>,
    /// Time of the newest reading that counted.
    pub time: Option<Timestamp>,
    /// How its instrument is.
    pub class: InstrumentClass,
    /// It and a hand reading contradict each other.
    pub doubted: bool,
    /// Readings replaced as spikes, ever.
    pub spikes: u64,
}

/// Counts of alarms that are not normal, by priority and state.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct AlarmCounts(Vec<(Priority, AlarmState, u64)>);

impl AlarmCounts {
    /// Counts them; those that are normal do not count.
    pub fn of(alarms: impl Iterator<Item = (Priority, AlarmState)>) -> Self {
        let mut counts = AlarmCounts::default();
        for (priority, state) in alarms.filter(|(_, state)| *state != AlarmState::Normal) {
            counts.add(priority, state, 1);
        }
        counts
    }

    /// So many more.
    pub fn add(&mut self, priority: Priority, state: AlarmState, more: u64) {
        let mut known = self.0.iter_mut();
        match known.find(|(p, s, _)| (*p, *s) == (priority, state)) {
            Some((_, _, count)) => *count += more,
            None => self.0.push((priority, state, more)),
        }
    }

    /// How many there are of a priority in a state.
    pub fn count(&self, priority: Priority, state: AlarmState) -> u64 {
        let mut all = self.each();
        all.find(|(p, s, _)| (*p, *s) == (priority, state))
            .map_or(0, |(_, _, count)| count)
    }

    /// Those of which there are any, in the order in which they were met.
    pub fn each(&self) -> impl Iterator<Item = (Priority, AlarmState, u64)> {
        self.0.iter().copied()
    }
}

impl SumpWatch {
    /// How it stands in bare numbers.
    pub fn figures(&self) -> SumpFigures {
        let (lowest, highest) = self.setup.window;
        let losses = self.balance.balance.losses(&self.balance_setup).ok();
        let departure = self.balance.balance.departure();
        SumpFigures {
            sump: Arc::clone(&self.setup.name),
            concentration_pct: self.concentration(),
            window_pct: (lowest.percent(), highest.percent()),
            volume_l: self.volume_value(),
            working_volume_l: self.setup.working_volume.litres(),
            evaporation_l_per_d: losses.map(|losses| losses.evaporation_l_per_d),
            carry_off_l_per_d: losses.map(|losses| losses.carry_off_l_per_d),
            departure_l_per_h: departure
                .map(|departure| (departure.kind, departure.litres_per_hour.value)),
            used: *self.consumption().charge(),
            channels: (0..self.channels.len())
                .map(|ix| self.channel_figures(ix))
                .collect(),
            alarms: AlarmCounts::of(
                self.alarms
                    .each()
                    .map(|(_, spec, life)| (spec.priority, life.state())),
            ),
        }
    }

    fn channel_figures(&self, ix: usize) -> ChannelFigures {
        let (setup, watch) = (&self.setup.channels[ix], &self.channels[ix]);
        ChannelFigures {
            channel: Arc::clone(&setup.name),
            quantity: setup.quantity,
            value: watch.value(&setup.kind),
            time: (watch.last_time > Timestamp::MIN).then_some(watch.last_time),
            class: self.instrument_judgement(ix).class,
            doubted: self.alarms.is_doubted(ix),
            spikes: watch.spikes,
        }
    }
}

impl PlantWatch {
    /// How many of the plant's own alarms stand, by priority and state.
    pub fn alarm_counts(&self) -> AlarmCounts {
        let each = self.alarms.iter();
        AlarmCounts::of(each.map(|alarm| (alarm.priority, alarm.life.state())))
    }
}
