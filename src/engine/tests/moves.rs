//! Signals that move fast or have shifted, and pumps that stand.

use super::charged_sump::{CONDUCTIVITY, PH, Sump, equipped, event, read};
use super::*;
use crate::model::{Shift, ShiftPattern};

fn manner() -> AlarmManner {
    AlarmManner::default()
}

fn with(rules: Vec<Rule>, limits: Vec<LimitSetup>) -> Arc<SumpSetup> {
    let mut setup = (*equipped()).clone();
    setup.limits = limits;
    // The invented readings stand still to the last digit.
    for channel in &mut setup.channels {
        channel.instrument.frozen_after = None;
    }
    let rules = rules.into_iter().map(|rule| RuleSetup {
        rule,
        priority: Priority::Low,
        manner: manner(),
    });
    setup.rules = rules.collect();
    Arc::new(setup)
}

/// pH that falls, and that rises, by more than 0.3 an hour over two hours.
fn rates() -> Vec<Rule> {
    let rate = |direction| {
        Rule::Rate(RateRule {
            signal: Quantity::Ph,
            direction,
            limit_per_hour: 0.3,
            over: Span::from_hours(2),
        })
    };
    Direction::ALL.map(rate).to_vec()
}

fn told_by(sump: &Sump) -> Vec<(String, Transition)> {
    let lines = sump.effects.iter().filter_map(|effect| match effect {
        Effect::Journal(record) => match &record.body {
            JournalBody::Alarm(line) => Some((line.condition.to_string(), line.transition)),
            _ => None,
        },
        _ => None,
    });
    lines.collect()
}

/// Readings every five minutes, with pH by the minutes since; a scatter of some
/// hundredths is on top.
fn go(sump: &mut Sump, minutes: i64, ph: impl Fn(i64) -> f64) {
    for step in 1..=minutes / 5 {
        sump.minute += 5;
        let scatter =
            [0.02, -0.01, 0.0, -0.02, 0.01, 0.015, -0.015][(sump.minute / 5 % 7) as usize];
        sump.sense(super::BRIX, 4.2);
        sump.sense(super::LEVEL, sump.level);
        sump.sense(PH, ph(5 * step) + scatter);
        sump.sense(CONDUCTIVITY, 2400.0);
    }
}

fn falling(a_hour: f64) -> impl Fn(i64) -> f64 {
    move |minutes| 9.2 - a_hour * minutes as f64 / 60.0
}

fn raised(name: &str) -> (String, Transition) {
    told(name, Transition::Raised)
}

#[test]
fn a_fast_fall_is_told_within_its_window_and_over_with_its_dead_band() {
    let mut sump = Sump::charged_with(with(rates(), Vec::new()));
    go(&mut sump, 600, |_| 9.2);
    assert_eq!(told_by(&sump), [], "scatter moves nothing");
    go(&mut sump, 120, falling(0.6));
    assert_eq!(told_by(&sump), [raised("ph.falling")]);
    // Slower than the limit, and not by so much that it is over.
    go(&mut sump, 180, |m| 8.0 - 0.27 * m as f64 / 60.0);
    assert_eq!(told_by(&sump).len(), 1, "it is not over yet");
    go(&mut sump, 180, |_| 7.2);
    let returned = told("ph.falling", Transition::Returned);
    assert_eq!(told_by(&sump)[1..], [returned]);
}

/// How far it is from the edge is what a person wants to know of a speed.
#[test]
fn a_fall_is_told_with_the_signal_itself_and_its_window_where_it_has_one() {
    let line = |limits: Vec<LimitSetup>| {
        let mut sump = Sump::charged_with(with(rates(), limits));
        go(&mut sump, 600, |_| 9.2);
        go(&mut sump, 120, falling(0.3 * 1.6));
        let lines = sump.effects.iter().filter_map(|effect| match effect {
            Effect::Journal(record) => match &record.body {
                JournalBody::Alarm(line) => Some(line.clone()),
                _ => None,
            },
            _ => None,
        });
        let mut told = lines.filter(|line| line.condition.to_string() == "ph.falling");
        told.next().expect("it is told")
    };
    let plain = line(Vec::new());
    assert_eq!((plain.unit, plain.window), (Some("pH/h"), None));
    let limits = vec![limit(Quantity::Ph, LimitLevel::Low, 8.0, 0.1)];
    let limited = line(limits);
    assert_eq!(limited.window, Some((Some(8.0), None)));
    let signal = limited.signal.unwrap();
    assert_eq!((signal.name, signal.unit), (Quantity::Ph, "pH"));
    assert!((8.0..9.2).contains(&signal.value), "{signal:?}");
}

#[test]
fn a_slow_fall_and_a_step_are_not_told() {
    let mut sump = Sump::charged_with(with(rates(), Vec::new()));
    go(&mut sump, 300, falling(0.2));
    go(&mut sump, 300, |_| 8.9);
    assert_eq!(told_by(&sump), []);
}

#[test]
fn what_mixes_in_is_no_speed_of_the_fluid() {
    let mut sump = Sump::charged_with(with(rates(), Vec::new()));
    go(&mut sump, 300, |_| 9.2);
    // Top-ups again and again: something always mixes in.
    for place in 0..4_i64 {
        let premix = EntryKind::Addition {
            what: AdditionKind::Premix,
            litres: 2.0,
            strength_pct: Some(8.0),
            water: None,
            advice: None,
        };
        sump.write(&format!("p{place}"), None, premix);
        go(&mut sump, 40, |m| falling(0.6)(40 * place + m));
    }
    assert_eq!(told_by(&sump), []);
    go(&mut sump, 120, |m| falling(0.6)(160 + m));
    assert_eq!(told_by(&sump), [raised("ph.falling")], "once it has mixed");
}

#[test]
fn while_the_pumps_stand_nothing_is_judged_and_nothing_told() {
    let mut sump = Sump::charged_with(with(rates(), Vec::new()));
    go(&mut sump, 300, |_| 9.2);
    sump.write("off", None, event(HappeningKind::PumpsOff, None));
    go(&mut sump, 180, falling(0.6));
    assert_eq!(told_by(&sump), [], "the probe does not see the mix");
    sump.write("on", None, event(HappeningKind::PumpsOn, None));
    go(&mut sump, 240, |m| falling(0.6)(180 + m));
    assert_eq!(told_by(&sump), [raised("ph.falling")]);
    sump.write("off-2", None, event(HappeningKind::PumpsOff, None));
    go(&mut sump, 30, |_| 5.0);
    let suppressed = told("ph.falling", Transition::Suppressed);
    assert_eq!(told_by(&sump)[1..], [suppressed]);
}

#[test]
fn a_probe_that_is_touched_begins_anew() {
    let mut sump = Sump::charged_with(with(rates(), Vec::new()));
    go(&mut sump, 300, |_| 9.2);
    go(&mut sump, 55, falling(0.6));
    let cleaned = EntryKind::Event {
        what: HappeningKind::ProbeCleaned,
        litres: None,
        channel: Some("ph".into()),
        advice: None,
    };
    sump.write("c", None, cleaned);
    go(&mut sump, 60, |m| falling(0.6)(55 + m));
    assert_eq!(told_by(&sump), [], "half a window is not yet seen");
    go(&mut sump, 60, |m| falling(0.6)(115 + m));
    assert_eq!(told_by(&sump), [raised("ph.falling")]);
}

#[test]
fn missing_readings_take_no_speed_away() {
    let mut sump = Sump::charged_with(with(rates(), Vec::new()));
    go(&mut sump, 120, falling(0.6));
    assert_eq!(told_by(&sump), [raised("ph.falling")]);
    for _ in 0..120 {
        sump.minute += 5;
        sump.sense(super::BRIX, 4.2);
        sump.sense(super::LEVEL, sump.level);
    }
    let returned = told("ph.falling", Transition::Returned);
    assert!(!told_by(&sump).contains(&returned), "{:?}", told_by(&sump));
}

#[test]
fn the_limit_that_is_passed_tells_the_same_and_more() {
    let low = vec![limit(Quantity::Ph, LimitLevel::Low, 8.0, 0.1)];
    let mut sump = Sump::charged_with(with(rates(), low));
    go(&mut sump, 300, |_| 9.2);
    go(&mut sump, 180, falling(0.6));
    let told_in_order = told_by(&sump);
    assert_eq!(told_in_order[0], raised("ph.falling"), "{told_in_order:?}");
    assert!(told_in_order.contains(&raised("ph.low")));
    let suppressed = told("ph.falling", Transition::Suppressed);
    assert!(told_in_order.contains(&suppressed), "{told_in_order:?}");
}

/// pH of each day in a chart that learns five days.
fn ph_chart() -> Rule {
    Rule::Shifted(ChartRule {
        of: Charted::Ph,
        run_in: 5,
        slack_sigmas: 1.5,
        limit_sigmas: 5.0,
    })
}

const DAY: i64 = 24 * 60;

#[test]
fn a_shift_of_ph_is_told_after_days_and_over_with_a_new_charge() {
    let mut sump = Sump::charged_with(with(vec![ph_chart()], Vec::new()));
    go(&mut sump, 12 * DAY, |_| 9.2);
    assert_eq!(told_by(&sump), [], "what is usual is not told");
    // Down by 0.2, of which 0.075 are let pass: the instrument is sure to 0.05.
    go(&mut sump, 4 * DAY, |_| 9.0);
    assert_eq!(told_by(&sump), [raised("ph.shifted")]);
    let line = sump.effects.iter().find_map(|effect| match effect {
        Effect::Journal(record) => match &record.body {
            JournalBody::Alarm(line) => Some(line.clone()),
            _ => None,
        },
        _ => None,
    });
    let line = line.unwrap();
    assert!((line.value.unwrap() + 0.2).abs() < 0.06, "{line:?}");
    assert!(line.since > minute(11 * DAY) && line.since < minute(15 * DAY));
    sump.effects.clear();
    sump.write("new", None, event(HappeningKind::Recharged, None));
    go(&mut sump, DAY, |_| 9.3);
    let returned = told("ph.shifted", Transition::Returned);
    assert_eq!(told_by(&sump), [returned]);
    go(&mut sump, 10 * DAY, |_| 9.3);
    assert_eq!(told_by(&sump).len(), 1, "the new charge is learned anew");
}

#[test]
fn days_without_readings_take_no_shift_away() {
    let mut sump = Sump::charged_with(with(vec![ph_chart()], Vec::new()));
    go(&mut sump, 12 * DAY, |_| 9.2);
    go(&mut sump, 3 * DAY, |_| 9.0);
    assert_eq!(told_by(&sump), [raised("ph.shifted")]);
    for _ in 0..(5 * DAY / 5) {
        sump.minute += 5;
        sump.sense(super::BRIX, 4.2);
        sump.sense(super::LEVEL, sump.level);
    }
    let returned = told("ph.shifted", Transition::Returned);
    assert!(!told_by(&sump).contains(&returned));
    // Back for two days: put right.
    go(&mut sump, 3 * DAY, |_| 9.2);
    assert!(told_by(&sump).contains(&returned), "{:?}", told_by(&sump));
}

#[test]
fn the_refractive_factor_is_told_by_pairs_that_part() {
    let chart = Rule::Shifted(ChartRule {
        of: Charted::RefractiveFactor,
        run_in: 2,
        slack_sigmas: 0.5,
        limit_sigmas: 5.0,
    });
    let mut sump = Sump::charged_with(with(vec![chart], Vec::new()));
    let mut pair = |place: i64, percent: f64| {
        let titrated = read(Quantity::Concentration, percent, Some(Method::Titration));
        sump.write(&format!("t{place}"), None, titrated);
        go(&mut sump, 7 * DAY, |_| 9.2);
        told_by(&sump)
    };
    // The refractometer says 8 %.
    for (place, percent) in [8.1, 7.9, 8.1, 8.0].into_iter().enumerate() {
        assert_eq!(pair(place as i64, percent), []);
    }
    assert_eq!(pair(4, 7.2), [], "one may be chance");
    pair(5, 7.1);
    let told_then = pair(6, 7.1);
    assert_eq!(told_then, [raised("refractive_factor.shifted")]);
}

#[test]
fn speeds_and_charts_go_on_from_a_snapshot_and_from_one_of_before() {
    let rules = || [rates(), vec![ph_chart()]].concat();
    let setup = with(rules(), Vec::new());
    let mut sump = Sump::charged_with(Arc::clone(&setup));
    go(&mut sump, 8 * DAY, |_| 9.2);
    go(&mut sump, 45, falling(0.6));
    let kept = serde_json::to_value(sump.watch.snapshot()).unwrap();
    let go_on = |kept: serde_json::Value| {
        let snapshot = serde_json::from_value(kept).unwrap();
        let mut other = Sump {
            watch: SumpWatch::restore(Arc::clone(&setup), ADMISSION, snapshot),
            minute: 8 * DAY + DAY + 45,
            level: 0.9,
            effects: Vec::new(),
        };
        go(&mut other, 120, |m| falling(0.6)(45 + m));
        go(&mut other, 4 * DAY, |_| 8.8);
        other
    };
    sump.effects.clear();
    go(&mut sump, 120, |m| falling(0.6)(45 + m));
    go(&mut sump, 4 * DAY, |_| 8.8);
    let names: Vec<String> = told_by(&sump).into_iter().map(|(name, _)| name).collect();
    assert!(names.contains(&"ph.falling".to_owned()), "{names:?}");
    assert!(names.contains(&"ph.shifted".to_owned()), "{names:?}");
    let again = go_on(kept.clone());
    assert_eq!(again.effects, sump.effects);
    assert_eq!(again.watch.snapshot(), sump.watch.snapshot());

    let mut of_before = kept;
    let fields = of_before.as_object_mut().unwrap();
    assert!(fields.remove("rates").is_some() && fields.remove("charts").is_some());
    let names = told_by(&go_on(of_before));
    assert!(names.contains(&raised("ph.falling")), "{names:?}");
}

/// A sump with shifts from six to ten in the evening, Monday to Friday; the
/// beginning is a Monday at six.
fn pumped() -> Bench {
    let mut setup = (*setup()).clone();
    setup.limits.clear();
    let week = [
        Shift::parse("mon-fri 06:00-14:00"),
        Shift::parse("mon-fri 14:00-22:00"),
    ];
    let week = week.map(Result::unwrap);
    let pattern = ShiftPattern::new(jiff::tz::TimeZone::UTC, &week, &[]).unwrap();
    setup.shifts = Some(Arc::new(pattern));
    setup.rules = vec![RuleSetup {
        rule: Rule::PumpsStopped {
            after: Span::from_mins(30),
        },
        priority: Priority::Low,
        manner: manner(),
    }];
    Bench {
        watch: SumpWatch::new(Arc::new(setup), ADMISSION, start()),
        effects: Vec::new(),
    }
}

fn switch(run: bool) -> EntryKind {
    event(
        match run {
            true => HappeningKind::PumpsOn,
            false => HappeningKind::PumpsOff,
        },
        None,
    )
}

fn of_pumps(bench: &Bench) -> Vec<(Timestamp, Transition)> {
    let steps = bench
        .journal()
        .into_iter()
        .filter_map(|record| match &record.body {
            JournalBody::Alarm(line) if line.condition.to_string() == "pumps.stopped" => {
                Some((record.time, line.transition))
            }
            _ => None,
        });
    steps.collect()
}

#[test]
fn pumps_that_stand_in_a_shift_are_told_and_over_once_they_run() {
    let mut bench = pumped();
    bench.run(0..60, 8.0, 900.0);
    assert_eq!(of_pumps(&bench), [], "nobody has said that they stand");
    bench.enter("off", minute(60), switch(false));
    bench.run(60..150, 8.0, 900.0);
    assert_eq!(of_pumps(&bench), [(minute(90), Transition::Raised)]);
    bench.enter("on", minute(150), switch(true));
    bench.run(150..160, 8.0, 900.0);
    assert_eq!(of_pumps(&bench).last().unwrap().1, Transition::Returned);
}

#[test]
fn pumps_may_stand_when_nobody_works_and_a_new_day_counts_for_itself() {
    let mut bench = pumped();
    let evening = 15 * 60 + 40;
    bench.run(0..evening, 8.0, 900.0);
    bench.enter("off", minute(evening), switch(false));
    let next_day = 24 * 60;
    bench.run(evening..next_day + 20, 8.0, 900.0);
    assert_eq!(of_pumps(&bench), [], "twenty minutes of each day");
    bench.run(next_day + 20..next_day + 40, 8.0, 900.0);
    let at = minute(next_day + 30);
    assert_eq!(of_pumps(&bench), [(at, Transition::Raised)]);
    // At the end of the day it is over by itself.
    bench.run(next_day + 40..next_day + 17 * 60, 8.0, 900.0);
    let over = (minute(next_day + 16 * 60), Transition::Returned);
    assert_eq!(of_pumps(&bench).last(), Some(&over));
}

#[test]
fn pumps_stand_by_design_while_it_is_cleaned_out() {
    let mut bench = pumped();
    bench.run(0..60, 8.0, 900.0);
    bench.enter("off", minute(60), switch(false));
    bench.enter("d", minute(61), event(HappeningKind::Drained, Some(880.0)));
    bench.run(61..240, 8.0, 20.0);
    bench.enter(
        "r",
        minute(240),
        event(HappeningKind::Recharged, Some(900.0)),
    );
    bench.run(240..250, 8.0, 900.0);
    bench.enter("on", minute(250), switch(true));
    bench.run(250..400, 8.0, 900.0);
    assert_eq!(of_pumps(&bench), []);
}

#[test]
fn while_nothing_is_heard_a_switch_says_nothing() {
    let mut bench = pumped();
    let evening = 15 * 60;
    bench.run(0..evening, 8.0, 900.0);
    bench.enter("off", minute(evening), switch(false));
    // The broker is gone over the night and the morning.
    let morning = 24 * 60 + 120;
    let tick = Event::Tick(minute(morning));
    bench.watch.step(&tick, &mut bench.effects);
    let of_evening = of_pumps(&bench);
    assert!(
        of_evening.iter().all(|(time, _)| *time <= minute(16 * 60)),
        "{of_evening:?}"
    );
    bench.run(morning..morning + 40, 8.0, 900.0);
    assert_eq!(
        of_pumps(&bench).last().unwrap().1,
        Transition::Raised,
        "heard again"
    );
}

#[test]
fn shifts_that_follow_each_other_are_one_stretch_of_work() {
    let mut bench = pumped();
    let before_the_change = 8 * 60 - 20;
    bench.run(0..before_the_change, 8.0, 900.0);
    bench.enter("off", minute(before_the_change), switch(false));
    bench.run(before_the_change..9 * 60, 8.0, 900.0);
    let at = minute(before_the_change + 30);
    assert_eq!(of_pumps(&bench), [(at, Transition::Raised)]);
}
