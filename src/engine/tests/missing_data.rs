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

impl Bench {
    /// Nobody listens until then.
    fn stop_until(&mut self, listens: i64) {
        let text = serde_json::to_string(&self.watch.snapshot()).unwrap();
        let snapshot = serde_json::from_str(&text).unwrap();
        let setup = Arc::clone(self.watch.setup());
        self.watch = SumpWatch::restore(setup, ADMISSION, snapshot);
        self.watch.listen_from(minute(listens));
    }

    fn level(&mut self, minutes: std::ops::Range<i64>) {
        for m in minutes {
            self.read(LEVEL, minute(m), 0.9);
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

