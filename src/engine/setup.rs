//! What the engine needs to know of a sump: plain values, checked before they
//! came here.

use std::sync::Arc;

use crate::advice::DoseSetup;
use crate::advice::choice::ChoiceLimits;
use crate::advice::recharge::RechargeSetup;
use crate::alarm::{AlarmManner, Priority};
use crate::chemistry::{Chart, MixCoefficient};
use crate::model::money::{Prices, UnitPrice};
use crate::model::{FactorSetup, MineralSetup, SheetBaseLine, ShiftPattern, SouringSetup, Water};
use crate::rules::{Condition, LimitLevel, Rule, RuleSetup};
use crate::signal::{DespikeSetup, InstrumentSetup, MeterSetup};
use crate::units::{Brix, Concentration, Flow, Ph, Quantity, Span, Timestamp, Volume};
use crate::vessel::Vessel;

use super::event::SeriesIx;
use super::input::InputSetup;

/// One sump.
#[derive(Debug, Clone, PartialEq)]
pub struct SumpSetup {
    /// Name in topics, series and entries.
    pub name: Arc<str>,
    /// Name as people say it.
    pub title: String,
    /// The product in use.
    pub fluid: Arc<FluidSetup>,
    /// The tank that the level probe stands in.
    pub vessel: Vessel,
    /// Fluid in pipes and machines, not seen by the level probe.
    pub lines: Volume,
    /// Part of what is in pipes and machines that runs back into the tank when
    /// the circulation pumps stop, where known; never more than `lines`.
    pub drain_back: Option<Volume>,
    /// Place in `channels` of the switch that says whether the circulation
    /// pumps run, where there is one.
    pub pump: Option<u16>,
    /// Whether something fills the sump up by itself that no meter counts.
    pub fills_itself: bool,
    /// Relative standard uncertainty of amounts that people or meters measure
    /// out, as a share.
    pub metering: f64,
    /// When machines work here, where that is known.
    pub shifts: Option<Arc<ShiftPattern>>,
    /// Whether the plant tells, in one alarm, what is wrong with the mix when work
    /// begins after a stand-still; only where the shifts are known.
    pub start_up: bool,
    /// Volume that the sump is to be kept at, lines included.
    pub working_volume: Volume,
    /// Volume that must never be exceeded, lines included.
    pub max_volume: Volume,
    /// Flow of the circulation pumps, where known; it sets the mixing time.
    pub circulation: Option<Flow>,
    /// Concentration that the sump is to be kept at.
    pub target: Concentration,
    /// Lowest and highest concentration wanted, as shown to people.
    pub window: (Concentration, Concentration),
    /// Refractometer reading of the make-up water alone.
    pub water_zero: Brix,
    /// How doses are to be made up here.
    pub dose: DoseSetup,
    /// How clean-outs are made here.
    pub recharge: RechargeSetup,
    /// From where on the charge is to be treated, exchanged or changed.
    pub choice: ChoiceLimits,
    /// What things cost here, where the plant has written it down.
    pub prices: Option<Prices>,
    /// The mixers that its make-up comes from.
    pub mixers: Vec<MixerSetup>,
    /// The instruments.
    pub channels: Vec<ChannelSetup>,
    /// The alarm of each channel that is silent; none where nobody is to be told.
    pub silent: Option<AlarmSetup>,
    /// That of each channel that a hand reading contradicts. Without delays: doses
    /// go by it too.
    pub disagrees: AlarmSetup,
    /// The limits that are watched.
    pub limits: Vec<LimitSetup>,
    /// What else is watched.
    pub rules: Vec<RuleSetup>,
    /// The waters of the plant, which entries may name.
    pub waters: Arc<[Arc<Water>]>,
    /// What its minerals are held against.
    pub minerals: MineralSetup,
    /// What its signs of souring are held against.
    pub souring: SouringSetup,
    /// From where on the refractometer and other methods part.
    pub methods: FactorSetup,
    /// Series of the estimated concentration.
    pub concentration_series: SeriesIx,
    /// Series of the estimated volume.
    pub volume_series: SeriesIx,
}

impl SumpSetup {
    /// Title of the rule of the plant's own that tells of this condition, where one
    /// does.
    pub fn own_title(&self, condition: &Condition) -> Option<&str> {
        let Condition::Own(name) = condition else {
            return None;
        };
        self.rules.iter().find_map(|setup| match &setup.rule {
            Rule::Own(own) if own.name == *name => Some(own.words.title.as_str()),
            _ => None,
        })
    }
}

/// A mixer (proportioner) of make-up.
#[derive(Debug, Clone, PartialEq)]
pub struct MixerSetup {
    /// Its name in entries.
    pub name: Arc<str>,
    /// What it is set to and should give.
    pub setting: Concentration,
}

/// A product in use.
#[derive(Debug, Clone, PartialEq)]
pub struct FluidSetup {
    /// Name of its data sheet in the settings.
    pub name: Arc<str>,
    /// Name as people say it.
    pub title: String,
    /// Refractometer reading to concentration.
    pub chart: Chart,
    /// Relative standard uncertainty of the chart, as a share.
    pub chart_uncertainty: f64,
    /// How a refractometer's reading changes with the temperature of the mix,
    /// where its sheet says so.
    pub temperature_coefficient: Option<MixCoefficient>,
    /// What the data sheet says about mixing and foam, for messages.
    pub mixing_note: Option<String>,
    /// pH of a fresh mix, where its sheet says so.
    pub fresh_ph: Option<Ph>,
    /// How much pH rises where the concentration grows tenfold.
    pub ph_per_decade: f64,
    /// The base line of its conductivity, as far as its sheet gives it.
    pub base_line: SheetBaseLine,
    /// What the concentrate costs, where that is written down.
    pub price: Option<UnitPrice>,
}

/// One channel.
#[derive(Debug, Clone, PartialEq)]
pub struct ChannelSetup {
    /// Name within the sump.
    pub name: Arc<str>,
    /// What it measures.
    pub quantity: Quantity,
    /// What kind of instrument it is.
    pub kind: ChannelKind,
    /// From what the instrument reports to the channel's unit.
    pub input: InputSetup,
    /// Where its readings are kept.
    pub series: SeriesIx,
    /// Lowest and highest value that can be true.
    pub plausible: (f64, f64),
    /// The despiking filter.
    pub despike: Option<DespikeSetup>,
    /// Time constant of the exponential smoothing; zero for none.
    pub smooth: Span,
    /// Without a reading for so long the channel is silent.
    pub silent_after: Span,
    /// Standard uncertainty of one smoothed reading, in the quantity's unit.
    pub uncertainty: f64,
    /// How far a hand reading may lie away before the channel is doubted.
    pub hand_tolerance: f64,
    /// How far its zero wanders within hours, as a standard deviation in the
    /// quantity's unit.
    pub wander: f64,
    /// How far its zero drifts in ten days, likewise.
    pub drift: f64,
    /// How its instrument is watched.
    pub instrument: InstrumentSetup,
}

/// What kind of instrument a channel is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ChannelKind {
    /// It shows a value that goes up and down: despiked and smoothed.
    Gauge,
    /// It counts what runs through.
    Meter {
        /// How it counts.
        counts: MeterSetup,
        /// What runs through it.
        of: MeterOf,
        /// Series of everything that ran since the first count.
        total_series: SeriesIx,
    },
    /// It says on or off.
    Switch {
        /// What is on or off.
        of: SwitchOf,
    },
}

/// What a switch tells of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SwitchOf {
    /// The pumps that circulate the fluid: while all are off, it stands.
    Pumps,
    /// Anything else.
    Other,
}

/// What runs through a meter into the sump.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum MeterOf {
    /// Water.
    Water,
    /// Concentrate as delivered.
    Concentrate,
    /// Premix of this strength.
    Premix(Concentration),
}

/// An alarm that has nothing else to be settled.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct AlarmSetup {
    /// How much hurry.
    pub priority: Priority,
    /// How the alarm behaves.
    pub manner: AlarmManner,
}

impl Default for AlarmSetup {
    /// Low and at once, as alarms of instruments are unless somebody says otherwise.
    fn default() -> Self {
        AlarmSetup {
            priority: Priority::Low,
            manner: AlarmManner::default(),
        }
    }
}

/// One limit of one signal of a sump.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LimitSetup {
    /// The signal: concentration and volume are the sump's estimates, the rest
    /// its first channel of that quantity.
    pub signal: Quantity,
    /// Which of the four.
    pub level: LimitLevel,
    /// The limit in the quantity's unit.
    pub threshold: f64,
    /// The alarm returns to normal only when the signal is so far back inside.
    pub dead_band: f64,
    /// How much hurry.
    pub priority: Priority,
    /// How the alarm behaves.
    pub manner: AlarmManner,
}

impl AdmissionSetup {
    /// Whether a source's own time can be true for what arrived at `arrival`.
    pub fn believes(&self, claimed: Timestamp, arrival: Timestamp) -> bool {
        (arrival - self.oldest..=arrival + self.future_skew).contains(&claimed)
    }
}

/// Which times of readings are believed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct AdmissionSetup {
    /// A reading further in the future than this stands at its arrival.
    pub future_skew: Span,
    /// A reading older than this against its arrival stands at its arrival:
    /// the clock of its source is taken to be wrong.
    pub oldest: Span,
    /// A reading so far behind its sump's newest event is late.
    pub late_after: Span,
}
