//! The memory of a watch, to be kept and taken up again.

use std::collections::{BTreeMap, VecDeque};
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use crate::alarm::AlarmLife;
use crate::units::{Span, Timestamp};

use super::balance_watch::BalanceWatch;
use super::channel::ChannelWatch;
use super::chemistry_memory::ChemistryWatch;
use super::conductivity_witness::ConductivityWitness;
use super::control_charts::ControlCharts;
use super::courses::Courses;
use super::dosing::Dosing;
use super::ph_trend::PhTrend;
use super::rates::Rates;
use super::remembered::Remembered;
use super::setup::{AdmissionSetup, ChannelKind, SumpSetup};
use super::upkeep::Upkeep;
use super::watch::{SumpWatch, judging_after};

/// After a pause, time for new readings to settle before a dose is judged.
const SETTLE_AFTER_PAUSE: Span = Span::from_mins(10);

/// Everything that a watch remembers. Channels and alarms are kept by name, so
/// that settings may change in between: what is still there goes on, what is
/// new starts fresh, what is gone is forgotten; alarms that stood are closed first
/// (`removal`).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SumpSnapshot {
    now_ms: i64,
    pub(super) seq: u64,
    channels: BTreeMap<String, ChannelWatch>,
    /// Those that something ever happened to.
    pub(super) alarms: BTreeMap<String, AlarmLife>,
    dosing: Dosing,
    #[serde(default)]
    chemistry: ChemistryWatch,
    #[serde(default)]
    balance: Option<BalanceWatch>,
    /// The meters in the order in which the balance keeps them; none in what
    /// earlier versions kept.
    #[serde(default)]
    meters: Option<Vec<String>>,
    #[serde(default)]
    ph_trend: PhTrend,
    #[serde(default)]
    courses: Courses,
    #[serde(default)]
    rates: Rates,
    #[serde(default)]
    charts: ControlCharts,
    #[serde(default)]
    conductivity_witness: ConductivityWitness,
    /// Ids alone, as earlier versions kept them.
    #[serde(default, skip_serializing)]
    entries: VecDeque<String>,
    #[serde(default)]
    remembered: Remembered,
    estimated_at_ms: i64,
    #[serde(default)]
    emptied: Option<Timestamp>,
    #[serde(default)]
    refilled: Option<Timestamp>,
    #[serde(default)]
    upkeep: Upkeep,
    /// What the plant's alarm about a start tells of, since when.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub(super) listed: BTreeMap<String, Timestamp>,
}

impl BalanceWatch {
    /// The same balance with other meters than before: what these have counted
    /// up to its next point did not run in just now. The readings since the
    /// last point, some minutes, are let go.
    fn by_other_meters(self, setup: &SumpSetup) -> Self {
        let mut watch = BalanceWatch::new(setup);
        watch.balance = self.balance;
        watch.doses = self.doses;
        watch.consumption = self.consumption;
        watch
    }
}

/// The names of a sump's meters, in the order of its channels.
fn meters(setup: &SumpSetup) -> Vec<String> {
    let channels = setup.channels.iter();
    channels
        .filter(|channel| matches!(channel.kind, ChannelKind::Meter { .. }))
        .map(|channel| channel.name.to_string())
        .collect()
}

impl SumpWatch {
    /// The watch's memory as it is now.
    pub fn snapshot(&self) -> SumpSnapshot {
        let name = |ix: usize| self.setup.channels[ix].name.to_string();
        SumpSnapshot {
            now_ms: self.now.millis(),
            seq: self.seq,
            channels: self
                .channels
                .iter()
                .cloned()
                .enumerate()
                .map(|(ix, c)| (name(ix), c))
                .collect(),
            alarms: self
                .alarms
                .each()
                .filter(|(_, _, life)| **life != AlarmLife::default())
                .map(|(_, spec, life)| (spec.condition.to_string(), *life))
                .collect(),
            dosing: self.dosing.clone(),
            chemistry: self.chemistry.clone(),
            balance: Some(self.balance.clone()),
            meters: Some(meters(&self.setup)),
            ph_trend: self.ph_trend.clone(),
            courses: self.courses.clone(),
            rates: self.rates.clone(),
            charts: self.charts.clone(),
            conductivity_witness: self.conductivity_witness.clone(),
            entries: VecDeque::new(),
            remembered: self.remembered.clone(),
            estimated_at_ms: self.estimated_at.millis(),
            emptied: self.emptied,
            refilled: self.refilled,
            upkeep: self.upkeep.clone(),
            listed: self
                .start_up
                .listed()
                .map(|(alarm, since)| (self.condition(alarm).to_string(), since))
                .collect(),
        }
    }

    /// A watch that goes on from a snapshot.
    pub fn restore(
        setup: Arc<SumpSetup>,
        admission: AdmissionSetup,
        snapshot: SumpSnapshot,
    ) -> Self {
        let mut watch = SumpWatch::new(setup, admission, Timestamp::from_millis(snapshot.now_ms));
        watch.seq = snapshot.seq;
        watch.dosing = snapshot.dosing;
        watch.chemistry = snapshot.chemistry;
        watch.charts = snapshot.charts;
        watch.conductivity_witness = snapshot.conductivity_witness;
        watch.look_at_chart();
        if let Some(balance) = snapshot.balance {
            watch.balance = if snapshot.meters == Some(meters(&watch.setup)) {
                balance
            } else {
                balance.by_other_meters(&watch.setup)
            };
        }
        watch.ph_trend = snapshot.ph_trend;
        watch.courses = snapshot.courses;
        watch.rates = snapshot.rates;
        watch.remembered = if snapshot.entries.is_empty() {
            snapshot.remembered
        } else {
            Remembered::of_ids(snapshot.entries)
        };
        watch.pumps_said = watch.remembered.pumps();
        watch.estimated_at = Timestamp::from_millis(snapshot.estimated_at_ms);
        let channels = watch.channels.iter_mut().zip(&watch.setup.channels);
        for (channel, setup) in channels {
            if let Some(kept) = snapshot.channels.get(&*setup.name) {
                *channel = kept.clone();
            }
        }
        for alarm in watch.alarms.all() {
            if let Some(kept) = snapshot.alarms.get(&watch.condition(alarm).to_string()) {
                *watch.alarms.life_mut(alarm) = *kept;
            }
            if let Some(since) = snapshot.listed.get(&watch.condition(alarm).to_string()) {
                watch.start_up.put(alarm, *since);
            }
        }
        watch.emptied = snapshot.emptied;
        watch.refilled = snapshot.refilled;
        watch.upkeep = snapshot.upkeep;
        watch.find_next_due();
        watch
    }

    /// The clock had run ahead, and stands at `start` again: what was seen in a
    /// time that is yet to come says nothing about when.
    pub fn pull_back(&mut self, start: Timestamp) {
        self.now = self.now.min(start);
        self.estimated_at = self.estimated_at.min(start);
        for channel in &mut self.channels {
            channel.pull_back(start);
        }
        self.balance.begin_anew();
        self.ph_trend.begin_anew();
        self.courses = Courses::default();
        self.rates = Rates::default();
        self.charts.forget_today();
        self.conductivity_witness.begin_anew();
        self.start_up.pull_back(start);
        self.alarms.lives_mut().for_each(AlarmLife::restart_delay);
        self.judge_at = judging_after(self.now);
        let mixing = &mut self.dosing.mixing_until;
        *mixing = mixing.map(|until| until.min(start + SETTLE_AFTER_PAUSE));
        self.find_next_due();
    }

    /// Nobody listened until `start`. No channel is called silent for not
    /// having been heard before it; one that was silent stays so until it is heard.
    /// After a longer pause no rule is judged for that time, a delay goes on with the
    /// time that it had once something new is heard, and nothing is judged to be mixed
    /// in before new readings could come.
    pub fn listen_from(&mut self, start: Timestamp) {
        let (stopped, pause) = (self.now, start - self.now);
        for (channel, setup) in self.channels.iter_mut().zip(&self.setup.channels) {
            if !channel.is_silent(setup, stopped) {
                channel.listen_from(start);
            }
        }
        if pause > self.admission.late_after {
            let lives = self.alarms.lives_mut();
            lives.for_each(|life| life.pause_delay(stopped));
            self.judge_at = judging_after(start);
            let earliest = start + SETTLE_AFTER_PAUSE;
            let mixing = &mut self.dosing.mixing_until;
            *mixing = mixing.map(|until| until.max(earliest));
        }
        self.find_next_due();
    }
}
