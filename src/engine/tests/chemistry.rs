//! Minerals, souring and methods, as readings and entries feed them.

use super::charged_sump::{Sump, added, equipped, event, read, smelt};
use super::*;
use crate::advice::recharge::VolumeSource;
use crate::model::factor_check::GapCause;
use crate::model::minerals::ExcessLevel;
use crate::model::souring::Souring;
use crate::model::{Mineral, MovementKind};
use crate::units::Measured;

#[test]
fn a_sump_of_which_nothing_is_known_shows_nothing() {
    let status = SumpWatch::new(setup(), ADMISSION, start()).status();
    assert_eq!(
        (status.minerals, status.souring, status.factor),
        (None, None, None)
    );
    let json = serde_json::to_string(&SumpWatch::new(setup(), ADMISSION, start()).status());
    assert!(!json.unwrap().contains("souring"));
}

#[test]
fn additions_bring_the_minerals_of_the_water_that_they_name() {
    let mut sump = Sump::charged();
    let before = sump.content(Mineral::Hardness).unwrap().value;
    // 92 % water of 200 mg/L, less a day's usual carry-off of 1 %.
    assert!((before - 184.0 * (-0.01f64).exp()).abs() < 0.1, "{before}");
    sump.write("a", None, added(90.0, None));
    let after = sump.content(Mineral::Hardness).unwrap().value;
    assert!((after - before).abs() < 0.05, "purified: {after}");
    sump.write("b", None, added(90.0, Some("Tap")));
    let after = sump.content(Mineral::Hardness).unwrap().value;
    assert!((after - before - 20.0).abs() < 0.1, "{after}");
    sump.write("c", None, added(90.0, Some("the river")));
    assert_eq!(sump.content(Mineral::Hardness), None);
    let strip = Some(Method::TestStrip);
    sump.write("d", None, read(Quantity::Hardness, 260.0, strip));
    let content = sump.content(Mineral::Hardness).unwrap();
    assert_eq!(content, Measured::new(260.0, 52.0));
}

#[test]
fn the_newest_entry_can_be_corrected() {
    let mut sump = Sump::charged();
    let before = sump.content(Mineral::Chloride).unwrap();
    sump.write("a", None, added(900.0, Some("tap")));
    assert!(sump.content(Mineral::Chloride).unwrap().value > before.value + 40.0);
    sump.write("b", Some("a"), added(90.0, Some("tap")));
    let corrected = sump.content(Mineral::Chloride).unwrap().value;
    assert!((corrected - before.value - 5.0).abs() < 0.02, "{corrected}");
    let withdrawn = EntryKind::Withdrawn { text: None };
    sump.write("c", Some("b"), withdrawn);
    assert_eq!(sump.content(Mineral::Chloride), Some(before));
}

#[test]
fn conductivity_beyond_the_base_line_of_the_first_day_is_told() {
    let mut sump = Sump::charged();
    let excess = |sump: &Sump| sump.watch.status().minerals.unwrap().excess.unwrap();
    assert!((excess(&sump).ratio - 1.0).abs() < 1e-9);
    sump.run(120, 4.2, 9.2, 3800.0);
    let told = excess(&sump);
    assert_eq!(told.level, ExcessLevel::Watch, "{told:?}");
    // Richer by a quarter: the base line goes with it.
    sump.run(120, 5.2, 9.2, 3000.0);
    assert!((excess(&sump).ratio - 1.0).abs() < 0.01);
}

#[test]
fn a_fall_of_ph_and_a_bad_smell_are_put_together() {
    let mut sump = Sump::charged();
    let level = |sump: &Sump| sump.watch.status().souring.unwrap().level;
    assert_eq!(level(&sump), Souring::NoSign);
    sump.run(180, 4.2, 8.6, 2400.0);
    assert_eq!(level(&sump), Souring::Watch);
    sump.write("a", None, smelt(Smell::Rotten));
    assert_eq!(level(&sump), Souring::Certain);
    sump.write("b", Some("a"), smelt(Smell::Fresh));
    assert_eq!(level(&sump), Souring::Watch);
    sump.write("c", None, event(HappeningKind::Recharged, None));
    assert_eq!(sump.watch.status().souring, None);
}

#[test]
fn titration_is_paired_with_the_hand_refractometer_or_the_inline_one() {
    let mut sump = Sump::charged();
    let titrated = |pct| read(Quantity::Concentration, pct, Some(Method::Titration));
    for week in 0..4 {
        // Factor 2 gives 8 % for 4.2 °Bx less 0.2; the true factor is 2.5.
        sump.write(&format!("t{week}"), None, titrated(10.0));
        if week % 2 == 0 {
            let hand = read(Quantity::Brix, 4.2, Some(Method::Refractometer));
            sump.write(&format!("b{week}"), None, hand);
        }
        sump.run(600, 4.2, 9.2, 2400.0);
    }
    let factor = sump.watch.status().factor.unwrap();
    assert_eq!((factor.pairs, factor.cause), (4, Some(GapCause::Factor)));
    let proposal = factor.proposal.unwrap();
    assert!((proposal.factor.value - 2.5).abs() < 0.01, "{proposal:?}");
    assert_eq!(proposal.holds_from, minute(sump.minute));
    let chart = &sump.watch.setup().fluid.chart;
    assert_eq!(
        *chart,
        Chart::factor(2.0).unwrap(),
        "nothing is changed by itself"
    );
}

#[test]
fn the_chemistry_goes_on_from_a_snapshot_and_from_one_of_before() {
    let mut sump = Sump::charged();
    sump.write("a", None, smelt(Smell::Stale));
    let kept = serde_json::to_value(sump.watch.snapshot()).unwrap();
    let restored = |kept| {
        let snapshot = serde_json::from_value(kept).unwrap();
        SumpWatch::restore(equipped(), ADMISSION, snapshot)
    };
    let again = restored(kept.clone());
    assert_eq!(again.status(), sump.watch.status());
    let mut older = kept;
    older.as_object_mut().unwrap().remove("chemistry");
    let older = restored(older).status();
    assert_eq!(older.factor, None);
    assert!(
        older
            .souring
            .is_none_or(|souring| souring.reference_ph.is_none())
    );
}

/// TRGS 611, 5.3 (3): above 20 mg/L something has to be done.
#[test]
fn nitrite_above_its_limit_brings_a_remedy_until_the_charge_is_new() {
    let mut sump = Sump::charged();
    let nitrite = |value| EntryKind::HandReading {
        quantity: Quantity::Nitrite,
        value,
        written: None,
        method: Some(Method::TestStrip),
        mixer: None,
    };
    assert_eq!(sump.watch.status().remedy, None);
    sump.write("n1", None, nitrite(12.0));
    assert_eq!(sump.watch.status().remedy, None);
    sump.write("n2", Some("n1"), nitrite(30.0));
    let json = serde_json::to_value(sump.watch.status().remedy).unwrap();
    assert_eq!(json["course"], "partial_exchange");
    // From 30 to four fifths of 20 mg/L, of what the level says is there.
    let share = json["exchange"]["share_pct"].as_f64().unwrap();
    assert!((share - 100.0 * 14.0 / 30.0).abs() < 1e-9, "{json}");
    assert!(
        json["reasons"][0]
            .as_str()
            .unwrap()
            .contains("nitrite is 30")
    );

    let found = sump.watch.charge_found();
    assert!(!found.missing.iter().any(|what| what == "nitrite"));
    assert!(found.missing.iter().any(|what| what == "bacteria"));
    // A reading counts for eight days, and not into the next charge.
    sump.write("charge2", None, event(HappeningKind::Recharged, None));
    assert_eq!(sump.watch.status().remedy, None);
    assert!(
        sump.watch
            .charge_found()
            .missing
            .iter()
            .any(|what| what == "nitrite")
    );
}

#[test]
fn the_old_charge_is_as_it_is_read_and_the_new_one_as_it_is_set() {
    let sump = Sump::charged();
    let charge = sump.watch.old_charge();
    let setup = sump.watch.setup();
    assert!((charge.concentration.percent() - 8.0).abs() < 0.2);
    assert!(matches!(charge.source, VolumeSource::Estimated { .. }));
    assert_eq!(charge.fill_to, setup.working_volume);
    let fresh = SumpWatch::new(Arc::clone(setup), ADMISSION, start());
    assert_eq!(fresh.old_charge(), setup.charge_by_settings());
}

#[test]
fn what_was_let_out_takes_its_share_of_what_was_there_before() {
    for written_after in [0, 180] {
        let mut sump = Sump::charged();
        let before = sump.hardness();
        sump.level = 0.45;
        sump.usual(written_after);
        sump.write("d", None, event(HappeningKind::Drained, Some(450.0)));
        sump.usual(180);
        let after = sump.hardness();
        assert!((after / before - 1.0).abs() < 0.06, "{before} {after}");
    }
}

#[test]
fn more_than_there_was_leaves_a_rest() {
    let mut sump = Sump::charged();
    sump.write("d", None, event(HappeningKind::Drained, Some(5000.0)));
    let rest = sump.hardness();
    assert!(rest > 5.0, "{rest}");
}

#[test]
fn mix_that_the_readings_tell_to_have_gone_takes_its_minerals() {
    let mut sump = Sump::charged();
    let before = sump.hardness();
    let drained = minute(sump.minute);
    sump.level = 0.6;
    sump.usual(8 * 60);
    let inferred = sump.inferred();
    assert_eq!(inferred[0].0, MovementKind::MixOut, "{inferred:?}");
    let told = sump.hardness();
    assert!((told / before - 1.0).abs() < 0.02, "{before} {told}");
    // Written down after all, it counts once.
    sump.write_of(
        drained,
        "d",
        None,
        event(HappeningKind::Drained, Some(300.0)),
    );
    assert_eq!(sump.inferred(), []);
    let once = sump.hardness();
    assert!((once / told - 1.0).abs() < 0.01, "{told} {once}");
}

/// With tap water of 200 mg/L as usual top-up.
fn topped_up_with_tap() -> SumpSetup {
    let mut setup = (*equipped()).clone();
    setup.minerals.top_up = setup.minerals.first_fill.clone();
    setup
}

#[test]
fn water_that_the_readings_told_and_somebody_wrote_down_counts_once() {
    let mut sump = Sump::charged_with(Arc::new(topped_up_with_tap()));
    let of_charge = sump.hardness() * 900.0;
    let filled = minute(sump.minute);
    sump.level = 0.945;
    sump.run(8 * 60, 0.2 + 4.0 * 900.0 / 945.0, 9.2, 2400.0);
    let inferred = sump.inferred();
    assert_eq!(inferred[0].0, MovementKind::Water, "{inferred:?}");
    let expected = (of_charge + 45.0 * 200.0) / 945.0;
    let near = |sump: &Sump, expected: f64| {
        let found = sump.hardness();
        assert!((found - expected).abs() < 1.5, "{found} for {expected}");
    };
    near(&sump, expected);
    sump.write_of(filled, "w", None, added(45.0, Some("tap")));
    assert_eq!(sump.inferred(), []);
    near(&sump, expected);
    // It was purified water; and should nobody have written, the usual counts.
    sump.write_of(filled, "x", Some("w"), added(45.0, Some("purified")));
    near(&sump, of_charge / 945.0);
    let withdrawn = EntryKind::Withdrawn { text: None };
    sump.write("y", Some("x"), withdrawn);
    near(&sump, expected);
}

#[test]
fn water_that_a_meter_counts_brings_its_minerals_once() {
    const METER: u16 = 4;
    let mut setup = topped_up_with_tap();
    let mut meter = channel("meter", Quantity::Volume, 6, 0.0, 1.0);
    meter.plausible = (0.0, 1e6);
    meter.kind = ChannelKind::Meter {
        counts: MeterSetup {
            rolls_over_at: None,
            max_flow: None,
        },
        of: MeterOf::Water,
        total_series: SeriesIx(7),
    };
    setup.channels.push(meter);
    let mut sump = Sump::charged_with(Arc::new(setup));
    sump.sense(METER, 100.0);
    sump.usual(10);
    let before = sump.hardness();
    sump.write("w", None, added(45.0, None));
    assert_eq!(sump.hardness(), before);
    sump.sense(METER, 145.0);
    sump.usual(10);
    let brought = (sump.hardness() - before) * 900.0;
    assert!((brought / 9000.0 - 1.0).abs() < 0.02, "{brought}");
    // No meter counts premix.
    let premix = EntryKind::Addition {
        what: AdditionKind::Premix,
        litres: 45.0,
        strength_pct: Some(8.0),
        water: Some("tap".into()),
        advice: None,
    };
    let before = sump.hardness();
    sump.write("p", None, premix);
    let brought = (sump.hardness() - before) * 900.0;
    assert!((brought / (0.92 * 9000.0) - 1.0).abs() < 0.02, "{brought}");
}

#[test]
fn a_correction_days_later_leaves_what_instruments_told_since() {
    let mut sump = Sump {
        watch: SumpWatch::new(equipped(), ADMISSION, start()),
        minute: 0,
        level: 0.9,
        effects: Vec::new(),
    };
    sump.write("charge", None, event(HappeningKind::Recharged, None));
    sump.usual(30);
    sump.write("a", None, smelt(Smell::Rotten));
    sump.usual(3 * 24 * 60);
    let before = sump.watch.status();
    sump.write("b", Some("a"), smelt(Smell::Fresh));
    let after = sump.watch.status();
    let (was, is) = (before.souring.unwrap(), after.souring.unwrap());
    assert_eq!((was.level, is.level), (Souring::Likely, Souring::NoSign));
    assert_eq!(is.reference_ph, was.reference_ph);
    assert_eq!(after.minerals, before.minerals);
    assert!(after.minerals.unwrap().excess.is_some());
}

#[test]
fn a_probe_that_was_wiped_or_calibrated_is_no_chemistry() {
    for what in [HappeningKind::ProbeCleaned, HappeningKind::ProbeCalibrated] {
        let mut sump = Sump::charged();
        sump.run(6 * 24 * 60, 4.2, 8.6, 2400.0);
        assert!(sump.watch.ph_trend.a_week().is_some());
        // In the buffer, and back.
        sump.run(5, 4.2, 7.0, 2400.0);
        sump.write("p", None, event(what, None));
        sump.run(5 * 24 * 60, 4.2, 9.2, 2400.0);
        let souring = &sump.watch.chemistry.now.souring;
        assert_eq!(souring.last_jump(), None);
        let slope = sump.watch.ph_trend.a_week().unwrap();
        assert!(slope.value.abs() < 0.01, "{slope:?}");
    }
}

#[test]
fn another_probe_leaves_the_course_of_ph() {
    let mut sump = Sump::charged();
    sump.usual(6 * 24 * 60);
    let slope = sump.watch.ph_trend.a_week();
    let cleaned = EntryKind::Event {
        what: HappeningKind::ProbeCleaned,
        litres: None,
        channel: Some("brix".into()),
        advice: None,
    };
    sump.write("p", None, cleaned);
    assert!(slope.is_some());
    assert_eq!(sump.watch.ph_trend.a_week(), slope);
}

#[test]
fn pumps_that_stand_by_their_switch_are_seen_without_an_entry() {
    const PUMP: u16 = 4;
    let mut setup = (*equipped()).clone();
    let mut pump = channel("pump", Quantity::State, 6, 0.0, 0.5);
    pump.plausible = (0.0, 1.0);
    pump.kind = ChannelKind::Switch {
        of: SwitchOf::Pumps,
    };
    pump.silent_after = Span::from_hours(24 * 365);
    setup.channels.push(pump);
    setup.pump = Some(PUMP);
    let mut sump = Sump::charged_with(Arc::new(setup));
    let circulates = |sump: &Sump| sump.watch.chemistry.now.souring.circulates();
    sump.sense(PUMP, 1.0);
    sump.usual(60);
    assert_eq!(circulates(&sump), Some((minute(sump.minute - 60), true)));
    sump.sense(PUMP, 0.0);
    let stopped = minute(sump.minute);
    sump.usual(60);
    assert_eq!(circulates(&sump), Some((stopped, false)));
    // The switch knows better than who writes.
    sump.write("on", None, event(HappeningKind::PumpsOn, None));
    assert_eq!(circulates(&sump), Some((stopped, false)));
}

#[test]
fn pumps_said_to_stand_run_again_where_that_is_withdrawn() {
    let mut sump = Sump::charged();
    let circulates = |sump: &Sump| sump.watch.chemistry.now.souring.circulates();
    sump.write("on", None, event(HappeningKind::PumpsOn, None));
    let on = circulates(&sump);
    sump.usual(60);
    sump.write("off", None, event(HappeningKind::PumpsOff, None));
    assert_eq!(circulates(&sump), Some((minute(sump.minute), false)));
    sump.usual(60);
    let withdrawn = EntryKind::Withdrawn { text: None };
    sump.write("no", Some("off"), withdrawn);
    sump.usual(60);
    assert_eq!(circulates(&sump), on);
}

#[test]
fn pairs_of_another_chart_do_not_count() {
    let mut sump = Sump::charged();
    let titrated = read(Quantity::Concentration, 10.0, Some(Method::Titration));
    sump.write("t", None, titrated);
    sump.usual(10);
    let restored = |setup: Arc<SumpSetup>| {
        let snapshot = sump.watch.snapshot();
        SumpWatch::restore(setup, ADMISSION, snapshot)
    };
    let with_factor = |factor: f64| {
        let mut setup = (*equipped()).clone();
        let mut fluid = (*setup.fluid).clone();
        fluid.chart = Chart::factor(factor).unwrap();
        setup.fluid = Arc::new(fluid);
        Arc::new(setup)
    };
    assert_eq!(restored(equipped()).status().factor.unwrap().pairs, 1);
    let changed = restored(with_factor(2.5));
    assert_eq!(changed.status().factor, None);
    // And what was kept under the new one stays.
    let again = SumpWatch::restore(with_factor(2.5), ADMISSION, changed.snapshot());
    assert_eq!(again.status().factor, None);
    assert_eq!(again.snapshot(), changed.snapshot());
}
