//! The plant as a whole: its balances, its quiet sumps, its faults.

use proptest::prelude::*;

use super::*;

fn hours(count: i64) -> Timestamp {
    START + Span::from_hours(count)
}

fn demo(seed: u64) -> Plant {
    Plant::new(seed, START, &timetable(Span::from_hours(24 * 30)))
}

/// Readings of one channel, with hours since the start.
fn series(readings: &[SimReading], sump: &str, channel: Channel) -> Vec<(f64, f64)> {
    readings
        .iter()
        .filter(|r| &*r.sump == sump && r.channel == channel)
        .map(|r| ((r.time - START).secs_f64() / 3600.0, r.value))
        .collect()
}

fn concentration(plant: &Plant, sump: &str) -> f64 {
    plant.truth(sump).unwrap().mix.concentration_pct()
}

#[test]
fn the_demo_begins_with_the_first_shift_of_a_monday() {
    assert_eq!(START.to_string(), "2026-03-02T06:00:00Z");
    assert!(!shift::working(START - READING_INTERVAL));
    assert!(shift::working(START));
}

#[test]
fn the_same_seed_gives_the_same_plant_whatever_the_steps() {
    let (mut once, mut often) = (demo(5), demo(5));
    let at_once = once.step(hours(3));
    let in_steps: Vec<_> = (0..=180)
        .flat_map(|m| often.step(START + Span::from_mins(m)))
        .collect();
    assert_eq!(at_once, in_steps);
    assert_eq!(at_once.len(), 90 * 30);
    assert_ne!(demo(6).step(hours(3)), at_once);
}

#[test]
fn what_is_done_at_one_sump_does_not_show_at_another() {
    let (mut left_alone, mut touched) = (demo(5), demo(5));
    touched.drain("saw-1", 50.0).unwrap();
    touched.hand_brix("saw-1").unwrap();
    let (a, b) = (left_alone.step(hours(2)), touched.step(hours(2)));
    let others = |readings: Vec<SimReading>| -> Vec<_> {
        readings
            .into_iter()
            .filter(|r| &*r.sump != "saw-1")
            .collect()
    };
    assert_eq!(others(a), others(b));
}

/// Without faults every sump is well inside the usual limits for days; the one
/// that people fill, for the first of them.
#[test]
fn quiet_sumps_are_quiet() {
    let mut plant = Plant::new(1, START, &[]);
    for hour in 1..=96 {
        plant.step(hours(hour));
        for spec in &SUMPS {
            if spec.top_up == TopUp::ByHand && hour > 24 {
                continue;
            }
            let truth = plant.truth(spec.name).unwrap();
            let (low, high) = spec.window_pct;
            let c = truth.mix.concentration_pct();
            let margin = 0.5;
            assert!(c > low + margin && c < high - margin, "{} {c}", spec.name);
            let fill = truth.mix.volume_l() / spec.working_volume_l;
            assert!(fill < 1.005, "{} {fill}", spec.name);
            let by_hand = spec.top_up == TopUp::ByHand;
            assert!(by_hand || fill > 0.97, "{} {fill}", spec.name);
            let warm = truth.temperature.celsius();
            assert!((15.0..30.0).contains(&warm), "{} {warm}", spec.name);
        }
    }
}

#[test]
fn ph_stays_between_its_usual_limits_where_the_mix_does() {
    let readings = demo(2).step(hours(24 * 30));
    for sump in ["central-1", "grinder-1", "saw-1"] {
        let series = series(&readings, sump, Channel::Ph);
        assert!(series.len() > 100);
        for (hour, ph) in series {
            assert!((8.8..9.5).contains(&ph), "{sump} {hour} {ph}");
        }
    }
}

#[test]
fn a_working_day_loses_what_it_should() {
    let mut plant = Plant::new(1, START, &[]);
    plant.step(hours(24));
    for spec in &SUMPS {
        let flows = plant.truth(spec.name).unwrap().flows;
        let carried = flows.carried_off.volume_l() / spec.working_volume_l;
        let evaporated = flows.evaporated_l / spec.working_volume_l;
        assert!(
            (0.0299..=0.0501).contains(&(carried + evaporated)),
            "{}",
            spec.name
        );
        let share = carried / (carried + evaporated);
        assert!((0.24..=0.34).contains(&share), "{} {share}", spec.name);
    }
}

#[test]
fn a_lean_mixer_takes_the_mill_below_its_window_while_it_stays_full() {
    let mut plant = demo(1);
    let mut below_at = None;
    for minutes in (0..=12 * 60).step_by(10) {
        plant.step(START + Span::from_mins(minutes));
        if below_at.is_none() && concentration(&plant, "mill-2") < 5.5 {
            below_at = Some(minutes);
        }
        let fill = plant.truth("mill-2").unwrap().mix.volume_l() / 800.0;
        assert!((0.99..1.01).contains(&fill), "{fill}");
    }
    let below_at = below_at.expect("below the window within 12 h");
    assert!((360..=600).contains(&below_at), "{below_at} min");
    assert!(concentration(&plant, "mill-2") < 5.1, "clearly below");
}

#[test]
fn a_mended_mixer_and_a_dose_bring_the_mill_back() {
    let mut plant = demo(1);
    plant.step(hours(8));
    assert!(plant.fix("mill-2", Fault::LeanDrift).unwrap());
    let mix = plant.truth("mill-2").unwrap().mix;
    // d = V (ct − c) / (p − c), premix of 20 % swapped in.
    let c = mix.concentration_pct();
    let swap = mix.volume_l() * (7.0 - c) / (20.0 - c);
    plant.drain("mill-2", swap).unwrap();
    plant.add("mill-2", swap, 20.0).unwrap();
    assert!((concentration(&plant, "mill-2") - 7.0).abs() < 1e-9);
    plant.step(hours(32));
    assert!((concentration(&plant, "mill-2") - 7.0).abs() < 0.2);
}

#[test]
fn a_fouled_prism_reads_high_until_it_is_wiped() {
    let mut plant = demo(1);
    let before = series(&plant.step(hours(13)), "hobbing-1", Channel::Brix);
    let near = |hour: f64| {
        let close: Vec<f64> = before
            .iter()
            .filter(|(h, _)| (h - hour).abs() < 0.3)
            .map(|&(_, v)| v)
            .collect();
        close.iter().sum::<f64>() / close.len() as f64
    };
    let clean = 7.0 / 1.4 + 0.2;
    assert!((near(3.0) - clean).abs() < 0.1, "{}", near(3.0));
    assert!((near(12.5) - clean - 1.275).abs() < 0.15, "{}", near(12.5));
    let hand = plant.hand_brix("hobbing-1").unwrap().degrees();
    assert!((hand - clean).abs() <= 0.2, "{hand}");
    assert!(plant.clean_probe("hobbing-1", Channel::Brix).unwrap());
    assert!(!plant.clean_probe("hobbing-1", Channel::Brix).unwrap());
    let after = series(&plant.step(hours(14)), "hobbing-1", Channel::Brix);
    assert!(after.iter().all(|(_, v)| (v - clean).abs() < 0.35));
}

#[test]
fn a_silent_channel_speaks_again_once_it_is_connected() {
    let mut plant = demo(1);
    let before = series(&plant.step(hours(6)), "grinder-1", Channel::Ph);
    let last = before.last().unwrap().0;
    assert!((4.9..5.0).contains(&last), "{last}");
    assert!(
        plant
            .fix("grinder-1", Fault::SilentChannel(Channel::Ph))
            .unwrap()
    );
    assert_eq!(
        series(&plant.step(hours(7)), "grinder-1", Channel::Ph).len(),
        30
    );
}

#[test]
fn bubbles_are_rare_single_and_deep() {
    let readings = series(&demo(1).step(hours(24)), "central-1", Channel::Brix);
    let truth = 8.2;
    let spoilt: Vec<f64> = readings
        .iter()
        .filter(|&&(_, v)| v < truth - 0.7)
        .map(|&(hour, _)| hour)
        .collect();
    assert!(spoilt.iter().all(|hour| (2.0..12.0).contains(hour)));
    let share = spoilt.len() as f64 / 300.0;
    assert!((0.04..0.13).contains(&share), "{share}");
    assert!(readings.iter().all(|&(_, v)| v > truth - 3.5));
}

#[test]
fn the_lathe_runs_low_by_the_fourteenth_hour_and_again_after_it_is_filled() {
    let mut plant = demo(1);
    let fill = |plant: &Plant| plant.truth("lathe-3").unwrap().mix.volume_l() / 350.0;
    plant.step(hours(8));
    assert!(fill(&plant) > 0.852, "{}", fill(&plant));
    plant.step(hours(14));
    assert!(fill(&plant) < 0.85, "{}", fill(&plant));
    plant
        .add("lathe-3", 350.0 * (1.0 - fill(&plant)), 2.0)
        .unwrap();
    plant.step(hours(14 + 24 * 4));
    assert!(fill(&plant) < 0.85, "{}", fill(&plant));
}

#[test]
fn what_cannot_be_is_refused_with_words() {
    let mut plant = demo(1);
    let unknown = plant.drain("mill-9", 1.0).unwrap_err().to_string();
    assert!(
        unknown.contains("mill-9") && unknown.contains("mill-2"),
        "{unknown}"
    );
    assert!(plant.add("mill-2", -1.0, 5.0).is_err());
    assert!(plant.add("mill-2", f64::NAN, 5.0).is_err());
    assert!(plant.add("mill-2", 1.0, 101.0).is_err());
    let too_much = plant.drain("saw-1", 500.0).unwrap_err().to_string();
    assert!(too_much.contains("drain less"), "{too_much}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(32))]

    /// Whatever people do: what is there is what was there, and what came in,
    /// less what went out, for water, concentrate and salts alike.
    #[test]
    fn the_balance_closes(
        acts in proptest::collection::vec((0..6_usize, 0..3_u8, 0.0..200.0_f64, 0.0..30.0_f64), 0..20),
        seed in any::<u64>(),
    ) {
        let mut plant = demo(seed);
        let before = SUMPS.map(|spec| plant.truth(spec.name).unwrap().mix);
        let mut now = START;
        for (which, act, litres, strength) in acts {
            let sump = SUMPS[which].name;
            match act {
                0 => plant.add(sump, litres, strength).unwrap(),
                1 => { let _ = plant.drain(sump, litres); }
                _ => { plant.fix(sump, Fault::LeanDrift).unwrap(); }
            }
            now = now + Span::from_mins(97);
            plant.step(now);
        }
        for (spec, before) in SUMPS.iter().zip(before) {
            let Truth { mix, flows, .. } = plant.truth(spec.name).unwrap();
            let out = |part: fn(&Mix) -> f64| {
                part(&flows.carried_off) + part(&flows.drained) + part(&flows.spilled)
            };
            let balance = |part: fn(&Mix) -> f64| part(&before) + part(&flows.added) - out(part);
            let water = balance(|m| m.water_l) - flows.evaporated_l;
            prop_assert!((mix.water_l - water).abs() < 1e-6, "{} {}", mix.water_l, water);
            let concentrate = balance(|m| m.concentrate_l);
            prop_assert!((mix.concentrate_l - concentrate).abs() < 1e-6);
            let salts = balance(|m| m.salts_g);
            prop_assert!((mix.salts_g - salts).abs() < 1e-6);
            prop_assert!(mix.volume_l() <= spec.max_volume_l + 1e-9);
        }
    }
}
