//! The plant's values.

use std::fmt;
use std::sync::Arc;

use prometheus_client::collector::Collector;
use prometheus_client::encoding::DescriptorEncoder;

use super::family::Family;
use super::figures::Scrape;
use crate::alarm::{AlarmState, Priority};
use crate::engine::{AlarmCounts, ChannelFigures, InstrumentClass, PLANT, SumpFigures};
use crate::model::DepartureKind;
use crate::units::Measured;

const CONCENTRATION: Family = Family::of(
    "sump_concentration",
    "ratio",
    "Concentration of the mix: the share of concentrate in it",
);
const CONCENTRATION_UNCERTAINTY: Family = Family::of(
    "sump_concentration_uncertainty",
    "ratio",
    "Standard uncertainty of the concentration",
);
const WINDOW: Family = Family::of(
    "sump_concentration_window",
    "ratio",
    "Concentration wanted, its lowest and highest value",
);
const VOLUME: Family = Family::of(
    "sump_volume",
    "litres",
    "Volume of the mix, lines included, as the level tells it",
);
const WORKING_VOLUME: Family = Family::of(
    "sump_working_volume",
    "litres",
    "Volume that the sump is to be kept at, lines included",
);
const EVAPORATION: Family = Family::of(
    "sump_evaporation",
    "litres_per_second",
    "Water lost as vapour, on a mean day of late",
);
const EVAPORATION_UNCERTAINTY: Family = Family::of(
    "sump_evaporation_uncertainty",
    "litres_per_second",
    "Standard uncertainty of the evaporation",
);
const CARRY_OFF: Family = Family::of(
    "sump_carry_off",
    "litres_per_second",
    "Mix lost with parts, chips and mist, on a mean day of late",
);
const CARRY_OFF_UNCERTAINTY: Family = Family::of(
    "sump_carry_off_uncertainty",
    "litres_per_second",
    "Standard uncertainty of the carry-off",
);
const DEPARTURE: Family = Family::of(
    "sump_departure",
    "litres_per_second",
    "What is lost or gained beyond what is usual, and what it looks like",
);
const USED: Family = Family::of(
    "sump_used",
    "litres",
    "What went in and was drained since the present charge began",
);
const SUMP_ALARMS: Family = Family::new(
    "sump_alarms",
    "Alarms that are not normal, by priority and state; those about the plant itself stand at the sump named plant",
);
const ALARMS: Family = Family::new(
    "alarms",
    "Alarms of the whole plant that are not normal, by priority and state",
);
const VALUE: Family = Family::new(
    "channel_value",
    "Newest smoothed value of a channel in its unit, however old; see its age",
);
const AGE: Family = Family::of(
    "channel_age",
    "seconds",
    "Age of the newest reading of a channel that counted",
);
const CLASS: Family = Family::new(
    "channel_instrument_class",
    "How the instrument is, by NAMUR NE 107: 0 good, 1 maintenance required, 2 out of specification, 3 function check, 4 failure",
);
const DOUBTED: Family = Family::new(
    "channel_doubted",
    "Whether a hand reading contradicts the channel: 1 yes, 0 no",
);
const SPIKES: Family = Family::new(
    "channel_spikes",
    "Readings of a channel that the filter against spikes has replaced, ever",
);

const SECONDS_A_DAY: f64 = 86_400.0;
const SECONDS_AN_HOUR: f64 = 3_600.0;

/// Writes the values of the plant.
#[derive(Debug)]
pub(super) struct PlantValues {
    pub(super) scrape: Arc<Scrape>,
    /// How many of the sumps are told, from the first on.
    pub(super) told: usize,
}

/// How many lines a sump takes; never fewer than it takes.
pub(super) fn series_of(sump: &SumpFigures) -> usize {
    /// All that a sump has once: concentration, volume, losses and their like.
    const OF_SUMP: usize = 14;
    /// What a channel has.
    const OF_CHANNEL: usize = 5;
    OF_SUMP + OF_CHANNEL * sump.channels.len() + sump.alarms.each().count()
}

impl Collector for PlantValues {
    fn encode(&self, mut out: DescriptorEncoder<'_>) -> fmt::Result {
        self.concentrations(&mut out)?;
        self.volumes(&mut out)?;
        self.losses(&mut out)?;
        self.alarms(&mut out)?;
        self.channels(&mut out)
    }
}

type SumpLabels<'a> = [(&'static str, &'a str); 2];

impl PlantValues {
    fn plant(&self) -> &str {
        &self.scrape.plant
    }

    fn sumps(&self) -> impl Iterator<Item = (SumpLabels<'_>, &SumpFigures)> {
        let sumps = self.scrape.sumps.iter().take(self.told);
        sumps.map(|sump| (self.of_sump(&sump.sump), sump))
    }

    fn of_sump<'a>(&'a self, sump: &'a str) -> SumpLabels<'a> {
        [("plant", self.plant()), ("sump", sump)]
    }

    /// One value of each sump that has it.
    fn each<'a>(
        &'a self,
        value: impl Fn(&SumpFigures) -> Option<f64> + 'a,
    ) -> impl Iterator<Item = (SumpLabels<'a>, f64)> {
        self.sumps()
            .filter_map(move |(labels, sump)| Some((labels, value(sump)?)))
    }

    fn concentrations(&self, out: &mut DescriptorEncoder<'_>) -> fmt::Result {
        let known = |sump: &SumpFigures| sump.concentration_pct;
        CONCENTRATION.gauges(out, self.each(|sump| Some(known(sump)?.value / 100.0)))?;
        CONCENTRATION_UNCERTAINTY.gauges(
            out,
            self.each(|sump| Some(known(sump)?.uncertainty / 100.0)),
        )?;
        let windows = self.sumps().flat_map(|(labels, sump)| {
            let (lowest, highest) = sump.window_pct;
            [("lowest", lowest), ("highest", highest)]
                .map(|(bound, percent)| ((labels, [("bound", bound)]), percent / 100.0))
        });
        WINDOW.gauges(out, windows)
    }

    fn volumes(&self, out: &mut DescriptorEncoder<'_>) -> fmt::Result {
        VOLUME.gauges(out, self.each(|sump| sump.volume_l))?;
        WORKING_VOLUME.gauges(out, self.each(|sump| Some(sump.working_volume_l)))?;
        let used = self.sumps().flat_map(|(labels, sump)| {
            [
                ("concentrate", sump.used.concentrate_l),
                ("water", sump.used.water_l),
                ("drained", sump.used.drained_l),
            ]
            .map(|(what, litres)| ((labels, [("what", what)]), litres))
        });
        USED.gauges(out, used)
    }

    fn losses(&self, out: &mut DescriptorEncoder<'_>) -> fmt::Result {
        let rate = |a_day: f64| a_day / SECONDS_A_DAY;
        type Of = fn(&SumpFigures) -> Option<Measured>;
        let evaporation: Of = |sump| sump.evaporation_l_per_d;
        let carry_off: Of = |sump| sump.carry_off_l_per_d;
        for (value, uncertainty, of) in [
            (EVAPORATION, EVAPORATION_UNCERTAINTY, evaporation),
            (CARRY_OFF, CARRY_OFF_UNCERTAINTY, carry_off),
        ] {
            value.gauges(out, self.each(|sump| Some(rate(of(sump)?.value))))?;
            uncertainty.gauges(out, self.each(|sump| Some(rate(of(sump)?.uncertainty))))?;
        }
        let departures = self.sumps().filter_map(|(labels, sump)| {
            let (kind, litres) = sump.departure_l_per_h?;
            let kind = [("kind", departure(kind))];
            Some(((labels, kind), litres / SECONDS_AN_HOUR))
        });
        DEPARTURE.gauges(out, departures)
    }

    fn alarms(&self, out: &mut DescriptorEncoder<'_>) -> fmt::Result {
        let of_plant = (self.of_sump(PLANT), &self.scrape.plant_alarms);
        let of_sumps = self.sumps().map(|(labels, sump)| (labels, &sump.alarms));
        let rows = of_sumps.chain([of_plant]).flat_map(|(labels, alarms)| {
            alarms.each().map(move |(urgency, state, count)| {
                let how = [("priority", priority(urgency)), ("state", state.name())];
                ((labels, how), count as f64)
            })
        });
        SUMP_ALARMS.gauges(out, rows)?;
        let sums = self.sums();
        let every = PRIORITIES.iter().flat_map(|one| {
            let states = STATES.iter();
            states.map(|state| (*one, *state, sums.count(*one, *state)))
        });
        let rows = every.map(|(urgency, state, count)| {
            let labels = [
                ("plant", self.plant()),
                ("priority", priority(urgency)),
                ("state", state.name()),
            ];
            (labels, count as f64)
        });
        ALARMS.gauges(out, rows)
    }

    /// Of the whole plant, also of sumps that are not told one by one.
    fn sums(&self) -> AlarmCounts {
        let mut sums = self.scrape.plant_alarms.clone();
        for sump in &self.scrape.sumps {
            for (urgency, state, count) in sump.alarms.each() {
                sums.add(urgency, state, count);
            }
        }
        sums
    }

    fn channels(&self, out: &mut DescriptorEncoder<'_>) -> fmt::Result {
        let values = self.channel_rows(|channel| channel.value);
        let units = values
            .map(|(labels, channel, value)| ((labels, [("unit", channel.quantity.unit())]), value));
        VALUE.gauges(out, units)?;
        let now = self.scrape.now;
        let age = move |channel: &ChannelFigures| Some((now - channel.time?).secs_f64().max(0.0));
        AGE.gauges(out, plain(self.channel_rows(age)))?;
        let class = |channel: &ChannelFigures| Some(code(channel.class));
        CLASS.gauges(out, plain(self.channel_rows(class)))?;
        let doubted = |channel: &ChannelFigures| Some(f64::from(u8::from(channel.doubted)));
        DOUBTED.gauges(out, plain(self.channel_rows(doubted)))?;
        let spikes = |channel: &ChannelFigures| Some(channel.spikes);
        SPIKES.counters(out, plain(self.channel_rows(spikes)))
    }

    /// One value of each channel that has it.
    fn channel_rows<'a, V: 'a>(
        &'a self,
        value: impl Fn(&ChannelFigures) -> Option<V> + Copy + 'a,
    ) -> impl Iterator<Item = (ChannelLabels<'a>, &'a ChannelFigures, V)> {
        self.sumps().flat_map(move |(sump, figures)| {
            let channels = figures.channels.iter();
            channels.filter_map(move |channel| {
                let own = [
                    ("channel", &*channel.channel),
                    ("quantity", channel.quantity.name()),
                ];
                Some(((sump, own), channel, value(channel)?))
            })
        })
    }
}

type ChannelLabels<'a> = (SumpLabels<'a>, [(&'static str, &'a str); 2]);

fn plain<'a, V>(
    rows: impl Iterator<Item = (ChannelLabels<'a>, &'a ChannelFigures, V)>,
) -> impl Iterator<Item = (ChannelLabels<'a>, V)> {
    rows.map(|(labels, _, value)| (labels, value))
}

const PRIORITIES: [Priority; 3] = [Priority::Low, Priority::Medium, Priority::High];
const STATES: [AlarmState; 8] = [
    AlarmState::Unacknowledged,
    AlarmState::Acknowledged,
    AlarmState::ReturnedUnacknowledged,
    AlarmState::LatchedUnacknowledged,
    AlarmState::LatchedAcknowledged,
    AlarmState::Shelved,
    AlarmState::Suppressed,
    AlarmState::OutOfService,
];

/// The words of the journal and the messages.
const fn priority(priority: Priority) -> &'static str {
    match priority {
        Priority::Low => "low",
        Priority::Medium => "medium",
        Priority::High => "high",
    }
}

/// The words of the state that is published.
const fn departure(kind: DepartureKind) -> &'static str {
    match kind {
        DepartureKind::MixLost => "mix_lost",
        DepartureKind::WaterLost => "water_lost",
        DepartureKind::WaterIn => "water_in",
        DepartureKind::MixIn => "mix_in",
        DepartureKind::Thinned => "thinned",
        DepartureKind::Unknown => "unknown",
    }
}

/// In rising precedence, as NE 107 has them.
const fn code(class: InstrumentClass) -> f64 {
    match class {
        InstrumentClass::Good => 0.0,
        InstrumentClass::MaintenanceRequired => 1.0,
        InstrumentClass::OutOfSpecification => 2.0,
        InstrumentClass::FunctionCheck => 3.0,
        InstrumentClass::Failure => 4.0,
    }
}
