//! A sump at the start of work after a stand-still. The watch's first Monday is the
//! last of the stand-still: work begins a week later.

use super::charged_sump::PH;
use super::*;
use crate::model::{Shift, ShiftPattern};

const HOUR: i64 = 60;
/// Minutes from the watch's Monday to the start of work.
const BEGINS: i64 = 7 * 24 * HOUR;

const SHUT: [&str; 5] = [
    "2026-03-02",
    "2026-03-03",
    "2026-03-04",
    "2026-03-05",
    "2026-03-06",
];

fn shifts(holidays: &[&str]) -> Arc<ShiftPattern> {
    let week = [Shift::parse("mon-fri 06:00-22:00").unwrap()];
    let holidays: Vec<_> = holidays.iter().map(|day| day.parse().unwrap()).collect();
    Arc::new(ShiftPattern::new(jiff::tz::TimeZone::UTC, &week, &holidays).unwrap())
}

/// One with limits of pH, after a stand-still of a week.
fn after_stand_still() -> SumpSetup {
    let mut setup = (*setup()).clone();
    setup
        .channels
        .push(channel("ph", Quantity::Ph, 4, 0.02, 0.3));
    setup.limits.extend([
        limit(Quantity::Ph, LimitLevel::LowLow, 8.0, 0.1),
        limit(Quantity::Ph, LimitLevel::Low, 8.5, 0.1),
    ]);
    setup.shifts = Some(shifts(&SHUT));
    setup.start_up = true;
    setup
}

/// The watch begins so many minutes from the start of work.
fn bench(setup: SumpSetup, from: i64) -> Bench {
    Bench {
        watch: SumpWatch::new(Arc::new(setup), ADMISSION, minute(BEGINS + from)),
        effects: Vec::new(),
    }
}

impl Bench {
    /// Minutes from the start of work.
    fn reads(&mut self, minutes: std::ops::Range<i64>, concentration: f64, ph: f64) {
        for m in minutes.map(|m| BEGINS + m) {
            // The last digit of a living probe.
            self.read(PH, minute(m), ph + 0.01 * (m % 2) as f64);
            self.read(BRIX, minute(m), 0.2 + concentration / 2.0);
            self.read(LEVEL, minute(m), 0.9);
        }
    }

    fn sour(&mut self, minutes: std::ops::Range<i64>) {
        self.reads(minutes, 8.0, 7.5);
    }

    /// Alarms but of silence: when, in minutes from the start of work, what, its step
    /// and what suppresses it.
    fn steps(&self) -> Vec<(i64, String, Transition, Option<Suppressor>)> {
        let journal = self.journal();
        let lines = journal.iter().filter_map(|record| match &record.body {
            JournalBody::Alarm(line) => Some((record.time, line)),
            _ => None,
        });
        let steps = lines.map(|(time, line)| {
            let since = (time - minute(BEGINS)).millis() / 60_000;
            let condition = line.condition.to_string();
            (since, condition, line.transition, line.because.clone())
        });
        steps
            .filter(|(_, condition, ..)| !condition.starts_with("silent"))
            .collect()
    }

    /// Those that people were told of, with when.
    fn called(&self) -> Vec<(i64, String)> {
        let journal = self.journal();
        let lines = journal.iter().filter_map(|record| match &record.body {
            JournalBody::Alarm(line) if line.transition.annunciates(line.state) => {
                let since = (record.time - minute(BEGINS)).millis() / 60_000;
                Some((since, line.condition.to_string()))
            }
            _ => None,
        });
        lines.collect()
    }

    fn on_list(&self) -> Vec<String> {
        let listed = self.watch.listed().into_iter();
        listed.map(|one| one.condition.to_string()).collect()
    }

    /// Through a snapshot as the store keeps it.
    fn go_on_from_snapshot(&mut self) {
        let kept = serde_json::to_string(&self.watch.snapshot()).unwrap();
        let setup = Arc::clone(self.watch.setup());
        self.watch = SumpWatch::restore(setup, ADMISSION, serde_json::from_str(&kept).unwrap());
    }
}

#[test]
fn what_is_sour_at_the_start_is_listed_and_told_by_itself_hours_later() {
    let run = |restarts: &[i64]| {
        let mut bench = bench(after_stand_still(), -HOUR);
        bench.reads(-HOUR..5, 8.0, 9.2);
        for m in 5..12 * HOUR {
            bench.sour(m..m + 1);
            if restarts.contains(&m) {
                let listed = bench.watch.listed();
                bench.go_on_from_snapshot();
                assert_eq!(bench.watch.listed(), listed);
            }
            if m == HOUR {
                let listed = bench.watch.listed();
                assert_eq!(bench.on_list(), ["ph.low_low"]);
                let one = &listed[0];
                assert_eq!((&*one.sump, &*one.title), ("mill", "Mill"));
                assert_eq!((one.limit, one.unit.as_deref()), (Some(8.0), Some("pH")));
                assert!((one.value.unwrap() - 7.5).abs() < 0.02);
                assert!(one.listed > one.since && one.since > minute(BEGINS));
            }
        }
        let because = |of: &str| {
            let steps = bench.steps().into_iter();
            let mut of_it = steps.filter(|(_, condition, ..)| condition == of);
            of_it.next().unwrap().3
        };
        let covered = Suppressor::Alarm("ph.low_low".into());
        assert_eq!(because("ph.low_low"), Some(Suppressor::StartUp));
        assert_eq!(because("ph.low"), Some(covered));
        let called = bench.called();
        assert_eq!(called.len(), 1, "{called:?}");
        assert_eq!(called[0].1, "ph.low_low");
        assert!(
            (8 * HOUR..=11 * HOUR + 5).contains(&called[0].0),
            "{called:?}"
        );
        assert!(bench.on_list().is_empty() && !bench.watch.lists_anything());
        called
    };
    assert_eq!(run(&[]), run(&[16, 17, HOUR, 7 * HOUR, 9 * HOUR]));
}

#[test]
fn sumps_come_forth_at_times_of_their_own() {
    let told = |name: &str| {
        let mut setup = after_stand_still();
        setup.name = name.into();
        let mut bench = bench(setup, 0);
        bench.sour(0..HOUR);
        for m in (8 * HOUR..12 * HOUR).step_by(5) {
            bench.sour(m..m + 1);
        }
        let called = bench.called();
        let singly = called.iter().find(|(_, of)| of == "ph.low_low");
        singly.expect("it still stands").0
    };
    let mut told: Vec<i64> = (0..12).map(|n| told(&format!("mill-{n}"))).collect();
    told.sort_unstable();
    told.dedup();
    assert!(told.len() > 8 && told[0] >= 8 * HOUR, "{told:?}");
    assert!(told[told.len() - 1] <= 11 * HOUR + 10, "{told:?}");
}

#[test]
fn what_is_over_meanwhile_is_never_told() {
    let mut bench = bench(after_stand_still(), 0);
    bench.sour(0..2 * HOUR);
    assert_eq!(bench.on_list(), ["ph.low_low"]);
    bench.reads(2 * HOUR..13 * HOUR, 8.0, 9.2);
    assert_eq!(bench.called(), []);
    assert!(!bench.watch.lists_anything());
    let last = bench.watch.status().alarms;
    assert!(last.is_empty(), "{last:?}");
}

#[test]
fn what_people_were_told_of_before_is_not_taken_back() {
    let mut bench = bench(after_stand_still(), -14 * HOUR);
    bench.sour(-14 * HOUR..2 * HOUR);
    let called = bench.called();
    assert_eq!(called[0].1, "ph.low_low");
    assert!(called[0].0 < -13 * HOUR);
    assert!(bench.on_list().is_empty());
    let back = bench.steps();
    let taken_back = |step: &&(i64, String, Transition, Option<Suppressor>)| {
        step.1 == "ph.low_low" && step.2 == Transition::Suppressed
    };
    assert_eq!(back.iter().find(taken_back), None);
}

#[test]
fn pumps_that_are_started_before_the_shift_are_part_of_the_start_and_later_ones_are_not() {
    let mut early = bench(after_stand_still(), -6 * HOUR);
    early.sour(-6 * HOUR..HOUR);
    assert_eq!(early.called(), []);
    assert_eq!(early.on_list(), ["ph.low_low"]);
    let mut late = bench(after_stand_still(), -HOUR);
    late.reads(-HOUR..35, 8.0, 9.2);
    late.sour(35..2 * HOUR);
    assert_eq!(late.called()[0].1, "ph.low_low");
    assert!(late.on_list().is_empty());
}

#[test]
fn what_came_up_while_the_pumps_stood_is_listed_once_they_have_flushed_the_probes() {
    let pumps = |what| EntryKind::Event {
        what,
        litres: None,
        channel: None,
        advice: None,
    };
    let mut bench = bench(after_stand_still(), -HOUR);
    bench.enter("off", minute(BEGINS - HOUR), pumps(HappeningKind::PumpsOff));
    bench.sour(-HOUR..0);
    assert_eq!(bench.steps()[0].3, Some(Suppressor::PumpsStopped));
    bench.enter("on", minute(BEGINS), pumps(HappeningKind::PumpsOn));
    bench.sour(0..15);
    assert!(bench.on_list().is_empty());
    bench.sour(15..HOUR);
    assert_eq!(bench.on_list(), ["ph.low_low"]);
    let listed = bench.steps();
    let listed = listed
        .iter()
        .find(|step| step.3 == Some(Suppressor::StartUp));
    assert!((15..=30).contains(&listed.unwrap().0), "{listed:?}");
    assert_eq!(bench.called(), []);
}

#[test]
fn nothing_is_listed_after_a_weekend_without_shifts_or_where_it_is_off() {
    let usual = SumpSetup {
        shifts: Some(shifts(&[])),
        ..after_stand_still()
    };
    let unknown = SumpSetup {
        shifts: None,
        ..after_stand_still()
    };
    let off = SumpSetup {
        start_up: false,
        ..after_stand_still()
    };
    for setup in [usual, unknown, off] {
        let mut bench = bench(setup, 0);
        bench.sour(0..HOUR);
        assert!(bench.on_list().is_empty());
        assert_eq!(bench.called()[0].1, "ph.low_low");
    }
    let long_weekend = SumpSetup {
        shifts: Some(shifts(&["2026-03-06"])),
        ..after_stand_still()
    };
    let mut bench = bench(long_weekend, 0);
    bench.sour(0..HOUR);
    assert_eq!(bench.on_list(), ["ph.low_low"]);
}

#[test]
fn what_somebody_shelves_leaves_the_list_and_comes_back_by_itself() {
    let mut bench = bench(after_stand_still(), 0);
    bench.sour(0..20);
    assert_eq!(bench.on_list(), ["ph.low_low"]);
    let shelve = EntryKind::Shelve {
        alarm: "ph.low_low".into(),
        hours: 100.0 / 60.0,
        reason: "will be changed".into(),
    };
    bench.enter("aside", minute(BEGINS + 20), shelve);
    // The lesser one is not told in its place.
    assert!(bench.on_list().is_empty(), "{:?}", bench.on_list());
    bench.sour(20..2 * HOUR - 1);
    assert_eq!(bench.called(), []);
    bench.sour(2 * HOUR - 1..3 * HOUR);
    assert_eq!(bench.called(), [(2 * HOUR, "ph.low_low".to_owned())]);
}

#[test]
fn a_new_charge_takes_the_sump_off_the_list() {
    let mut bench = bench(after_stand_still(), 0);
    bench.sour(0..HOUR);
    assert_eq!(bench.on_list(), ["ph.low_low"]);
    let drained = EntryKind::Event {
        what: HappeningKind::Drained,
        litres: Some(900.0),
        channel: None,
        advice: None,
    };
    bench.enter("drained", minute(BEGINS + HOUR), drained);
    assert!(bench.on_list().is_empty());
}

#[test]
fn what_is_listed_as_lean_has_its_dose_at_once() {
    let mut bench = bench(after_stand_still(), -HOUR);
    bench.reads(-HOUR..HOUR, 5.0, 9.2);
    assert_eq!(bench.on_list(), ["concentration.low"]);
    assert!(bench.last_advice().dose.is_some());
    assert_eq!(bench.called(), []);
}

#[test]
fn levels_and_instruments_are_told_as_ever() {
    let mut bench = bench(after_stand_still(), 0);
    for m in BEGINS..BEGINS + HOUR {
        bench.read(LEVEL, minute(m), 0.6);
    }
    let called = bench.called();
    let has = |of: &str| called.iter().any(|(_, condition)| condition == of);
    assert!(has("volume.low") && has("silent.brix"), "{called:?}");
    assert!(!bench.watch.lists_anything());
}
