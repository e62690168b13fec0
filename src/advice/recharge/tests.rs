use proptest::prelude::*;

use super::*;
use crate::advice::VolumeUnit;
use crate::model::money::{CostPart, Currency, Prices, UnitPrice};
use crate::units::{Concentration, Flow, Span, Volume};

pub(in crate::advice) fn setup() -> RechargeSetup {
    RechargeSetup {
        cleaner: Some(Cleaner {
            title: "Invented cleaner".into(),
            content: CleanerContent::NoBiocide {
                share: Some(Concentration::from_percent(2.0)),
            },
        }),
        cleaner_time: Span::from_hours(12),
        drain_rate: None,
        rinses: 1,
        rinse_share: 0.2,
        rinse_strength: Concentration::from_percent(1.0),
        rinse_time: Span::from_mins(30),
        carry_over_limit: 0.05,
        first_fill_surplus: Concentration::from_percent(1.0),
        settle: Span::from_mins(60),
    }
}

/// An invented sump of 1000 L that is kept at 5.5 %.
pub(in crate::advice) fn case() -> RechargeCase {
    RechargeCase {
        sump: "mill".into(),
        title: "Mill".into(),
        fluid: "Invented".into(),
        mixing_note: None,
        volume: Volume::from_litres(1000.0),
        old_volume: Volume::from_litres(1000.0),
        volume_source: VolumeSource::Given,
        head_room: Volume::from_litres(50.0),
        old: Concentration::from_percent(5.5),
        rest: 0.0,
        target: Concentration::from_percent(5.5),
        strongest_premix: Concentration::from_percent(20.0),
        mixing: Span::from_mins(30),
        measure: None,
        prices: None,
    }
}

fn measure(step: f64) -> Measure {
    Measure {
        unit: VolumeUnit::Litre,
        step: Volume::from_litres(step),
        vessel: Some(Volume::from_litres(10.0)),
    }
}

fn near(found: f64, expected: f64) {
    assert!((found - expected).abs() < 1e-9, "{found}, not {expected}");
}

/// V = 1000 L, a rinse of 20 % at 1 %, a fill of 6.5 %: waste of 1000 L, the
/// cleaner and 200 L; 2 L for the rinse; 65 L and 935 L for the fill. Worked
/// out by hand.
#[test]
fn a_thousand_litres() {
    let plan = plan(&setup(), &case()).unwrap();
    assert_eq!(plan.cleaning.cleaner_l, Some(20.0));
    near(plan.totals.waste_l, 1000.0 + 20.0 + 200.0);
    near(plan.rinse.concentrate_l, 2.0);
    near(plan.fill.strength_pct, 6.5);
    near(plan.fill.concentrate_l, 65.0);
    near(plan.fill.water_l, 935.0);
    near(plan.totals.concentrate_l, 67.0);
    near(plan.totals.water_l, 935.0 + 198.0);
    near(plan.totals.hours_h, 12.0 + 0.5 + 1.0);
    // 65 L of concentrate are 325 L of premix at 20 %.
    near(plan.fill.premix_l, 325.0);
    near(plan.fill.water_first_l, 675.0);
}

#[test]
fn a_cleaner_with_biocide_never_has_an_amount() {
    let mut setup = setup();
    setup.cleaner = Some(Cleaner {
        title: "Invented cleaner".into(),
        content: CleanerContent::Biocide,
    });
    let with = plan(&setup, &case()).unwrap();
    setup.cleaner = None;
    let none = plan(&setup, &case()).unwrap();
    for plan in [with, none] {
        assert_eq!(plan.cleaning.cleaner_l, None);
        assert!(plan.totals.waste_lacks_cleaner);
        let step = plan.steps[2].actions.join(" ");
        assert!(step.contains("amount: supplier's data sheet, by appointed persons"));
        assert!(!step.contains(" L"), "{step}");
    }
}

#[test]
fn fluid_is_drawn_off_where_the_cleaner_does_not_fit_in() {
    let mut case = case();
    case.head_room = Volume::from_litres(0.0);
    let plan = plan(&setup(), &case).unwrap();
    let cleaner = plan.cleaning.cleaner_l.unwrap();
    near(1000.0 - plan.cleaning.draw_off_l + cleaner, 1000.0);
    near(plan.totals.waste_l, 1000.0 + cleaner + 200.0);
}

#[test]
fn what_stays_is_counted_into_the_fill() {
    let mut case = case();
    case.rest = 0.05;
    let plan = plan(&setup(), &case).unwrap();
    // 50 L of old fluid at 5.5/1.02 % with 200 L at 1 %: a fifth of it stays.
    let strength = (50.0 * 5.5 / 1.02 + 200.0) / 250.0;
    near(plan.rest.strength_pct, strength);
    near(plan.rest.carry_over_pct, 1.0);
    near(plan.fill.concentrate_l, 65.0 - 50.0 * strength / 100.0);
    near(plan.fill.concentrate_l + plan.fill.water_l, 950.0);
    near(plan.totals.waste_l, 1020.0 - 50.0 + 200.0);
}

/// 800 L are left of the old charge of 1000 L: so much less is waste, and the
/// new charge is filled all the same.
#[test]
fn the_old_charge_may_be_less_than_the_new_one() {
    let mut case = case();
    case.old_volume = Volume::from_litres(800.0);
    case.volume_source = VolumeSource::Estimated {
        uncertainty_l: 10.0,
    };
    let plan = plan(&setup(), &case).unwrap();
    assert_eq!(plan.cleaning.cleaner_l, Some(16.0));
    near(plan.totals.waste_l, 800.0 + 16.0 + 200.0);
    near(plan.fill.concentrate_l + plan.fill.water_l, 1000.0);
    let text = plan.to_string();
    assert!(
        text.contains("800 L by readings, give or take 20 L"),
        "{text}"
    );
    assert!(text.contains("filled to 1000 L"), "{text}");
}

/// 437 L: 28.405 L of concentrate and 8.74 L of cleaner are 28 and 8 L in
/// steps of one, and 86.5 L of water for the rinse are 87 L; its 0.874 L of
/// concentrate stay as they are, rather than a litre, a seventh more.
#[test]
fn amounts_are_those_that_can_be_measured_out() {
    let mut case = case();
    case.volume = Volume::from_litres(437.0);
    case.old_volume = case.volume;
    case.measure = Some(measure(1.0));
    let plan = plan(&setup(), &case).unwrap();
    assert_eq!(plan.cleaning.cleaner_l, Some(8.0));
    near(plan.rinse.water_l, 87.0);
    near(plan.rinse.concentrate_l, 0.874);
    near(plan.fill.concentrate_l, 28.0);
    near(plan.fill.water_l, 409.0);
    // 140 L of premix at 20 %.
    near(plan.fill.premix_l, 140.0);
    near(plan.fill.water_first_l, 297.0);
    let text = plan.to_string();
    assert!(
        text.contains("28 L (2 cans of 10 L and 8 L) of concentrate"),
        "{text}"
    );
}

#[test]
fn too_much_old_fluid_asks_for_more_rinses() {
    let mut case = case();
    case.rest = 0.3;
    let planned = plan(&setup(), &case).unwrap();
    // 30 %, 18 %, 10.8 %, 6.48 %, 3.888 %.
    assert_eq!(planned.rest.rinses_needed, 4);
    assert!(planned.steps[5].actions[2].contains("rinse 4 times"));
    let rinses = planned.rest.rinses_needed;
    let setup = RechargeSetup { rinses, ..setup() };
    let planned = plan(&setup, &case).unwrap();
    near(planned.rest.carry_over_pct, 3.888);
    assert_eq!(planned.steps[5].actions.len(), 2);
}

#[test]
fn hours_and_money_name_what_they_lack() {
    let mut case = case();
    case.prices = Some(Prices {
        currency: Currency::new("EUR").unwrap(),
        concentrate: Some(UnitPrice::from_per_litre(5.0)),
        water: None,
        disposal: Some(UnitPrice::from_per_litre(0.5)),
        labour_per_change_out: Some(180.0),
    });
    let plan_without_rate = plan(&setup(), &case).unwrap();
    assert!(plan_without_rate.totals.hours_lack.contains(&"draining"));
    let drain_rate = Some(Flow::from_litres_per_minute(100.0));
    let setup = RechargeSetup {
        drain_rate,
        ..setup()
    };
    let plan = plan(&setup, &case).unwrap();
    assert!(!plan.totals.hours_lack.contains(&"draining"));
    near(plan.totals.hours_h, 13.5 + 1220.0 / 6000.0);
    let cost = plan.totals.cost.as_ref().unwrap();
    near(cost.total, 67.0 * 5.0 + 1220.0 * 0.5 + 180.0);
    assert_eq!(cost.unpriced, [CostPart::Water]);
    assert!(plan.to_string().contains("without water, cleaner"));
}

#[test]
fn the_text_has_all_steps_amounts_and_hazards() {
    let plan = plan(&setup(), &case()).unwrap();
    let text = plan.to_string();
    for words in [
        "1. Prepare",
        "20 L",
        "2 L of concentrate stirred into 198 L of water",
        "65 L of concentrate and 935 L of water",
        "waste        1220 L",
        "hydrogen sulfide",
        "12 01 09*",
        "never to the sewer",
        "8. Circulate and measure",
        "sumpward entry mill hand-reading nitrite VALUE",
    ] {
        assert!(text.contains(words), "{words} is not in\n{text}");
    }
    for caution in &plan.cautions {
        assert!(text.contains(caution.words()));
    }
    for step in &plan.steps {
        assert!(step.cautions.iter().all(|one| plan.cautions.contains(one)));
    }
}

#[test]
fn json_has_units_in_its_names() {
    let plan = plan(&setup(), &case()).unwrap();
    let json = serde_json::to_value(&plan).unwrap();
    assert_eq!(json["totals"]["waste_l"], 1220.0);
    assert_eq!(json["steps"][2]["hours_h"], 12.0);
    assert_eq!(json["volume_source"]["source"], "given");
    assert_eq!(json["cautions"][0], "confined_space_entry");
}

#[test]
fn refuses_what_is_no_clean_out() {
    let refused = |change: &dyn Fn(&mut RechargeCase)| {
        let mut case = case();
        change(&mut case);
        plan(&setup(), &case).unwrap_err().to_string()
    };
    assert!(refused(&|case| case.volume = Volume::from_litres(0.0)).contains("more than 0 L"));
    assert!(refused(&|case| case.rest = 0.6).contains("60 %"));
    assert!(refused(&|case| case.target = Concentration::from_percent(19.5)).contains("20.50 %"));
    let rich = refused(&|case| {
        case.old = Concentration::from_percent(90.0);
        case.rest = 0.5;
    });
    assert!(rich.contains("drain further"), "{rich}");
}

proptest! {
    #[test]
    fn volume_and_concentrate_are_kept(
        volume in 50f64..50_000.0, rest in 0f64..0.3, target in 2f64..12.0,
        rinses in 1u16..6, rinse_share in 0.05f64..0.5, rinse in 0f64..2.0, room in 0f64..0.1,
        old_share in 0.2f64..1.05, step in prop::option::of(0.1f64..20.0),
    ) {
        let setup = RechargeSetup {
            rinses,
            rinse_share,
            rinse_strength: Concentration::from_percent(rinse),
            ..setup()
        };
        let case = RechargeCase {
            volume: Volume::from_litres(volume),
            old_volume: Volume::from_litres(old_share * volume),
            head_room: Volume::from_litres(room * volume),
            old: Concentration::from_percent(target),
            target: Concentration::from_percent(target),
            rest,
            measure: step.map(measure),
            ..case()
        };
        let plan = plan(&setup, &case).unwrap();
        let step = step.unwrap_or(0.0);
        let cleaner = plan.cleaning.cleaner_l.unwrap();
        let small = 1e-9 * volume;
        // The cleaner fits in, and what went in came out or is there.
        let old = old_share * volume;
        prop_assert!(old - plan.cleaning.draw_off_l + cleaner <= old + room * volume + small);
        let into = old + cleaner + plan.totals.concentrate_l + plan.totals.water_l;
        let over = into - plan.totals.waste_l - volume;
        prop_assert!(over < 10.0 * small && over > -step - 10.0 * small, "{over}");
        // The new charge is as strong as it was to be.
        let held = plan.rest.strength_pct / 100.0 * plan.rest.volume_l;
        let strength = 100.0 * (plan.fill.concentrate_l + held) / volume;
        let half_a_step = 50.0 * step / volume;
        prop_assert!((strength - plan.fill.strength_pct).abs() <= half_a_step + 1e-9);
        prop_assert!(plan.fill.water_first_l >= -small && plan.fill.premix_strength_pct <= 20.0 + 1e-9);
        // One rinse fewer than needed is too few.
        let needed = plan.rest.rinses_needed;
        prop_assert_eq!(plan.rest.carry_over_pct < 5.0, rinses >= needed);
    }
}
