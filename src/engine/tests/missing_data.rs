//! Missing data clears no alarm, and raises none: over a stop of ours, a lost source
//! and a channel that falls silent.

use super::*;
use crate::units::Measured;

const HOUR: i64 = 60;

fn lines(bench: &Bench) -> Vec<AlarmLine> {
    let bodies = bench.journal().into_iter().map(|record| &record.body);
    let lines = bodies.filter_map(|body| match body {
        JournalBody::Alarm(line) => Some(line.clone()),
        _ => None,
    });
    lines.collect()
}

fn bench_of(setup: SumpSetup) -> Bench {
    Bench {
        watch: SumpWatch::new(Arc::new(setup), ADMISSION, start()),
        effects: Vec::new(),
    }
}

fn ruled(rule: Rule, manner: AlarmManner) -> SumpSetup {
    let mut setup = (*setup()).clone();
    setup.rules = vec![RuleSetup {
        rule,
        priority: Priority::Low,
        manner,
    }];
    setup
}

fn instrument(manner: AlarmManner) -> SumpSetup {
    let channel = "brix".into();
    ruled(Rule::Instrument { channel }, manner)
}

fn own(text: &str) -> Rule {
    Rule::Own(Arc::new(OwnAlarm {
        name: "own".into(),
        rule: crate::rules::own::OwnRule::compile(text).unwrap(),
        zone: jiff::tz::TimeZone::UTC,
        suppressed_by: OwnSuppressors::ALL,
        words: Arc::new(OwnWords {
            title: "own".into(),
            message: None,
            look_at: Vec::new(),
        }),
    }))
}

impl Bench {
    /// Nobody listens until then.
    fn stop_until(&mut self, listens: i64) {
        let text = serde_json::to_string(&self.watch.snapshot()).unwrap();
        let snapshot = serde_json::from_str(&text).unwrap();
        let setup = Arc::clone(self.watch.setup());
        self.watch = SumpWatch::restore(setup, ADMISSION, snapshot);
        self.watch.listen_from(minute(listens));
    }

    fn tick(&mut self, m: i64) {
        self.watch.step(&Event::Tick(minute(m)), &mut self.effects);
    }

    fn level(&mut self, minutes: std::ops::Range<i64>) {
        for m in minutes {
            self.read(LEVEL, minute(m), 0.9);
        }
    }

    fn both_sources(&mut self, m: i64, gone: bool) {
        for channel in [BRIX, LEVEL] {
            let trouble = Trouble {
                channel,
                time: minute(m),
                kind: TroubleKind::SourceGone(gone),
            };
            self.watch.step(&Event::Trouble(trouble), &mut self.effects);
        }
    }

    /// The steps of the alarms whose names begin so, with the minute of each.
    fn steps_of(&self, of: &str) -> Vec<(i64, Transition)> {
        let journal = self.journal().into_iter();
        let steps = journal.filter_map(|record| match &record.body {
            JournalBody::Alarm(line) if line.condition.to_string().starts_with(of) => {
                let m = (record.time - start()).millis() / 60_000;
                Some((m, line.transition))
            }
            _ => None,
        });
        steps.collect()
    }
}

#[test]
fn a_silence_goes_on_over_any_stop_until_a_reading_comes() {
    for (stopped, listens) in [(100, 101), (100, 110), (100, 3 * HOUR), (100, 99 * HOUR)] {
        let mut bench = Bench::new();
        bench.run(0..60, 8.0, 900.0);
        bench.level(60..stopped);
        assert_eq!(bench.steps_of("silent"), [(74, Transition::Raised)]);
        bench.stop_until(listens);
        bench.level(listens..listens + 60);
        assert_eq!(bench.steps_of("silent").len(), 1, "stopped until {listens}");
        bench.stop_until(listens + 61);
        bench.run(listens + 62..listens + 63, 8.0, 900.0);
        let returned = (listens + 62, Transition::Returned);
        assert_eq!(bench.steps_of("silent")[1..], [returned]);
    }
}

#[test]
fn a_channel_that_was_heard_is_silent_only_once_it_had_its_time_after_a_stop() {
    let mut bench = Bench::new();
    bench.run(0..60, 8.0, 900.0);
    bench.stop_until(10 * HOUR);
    bench.level(10 * HOUR..11 * HOUR);
    let raised = (10 * HOUR + 15, Transition::Raised);
    assert_eq!(bench.steps_of("silent"), [raised]);
}

#[test]
fn minutes_since_a_reading_are_counted_from_the_reading_over_a_stop_and_a_lost_source() {
    let rule = own("minutes_since_reading(\"brix\") > 120.0");
    let mut bench = bench_of(ruled(rule, AlarmManner::default()));
    bench.run(0..60, 8.0, 900.0);
    bench.level(60..100);
    bench.stop_until(110);
    bench.level(110..150);
    bench.both_sources(150, true);
    bench.both_sources(160, false);
    bench.level(160..240);
    // The last reading came at 59, and rules are judged every five minutes.
    assert_eq!(bench.steps_of("own"), [(180, Transition::Raised)]);
    bench.run(240..250, 8.0, 900.0);
    assert_eq!(bench.steps_of("own")[1..], [(245, Transition::Returned)]);
}

#[test]
fn what_was_read_before_a_long_stop_or_loss_is_not_what_is_now() {
    let mut bench = Bench::new();
    bench.run(0..60, 8.0, 900.0);
    let known = |bench: &Bench| bench.watch.status().concentration_pct.is_some();
    bench.stop_until(64);
    bench.tick(64);
    assert!(known(&bench), "it is no older than it may be");
    bench.stop_until(10 * HOUR);
    bench.tick(10 * HOUR);
    assert!(!known(&bench));
    bench.run(10 * HOUR + 1..10 * HOUR + 2, 8.0, 900.0);
    assert!(known(&bench));
    bench.both_sources(10 * HOUR + 2, true);
    bench.both_sources(20 * HOUR, false);
    bench.tick(20 * HOUR);
    assert!(!known(&bench));
}

/// A refractometer with a film, and one whose digits stand still: told by minute
/// 10 and 430.
fn not_well(manner: AlarmManner) -> [(Bench, i64); 2] {
    let mut fouled = bench_of(instrument(manner));
    fouled.run(0..10, 5.0, 900.0);
    let drift = Some(Measured::new(-0.3, 0.05));
    fouled.watch.forbidden_drift(BRIX, drift);
    let mut frozen = bench_of(instrument(manner));
    for m in 0..430 {
        frozen.read(BRIX, minute(m), 2.7);
        let level = if m / HOUR % 2 == 0 { 0.9 } else { 0.6 };
        frozen.read(LEVEL, minute(m), level);
    }
    [(fouled, 10), (frozen, 430)]
}

#[test]
fn what_is_told_of_an_instrument_is_not_over_because_it_falls_silent() {
    for (mut bench, m) in not_well(AlarmManner::default()) {
        bench.run(m..m + 6, 5.0, 900.0);
        let raised = bench.steps_of("instrument");
        assert!(
            matches!(raised[..], [(_, Transition::Raised)]),
            "{raised:?}"
        );
        bench.level(m + 6..m + 600);
        bench.stop_until(m + 900);
        bench.level(m + 900..m + 910);
        assert_eq!(bench.steps_of("instrument"), raised);
        // Somebody cleans it, and it reports again.
        let cleaned = EntryKind::Event {
            what: HappeningKind::ProbeCleaned,
            litres: None,
            channel: Some("brix".into()),
            advice: None,
        };
        bench.enter("cleaned", minute(m + 910), cleaned);
        bench.level(m + 911..m + 940);
        assert_eq!(
            bench.steps_of("instrument"),
            raised,
            "nobody has seen it since"
        );
        bench.run(m + 940..m + 950, 8.0, 900.0);
        let steps = bench.steps_of("instrument");
        assert!(
            matches!(steps[1..], [(_, Transition::Returned)]),
            "{steps:?}"
        );
    }
}

#[test]
fn what_an_instrument_is_suppressed_for_is_not_told_because_it_falls_silent() {
    let [_, (mut bench, m)] = not_well(AlarmManner::default());
    bench.run(m..m + 6, 5.0, 900.0);
    assert_eq!(
        bench.steps_of("concentration").last().map(|step| step.1),
        Some(Transition::Suppressed)
    );
    let before = bench.steps_of("concentration").len();
    bench.level(m + 6..m + 600);
    assert_eq!(bench.steps_of("concentration").len(), before);
    assert_eq!(bench.steps_of("silent.brix").len(), 1, "which is news");
}

#[test]
fn the_silence_of_an_instrument_that_is_told_to_have_failed_is_no_second_alarm() {
    let mut bench = bench_of(instrument(AlarmManner::default()));
    bench.run(0..10, 8.0, 900.0);
    for m in 10..90 {
        let Event::Reading(good) = reading(BRIX, minute(m), minute(m), 1.0) else {
            unreachable!("it is a reading");
        };
        let quality = Quality::FAULT;
        let event = Event::Reading(Reading { quality, ..good });
        bench.watch.step(&event, &mut bench.effects);
        bench.read(LEVEL, minute(m), 0.9);
    }
    assert_eq!(bench.steps_of("instrument.brix").len(), 1);
    let silent = lines(&bench);
    let silent: Vec<_> = silent
        .iter()
        .filter(|line| line.condition.to_string() == "silent.brix")
        .map(|line| line.because.clone())
        .collect();
    assert_eq!(silent, [Some(Suppressor::Instrument("brix".into()))]);
}

fn delayed(on: Span, off: Span) -> AlarmManner {
    AlarmManner {
        on,
        off,
        ..AlarmManner::default()
    }
}

/// The bench whose limits have long delays.
fn slow(on: i64, off: i64) -> Bench {
    let mut setup = (*setup()).clone();
    for limit in &mut setup.limits {
        limit.manner = delayed(Span::from_hours(on), Span::from_hours(off));
    }
    bench_of(setup)
}

#[test]
fn a_long_delay_goes_on_after_a_stop_with_the_time_that_it_had() {
    let mut bench = slow(12, 12);
    bench.run(0..HOUR, 8.0, 900.0);
    bench.run(HOUR..12 * HOUR, 5.0, 900.0);
    bench.stop_until(20 * HOUR);
    bench.run(20 * HOUR..23 * HOUR, 5.0, 900.0);
    let steps = bench.steps_of("concentration.low");
    let [(raised, Transition::Raised)] = steps[..] else {
        panic!("{steps:?}");
    };
    // Some eleven of the twelve hours were over.
    assert!(
        (20 * HOUR + 55..21 * HOUR + 10).contains(&raised),
        "{raised}"
    );
    bench.run(23 * HOUR..34 * HOUR, 8.0, 900.0);
    bench.stop_until(80 * HOUR);
    bench.run(80 * HOUR..83 * HOUR, 8.0, 900.0);
    let steps = bench.steps_of("concentration.low");
    let [_, (returned, Transition::Returned)] = steps[..] else {
        panic!("{steps:?}");
    };
    assert!(
        (80 * HOUR + 55..81 * HOUR + 10).contains(&returned),
        "{returned}"
    );
}

#[test]
fn a_delay_is_over_where_the_condition_is_over_after_the_stop() {
    let mut bench = slow(12, 0);
    bench.run(0..12 * HOUR - 10, 5.0, 900.0);
    bench.stop_until(20 * HOUR);
    bench.run(20 * HOUR..21 * HOUR, 8.0, 900.0);
    bench.run(21 * HOUR..32 * HOUR, 5.0, 900.0);
    assert_eq!(bench.steps_of("concentration.low"), []);
}

#[test]
fn nothing_is_raised_or_returns_by_what_was_read_before_a_stop_alone() {
    // A minute is left of either delay, and what was read stands for fifteen.
    let mut lean = slow(12, 12);
    lean.run(0..12 * HOUR - 1, 5.0, 900.0);
    let mut good = slow(1, 12);
    good.run(0..2 * HOUR, 5.0, 900.0);
    good.run(2 * HOUR..14 * HOUR, 8.0, 900.0);
    for (mut bench, stopped) in [(lean, 12 * HOUR - 1), (good, 14 * HOUR)] {
        let before = bench.steps_of("concentration.low").len();
        bench.stop_until(stopped + 5);
        bench.level(stopped + 5..stopped + 60);
        assert_eq!(bench.steps_of("concentration.low").len(), before);
    }
}

#[test]
fn no_rule_is_judged_for_the_time_in_which_nobody_listened() {
    for (mut bench, m) in not_well(delayed(Span::from_hours(2), Span::from_hours(2))) {
        bench.run(m..m + HOUR, 5.0, 900.0);
        assert_eq!(bench.steps_of("instrument"), []);
        let listens = m + 20 * HOUR;
        bench.stop_until(listens);
        bench.level(listens..listens + 4 * HOUR);
        assert_eq!(bench.steps_of("instrument"), [], "nobody has seen it since");
        let seen = listens + 4 * HOUR;
        bench.run(seen..seen + 3 * HOUR, 5.0, 900.0);
        let steps = bench.steps_of("instrument");
        let [(raised, Transition::Raised)] = steps[..] else {
            panic!("{steps:?}");
        };
        // Some hour of the two was over.
        assert!(
            (seen + 50..seen + 70).contains(&raised),
            "{raised} of {seen}"
        );
    }
}

#[test]
fn what_entries_say_of_a_sump_whose_probes_stay_silent_is_judged_after_a_stop() {
    let rule = Rule::Nitrite(PlanStep::Watch);
    let mut bench = bench_of(ruled(rule, delayed(Span::from_hours(2), Span::ZERO)));
    bench.run(0..60, 8.0, 900.0);
    let read = EntryKind::HandReading {
        mixer: None,
        quantity: Quantity::Nitrite,
        value: 15.0,
        method: Some(Method::TestStrip),
        written: None,
    };
    bench.enter("n", minute(60), read);
    bench.run(60..2 * HOUR, 8.0, 900.0);
    bench.stop_until(30 * HOUR);
    bench.tick(32 * HOUR);
    let steps = bench.steps_of("nitrite");
    let [(raised, Transition::Raised)] = steps[..] else {
        panic!("{steps:?}");
    };
    // Both probes were silent a quarter of an hour after the start.
    assert!(
        (31 * HOUR + 10..31 * HOUR + 25).contains(&raised),
        "{raised}"
    );
}

#[test]
fn a_rule_that_misses_readings_is_told_where_they_do_not_come_once_the_source_is_back() {
    let rule = own("minutes_since_reading(\"brix\") > 30.0");
    let mut bench = bench_of(ruled(rule, AlarmManner::default()));
    bench.run(0..60, 8.0, 900.0);
    bench.both_sources(60, true);
    bench.tick(5 * HOUR);
    bench.both_sources(5 * HOUR, false);
    bench.level(5 * HOUR..5 * HOUR + 15);
    let suppressed = (90, Transition::Suppressed);
    assert_eq!(
        bench.steps_of("own"),
        [suppressed],
        "it has its time to report"
    );
    bench.level(5 * HOUR + 15..5 * HOUR + 30);
    let forth = (5 * HOUR + 15, Transition::Unsuppressed);
    assert_eq!(bench.steps_of("own"), [suppressed, forth]);
}
