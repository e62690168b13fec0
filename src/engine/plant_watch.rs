//! The watch over what is the plant's and no sump's: its sources, its stock, the
//! servers that get what is stored, the store's disk, and the start after a
//! stand-still.
//!
//! It keeps the same promises as [`super::SumpWatch`]: the same events give the
//! same lines, time comes from events only, and it goes on from a snapshot as if
//! nothing had happened.

use std::sync::Arc;

use crate::advice::{self, Advice};
use crate::alarm::{AlarmLife, AlarmManner, AlarmState, Priority, Transition, Verdict};
use crate::rules::Condition;
use crate::units::Timestamp;

use super::alarms::Told;
use super::entry::Entry;
use super::event::Effect;
use super::journal::{AlarmLine, JournalBody, JournalRecord, SourceLost, StockLeft};
use super::plant_evidence::{DiskFull, ForwardStuck};
use super::plant_setup::{PLANT, PlantSetup};
use super::plant_start_up::{ListedAlarm, StartUpWatch};
use super::plant_states::{DiskWatch, ForwardWatch, Lost, SourceWatch, StockWatch};
use super::remembered::Remembered;
use super::setup::AdmissionSetup;
use super::status::ActiveAlarm;
use super::watch::GRID;

/// Everything that can happen to the plant.
#[derive(Debug, Clone, PartialEq)]
pub enum PlantEvent {
    /// A source was lost, or is there again.
    Source {
        /// Its name.
        name: Arc<str>,
        /// When that was known.
        time: Timestamp,
        /// Since when it is gone, and why; nothing where it is there.
        lost: Option<Lost>,
    },
    /// A stock was reckoned anew.
    Stock {
        /// Name of the fluid.
        fluid: Arc<str>,
        /// When.
        time: Timestamp,
        /// How much there should be.
        left: StockLeft,
    },
    /// How a server of series stands.
    Forward {
        /// Its name.
        name: Arc<str>,
        /// When that was known.
        time: Timestamp,
        /// How it is stuck; nothing where it gets what it is to get.
        stuck: Option<ForwardStuck>,
    },
    /// How the disk of the store stands.
    Disk {
        /// When that was known.
        time: Timestamp,
        /// How full it is; nothing where there is room.
        full: Option<DiskFull>,
    },
    /// What the sumps suppress since they started after a stand-still.
    StartUp {
        /// When that was known.
        time: Timestamp,
        /// All of it.
        listed: Vec<ListedAlarm>,
    },
    /// A person wrote something down; with the time it reached us.
    Entry(Box<Entry>, Timestamp),
    /// A person's entry out of history: kept as late, it changes nothing.
    PastEntry(Box<Entry>, Timestamp),
    /// The clock reached a point of the grid.
    Tick(Timestamp),
}

/// One alarm of the plant, with how it stands.
#[derive(Debug, Clone)]
pub(super) struct PlantAlarm {
    pub(super) condition: Condition,
    pub(super) priority: Priority,
    pub(super) manner: AlarmManner,
    pub(super) life: AlarmLife,
}

/// What an alarm is about, with its place among its like.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum About {
    Source(usize),
    Stock(usize),
    Forward(usize),
    Disk,
    StartUp,
}

/// The watch over the plant.
#[derive(Debug, Clone)]
pub struct PlantWatch {
    pub(super) setup: Arc<PlantSetup>,
    pub(super) admission: AdmissionSetup,
    /// Newest time of any event; never goes back.
    pub(super) now: Timestamp,
    /// Lines that it wrote to the journal so far.
    pub(super) seq: u64,
    /// Advice given so far.
    pub(super) given: u64,
    /// In the order of the setup.
    pub(super) sources: Vec<SourceWatch>,
    /// In the order of the setup.
    pub(super) stocks: Vec<StockWatch>,
    /// In the order of the setup.
    pub(super) forwards: Vec<ForwardWatch>,
    pub(super) disk: DiskWatch,
    pub(super) start_up: StartUpWatch,
    /// One for each source, each stock and each server of series, in the order of
    /// the setup, and one for the disk and one for the start where these are watched.
    pub(super) alarms: Vec<PlantAlarm>,
    pub(super) remembered: Remembered,
}

impl PlantWatch {
    /// A watch that begins at `start`; nothing is known of any source yet.
    pub fn new(setup: Arc<PlantSetup>, admission: AdmissionSetup, start: Timestamp) -> Self {
        let of = |condition, priority, manner| PlantAlarm {
            condition,
            priority,
            manner,
            life: AlarmLife::default(),
        };
        let sources = setup.sources.iter().map(|source| {
            let condition = Condition::Source(Arc::clone(&source.name));
            of(condition, source.priority, source.manner)
        });
        let stocks = setup.stocks.iter().map(|stock| {
            let condition = Condition::Stock(Arc::clone(&stock.fluid));
            of(condition, stock.priority, stock.manner)
        });
        let forwards = setup.forwards.iter().map(|target| {
            let condition = Condition::Forward(Arc::clone(&target.name));
            of(condition, target.priority, target.manner)
        });
        let disk = setup.disk.iter();
        let disk = disk.map(|disk| of(Condition::Disk, disk.priority, disk.manner));
        let start_up = setup.start_up.iter();
        let start_up = start_up.map(|one| of(Condition::StartUp, one.priority, one.manner));
        let alarms = sources.chain(stocks).chain(forwards);
        let alarms = alarms.chain(disk).chain(start_up).collect();
        PlantWatch {
            admission,
            now: start,
            seq: 0,
            given: 0,
            sources: vec![SourceWatch::default(); setup.sources.len()],
            stocks: vec![StockWatch::default(); setup.stocks.len()],
            forwards: vec![ForwardWatch::default(); setup.forwards.len()],
            disk: DiskWatch::default(),
            start_up: StartUpWatch::default(),
            alarms,
            remembered: Remembered::default(),
            setup,
        }
    }

    /// Newest time of any event.
    pub fn now(&self) -> Timestamp {
        self.now
    }

    /// Lets one event happen.
    pub fn step(&mut self, event: &PlantEvent, out: &mut Vec<Effect>) {
        match event {
            PlantEvent::Source { name, time, lost } => {
                self.advance(*time, out);
                self.step_source(name, lost.clone(), out);
            }
            PlantEvent::Stock { fluid, time, left } => {
                self.advance(*time, out);
                self.step_stock(fluid, *left, out);
            }
            PlantEvent::Forward { name, time, stuck } => {
                self.advance(*time, out);
                self.step_forward(name, stuck.clone(), out);
            }
            PlantEvent::Disk { time, full } => {
                self.advance(*time, out);
                self.disk.step(*full);
                self.judge_of(About::Disk, out);
            }
            PlantEvent::StartUp { time, listed } => {
                self.advance(*time, out);
                self.start_up.step(listed);
                self.judge_of(About::StartUp, out);
            }
            PlantEvent::Entry(entry, _) | PlantEvent::PastEntry(entry, _)
                if self.remembered.passes_over(entry) => {}
            PlantEvent::Entry(entry, arrival) => {
                let ahead = self.is_ahead(entry, *arrival);
                let time = if ahead { *arrival } else { entry.time };
                self.advance(time, out);
                self.step_entry(entry, time, out);
            }
            PlantEvent::PastEntry(entry, _) => self.keep_past_entry(entry, out),
            PlantEvent::Tick(time) => self.advance(*time, out),
        }
    }

    fn step_source(&mut self, name: &str, lost: Option<Lost>, out: &mut Vec<Effect>) {
        let mut sources = self.setup.sources.iter();
        if let Some(ix) = sources.position(|source| *source.name == *name) {
            self.sources[ix].step(lost);
            self.judge_of(About::Source(ix), out);
        }
    }

    fn step_stock(&mut self, fluid: &str, left: StockLeft, out: &mut Vec<Effect>) {
        let mut stocks = self.setup.stocks.iter();
        if let Some(ix) = stocks.position(|stock| *stock.fluid == *fluid) {
            self.stocks[ix].left = Some(left);
            self.judge_of(About::Stock(ix), out);
        }
    }

    fn step_forward(&mut self, name: &str, stuck: Option<ForwardStuck>, out: &mut Vec<Effect>) {
        let mut targets = self.setup.forwards.iter();
        if let Some(ix) = targets.position(|target| *target.name == *name) {
            self.forwards[ix].step(stuck);
            self.judge_of(About::Forward(ix), out);
        }
    }

    fn judge_of(&mut self, about: About, out: &mut Vec<Effect>) {
        let mut all = 0..self.alarms.len();
        if let Some(ix) = all.find(|ix| self.about(*ix) == about) {
            self.judge(ix, out);
        }
    }

    /// What an alarm is about.
    fn about(&self, ix: usize) -> About {
        let (sources, stocks) = (self.sources.len(), self.stocks.len());
        if ix < sources {
            return About::Source(ix);
        }
        let ix = ix - sources;
        if ix < stocks {
            return About::Stock(ix);
        }
        let ix = ix - stocks;
        if ix < self.forwards.len() {
            return About::Forward(ix);
        }
        let is_disk = ix == self.forwards.len() && self.setup.disk.is_some();
        match is_disk {
            true => About::Disk,
            false => About::StartUp,
        }
    }

    fn verdict(&self, ix: usize) -> Verdict {
        match self.about(ix) {
            About::Source(ix) => Verdict::of(self.sources[ix].gone),
            About::Stock(ix) => self.stocks[ix].verdict(&self.setup.stocks[ix]),
            About::Forward(ix) => self.forwards[ix].verdict(),
            About::Disk => self.disk.verdict(),
            About::StartUp => self.start_up.verdict(),
        }
    }

    fn manner(&self, ix: usize) -> AlarmManner {
        match self.about(ix) {
            About::Forward(ix) => self.forwards[ix].manner(&self.setup.forwards[ix]),
            _ => self.alarms[ix].manner,
        }
    }

    /// When a timer of an alarm ends.
    fn due(&self, ix: usize) -> Option<Timestamp> {
        let life = &self.alarms[ix].life;
        let more = (self.about(ix) == About::StartUp && life.is_active())
            .then(|| self.start_up.more_due())
            .flatten();
        life.due(self.manner(ix)).into_iter().chain(more).min()
    }

    /// Moves the time forward, letting each timer end at its own point of the
    /// grid on the way.
    fn advance(&mut self, time: Timestamp, out: &mut Vec<Effect>) {
        while let Some(due) = self.next_due().filter(|due| *due <= time) {
            self.now = self.now.max(due);
            self.end_timers(out);
        }
        self.now = self.now.max(time);
    }

    fn next_due(&self) -> Option<Timestamp> {
        let due = (0..self.alarms.len()).filter_map(|ix| self.due(ix));
        due.min().map(|due| due.ceil(GRID))
    }

    fn end_timers(&mut self, out: &mut Vec<Effect>) {
        for ix in 0..self.alarms.len() {
            if self.due(ix).is_none_or(|due| due > self.now) {
                continue;
            }
            if let Some(transition) = self.alarms[ix].life.end_shelf(self.now) {
                self.tell(ix, transition, &Told::default(), out);
            }
            self.judge(ix, out);
            self.tell_more(ix, out);
        }
    }

    /// The plant's list has grown since it was told: it is told again.
    fn tell_more(&mut self, ix: usize, out: &mut Vec<Effect>) {
        let due = self.start_up.more_due().is_some_and(|due| due <= self.now);
        if self.about(ix) != About::StartUp || !due || !self.alarms[ix].life.is_active() {
            return;
        }
        self.start_up.tell();
        if let Some(transition) = self.alarms[ix].life.raise_for_more() {
            self.tell(ix, transition, &Told::default(), out);
        }
    }

    /// Judges an alarm as things stand now.
    fn judge(&mut self, ix: usize, out: &mut Vec<Effect>) {
        let (verdict, manner) = (self.verdict(ix), self.manner(ix));
        let life = &mut self.alarms[ix].life;
        if let Some(transition) = life.observe(self.now, verdict, manner) {
            if self.about(ix) == About::StartUp {
                self.start_up.tell();
            }
            self.tell(ix, transition, &Told::default(), out);
        }
    }

    /// Writes a step to the journal, with advice when people are told of
    /// something new.
    pub(super) fn tell(
        &mut self,
        ix: usize,
        transition: Transition,
        told: &Told<'_>,
        out: &mut Vec<Effect>,
    ) {
        let id = self.alarm_id(ix).unwrap_or_default();
        let life = self.alarms[ix].life;
        let annunciated = transition.annunciates(life.state());
        let advice = annunciated.then(|| self.advise(ix));
        let mut line = AlarmLine {
            id,
            condition: self.alarms[ix].condition.clone(),
            priority: self.alarms[ix].priority,
            transition,
            state: life.state(),
            since: life.since().unwrap_or(self.now),
            value: None,
            unit: None,
            limit: None,
            window: None,
            signal: None,
            by: told.by.map(str::to_owned),
            reason: told.reason.map(str::to_owned),
            because: None,
            until: life.shelved_until(),
            own: None,
            instrument: None,
            evidence: None,
            silent_with: Vec::new(),
            source: None,
            stock: None,
            forward: None,
            disk: None,
            start_up: None,
            advice,
        };
        self.add_evidence(ix, annunciated, &mut line);
        self.journal(JournalBody::Alarm(line), out);
    }

    fn add_evidence(&self, ix: usize, annunciated: bool, line: &mut AlarmLine) {
        match self.about(ix) {
            About::Source(ix) => {
                if let Some(lost) = &self.sources[ix].lost {
                    line.since = lost.since;
                }
                line.source = Some(Box::new(self.source_lost(ix)));
            }
            About::Stock(ix) => {
                let left = self.stocks[ix].left;
                line.value = left.and_then(|left| left.days);
                line.unit = Some("d");
                line.limit = Some(self.setup.stocks[ix].least_days());
                line.stock = left.map(Box::new);
            }
            About::Forward(ix) => line.forward = self.forwards[ix].last.clone().map(Box::new),
            About::Disk => line.disk = self.disk.last.map(Box::new),
            About::StartUp => {
                line.start_up = annunciated.then(|| Box::new(self.start_up.list()));
            }
        }
    }

    fn source_lost(&self, ix: usize) -> SourceLost {
        let source = &self.setup.sources[ix];
        let lost = self.sources[ix].lost.as_ref();
        SourceLost {
            kind: source.kind,
            address: source.address.clone(),
            why: lost.map(|lost| lost.why.clone()).unwrap_or_default(),
            channels: source.channels.len(),
            sumps: source.sumps(),
        }
    }

    fn advise(&mut self, ix: usize) -> Arc<Advice> {
        let condition = self.alarms[ix].condition.clone();
        let (look_at, cautions) = advice::look_at(&condition);
        self.given += 1;
        Arc::new(Advice {
            id: format!("{PLANT}/advice/{}", self.given),
            time: self.now,
            condition,
            dose: None,
            withheld: None,
            look_at,
            cautions,
        })
    }

    /// Adds a line to the journal.
    pub(super) fn journal(&mut self, body: JournalBody, out: &mut Vec<Effect>) {
        self.seq += 1;
        out.push(Effect::Journal(Box::new(JournalRecord {
            time: self.now,
            sump: PLANT.into(),
            seq: self.seq,
            body,
        })));
    }

    /// The id of the present or last occurrence.
    pub(super) fn alarm_id(&self, ix: usize) -> Option<String> {
        let PlantAlarm {
            condition, life, ..
        } = &self.alarms[ix];
        Some(format!("{PLANT}/{condition}/{}", life.raised()?))
    }

    /// The alarms that are not normal, as they stand.
    pub fn alarms_shown(&self) -> Vec<ActiveAlarm> {
        let each = self.alarms.iter().enumerate();
        let shown = each.filter(|(_, alarm)| alarm.life.state() != AlarmState::Normal);
        let shown = shown.map(|(ix, alarm)| ActiveAlarm {
            id: self.alarm_id(ix).unwrap_or_default(),
            condition: alarm.condition.clone(),
            priority: alarm.priority,
            state: alarm.life.state(),
            since: alarm.life.since().unwrap_or(self.now),
            until: alarm.life.shelved_until(),
        });
        shown.collect()
    }

    /// Ids of the alarms that stand.
    pub(super) fn standing(&self) -> Vec<String> {
        let stands = |ix: &usize| self.alarms[*ix].life.state() != AlarmState::Normal;
        let standing = (0..self.alarms.len()).filter(stands);
        standing.filter_map(|ix| self.alarm_id(ix)).collect()
    }
}
