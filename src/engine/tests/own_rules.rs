//! Rules of the plant's own: what suppresses them, and what they go by.

use super::*;
use crate::rules::own::{OwnRule, OwnValue};

const NONE: OwnSuppressors = OwnSuppressors {
    source_gone: false,
    recharge: false,
};

/// A sump that has this rule only.
fn bench(when: &str, suppressed_by: OwnSuppressors) -> Bench {
    let own = OwnAlarm {
        name: "a".into(),
        rule: OwnRule::compile(when).unwrap(),
        zone: jiff::tz::TimeZone::UTC,
        suppressed_by,
        words: Arc::new(OwnWords {
            title: "A".into(),
            message: None,
            look_at: Vec::new(),
        }),
    };
    let mut setup = (*setup()).clone();
    setup.limits = Vec::new();
    setup.rules = vec![RuleSetup {
        rule: Rule::Own(Arc::new(own)),
        priority: Priority::Medium,
        manner: AlarmManner::default(),
    }];
    Bench {
        watch: SumpWatch::new(Arc::new(setup), ADMISSION, start()),
        effects: Vec::new(),
    }
}

impl Bench {
    fn source(&mut self, channels: &[u16], at: i64, gone: bool) {
        for channel in channels {
            let trouble = Trouble {
                channel: *channel,
                time: minute(at),
                kind: TroubleKind::SourceGone(gone),
            };
            self.watch.step(&Event::Trouble(trouble), &mut self.effects);
        }
    }

    fn wait(&mut self, until: i64) {
        self.watch
            .step(&Event::Tick(minute(until)), &mut self.effects);
    }

    /// How often people were told that it is so.
    fn told_of_own(&self) -> usize {
        let bodies = self.journal().into_iter().map(|record| &record.body);
        let told = bodies.filter(|body| match body {
            JournalBody::Alarm(line) if line.condition.to_string() == "own.a" => {
                line.transition.annunciates(line.state)
            }
            _ => false,
        });
        told.count()
    }

    /// What became of the rule's alarm, with what it is suppressed for.
    fn own(&self) -> Vec<(Transition, Option<Suppressor>)> {
        let bodies = self.journal().into_iter().map(|record| &record.body);
        let lines = bodies.filter_map(|body| match body {
            JournalBody::Alarm(line) if line.condition.to_string() == "own.a" => Some(line),
            _ => None,
        });
        lines
            .map(|line| (line.transition, line.because.clone()))
            .collect()
    }
}

#[test]
fn a_lost_source_is_told_once_and_not_by_rules_that_miss_its_readings() {
    for when in [
        "minutes_since_reading(\"level\") > 60.0",
        "minutes_since_reading(\"level\") > 60.0 && minutes_since_reading(\"brix\") > 60.0 && hour > 3",
        "!has_value(filled)",
        "active(\"silent.level\")",
    ] {
        let mut bench = bench(when, OwnSuppressors::ALL);
        bench.run(0..60, 8.0, 900.0);
        bench.source(&[BRIX, LEVEL], 60, true);
        bench.wait(300);
        let suppressed = (Transition::Suppressed, Some(Suppressor::SourceGone));
        assert_eq!(bench.own(), [suppressed], "{when}");
        bench.source(&[BRIX, LEVEL], 300, false);
        bench.wait(310);
        bench.run(310..420, 8.0, 900.0);
        assert_eq!(bench.told_of_own(), 0, "{when}: {:?}", bench.own());
        assert!(bench.watch.status().alarms.is_empty(), "{when}");
    }
}

#[test]
fn a_rule_that_reads_another_source_too_is_told() {
    let when = "minutes_since_reading(\"level\") > 60.0 && concentration < 9.0";
    let mut bench = bench(when, OwnSuppressors::ALL);
    bench.run(0..60, 8.0, 900.0);
    bench.source(&[LEVEL], 60, true);
    for m in 60..200 {
        bench.read(BRIX, minute(m), 4.2);
    }
    assert_eq!(bench.own(), [(Transition::Raised, None)]);
}

#[test]
fn a_rule_that_is_to_be_told_all_the_same_is() {
    let mut bench = bench("minutes_since_reading(\"level\") > 60.0", NONE);
    bench.run(0..60, 8.0, 900.0);
    bench.source(&[BRIX, LEVEL], 60, true);
    bench.wait(200);
    assert_eq!(bench.own(), [(Transition::Raised, None)]);
}

#[test]
fn what_was_told_of_a_value_stands_while_its_source_is_gone() {
    let mut bench = bench("concentration < 6.0", OwnSuppressors::ALL);
    bench.run(0..60, 5.0, 900.0);
    assert_eq!(bench.own(), [(Transition::Raised, None)]);
    bench.source(&[BRIX, LEVEL], 60, true);
    bench.wait(200);
    bench.source(&[BRIX, LEVEL], 200, false);
    bench.run(200..260, 5.0, 900.0);
    assert_eq!(bench.own().len(), 1, "{:?}", bench.own());
}

#[test]
fn a_clean_out_is_no_alarm_of_rules_that_read_the_mix() {
    let drained = || EntryKind::Event {
        what: HappeningKind::Drained,
        litres: Some(880.0),
        channel: None,
        advice: None,
    };
    for (when, suppressed_by, told) in [
        (
            "concentration < 6.0",
            OwnSuppressors::ALL,
            Transition::Suppressed,
        ),
        ("filled < 20.0", OwnSuppressors::ALL, Transition::Suppressed),
        ("concentration < 6.0", NONE, Transition::Raised),
        ("hour >= 8", OwnSuppressors::ALL, Transition::Raised),
    ] {
        let mut bench = bench(when, suppressed_by);
        bench.run(0..60, 8.0, 900.0);
        bench.enter("d", minute(60), drained());
        bench.run(60..240, 5.0, 20.0);
        let steps: Vec<_> = bench.own().into_iter().map(|(step, _)| step).collect();
        assert_eq!(steps, [told], "{when}");
    }
}

#[test]
fn the_alarm_carries_what_the_rule_looked_at() {
    let when =
        "hour < 3 || concentration < target - 2.0 && minutes_since_reading(\"level\") < 10.0";
    let mut bench = bench(when, OwnSuppressors::ALL);
    bench.run(0..60, 8.0, 900.0);
    bench.run(60..120, 5.0, 900.0);
    let bodies = bench.journal().into_iter().map(|record| &record.body);
    let mut lines = bodies.filter_map(|body| match body {
        JournalBody::Alarm(line) => Some(line),
        _ => None,
    });
    let line = lines.next().expect("it is told");
    let asked = &line.evidence.as_ref().expect("evidence").asked;
    let names: Vec<_> = asked.iter().map(|one| (&*one.asked, one.unit)).collect();
    let expected = [
        ("hour", "h"),
        ("concentration", "%"),
        ("target", "%"),
        ("minutes_since_reading(\"level\")", "min"),
    ];
    assert_eq!(names, expected);
    let concentration = match asked[1].value {
        Some(OwnValue::Number(percent)) => percent,
        ref other => panic!("{other:?}"),
    };
    assert!((5.0..6.0).contains(&concentration), "{concentration}");
    assert_eq!(asked[2].value, Some(OwnValue::Number(8.0)));
    let told = crate::units::to_wire(line).unwrap();
    assert!(
        told.contains(r#"{"asked":"hour","value":7,"unit":"h"}"#),
        "{told}"
    );
}
