use std::sync::Arc;

use super::Told;
use super::used::{KeptUse, SumpUse, TooStrong};
use crate::daemon::stock::{StockUse, Uses};
use crate::model::money::{
    Consumption, Currency, Litres, Movement, OverStrength, Prices, UnitPrice,
};
use crate::settings::StockSettings;
use crate::units::{Measured, Span, Timestamp, Volume};

fn at(text: &str) -> Timestamp {
    Timestamp::parse(text).unwrap()
}

/// A sump that used so much concentrate on each of these days of November.
fn used(days: &[(u8, f64)]) -> Consumption {
    let mut consumption = Consumption::default();
    for (day, concentrate_l) in days {
        let litres = Litres {
            concentrate_l: *concentrate_l,
            water_l: 100.0,
            drained_l: 0.0,
        };
        let time = at(&format!("2026-11-{day:02}T08:00:00Z"));
        consumption.add(&Movement { time, litres }).unwrap();
    }
    consumption
}

fn prices() -> Prices {
    Prices {
        currency: Currency::EURO,
        concentrate: Some(UnitPrice::from_per_litre(5.0)),
        water: None,
        disposal: Some(UnitPrice::from_per_litre(0.5)),
        labour_per_change_out: None,
    }
}

fn stock(counted: &str) -> StockSettings {
    StockSettings {
        least: Span::from_hours(14 * 24),
        fluid: "blue".into(),
        litres: Volume::from_litres(400.0),
        counted: counted.parse().unwrap(),
    }
}

const NOW: &str = "2026-11-25T12:00:00Z";

#[test]
fn the_text_has_litres_money_and_what_it_lacks() {
    let mut consumption = used(&[(2, 8.0), (20, 4.0)]);
    consumption.begin_charge(at("2026-11-10T06:00:00Z"));
    let over = TooStrong {
        currency: Currency::EURO,
        cost: OverStrength {
            on_board: Measured::new(40.0, 10.0),
            per_day: Measured::new(1.0, 1.0),
        },
    };
    let told = Told {
        sumps: vec![
            SumpUse {
                sump: "cell-a".into(),
                title: "Cell A".into(),
                fluid: "Blue".into(),
                kept: Some(KeptUse::new(
                    at(NOW),
                    &consumption,
                    Some(&prices()),
                    Some(over),
                )),
            },
            SumpUse {
                sump: "cell-b".into(),
                title: "Cell B".into(),
                fluid: "Blue".into(),
                kept: None,
            },
        ],
        stock: Vec::new(),
    };
    let expected = "\
Cell A (cell-a), Blue, as of 2026-11-25T12:00:00Z
   charge of 2026-11-10T06:00:00Z
                   concentrate       water     drained
   this charge           4.0 L     100.0 L       0.0 L   20.00 EUR (unpriced: water)
   last 7 days           4.0 L     100.0 L       0.0 L   20.00 EUR (unpriced: water)
   last 31 days         12.0 L     200.0 L       0.0 L   60.00 EUR (unpriced: water)
   2026-11              12.0 L     200.0 L       0.0 L   60.00 EUR (unpriced: water)
   Too strong a mix: 40.00 (23.55 to 56.45) EUR of concentrate too much on board, 1.00 (0.00 to 2.64) EUR more a day.

Cell B (cell-b), Blue
   nothing is kept of it yet
";
    assert_eq!(told.to_string(), expected);
    let json = serde_json::to_value(&told).unwrap();
    assert_eq!(json["sumps"][0]["charge"]["concentrate_l"], 4.0);
    assert_eq!(json["sumps"][0]["months"][0]["month"], "2026-11");
    assert_eq!(
        json["sumps"][0]["last_31_days"]["cost"]["unpriced"][0],
        "water"
    );
    assert_eq!(json["sumps"][1].get("as_of"), None);
}

/// Worked out by hand: 2, 6, 2, 6 L and 1, 1, 3, 3 L on the four whole days
/// before the 25th, means 4 and 2 L with s²/n of 16/12 and 4/12.
#[test]
fn the_use_of_all_sumps_is_taken_from_the_stock() {
    let days = |litres: [f64; 4]| {
        let days: Vec<_> = (21u8..).zip(litres).collect();
        used(&days)
    };
    let (one, two) = (days([2.0, 6.0, 2.0, 6.0]), days([1.0, 1.0, 3.0, 3.0]));
    let names: [Arc<str>; 3] = ["a", "b", "c"].map(Into::into);
    let uses = [
        Uses {
            sump: &names[0],
            kept: Some((at(NOW), &one)),
        },
        Uses {
            sump: &names[1],
            kept: Some((at(NOW), &two)),
        },
        Uses {
            sump: &names[2],
            kept: None,
        },
    ];
    let told = StockUse::new(&stock("2026-11-23"), &uses);
    assert_eq!(told.used_since_l, 14.0);
    assert_eq!((told.left_l, &told.known_from), (386.0, &None));
    let daily = told.daily_use_l.unwrap();
    assert!((daily.value - 6.0).abs() < 1e-12);
    assert!((daily.uncertainty - (20.0f64 / 12.0).sqrt()).abs() < 1e-12);
    let cover = told.cover.unwrap();
    assert!((cover.days - 386.0 / 6.0).abs() < 1e-12);
    assert_eq!(
        told.to_string(),
        "Stock of blue\n   \
         400 L counted on 2026-11-23, 14.0 L used since, 386 L left\n   \
         6.0 (3.9 to 8.1) L a day, by a, b\n   \
         use a day not known yet: c\n   \
         lasts 64 days (48 to 100)\n"
    );
}

#[test]
fn what_was_used_before_days_are_known_is_told_as_missing() {
    let consumption = used(&[(20, 5.0)]);
    let sump: Arc<str> = "a".into();
    let uses = [Uses {
        sump: &sump,
        kept: Some((at("2026-11-20T12:00:00Z"), &consumption)),
    }];
    let told = StockUse::new(&stock("2026-11-01"), &uses);
    assert_eq!(told.known_from.as_deref(), Some("2026-11-20"));
    let text = told.to_string();
    assert!(text.contains("from 2026-11-20 on only"), "{text}");
    assert!(text.contains("cannot be told yet"), "{text}");
    // More used than there was: nothing is left, not less than nothing.
    let consumption = used(&[(20, 500.0)]);
    let uses = [Uses {
        sump: &sump,
        kept: Some((at(NOW), &consumption)),
    }];
    assert_eq!(StockUse::new(&stock("2026-11-20"), &uses).left_l, 0.0);
}
