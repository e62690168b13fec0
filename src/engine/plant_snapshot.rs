//! The memory of the plant's watch, to be kept and taken up again.

use std::collections::BTreeMap;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use crate::alarm::AlarmLife;
use crate::units::Timestamp;

use super::plant_setup::PlantSetup;
use super::plant_start_up::StartUpWatch;
use super::plant_states::{DiskWatch, ForwardWatch, SourceWatch, StockWatch};
use super::plant_watch::PlantWatch;
use super::remembered::Remembered;
use super::setup::AdmissionSetup;

/// Everything that the plant's watch remembers. Sources, servers and alarms are kept by
/// name: what is still in the settings goes on, what is gone is forgotten; alarms that
/// stood are closed first (`removal`).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PlantSnapshot {
    now: Timestamp,
    seq: u64,
    given: u64,
    #[serde(default)]
    sources: BTreeMap<String, SourceWatch>,
    #[serde(default)]
    stocks: BTreeMap<String, StockWatch>,
    #[serde(default)]
    forwards: BTreeMap<String, ForwardWatch>,
    #[serde(default)]
    disk: DiskWatch,
    #[serde(default)]
    start_up: StartUpWatch,
    #[serde(default)]
    pub(super) alarms: BTreeMap<String, AlarmLife>,
    #[serde(default)]
    remembered: Remembered,
}

impl PlantWatch {
    /// The watch's memory as it is now.
    pub fn snapshot(&self) -> PlantSnapshot {
        let sources = self.setup.sources.iter().zip(&self.sources);
        let stocks = self.setup.stocks.iter().zip(&self.stocks);
        let forwards = self.setup.forwards.iter().zip(&self.forwards);
        let alarms = self.alarms.iter();
        PlantSnapshot {
            now: self.now,
            seq: self.seq,
            given: self.given,
            sources: sources
                .map(|(setup, watch)| (setup.name.to_string(), watch.clone()))
                .collect(),
            stocks: stocks
                .map(|(setup, watch)| (setup.fluid.to_string(), watch.clone()))
                .collect(),
            forwards: forwards
                .map(|(setup, watch)| (setup.name.to_string(), watch.clone()))
                .collect(),
            disk: self.disk.clone(),
            start_up: self.start_up.clone(),
            alarms: alarms
                .map(|alarm| (alarm.condition.to_string(), alarm.life))
                .collect(),
            remembered: self.remembered.clone(),
        }
    }

    /// A watch that goes on from a snapshot.
    pub fn restore(
        setup: Arc<PlantSetup>,
        admission: AdmissionSetup,
        mut snapshot: PlantSnapshot,
    ) -> Self {
        let mut watch = PlantWatch::new(setup, admission, snapshot.now);
        watch.seq = snapshot.seq;
        watch.given = snapshot.given;
        watch.remembered = snapshot.remembered;
        for (setup, source) in watch.setup.sources.iter().zip(&mut watch.sources) {
            if let Some(kept) = snapshot.sources.remove(&*setup.name) {
                *source = kept;
            }
        }
        for (setup, stock) in watch.setup.stocks.iter().zip(&mut watch.stocks) {
            if let Some(kept) = snapshot.stocks.remove(&*setup.fluid) {
                *stock = kept;
            }
        }
        for (setup, target) in watch.setup.forwards.iter().zip(&mut watch.forwards) {
            if let Some(kept) = snapshot.forwards.remove(&*setup.name) {
                *target = kept;
            }
        }
        watch.disk = snapshot.disk;
        watch.start_up = snapshot.start_up;
        for alarm in &mut watch.alarms {
            if let Some(kept) = snapshot.alarms.get(&alarm.condition.to_string()) {
                alarm.life = *kept;
            }
        }
        watch
    }

    /// The clock had run ahead, and stands at `start` again.
    pub fn pull_back(&mut self, start: Timestamp) {
        self.now = self.now.min(start);
        self.lives_mut().for_each(AlarmLife::restart_delay);
    }

    /// Nobody watched until `start`: after a longer pause a delay goes on with the time
    /// that it had once it is told how things stand now.
    pub fn listen_from(&mut self, start: Timestamp) {
        let stopped = self.now;
        if start - stopped > self.admission.late_after {
            self.lives_mut().for_each(|life| life.pause_delay(stopped));
        }
    }

    fn lives_mut(&mut self) -> impl Iterator<Item = &mut AlarmLife> {
        self.alarms.iter_mut().map(|alarm| &mut alarm.life)
    }
}
