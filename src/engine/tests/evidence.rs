//! What an alarm rests on.

use super::charged_sump::{Sump, equipped, read, smelt};
use super::*;
use crate::model::Mineral;
use crate::rules::causes::{CauseKind, Sign};
use crate::rules::{Condition, PlanStep, Step};

fn raised(bench: &Bench, condition: &str) -> AlarmEvidence {
    let records = bench.journal();
    let mut lines = records.iter().filter_map(|record| match &record.body {
        JournalBody::Alarm(line) => Some(line),
        _ => None,
    });
    let line = lines.find(|line| line.condition.to_string() == condition);
    *line
        .expect("it is told")
        .evidence
        .clone()
        .expect("evidence")
}

/// From 8 % down by 3 points over 12 h while the level rises or falls.
fn thinned(litres: f64) -> Bench {
    let mut bench = Bench::new();
    bench.run(0..600, 8.0, 850.0);
    for m in 600..1320 {
        let share = f64::from(m - 600) / 720.0;
        let noise = if m % 2 == 0 { 0.002 } else { 0.0 };
        bench.read(BRIX, minute(i64::from(m)), 4.2 - 1.5 * share + noise);
        bench.read(
            LEVEL,
            minute(i64::from(m)),
            (850.0 + litres * share) / 1000.0 + noise,
        );
    }
    bench
}

#[test]
fn lean_with_a_rising_level_is_told_as_water_that_runs_in() {
    let evidence = raised(&thinned(60.0), "concentration.low");
    let first = &evidence.causes[0];
    assert_eq!(first.cause, CauseKind::WaterIn, "{evidence:?}");
    assert!(!first.signs.is_empty());
    let names: Vec<Quantity> = evidence.values.iter().map(|value| value.name).collect();
    assert_eq!(names, [Quantity::Concentration, Quantity::Volume]);
}

#[test]
fn plain_water_that_was_written_down_is_named() {
    let mut bench = Bench::new();
    bench.run(0..600, 6.3, 700.0);
    let water = EntryKind::Addition {
        what: AdditionKind::Water,
        litres: 150.0,
        strength_pct: None,
        water: None,
        advice: None,
    };
    bench.enter("w", minute(600), water);
    bench.run(600..800, 5.2, 850.0);
    let evidence = raised(&bench, "concentration.low");
    let water = evidence
        .causes
        .iter()
        .find(|one| one.cause == CauseKind::PlainWater);
    let signs = &water.expect("it is named").signs;
    assert_eq!(signs[0].sign, Sign::WaterWrittenDown);
    assert!((signs[0].value.unwrap() - 150.0).abs() < 10.0, "{signs:?}");
}

#[test]
fn a_limit_ahead_is_told_before_it_and_kept_back_once_it_is_told() {
    let mut setup = (*setup()).clone();
    setup.rules = vec![RuleSetup {
        rule: Rule::Ahead {
            signal: Quantity::Concentration,
            level: LimitLevel::Low,
            within: Span::from_hours(8),
        },
        priority: Priority::Low,
        manner: AlarmManner::default(),
    }];
    let mut bench = Bench {
        watch: SumpWatch::new(Arc::new(setup), ADMISSION, start()),
        effects: Vec::new(),
    };
    // 8 % falls by 0.2 points an hour: the limit of 6 % after ten hours.
    for m in 0..720 {
        let noise = if m % 2 == 0 { 0.002 } else { 0.0 };
        let brix = 4.2 - 0.1 * m as f64 / 60.0 + noise;
        bench.read(BRIX, minute(m), brix);
        bench.read(LEVEL, minute(m), 0.85 + noise / 10.0);
    }
    let told_in_order = bench.alarms();
    assert_eq!(
        told_in_order[0],
        told("concentration.low_ahead", Transition::Raised)
    );
    let records = bench.journal();
    let first = records.iter().find_map(|record| match &record.body {
        JournalBody::Alarm(line) => Some(line),
        _ => None,
    });
    assert_eq!(first.unwrap().window, Some((Some(6.0), Some(10.0))));
    let suppressed = told("concentration.low_ahead", Transition::Suppressed);
    assert!(told_in_order.contains(&suppressed), "{told_in_order:?}");
    let low = told("concentration.low", Transition::Raised);
    assert!(told_in_order.contains(&low), "{told_in_order:?}");
}

/// What the alarm of this condition would rest on now.
fn rests_on(sump: &Sump, condition: Condition) -> AlarmEvidence {
    sump.watch.alarm_evidence(&condition)
}

fn signs_of(evidence: &AlarmEvidence, cause: CauseKind) -> Vec<Sign> {
    let one = evidence.causes.iter().find(|one| one.cause == cause);
    let signs = one.map(|one| one.signs.iter().map(|seen| seen.sign));
    signs.map(Iterator::collect).unwrap_or_default()
}

#[test]
fn a_drop_of_ph_rests_on_its_trend_and_on_what_makes_it() {
    let mut sump = Sump::charged();
    for tenth in 1..=8 {
        sump.run(60, 4.2, 9.2 - 0.1 * f64::from(tenth), 2400.0);
    }
    sump.write("smell", None, smelt(Smell::Rotten));
    let evidence = rests_on(&sump, Condition::PhDrop(PlanStep::Watch));
    let trend = evidence.trend.as_ref().expect("it is told");
    assert_eq!(trend.signal, Quantity::Ph);
    assert!(trend.a_day < -0.2, "{trend:?}");
    assert_eq!(evidence.causes[0].cause, CauseKind::Bacteria);
    let low = Condition::Limit(Quantity::Ph, LimitLevel::Low);
    assert_eq!(evidence.causes, rests_on(&sump, low).causes);
    let nitrite = rests_on(&sump, Condition::Nitrite(PlanStep::Watch));
    let signs = signs_of(&nitrite, CauseKind::NitrateTurned);
    assert_eq!(signs, [Sign::Smells, Sign::PhFell], "{nitrite:?}");
}

#[test]
fn chloride_that_was_read_beyond_what_water_brings_is_salt_or_other_water() {
    let mut sump = Sump::charged();
    let laboratory = Some(Method::Laboratory);
    let read_now = |quantity, value| read(quantity, value, laboratory);
    sump.write("cl", None, read_now(Quantity::Chloride, 180.0));
    let condition = Condition::Mineral(Mineral::Chloride, Step::Watch);
    let evidence = rests_on(&sump, condition.clone());
    assert_eq!(evidence.causes[0].cause, CauseKind::SaltIn, "{evidence:?}");
    let signs = signs_of(&evidence, CauseKind::SaltIn);
    assert_eq!(signs, [Sign::HardnessNotHigh, Sign::ReadOver]);
    sump.write("h", None, read_now(Quantity::Hardness, 700.0));
    let evidence = rests_on(&sump, condition);
    assert_eq!(evidence.causes[0].cause, CauseKind::OtherWater);
    let signs = signs_of(&evidence, CauseKind::OtherWater);
    assert!(signs.contains(&Sign::WaterShouldBePure), "{signs:?}");
}

#[test]
fn bacteria_that_were_counted_and_nitrate_of_the_water_stand_behind_nitrite() {
    let mut setup = (*equipped()).clone();
    let mut tap = Water::undescribed("tap");
    tap.nitrate_mg_l = Some(38.0);
    setup.minerals.first_fill = Some(Arc::new(tap));
    let mut sump = Sump::charged_with(Arc::new(setup));
    let counted = |count| read(Quantity::Bacteria, count, Some(Method::DipSlide));
    sump.write("few", None, counted(100.0));
    let condition = Condition::Nitrite(PlanStep::Watch);
    let kinds = |evidence: AlarmEvidence| -> Vec<CauseKind> {
        evidence.causes.iter().map(|one| one.cause).collect()
    };
    let few = kinds(rests_on(&sump, condition.clone()));
    assert_eq!(few, [CauseKind::NitrateInWater, CauseKind::NitriteIn]);
    sump.write("many", None, counted(1e5));
    let many = kinds(rests_on(&sump, condition));
    assert_eq!(many, [CauseKind::NitrateTurned, CauseKind::NitrateInWater]);
}

#[test]
fn a_sump_that_warms_with_little_in_it_is_told_so() {
    const TEMPERATURE: u16 = 4;
    let mut setup = (*equipped()).clone();
    let mut probe = channel("temperature", Quantity::Temperature, 6, 0.5, 2.0);
    probe.plausible = (0.0, 70.0);
    setup.channels.push(probe);
    let mut sump = Sump::charged_with(Arc::new(setup));
    let short = |sump: &Sump| {
        let high = Condition::Limit(Quantity::Temperature, LimitLevel::High);
        rests_on(sump, high)
    };
    assert_eq!(signs_of(&short(&sump), CauseKind::LittleFluid), []);
    sump.level = 0.6;
    for m in 0..600 {
        sump.usual(1);
        sump.sense(TEMPERATURE, 25.0 + 0.015 * f64::from(m));
    }
    let evidence = short(&sump);
    assert_eq!(evidence.causes[0].cause, CauseKind::LittleFluid);
    let signs = signs_of(&evidence, CauseKind::LittleFluid);
    assert_eq!(signs, [Sign::LevelLow, Sign::TemperatureRises]);
    let trend = evidence.trend.expect("it is told");
    assert_eq!(trend.signal, Quantity::Temperature);
    assert!((trend.a_day - 21.6).abs() < 1.0, "{trend:?}");
}
