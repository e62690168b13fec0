//! Drives a watch over each sump as the daemon does: readings, entries and ticks
//! go in, the journal comes out, and the crew hears it.

use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};

use sumpward::alarm::Transition;
use sumpward::engine::{
    Effect, Entry, EntryKind, Event, Form, HappeningKind, JournalBody, JournalRecord, ListedAlarm,
    PlantEvent, PlantWatch, Quality, Reading, Shard, SumpSetup, SumpWatch, Trouble, TroubleKind,
};
use sumpward::model::Origin;
use sumpward::settings::Settings;
use sumpward::simulate::year::{
    Channel, FaultKind, STEP, SumpSpec, YEAR_START, YearReading, YearSump, sumps, timetable,
};
use sumpward::units::{Quantity, Span, Timestamp};

use super::crew::Crew;
use super::crew::entries::event;
use super::plant_settings::settings;
use super::record::{Limit, Made, SumpRecord, Told};
use super::start_up::{Listed, plant_watch};

/// How much is tried.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Extent {
    /// The first so many sumps of the plant.
    pub(crate) sumps: usize,
    /// From which day of the year on.
    pub(crate) from_day: i64,
    pub(crate) days: i64,
}

/// One plant of this seed.
pub(crate) fn run(seed: u64, extent: Extent) -> Vec<SumpRecord> {
    let specs: Vec<SumpSpec> = sumps(seed).into_iter().take(extent.sumps).collect();
    let settings = settings(&specs);
    let next = AtomicUsize::new(0);
    let records = Mutex::new(Vec::new());
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        for _ in 0..threads {
            scope.spawn(|| {
                while let Some(spec) = specs.get(next.fetch_add(1, Ordering::Relaxed)) {
                    let record = Watched::new(spec, &settings, seed, extent).run(extent.days);
                    records.lock().expect("no thread panics").push(record);
                }
            });
        }
    });
    let mut records = records.into_inner().expect("no thread panics");
    records.sort_by_key(|record| record.spec.place);
    records
}

/// A sump under watch.
struct Watched {
    sump: YearSump,
    crew: Crew,
    shard: Shard,
    places: Vec<(Channel, u16)>,
    effects: Vec<Effect>,
    record: SumpRecord,
    entries: usize,
    broker_gone: bool,
    /// Over this sump alone: with others it tells sooner, if not at the same time.
    plant: PlantWatch,
    /// What is on its list.
    listed: Vec<ListedAlarm>,
}

impl Watched {
    fn new(spec: &SumpSpec, settings: &Settings, seed: u64, extent: Extent) -> Self {
        let start = YEAR_START + Span::from_hours(24 * extent.from_day);
        let name = spec.name();
        let setup = settings.sumps.iter().find(|setup| *setup.name == *name);
        let setup = Arc::clone(setup.expect("the settings are of these sumps"));
        let sump = YearSump::new(spec, seed, start, timetable(seed, spec));
        let record = SumpRecord {
            spec: *spec,
            start,
            limits: limits(&setup, spec),
            truth: Vec::new(),
            faults: Vec::new(),
            slips: Vec::new(),
            handled: Vec::new(),
            made: Made::default(),
            told: Vec::new(),
            listed: Vec::new(),
            start_up: settings.watched.start_up.expect("it is on by default"),
            readings: 0,
        };
        Watched {
            crew: Crew::new(&sump, seed),
            sump,
            places: places(&setup),
            plant: plant_watch(record.start_up, start),
            listed: Vec::new(),
            shard: Shard::new(vec![SumpWatch::new(setup, settings.admission, start)]),
            effects: Vec::new(),
            record,
            entries: 0,
            broker_gone: false,
        }
    }

    /// The trial begins with a fresh charge.
    fn run(mut self, days: i64) -> SumpRecord {
        let fresh = self.sump.truth().volume_l.round();
        self.enter(event(HappeningKind::Recharged, Some(fresh), None));
        let steps = days * 24 * 3_600_000 / STEP.millis();
        let mut readings = Vec::new();
        for _ in 0..steps {
            self.sump.step(&mut readings);
            self.shard
                .advance(self.sump.now(), &mut self.effects, |_, _| ());
            self.take_effects();
            self.tell_of_broker();
            for reading in readings.drain(..) {
                self.read(reading);
            }
            self.look_at_list();
            for kind in self.crew.work(&mut self.sump) {
                self.enter(kind);
            }
            self.crew.find_by_chance(&mut self.sump);
            self.record.truth.push(self.sump.truth());
        }
        self.record.faults = self.sump.happened().to_vec();
        self.record.slips = self.crew.slips;
        self.record.handled = self.crew.handled;
        self.record.made = self.crew.made;
        self.record
    }

    /// The daemon knows at once that its broker is gone, and tells each watch.
    fn tell_of_broker(&mut self) {
        let gone = self.sump.has(FaultKind::BrokerGone);
        if gone == self.broker_gone {
            return;
        }
        self.broker_gone = gone;
        let time = self.sump.now();
        for (_, channel) in self.places.clone() {
            self.deliver(&Event::Trouble(Trouble {
                channel,
                time,
                kind: TroubleKind::SourceGone(gone),
            }));
        }
    }

    fn read(&mut self, reading: YearReading) {
        let time = self.sump.now();
        let place = self.places.iter().find(|(one, _)| *one == reading.channel);
        let channel = place.expect("every instrument has its channel").1;
        self.record.readings += 1;
        self.deliver(&Event::Reading(Reading {
            channel,
            claimed: None,
            arrival: time,
            value: reading.value,
            form: Form::Reported,
            quality: Quality::GOOD,
        }));
    }

    fn enter(&mut self, kind: EntryKind) {
        self.entries += 1;
        let time = self.sump.now();
        let entry = Entry {
            id: format!("entry-{}", self.entries),
            time,
            sump: self.record.spec.name(),
            by: Some("crew".into()),
            supersedes: None,
            kind,
        };
        self.deliver(&Event::Entry(Box::new(entry), time));
    }

    fn deliver(&mut self, event: &Event) {
        self.shard.deliver(0, event, &mut self.effects);
        self.take_effects();
    }

    /// As the daemon does, in steps of the trial.
    fn look_at_list(&mut self) {
        let (now, watch) = (self.sump.now(), &self.shard.watches()[0]);
        if !watch.lists_anything() && self.listed.is_empty() {
            return;
        }
        self.listed = watch.listed();
        let listed = self.listed.clone();
        Listed::note(&mut self.record.listed, &listed, now);
        let is_off = |told: &&mut Told| !listed.iter().any(|one| *one.id == *told.id);
        let told = self.record.told.iter_mut();
        for told in told.filter(|told| told.listed.is_some()).filter(is_off) {
            told.returned.get_or_insert(now);
        }
        let mut effects = Vec::new();
        let event = PlantEvent::StartUp { time: now, listed };
        self.plant.step(&event, &mut effects);
        for effect in effects {
            if let Effect::Journal(line) = effect {
                self.hear_plant(&line);
            }
        }
    }

    /// What is new of what the plant's alarm tells.
    fn hear_plant(&mut self, line: &JournalRecord) {
        let JournalBody::Alarm(alarm) = &line.body else {
            return;
        };
        for one in alarm.start_up.iter().flat_map(|list| &list.alarms) {
            let told = &mut self.record.told;
            let is_it = |told: &Told| told.listed.is_some() && told.id == *one.id;
            if told.iter().any(is_it) {
                continue;
            }
            told.push(Told {
                id: one.id.to_string(),
                condition: one.condition.to_string(),
                priority: Some(one.priority),
                time: line.time,
                acknowledged: None,
                returned: None,
                listed: Some(one.listed),
                again: false,
                hidden: Vec::new(),
                beside: format!("listed {}, {:?} of {:?}", one.listed, one.value, one.limit),
            });
            self.crew.hear_listed(one, line.time);
        }
    }

    fn take_effects(&mut self) {
        for effect in self.effects.drain(..) {
            match effect {
                Effect::Journal(line) => {
                    self.crew.hear(&line);
                    note(&mut self.record.told, &line);
                }
                Effect::Show(status) => self.crew.see(&status),
                Effect::Record(_) => {}
            }
        }
    }
}

fn places(setup: &SumpSetup) -> Vec<(Channel, u16)> {
    let all = Channel::GAUGES.into_iter().chain([Channel::Pumps]);
    let named = all.map(|channel| {
        let mut of = (0u16..).zip(&setup.channels);
        let found = of.find(|(_, one)| *one.name == *channel.name());
        (channel, found.expect("the settings have it").0)
    });
    named.collect()
}

/// The limits with what their signals are measured to by the settings: the
/// scatter of one smoothed reading, and how far the instrument's zero wanders
/// and drifts by itself, together (JCGM 100, 5.1.2), without the chart.
fn limits(setup: &SumpSetup, spec: &SumpSpec) -> Vec<Limit> {
    let of = |quantity: Quantity| {
        let mut channels = setup.channels.iter();
        let channel = channels.find(|one| one.quantity == quantity);
        channel.map_or(0.0, |one| {
            one.uncertainty.hypot(one.wander).hypot(one.drift)
        })
    };
    let limits = setup.limits.iter().map(|limit| Limit {
        signal: limit.signal,
        level: limit.level,
        threshold: limit.threshold,
        uncertainty: match limit.signal {
            Quantity::Concentration => 2.0 * of(Quantity::Brix) * spec.product.factor,
            Quantity::Volume => 2.0 * of(Quantity::Level) * 1000.0 * spec.surface_m2(),
            signal => 2.0 * of(signal),
        },
    });
    limits.collect()
}

/// Keeps what tells something: alarms, and of the ledger what nobody wrote down
/// or what contradicts what was written.
fn note(told: &mut Vec<Told>, line: &JournalRecord) {
    match &line.body {
        JournalBody::Alarm(alarm) if alarm.transition.annunciates(alarm.state) => {
            let was_listed = |one: &Told| one.listed.is_some() && one.id == alarm.id;
            let again = told.iter().any(was_listed);
            told.push(Told {
                id: alarm.id.clone(),
                condition: alarm.condition.to_string(),
                priority: Some(alarm.priority),
                time: line.time,
                acknowledged: None,
                returned: None,
                listed: None,
                again,
                hidden: Vec::new(),
                beside: format!(
                    "{:?} {} of {:?}, since {}",
                    alarm.value,
                    alarm.unit.unwrap_or_default(),
                    alarm.limit,
                    alarm.since
                ),
            });
        }
        JournalBody::Alarm(alarm) => match alarm.transition {
            Transition::Acknowledged => close(told, &alarm.id, |told| {
                told.acknowledged.get_or_insert(line.time);
            }),
            // Nobody is told of it any more.
            Transition::Returned | Transition::Suppressed | Transition::Shelved => {
                close(told, &alarm.id, |told| {
                    told.returned.get_or_insert(line.time);
                });
            }
            // Somebody has taken it on, and it stands again.
            Transition::Unsuppressed if alarm.state.holds() => {
                close(told, &alarm.id, |told| {
                    let hidden = told.returned.take();
                    told.hidden.extend(hidden.map(|from| (from, line.time)));
                });
            }
            _ => {}
        },
        JournalBody::Movement { movement } => {
            let how = match movement.origin {
                Origin::Inferred => "inferred",
                Origin::Contradicted { .. } => "contradicted",
                Origin::Logged { .. } => return,
            };
            ledger(
                told,
                line.time,
                format!("movement.{how}"),
                format!("{movement:?}"),
            );
        }
        JournalBody::Departure {
            departure: Some(departure),
        } => {
            let kind = format!("{:?}", departure.kind).to_lowercase();
            ledger(
                told,
                line.time,
                format!("departure.{kind}"),
                format!("{departure:?}"),
            );
        }
        _ => {}
    }
}

fn ledger(told: &mut Vec<Told>, time: Timestamp, condition: String, beside: String) {
    told.push(Told {
        id: String::new(),
        condition,
        priority: None,
        time,
        acknowledged: None,
        returned: Some(time + Span::from_hours(1)),
        listed: None,
        again: false,
        hidden: Vec::new(),
        beside,
    });
}

fn close(told: &mut [Told], id: &str, how: impl FnOnce(&mut Told)) {
    if let Some(one) = told.iter_mut().rev().find(|one| one.id == id) {
        how(one);
    }
}
