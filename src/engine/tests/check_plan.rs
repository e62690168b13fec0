//! The check plan, and the steps of the test plans. The watch begins on a
//! Monday.

use super::*;
use crate::model::{Shift, ShiftPattern};
use crate::units::Ph;

const EVERY: Span = Span::from_hours(7 * 24);

fn planned(check: Check, every: Span, begins: Begins) -> Rule {
    let stretched = (check == Check::Nitrite).then_some(Span::from_hours(28 * 24));
    Rule::Overdue(PlannedCheck {
        check,
        every,
        stretched,
        begins,
    })
}

fn setup_with(rules: &[Rule]) -> SumpSetup {
    let mut setup = (*setup()).clone();
    setup.rules = rules
        .iter()
        .map(|rule| RuleSetup {
            rule: rule.clone(),
            priority: Priority::Low,
            manner: AlarmManner::default(),
        })
        .collect();
    setup
}

fn bench_of(setup: SumpSetup) -> Bench {
    Bench {
        watch: SumpWatch::new(Arc::new(setup), ADMISSION, start()),
        effects: Vec::new(),
    }
}

fn bench(rules: &[Rule]) -> Bench {
    bench_of(setup_with(rules))
}

fn day(d: i64) -> Timestamp {
    hour(24 * d)
}

fn hour(h: i64) -> Timestamp {
    start() + Span::from_hours(h)
}

fn by_hand(quantity: Quantity, value: f64) -> EntryKind {
    EntryKind::HandReading {
        quantity,
        value,
        method: None,
        mixer: None,
        written: None,
    }
}

impl Bench {
    fn pass_to(&mut self, time: Timestamp) {
        self.watch.step(&Event::Tick(time), &mut self.effects);
    }

    /// The steps of alarms of rules, with their times.
    fn told_of_rules(&self) -> Vec<(Timestamp, String, Transition)> {
        let journal = self.journal();
        let lines = journal.iter().filter_map(|record| match &record.body {
            JournalBody::Alarm(line) => {
                Some((record.time, line.condition.to_string(), line.transition))
            }
            _ => None,
        });
        lines
            .filter(|(_, condition, _)| !condition.starts_with("silent"))
            .collect()
    }

    fn checks(&self) -> Vec<CheckStatus> {
        self.watch.status().checks
    }
}

#[test]
fn a_check_counts_from_the_start_and_is_over_once_it_is_made() {
    let rule = planned(Check::Concentration, EVERY, Begins::AtStart);
    let mut bench = bench(&[rule]);
    bench.pass_to(day(8));
    assert_eq!(bench.told_of_rules(), []);
    let [check] = bench.checks()[..] else {
        panic!("one check is planned");
    };
    assert_eq!((check.last, check.overdue), (None, false));
    assert!(check.due - day(7) < Span::from_mins(10));
    bench.pass_to(day(8) + Span::from_mins(10));
    let told = bench.told_of_rules();
    assert_eq!(told[0].1, "overdue.concentration");
    bench.enter("a", day(9), by_hand(Quantity::Brix, 4.2));
    bench.pass_to(day(10));
    let told = bench.told_of_rules();
    assert_eq!(told.len(), 2);
    assert_eq!(told[1].2, Transition::Returned);
    assert_eq!(bench.checks()[0].last, Some(day(9)));
    assert_eq!(bench.checks()[0].due, day(16));
}

#[test]
fn what_nobody_ever_made_is_not_asked_for_unless_the_plan_says_so() {
    let rule = planned(Check::DipSlide, EVERY, Begins::OnceMade);
    let mut bench = bench(&[rule]);
    bench.pass_to(day(60));
    assert_eq!((bench.told_of_rules(), bench.checks()), (vec![], vec![]));
    bench.enter("a", day(60), by_hand(Quantity::Bacteria, 1e3));
    bench.pass_to(day(67));
    assert_eq!(bench.told_of_rules(), []);
    bench.pass_to(day(68) + Span::from_mins(10));
    assert_eq!(bench.told_of_rules()[0].1, "overdue.dip_slide");
}

#[test]
fn a_check_that_was_taken_back_was_never_made() {
    let rule = planned(Check::Ph, EVERY, Begins::AtStart);
    let mut bench = bench(&[rule]);
    bench.enter("a", day(3), by_hand(Quantity::Ph, 9.0));
    bench.enter("b", day(6), by_hand(Quantity::Ph, 9.0));
    assert_eq!(bench.checks()[0].due, day(13));
    let entry = Entry {
        id: "c".into(),
        time: day(7),
        sump: "mill".into(),
        by: None,
        supersedes: Some("b".into()),
        kind: EntryKind::Withdrawn { text: None },
    };
    let event = Event::Entry(Box::new(entry), day(7));
    bench.watch.step(&event, &mut bench.effects);
    assert_eq!(bench.checks()[0].last, Some(day(3)));
    assert_eq!(bench.checks()[0].due, day(10));
}

#[test]
fn a_check_that_falls_due_on_sunday_is_overdue_in_mondays_shift() {
    let week = [Shift::parse("mon-fri 06:00-22:00").unwrap()];
    let shifts = ShiftPattern::new(jiff::tz::TimeZone::UTC, &week, &[]).unwrap();
    let six_days = Span::from_hours(6 * 24);
    let rule = planned(Check::Concentration, six_days, Begins::AtStart);
    let mut setup = setup_with(&[rule]);
    setup.shifts = Some(Arc::new(shifts));
    let mut bench = bench_of(setup);
    bench.enter("a", start(), by_hand(Quantity::Brix, 4.2));
    bench.pass_to(day(14));
    let told = bench.told_of_rules();
    // The test's days begin at six; three to six hours of the shift are left.
    let nine_on_monday = day(7) + Span::from_hours(3);
    assert_eq!(told.len(), 1);
    assert!(told[0].0 >= nine_on_monday && told[0].0 < nine_on_monday + Span::from_mins(190));
}

#[test]
fn in_a_stand_still_no_check_becomes_overdue_and_it_gives_back_its_days() {
    let week = [Shift::parse("mon-fri 06:00-22:00").unwrap()];
    let date = |d: i64| -> jiff::civil::Date { day(d).to_string()[..10].parse().unwrap() };
    let three_weeks: Vec<_> = (7..28).map(date).collect();
    let shifts = ShiftPattern::new(jiff::tz::TimeZone::UTC, &week, &three_weeks).unwrap();
    let rules = [
        planned(Check::Concentration, EVERY, Begins::AtStart),
        planned(Check::MakeUpWater, EVERY, Begins::AtStart),
    ];
    let mut setup = setup_with(&rules);
    setup.shifts = Some(Arc::new(shifts));
    let mut bench = bench_of(setup);
    let thursday = day(3) + Span::from_hours(10);
    bench.enter("a", thursday, by_hand(Quantity::Brix, 4.2));
    bench.pass_to(day(28));
    assert_eq!(bench.checks()[0].due, thursday + Span::from_hours(28 * 24));
    bench.pass_to(thursday + Span::from_hours(28 * 24));
    let told = |bench: &Bench, name: &str| {
        let told = bench.told_of_rules();
        told.iter().any(|(_, condition, _)| condition == name)
    };
    assert!(!told(&bench, "overdue.concentration"));
    // What goes by the calendar is told once people are there.
    assert!(told(&bench, "overdue.make_up_water"));
}

#[test]
fn the_overdue_checks_of_a_sump_are_one_alarm() {
    let rules = [
        planned(Check::Nitrite, EVERY, Begins::OnceMade),
        planned(Check::DipSlide, EVERY, Begins::OnceMade),
    ];
    let mut bench = bench(&rules);
    bench.enter("a", hour(1), by_hand(Quantity::Nitrite, 5.0));
    bench.enter("b", hour(2), by_hand(Quantity::Bacteria, 1e3));
    bench.pass_to(day(9));
    let name = |n: &str, step| (n.to_owned(), step);
    let steps = |bench: &Bench| -> Vec<_> {
        let told = bench.told_of_rules();
        told.into_iter().map(|(_, of, step)| (of, step)).collect()
    };
    assert_eq!(
        steps(&bench),
        [
            name("overdue.nitrite", Transition::Raised),
            name("overdue.dip_slide", Transition::Suppressed),
        ]
    );
    // What is left to be made is told by itself.
    bench.enter("c", day(9), by_hand(Quantity::Nitrite, 5.0));
    bench.pass_to(day(9) + Span::from_hours(1));
    assert_eq!(
        steps(&bench)[2..],
        [
            name("overdue.nitrite", Transition::Returned),
            name("overdue.dip_slide", Transition::Unsuppressed),
        ]
    );
}

#[test]
fn three_low_readings_of_nitrite_stretch_its_interval() {
    let rule = planned(Check::Nitrite, EVERY, Begins::OnceMade);
    let mut bench = bench(&[rule]);
    for week in 1..=3 {
        bench.enter(
            &week.to_string(),
            day(7 * week),
            by_hand(Quantity::Nitrite, 5.0),
        );
    }
    bench.pass_to(day(49));
    assert_eq!(bench.told_of_rules(), []);
    assert_eq!(bench.checks()[0].every_d, 28.0);
    assert_eq!(bench.checks()[0].due, day(49));
    bench.enter("4", day(49), by_hand(Quantity::Nitrite, 11.0));
    assert_eq!(bench.checks()[0].every_d, 7.0);
    assert_eq!(bench.checks()[0].due, day(56));
}

#[test]
fn a_new_charge_begins_with_weekly_readings_of_nitrite() {
    let rule = planned(Check::Nitrite, EVERY, Begins::OnceMade);
    let mut bench = bench(&[rule]);
    for week in 1..=3 {
        let id = week.to_string();
        bench.enter(&id, day(7 * week), by_hand(Quantity::Nitrite, 5.0));
    }
    assert_eq!(bench.checks()[0].every_d, 28.0);
    let recharged = EntryKind::Event {
        what: HappeningKind::Recharged,
        litres: None,
        channel: None,
        advice: None,
    };
    bench.enter("r", day(22), recharged);
    assert_eq!(bench.checks()[0].every_d, 7.0);
}

#[test]
fn sumps_do_not_fall_due_together() {
    let due = |name: &str| {
        let rule = planned(Check::Concentration, EVERY, Begins::Spread);
        let mut setup = setup_with(&[rule]);
        setup.name = name.into();
        let mut bench = bench_of(setup);
        bench.pass_to(hour(1));
        bench.checks()[0].due
    };
    let mut dues: Vec<Timestamp> = (0..50).map(|n| due(&format!("mill-{n}"))).collect();
    dues.sort_unstable();
    assert!(dues[0] >= day(7) && dues[49] < day(14) + Span::from_mins(10));
    // In each day of the week about seven of fifty.
    for d in 7..14 {
        let on_day = dues.iter().filter(|due| (day(d)..day(d + 1)).contains(due));
        assert!((1..=16).contains(&on_day.count()), "{d}: {dues:?}");
    }
}

#[test]
fn a_watch_that_is_taken_up_again_goes_on_with_its_plan() {
    let rule = planned(Check::Ph, EVERY, Begins::AtStart);
    let mut bench = bench(&[rule]);
    bench.pass_to(hour(1));
    bench.enter("a", day(3), by_hand(Quantity::Ph, 9.0));
    let text = serde_json::to_string(&bench.watch.snapshot()).unwrap();
    let kept = serde_json::from_str(&text).unwrap();
    let setup = Arc::clone(bench.watch.setup());
    let watch = SumpWatch::restore(setup, ADMISSION, kept);
    assert_eq!(watch.status().checks, bench.checks());
    assert_eq!(bench.checks()[0].due, day(10));
}

#[test]
fn past_entries_count_as_of_their_time() {
    let rule = planned(Check::Ph, EVERY, Begins::AtStart);
    let mut bench = bench(&[rule]);
    bench.pass_to(day(8) + Span::from_hours(1));
    let entry = Entry {
        id: "slip".into(),
        time: day(5),
        sump: "mill".into(),
        by: None,
        supersedes: None,
        kind: by_hand(Quantity::Ph, 9.0),
    };
    let event = Event::PastEntry(Box::new(entry), day(9));
    bench.watch.step(&event, &mut bench.effects);
    bench.pass_to(day(9));
    let told = bench.told_of_rules();
    assert_eq!(told.last().unwrap().2, Transition::Returned);
    assert_eq!(bench.checks()[0].due, day(12));
}

#[test]
fn of_the_steps_of_nitrite_the_worse_is_told() {
    let mut bench = bench(&[Rule::Nitrite(PlanStep::Act), Rule::Nitrite(PlanStep::Watch)]);
    bench.enter("a", hour(1), by_hand(Quantity::Nitrite, 10.0));
    bench.pass_to(hour(2));
    assert_eq!(bench.told_of_rules(), []);
    bench.enter("b", hour(3), by_hand(Quantity::Nitrite, 25.0));
    bench.pass_to(hour(4));
    let steps = |bench: &Bench| -> Vec<(String, Transition)> {
        let told = bench.told_of_rules();
        told.into_iter()
            .map(|(_, name, step)| (name, step))
            .collect()
    };
    assert_eq!(
        steps(&bench),
        [
            told("nitrite.act", Transition::Raised),
            told("nitrite.watch", Transition::Suppressed),
        ]
    );
    bench.enter("c", hour(5), by_hand(Quantity::Nitrite, 15.0));
    bench.pass_to(hour(6));
    assert_eq!(
        steps(&bench)[2..],
        [
            told("nitrite.act", Transition::Returned),
            told("nitrite.watch", Transition::Unsuppressed),
        ]
    );
}

#[test]
fn a_fall_of_ph_is_told_once_and_by_its_worst_name() {
    const PH: u16 = 2;
    let mut setup = setup_with(&[Rule::PhDrop(PlanStep::Act), Rule::PhDrop(PlanStep::Watch)]);
    setup
        .channels
        .push(channel("ph", Quantity::Ph, 4, 0.02, 0.3));
    setup
        .limits
        .push(limit(Quantity::Ph, LimitLevel::Low, 8.5, 0.1));
    setup.souring.reference_ph = Some(Ph::from_units(9.2));
    let mut bench = bench_of(setup);
    let mut run = |minutes: std::ops::Range<i64>, ph: f64| {
        for m in minutes {
            // The last digit of a living probe.
            bench.read(PH, minute(m), ph + 0.01 * (m % 2) as f64);
            bench.read(BRIX, minute(m), 4.2);
            bench.read(LEVEL, minute(m), 0.9);
        }
        let told = bench.told_of_rules();
        told.into_iter()
            .map(|(_, name, step)| (name, step))
            .collect::<Vec<_>>()
    };
    assert_eq!(run(0..60, 9.2), []);
    let watched = run(60..120, 8.6);
    assert_eq!(watched, [told("ph_drop.watch", Transition::Raised)]);
    let low = run(120..180, 8.3);
    assert_eq!(
        low[1..],
        [
            told("ph_drop.watch", Transition::Suppressed),
            told("ph.low", Transition::Raised),
        ]
    );
    let changed = run(180..240, 8.0);
    assert_eq!(
        changed[3..],
        [
            told("ph_drop.act", Transition::Raised),
            told("ph.low", Transition::Suppressed),
        ]
    );
}
