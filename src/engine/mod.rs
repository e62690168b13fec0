//! The brain: one [`SumpWatch`] a sump, and the [`Shard`] that keeps the time
//! for several of them. Nothing else decides anything.
//!
//! Promises: the same events give the same effects, byte for byte; time comes
//! from events only; a sump's memory is fixed by its settings; a watch can be
//! written to a snapshot and goes on from it as if nothing had happened.
//! Refuses: to look at a clock, a file, a socket or an unchecked setting.
//!
//! Call order: [`Shard::advance`] with the clock before each
//! [`Shard::deliver`], so that what was due before an event happens before it.

mod alarm_list;
mod alarms;
mod balance_status;
mod balance_watch;
mod channel;
mod check_plan;
mod checks;
mod chemistry_memory;
mod chemistry_watch;
mod conductivity_witness;
mod control_charts;
mod courses;
mod current_loop;
mod dose_grade;
mod dosing;
mod entries;
mod entry;
mod event;
mod evidence;
mod figures;
mod findings;
mod findings_plan;
mod hand_readings;
mod input;
mod instrument;
mod instrument_told;
mod instrument_words;
mod journal;
mod mean_points;
mod mineral_moves;
mod nitrite_run;
mod oil;
mod own_inputs;
mod own_suppression;
mod ph_trend;
mod plant_entries;
mod plant_evidence;
mod plant_setup;
mod plant_snapshot;
mod plant_start_up;
mod plant_states;
mod plant_watch;
mod prism;
mod rates;
mod remedy;
mod remembered;
mod removal;
mod setup;
mod shard;
mod signals;
mod silence;
mod snapshot;
mod source_gone;
mod start_up;
mod status;
mod suppression;
#[cfg(test)]
mod tests;
mod upkeep;
mod watch;

pub use crate::advice::choice::ChoiceLimits;
pub use crate::advice::{DoseSetup, Measure, VolumeUnit};
pub use crate::alarm::{AlarmManner, Priority};
pub use crate::model::{
    Bounds, FactorSetup, GermBounds, MineralSetup, SheetBaseLine, SouringSetup, Water,
};
pub use crate::rules::{
    Begins, ChartRule, Charted, Check, Direction, LimitLevel, OwnAlarm, OwnSuppressors, OwnWords,
    PlanStep, PlannedCheck, RateRule, Rule, RuleSetup, Step,
};
pub use crate::signal::{
    DespikeSetup, InstrumentClass, InstrumentReason, InstrumentSetup, MeterSetup, Probe,
};
pub use balance_status::{BalanceStatus, MixerOutlook, VolumeByDoses};
pub use check_plan::CheckStatus;
pub use checks::check_made_by;
pub use entry::{AdditionKind, Entry, EntryKind, HappeningKind, Look, Method, Smell};
pub use event::{
    Effect, Event, Form, Quality, QualityClass, Reading, Sample, SeriesIx, Trouble, TroubleKind,
};
pub use evidence::{AlarmEvidence, EvidenceTrend, EvidenceValue};
pub use figures::{AlarmCounts, ChannelFigures, SumpFigures};
pub use input::{Calibration, InputSetup};
pub use instrument::InstrumentStatus;
pub use instrument_told::{InstrumentFigures, InstrumentTold};
pub use journal::{AlarmLine, JournalBody, JournalRecord, Outcome, SourceLost, StockLeft};
pub use own_inputs::AskedValue;
pub use ph_trend::PhOutlook;
pub use plant_evidence::{DiskFull, ForwardStuck, StuckKind};
pub use plant_setup::{
    DiskSetup, ForwardSetup, PLANT, PlantSetup, SourceSetup, StartUpSetup, StockSetup,
};
pub use plant_snapshot::PlantSnapshot;
pub use plant_start_up::{ListedAlarm, StartUpList};
pub use plant_states::Lost;
pub use plant_watch::{PlantEvent, PlantWatch};
pub use remedy::{ChargeFound, OldCharge, RemedyStatus};
pub use remembered::{Correction, CorrectionError};
pub use removal::KeptAlarm;
pub use setup::{
    AdmissionSetup, AlarmSetup, ChannelKind, ChannelSetup, FluidSetup, LimitSetup, MeterOf,
    MixerSetup, SumpSetup, SwitchOf,
};
pub use shard::{SETTLING, Shard};
pub use snapshot::SumpSnapshot;
pub use status::{ActiveAlarm, ChannelStatus, SumpStatus, UnreadableStatus};
pub use suppression::Suppressor;
pub use watch::{GRID, SumpWatch};
