//! What is found out about doses and mixers.

use super::*;

fn bench(rules: &[Rule]) -> Bench {
    let mut setup = (*setup()).clone();
    setup.rules = rules
        .iter()
        .map(|rule| RuleSetup {
            rule: rule.clone(),
            priority: Priority::Low,
            manner: AlarmManner::default(),
        })
        .collect();
    Bench {
        watch: SumpWatch::new(Arc::new(setup), ADMISSION, start()),
        effects: Vec::new(),
    }
}

fn by_hand(concentration: f64, mixer: Option<&str>) -> EntryKind {
    EntryKind::HandReading {
        quantity: Quantity::Concentration,
        value: concentration,
        method: None,
        mixer: mixer.map(str::to_owned),
        written: None,
    }
}

#[test]
fn a_mixer_that_is_off_is_told_of_until_it_is_read_right() {
    let mut bench = bench(&[Rule::Mixer]);
    let setting = bench.watch.setup().mixers[0].setting.percent();
    bench.run(0..60, 8.0, 900.0);
    bench.enter("a", minute(60), by_hand(0.6 * setting, Some("east")));
    bench.run(60..120, 8.0, 900.0);
    assert_eq!(bench.alarms(), [told("mixer", Transition::Raised)]);
    bench.enter("b", minute(120), by_hand(setting, Some("east")));
    bench.run(120..180, 8.0, 900.0);
    let returned = told("mixer", Transition::Returned);
    assert_eq!(bench.alarms().last(), Some(&returned));
}

#[test]
fn a_dose_that_missed_is_told_of_until_somebody_has_read_by_hand() {
    let mut bench = bench(&[Rule::DoseMissed]);
    bench.run(0..60, 5.0, 900.0);
    let advice = bench.last_advice();
    let dose = advice.dose.as_ref().expect("a dose");
    let added = EntryKind::Addition {
        what: AdditionKind::Premix,
        litres: dose.amounts.premix_l,
        strength_pct: Some(dose.amounts.premix_strength_pct),
        water: None,
        advice: Some(advice.id.clone()),
    };
    bench.enter("a", minute(60), added);
    // Nothing of it arrives.
    bench.run(60..180, 5.0, 900.0);
    let raised = told("dose_missed", Transition::Raised);
    assert!(bench.alarms().contains(&raised), "{:?}", bench.alarms());
    bench.enter("h", minute(180), by_hand(5.0, None));
    bench.run(180..200, 5.0, 900.0);
    let returned = told("dose_missed", Transition::Returned);
    assert_eq!(bench.alarms().last(), Some(&returned));
}

#[test]
fn a_rule_of_the_plants_own_raises_its_alarm_and_says_its_words() {
    let words = Arc::new(OwnWords {
        title: "lean and warm".into(),
        message: Some("Ring the fluid team.".into()),
        look_at: vec!["the cooler".into()],
    });
    let text = "concentration < target - 2.0 && minutes_since_reading(\"level\") < 10.0";
    let own = OwnAlarm {
        name: "lean".into(),
        rule: crate::rules::own::OwnRule::compile(text).unwrap(),
        zone: jiff::tz::TimeZone::UTC,
        suppressed_by: OwnSuppressors::ALL,
        words: Arc::clone(&words),
    };
    let mut bench = bench(&[Rule::Own(Arc::new(own))]);
    bench.run(0..60, 8.0, 900.0);
    bench.run(60..120, 5.5, 900.0);
    let title = bench
        .watch
        .setup()
        .own_title(&crate::rules::Condition::Own("lean".into()));
    assert_eq!(title, Some("lean and warm"));
    let raised = told("own.lean", Transition::Raised);
    assert!(bench.alarms().contains(&raised), "{:?}", bench.alarms());
    let lines = bench
        .journal()
        .into_iter()
        .filter_map(|record| match &record.body {
            JournalBody::Alarm(line) => Some(line.clone()),
            _ => None,
        });
    let own = lines.filter_map(|line| line.own).next();
    assert_eq!(own, Some(words));
    bench.run(120..200, 8.0, 900.0);
    let returned = told("own.lean", Transition::Returned);
    assert!(bench.alarms().contains(&returned), "{:?}", bench.alarms());
}
