use proptest::prelude::*;

use super::*;
use crate::advice::recharge::tests::{case, setup};
use crate::advice::recharge::{self, RechargeCase};
use crate::model::money::{Currency, UnitPrice};
use crate::model::souring::Souring;

fn healthy() -> Evidence {
    Evidence {
        volume: Volume::from_litres(1000.0),
        target: Concentration::from_percent(6.0),
        contents: Vec::new(),
        ph_drop: Some(0.1),
        souring: None,
        bacteria: Some(100.0),
        fungi: None,
        tramp_oil: None,
        age: None,
        prices: None,
    }
}

fn content(quantity: Quantity, value: f64, limit: f64, fresh: f64) -> Content {
    Content {
        quantity,
        value: Measured::new(value, 0.0),
        limit,
        fresh,
    }
}

fn chosen(evidence: &Evidence) -> Choice {
    let totals = recharge::totals(&setup(), &case()).unwrap();
    choose(&ChoiceLimits::default(), evidence, &totals)
}

fn first(evidence: &Evidence) -> Remedy {
    chosen(evidence).courses[0].remedy.clone()
}

fn cleans_out(evidence: &Evidence) -> bool {
    matches!(first(evidence), Remedy::CleanOut { .. })
}

/// How much is exchanged in the first course.
fn exchanged(evidence: &Evidence) -> Option<Exchange> {
    match first(evidence) {
        Remedy::PartialExchange { exchange } => exchange,
        _ => None,
    }
}

#[test]
fn a_healthy_sump_goes_on() {
    assert_eq!(first(&healthy()), Remedy::GoOn);
}

#[test]
fn salts_are_thinned_by_one_swap_less_what_is_to_stay() {
    let mut evidence = healthy();
    evidence.contents = vec![content(Quantity::Chloride, 250.0, 200.0, 0.0)];
    let exchange = exchanged(&evidence).unwrap();
    // From 250 to 160 mg/L: q = 0.64, s = 0.36.
    assert_eq!(exchange.swaps, 1);
    assert!((exchange.share_pct - 36.0).abs() < 1e-9);
    assert!((exchange.waste_l - 360.0).abs() < 1e-9);
    assert!((exchange.concentrate_l - 21.6).abs() < 1e-9);
    // Where the water brings 35 mg/L, (250 − 160)/(250 − 35).
    evidence.contents[0].fresh = 35.0;
    let share = exchanged(&evidence).unwrap().share_pct;
    assert!((share - 100.0 * 90.0 / 215.0).abs() < 1e-9);
}

#[test]
fn much_of_it_takes_several_swaps() {
    let mut evidence = healthy();
    evidence.contents = vec![content(Quantity::Hardness, 2000.0, 800.0, 0.0)];
    let exchange = exchanged(&evidence).unwrap();
    // q = 0.32: one swap of 68 % is too large, two leave √0.32 each.
    assert_eq!(exchange.swaps, 2);
    assert!((exchange.share_pct - 100.0 * (1.0 - 0.32f64.sqrt())).abs() < 1e-9);
    assert!((exchange.left_pct - 32.0).abs() < 1e-9);
}

#[test]
fn an_exchange_with_hard_water_never_gets_there() {
    let mut evidence = healthy();
    evidence.contents = vec![content(Quantity::Hardness, 900.0, 800.0, 650.0)];
    let choice = chosen(&evidence);
    let exchange = choice
        .courses
        .iter()
        .find(|course| matches!(course.remedy, Remedy::PartialExchange { exchange: None }));
    let against = &exchange.unwrap().reasons_against;
    assert!(
        against
            .iter()
            .any(|reason| reason.words.contains("better water first"))
    );
}

/// TRGS 611, 5.3 (3): above 20 mg/L, so that 20 mg/L is still within.
#[test]
fn nitrite_above_its_limit_is_acted_on() {
    let mut evidence = healthy();
    evidence.contents = vec![content(Quantity::Nitrite, 20.0, 20.0, 0.0)];
    assert_eq!(first(&evidence), Remedy::GoOn);
    evidence.contents = vec![content(Quantity::Nitrite, 25.0, 20.0, 0.0)];
    assert!(exchanged(&evidence).is_some());
    let text = chosen(&evidence).to_string();
    assert!(
        text.contains("inhibitor in agreement with the maker"),
        "{text}"
    );
    let courses = chosen(&evidence).courses;
    let go_on = courses.iter().find(|course| course.remedy == Remedy::GoOn);
    assert!(go_on.unwrap().score < 0);
}

/// DGUV Regel 109-003, annex, test plan no. 2: more than 1.0.
#[test]
fn a_ph_more_than_one_below_the_first_fill_is_cleaned_out() {
    let mut evidence = healthy();
    evidence.ph_drop = Some(1.0);
    assert_eq!(first(&evidence), Remedy::GoOn);
    evidence.ph_drop = Some(1.1);
    assert!(cleans_out(&evidence));
}

/// HSE: from 10⁶ CFU/mL drain and clean.
#[test]
fn a_million_bacteria_are_cleaned_out() {
    let mut evidence = healthy();
    evidence.bacteria = Some(1e5);
    assert_eq!(first(&evidence), Remedy::GoOn);
    evidence.bacteria = Some(1e6);
    evidence.contents = vec![content(Quantity::Nitrite, 25.0, 20.0, 0.0)];
    assert!(cleans_out(&evidence));
}

#[test]
fn a_sour_sump_is_not_exchanged_in_part() {
    let mut evidence = healthy();
    evidence.bacteria = None;
    evidence.souring = Some(Souring::Likely);
    assert_eq!(first(&evidence), Remedy::GoOn);
    evidence.souring = Some(Souring::Certain);
    assert!(cleans_out(&evidence));
    let text = chosen(&evidence).to_string();
    assert!(text.contains("A part that stays brings it back"), "{text}");
}

#[test]
fn there_is_a_choice_only_once_a_limit_is_breached() {
    let breached = |change: &dyn Fn(&mut Evidence)| {
        let mut evidence = healthy();
        change(&mut evidence);
        ChoiceLimits::default().are_breached(&evidence)
    };
    assert!(!breached(&|_| ()));
    assert!(!breached(&|one| one.ph_drop = Some(0.5)));
    assert!(breached(&|one| one.ph_drop = Some(0.6)));
    assert!(breached(&|one| one.bacteria = Some(1e3)));
    assert!(breached(&|one| one.tramp_oil = Some(4.1)));
    assert!(!breached(&|one| one.souring = Some(Souring::Watch)));
    assert!(breached(&|one| one.souring = Some(Souring::Likely)));
    let nitrite = content(Quantity::Nitrite, 20.5, 20.0, 0.0);
    assert!(breached(&|one| one.contents = vec![nitrite]));
}

#[test]
fn a_doubtful_excess_is_measured_again() {
    let mut evidence = healthy();
    let mut chloride = content(Quantity::Chloride, 210.0, 200.0, 0.0);
    chloride.value.uncertainty = 20.0;
    evidence.contents = vec![chloride];
    let text = chosen(&evidence).to_string();
    assert!(text.contains("measure again first"), "{text}");
}

#[test]
fn money_is_weighed_where_there_are_prices() {
    let prices = Prices {
        currency: Currency::new("EUR").unwrap(),
        concentrate: Some(UnitPrice::from_per_litre(5.0)),
        water: Some(UnitPrice::from_per_litre(0.004)),
        disposal: Some(UnitPrice::from_per_litre(0.5)),
        labour_per_change_out: Some(180.0),
    };
    let mut evidence = healthy();
    evidence.prices = Some(prices);
    evidence.contents = vec![content(Quantity::Chloride, 250.0, 200.0, 0.0)];
    let case = RechargeCase {
        prices: Some(prices),
        ..case()
    };
    let totals = recharge::totals(&setup(), &case).unwrap();
    let text = choose(&ChoiceLimits::default(), &evidence, &totals).to_string();
    // 21.6 L at 5, 338.4 L at 0.004, 360 L at 0.5.
    assert!(
        text.contains("It costs 289 EUR, a clean-out 1130 EUR."),
        "{text}"
    );
}

proptest! {
    #[test]
    fn every_course_is_there_and_biocide_is_never_first_nor_has_an_amount(
        nitrite in 0f64..60.0, chloride in 0f64..900.0, drop in -0.5f64..2.0, power in 0f64..8.0,
        fungi in 0f64..5.0, oil in 0f64..8.0, days in 0i64..2000,
    ) {
        let evidence = Evidence {
            contents: vec![
                content(Quantity::Nitrite, nitrite, 20.0, 0.0),
                content(Quantity::Chloride, chloride, 200.0, 50.0),
            ],
            ph_drop: Some(drop),
            bacteria: Some(10f64.powf(power)),
            fungi: Some(10f64.powf(fungi)),
            tramp_oil: Some(oil),
            age: Some(Span::from_hours(24 * days)),
            ..healthy()
        };
        let choice = chosen(&evidence);
        prop_assert_eq!(choice.courses.len(), 4);
        prop_assert!(choice.courses.windows(2).all(|pair| pair[0].score >= pair[1].score));
        prop_assert!(choice.courses[0].remedy != Remedy::Biocide);
        for course in &choice.courses {
            if let Remedy::PartialExchange { exchange: Some(exchange) } = &course.remedy {
                prop_assert!(exchange.share_pct <= 50.0 + 1e-9 && exchange.swaps <= 3);
                // Swap by swap down to the goal.
                for (start, limit, fresh) in [(nitrite, 20.0, 0.0), (chloride, 200.0, 50.0)] {
                    let after = (0..exchange.swaps).fold(start, |now, _| {
                        now + exchange.share_pct / 100.0 * (fresh - now)
                    });
                    prop_assert!(start <= limit || after <= 0.8 * limit + 1e-6);
                }
            }
            if course.remedy == Remedy::Biocide {
                let json = serde_json::to_value(course).unwrap();
                prop_assert!(json.as_object().unwrap().keys().all(|key| !key.ends_with("_l")));
                prop_assert!(course.cautions.contains(&Caution::Biocide));
            }
        }
    }
}
