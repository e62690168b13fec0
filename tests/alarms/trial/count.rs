//! What the records of a plant amount to.

use std::collections::BTreeMap;

use sumpward::engine::{LimitLevel, Priority, StartUpSetup};
use sumpward::simulate::year::{FaultKind, STEP, Truth, next_attendance};
use sumpward::units::{Quantity, Span, Timestamp};

use super::expected::{Expected, Outcome, expected, outcome};
use super::figures::{Figures, figures};
use super::kinds::{Kind, tells};
use super::record::{SumpRecord, Told};
use super::start_up::{Listed, plant_alarms};
use super::verdict::{Verdict, verdict};

/// Of one kind of truth: how it was told.
#[derive(Debug, Clone, Default)]
pub(crate) struct OfKind {
    pub(crate) in_time: u32,
    pub(crate) late: u32,
    pub(crate) missed: u32,
    /// Not asked for: over too soon, too small, or hidden by another fault.
    pub(crate) not_asked: u32,
    /// Of these, told all the same.
    pub(crate) extra: u32,
    /// Hours until it was told.
    pub(crate) hours: Vec<f64>,
    /// Told by the ledger only, which nobody is called for.
    pub(crate) by_ledger: u32,
}

/// Of one condition: how true it was.
#[derive(Debug, Clone, Default)]
pub(crate) struct OfCondition {
    pub(crate) right: u32,
    pub(crate) repeated: u32,
    /// False ones, by what misled them.
    pub(crate) wrong: BTreeMap<String, u32>,
    pub(crate) high: bool,
}

/// What a plant's trial came to.
#[derive(Debug, Clone, Default)]
pub(crate) struct Count {
    pub(crate) seed: u64,
    pub(crate) sump_years: f64,
    pub(crate) readings: u64,
    pub(crate) kinds: BTreeMap<String, OfKind>,
    pub(crate) conditions: BTreeMap<String, OfCondition>,
    /// False alarms of the two upper priorities, and of the highest.
    pub(crate) false_upper: u32,
    pub(crate) false_high: u32,
    /// Share of time in which concentration lay in its window: raw, and not
    /// counting from a fault until crew and mixing could act; of all sumps
    /// together and of the worst.
    pub(crate) in_window: (f64, f64),
    pub(crate) worst_in_window: (f64, f64),
    /// Sumps that were in their window for less than 99 % of the net time.
    pub(crate) sumps_below: u32,
    pub(crate) figures: Figures,
    /// The alarms that came, each sump's by itself.
    pub(crate) came: Vec<Vec<Came>>,
    /// How the plant's alarm about a start behaves.
    pub(crate) start_up: Option<StartUpSetup>,
    /// What of each sump was on the plant's list.
    pub(crate) listed: Vec<Vec<Listed>>,
}

/// An alarm that came, for the figures of three hundred sumps together.
#[derive(Debug, Clone)]
#[allow(dead_code, reason = "the bench alone takes several plants together")]
pub(crate) struct Came {
    pub(crate) time: Timestamp,
    pub(crate) condition: String,
    /// From when to when it was stale.
    pub(crate) stale: Vec<(Timestamp, Timestamp)>,
}

impl Came {
    pub(crate) fn of(told: &Told, end: Timestamp) -> Self {
        Came {
            time: told.time,
            condition: told.condition.clone(),
            stale: told.stale(end),
        }
    }
}

impl OfCondition {
    pub(crate) fn false_ones(&self) -> u32 {
        self.wrong.values().sum()
    }
}

impl Count {
    pub(crate) fn asked(&self) -> (u32, u32) {
        let all = self.kinds.values();
        all.fold((0, 0), |(told, asked), kind| {
            let of = kind.in_time + kind.late + kind.missed;
            (told + kind.in_time, asked + of)
        })
    }

    pub(crate) fn told_share(&self) -> f64 {
        let (told, asked) = self.asked();
        f64::from(told) / f64::from(asked.max(1))
    }

    pub(crate) fn alarms(&self) -> (u32, u32) {
        let all = self.conditions.values();
        all.fold((0, 0), |(right, wrong), one| {
            (right + one.right + one.repeated, wrong + one.false_ones())
        })
    }

    pub(crate) fn true_share(&self) -> f64 {
        let (right, wrong) = self.alarms();
        f64::from(right) / f64::from((right + wrong).max(1))
    }

    pub(crate) fn false_a_sump_and_quarter(&self) -> f64 {
        f64::from(self.alarms().1) / (4.0 * self.sump_years)
    }

    pub(crate) fn false_upper_a_sump_and_year(&self) -> f64 {
        f64::from(self.false_upper) / self.sump_years
    }
}

/// Counts the records of one plant.
pub(crate) fn count(seed: u64, records: &[SumpRecord]) -> Count {
    let mut count = Count {
        seed,
        ..Count::default()
    };
    let (mut raw, mut net) = ((0, 0), (0, 0));
    count.worst_in_window = (1.0, 1.0);
    for record in records {
        let days = (record.end() - record.start).secs_f64() / 86_400.0;
        count.sump_years += days / 365.0;
        count.readings += record.readings;
        let all = expected(record);
        for one in &all {
            count.one_kind(record, one);
        }
        let alarms = record.told.iter().filter(|told| told.priority.is_some());
        for told in alarms.filter(|told| !told.again) {
            count.one_alarm(record, told);
        }
        let singly = record.told.iter().filter(|told| told.comes_singly());
        let came = singly.map(|told| Came::of(told, record.end()));
        count.came.push(came.collect());
        count.listed.push(record.listed.clone());
        let window = in_window(record, &all);
        let share = |(inside, of): (u64, u64)| inside as f64 / of.max(1) as f64;
        let (of_raw, of_net) = (share(window.raw), share(window.net));
        count.worst_in_window.0 = count.worst_in_window.0.min(of_raw);
        count.worst_in_window.1 = count.worst_in_window.1.min(of_net);
        count.sumps_below += u32::from(of_net < 0.99);
        raw = (raw.0 + window.raw.0, raw.1 + window.raw.1);
        net = (net.0 + window.net.0, net.1 + window.net.1);
    }
    let share = |(inside, of): (u64, u64)| inside as f64 / of.max(1) as f64;
    count.in_window = (share(raw), share(net));
    let listed = records.iter().map(|record| record.listed.as_slice());
    count.start_up = records.first().map(|first| first.start_up);
    let plant = records.first().map(|first| {
        let of_plant = plant_alarms(first.start_up, listed, first.end());
        figures(records, &of_plant)
    });
    count.figures = plant.unwrap_or_default();
    count
}

/// Each thing that was not told in time, and each alarm that was false, one a
/// line: for whoever looks into it.
pub(crate) fn details(records: &[SumpRecord]) {
    let stale = stale(records);
    let stale = stale.iter().map(|(name, days)| format!("{name} {days:.1}"));
    let stale: Vec<String> = stale.collect();
    println!(
        "days beyond the first that alarms stood: {}",
        stale.join(", ")
    );
    for record in records {
        let name = record.spec.name();
        let window = in_window(record, &expected(record));
        let (inside, of) = window.net;
        if inside * 100 < of * 99 {
            let share = 100.0 * inside as f64 / of as f64;
            println!("{name} in its window for {share:.1} % of the time that counts");
            for (from, to) in window.stretches() {
                println!("  outside from {from} to {to} {}", around(record, from));
            }
        }
        for one in expected(record) {
            if let how @ (Outcome::Late(_) | Outcome::Missed) = outcome(record, &one) {
                println!(
                    "{name} {how:?} {} from {} until {} due {:?} {}",
                    one.kind,
                    one.from,
                    one.until,
                    one.deadline.map(|time| time.to_string()),
                    around(record, one.from),
                );
            }
        }
        let alarms = record.told.iter().filter(|told| told.priority.is_some());
        for told in alarms.filter(|told| !told.again) {
            if let Verdict::False(by) = verdict(record, &told.as_judged()) {
                let (condition, time) = (&told.condition, told.time);
                let beside = beside(record, told);
                println!(
                    "{name} False {condition} at {time} by {by} {} {beside}",
                    around(record, time)
                );
            }
        }
    }
}

/// Of which conditions alarms stood for longer than a day, and for how many days
/// beyond it in all, the most first.
fn stale(records: &[SumpRecord]) -> Vec<(String, f64)> {
    let mut by: BTreeMap<String, f64> = BTreeMap::new();
    for record in records {
        for told in record.told.iter().filter(|told| told.priority.is_some()) {
            let stale = told.stale(record.end()).into_iter();
            let stale_s: f64 = stale.map(|(from, to)| (to - from).secs_f64()).sum();
            *by.entry(told.condition.clone()).or_default() += stale_s / 86_400.0;
        }
    }
    let mut by: Vec<(String, f64)> = by.into_iter().filter(|(_, days)| *days > 0.0).collect();
    by.sort_by(|(_, a), (_, b)| b.total_cmp(a));
    by
}

/// What the alarm says beside its name, and the last that the ledger said.
fn beside(record: &SumpRecord, told: &Told) -> String {
    let of_ledger = |one: &&Told| one.priority.is_none() && one.time <= told.time;
    let ledger = record.told.iter().rev().find(of_ledger);
    let ledger = ledger.filter(|one| told.time - one.time < Span::from_hours(2));
    let ledger = ledger.map_or("", |one| one.beside.as_str());
    format!("{} {ledger}", told.beside)
}

/// The truth at a time, and what people and faults did there of late.
fn around(record: &SumpRecord, time: Timestamp) -> String {
    let truth = &record.truth[record.place(time)];
    let earlier = &record.truth[record.place(time - Span::from_hours(24))];
    let day = time - Span::from_hours(24)..=time;
    let handled = record.handled.iter().filter(|at| day.contains(at)).count();
    format!(
        "[c {:.2} (day before {:.2}) of {} V {:.0} ({:.0}) of {} pH {:.2} off {:.2?} pumps {} works {} handled {handled}]",
        truth.nozzle_pct,
        earlier.nozzle_pct,
        record.spec.product.target_pct,
        truth.volume_l,
        earlier.volume_l,
        record.spec.working_l,
        truth.ph,
        truth.off,
        truth.pumps_run,
        truth.works,
    )
}

impl Count {
    fn one_kind(&mut self, record: &SumpRecord, one: &Expected) {
        let of = self.kinds.entry(one.kind.to_string()).or_default();
        match outcome(record, one) {
            Outcome::InTime(hours) => {
                of.in_time += 1;
                of.hours.push(hours);
                let ledger_only = !record.told.iter().any(|told| {
                    told.priority.is_some()
                        && tells(one.kind, &told.condition)
                        && told.time <= one.until
                        && told.returned.is_none_or(|back| back >= one.from)
                });
                of.by_ledger += u32::from(ledger_only);
            }
            Outcome::Late(hours) => {
                of.late += 1;
                of.hours.push(hours);
            }
            Outcome::Missed => of.missed += 1,
            Outcome::NotAsked => of.not_asked += 1,
            Outcome::Extra(_) => {
                of.not_asked += 1;
                of.extra += 1;
            }
        }
    }

    fn one_alarm(&mut self, record: &SumpRecord, told: &Told) {
        let of = self.conditions.entry(told.condition.clone()).or_default();
        of.high |= told.priority == Some(Priority::High);
        match verdict(record, &told.as_judged()) {
            Verdict::True => of.right += 1,
            Verdict::Repeated => of.repeated += 1,
            Verdict::False(by) => {
                *of.wrong.entry(by).or_default() += 1;
                self.false_upper += u32::from(told.priority >= Some(Priority::Medium));
                self.false_high += u32::from(told.priority == Some(Priority::High));
            }
        }
    }
}

/// What moves the concentration.
const MOVES: [FaultKind; 6] = [
    FaultKind::MixerLean,
    FaultKind::MixerRich,
    FaultKind::WaterIngress,
    FaultKind::Leak,
    FaultKind::FouledPrism,
    FaultKind::TrampOil,
];
/// How long a crew on shift takes from an alarm to a dose that is mixed in, h.
const ACTS_H: f64 = 8.0;

/// Steps inside the window and steps at all, raw and net, and the times outside
/// of it that count.
#[derive(Debug, Default)]
struct Window {
    raw: (u64, u64),
    net: (u64, u64),
    out: Vec<Timestamp>,
}

impl Window {
    /// The times outside of it, a stretch each, those with less than six hours
    /// between them together.
    fn stretches(&self) -> Vec<(Timestamp, Timestamp)> {
        let mut stretches: Vec<(Timestamp, Timestamp)> = Vec::new();
        for &time in &self.out {
            match stretches.last_mut() {
                Some((_, to)) if time - *to < Span::from_hours(6) => *to = time,
                _ => stretches.push((time, time)),
            }
        }
        stretches
    }
}

/// Steps inside the window and steps at all: raw, and net of those from the
/// beginning of something that moves the concentration until it should have been
/// told, the crew was there, and what it did was mixed in; while the pumps stand
/// nothing can be mixed in.
fn in_window(record: &SumpRecord, expected: &[Expected]) -> Window {
    let edge = |wanted: LimitLevel, none: f64| {
        let mut limits = record.limits.iter();
        limits
            .find(|limit| limit.signal == Quantity::Concentration && limit.level == wanted)
            .map_or(none, |limit| limit.threshold)
    };
    let (low, high) = (
        edge(LimitLevel::Low, 0.0),
        edge(LimitLevel::High, f64::INFINITY),
    );
    let excused: Vec<(Timestamp, Timestamp)> = expected
        .iter()
        .filter(|one| moves(one.kind))
        .map(|one| {
            let told = record
                .told
                .iter()
                .filter(|told| tells(one.kind, &told.condition) && told.time >= one.from)
                .map(|told| told.time)
                .min();
            let by = match (told, one.deadline) {
                (Some(told), Some(deadline)) => told.min(deadline),
                (Some(time), None) | (None, Some(time)) => time.min(one.until),
                (None, None) => one.until,
            };
            (one.from, acted(record, next_attendance(by)))
        })
        .collect();
    let counts = |time: Timestamp, truth: &Truth| {
        let excuses = |(from, to): &(Timestamp, Timestamp)| (*from..=*to).contains(&time);
        truth.pumps_run && !excused.iter().any(excuses)
    };
    let mut window = Window::default();
    for (place, truth) in record.truth.iter().enumerate() {
        let time = record.time(place);
        let is_inside = (low..=high).contains(&truth.nozzle_pct);
        let inside = u64::from(is_inside);
        window.raw = (window.raw.0 + inside, window.raw.1 + 1);
        if counts(time, truth) {
            window.net = (window.net.0 + inside, window.net.1 + 1);
            if !is_inside {
                window.out.push(time);
            }
        }
    }
    window
}

/// When what somebody who comes at a time does is mixed in: a shift later, or,
/// where the pumps stand meanwhile, once they have run for an hour again.
fn acted(record: &SumpRecord, there: Timestamp) -> Timestamp {
    let later = there + Span::from_millis((ACTS_H * 3_600_000.0) as i64);
    let runs = |place: &usize| record.truth[*place].pumps_run;
    let worked = (record.place(there)..=record.place(later)).filter(runs);
    let ran_h = worked.count() as f64 * STEP.secs_f64() / 3600.0;
    if ran_h >= ACTS_H - 1.0 {
        return later;
    }
    let mut left = (3_600_000 / STEP.millis()) as usize;
    let mut place = record.place(later);
    while left > 0 && place + 1 < record.truth.len() {
        left -= usize::from(record.truth[place].pumps_run);
        place += 1;
    }
    record.time(place)
}

fn moves(kind: Kind) -> bool {
    match kind {
        Kind::Fault(fault) => MOVES.contains(&fault),
        Kind::Slip(slip) => !slip.is_missed_check(),
        Kind::Limit(Quantity::Concentration, _) => true,
        Kind::Limit(..) => false,
    }
}
