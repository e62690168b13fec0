//! Prices, cleaners, stock and how clean-outs are made.

use super::{read, read_with, told};
use crate::advice::recharge::CleanerContent;
use crate::cli::recharge::{self, Ask};
use crate::engine::ChoiceLimits;
use crate::units::{Concentration, Span, Volume};

const WRITTEN: &str = r#"
[prices]
currency = "EUR"
water = "4 EUR/m3"
[fluid.soluble-a]
price = "5.20 EUR/L"
[cleaner.alkaline]
contains_biocide = false
share = "2 %"
[stock.soluble-a]
litres = "400 L"
counted = "2026-11-20"
"#;

#[test]
fn prices_meet_at_the_sump() {
    let settings = read(WRITTEN).unwrap();
    let prices = settings.sumps[0].prices.unwrap();
    assert_eq!(prices.concentrate.unwrap().per_litre(), 5.2);
    assert_eq!(prices.water.unwrap().per_litre(), 0.004);
    assert_eq!(prices.disposal, None);
    assert_eq!(settings.stocks[0].litres, Volume::from_litres(400.0));
    assert_eq!(read("").unwrap().sumps[0].prices, None);
}

#[test]
fn a_price_needs_the_plants_currency() {
    told(
        "[fluid.soluble-a]\nprice = \"5.20 EUR/L\"\n",
        &[
            "plant.toml: prices.currency: is missing; write for example currency = \"EUR\" under [prices], as fluids have prices",
        ],
    );
    told(
        "[prices]\ncurrency = \"EUR\"\nwater = \"4 USD/m3\"\ndisposal = \"0.35\"\nlabour_per_change_out = \"180 eur\"\n",
        &[
            "z.toml:3:9: prices.water: \"4 USD\" is not in EUR, the currency under [prices]; write all prices in it",
            "z.toml:4:12: prices.disposal: \"0.35\" is not a price; write it as \"5.20 EUR/L\"",
            "z.toml:5:25: prices.labour_per_change_out: \"180 eur\" is not a price; write it as \"180 EUR\"",
        ],
    );
}

#[test]
fn an_amount_of_biocide_is_refused() {
    told(
        "[cleaner.strong]\ncontains_biocide = true\nshare = \"2 %\"\n",
        &[
            "z.toml:3:1: cleaner.strong.share: the cleaner holds a biocide (contains_biocide = true), and an amount of biocide is never told here; leave this out: amounts only from the supplier's data sheet, by appointed persons",
        ],
    );
    told(
        "[cleaner.strong]\nshare = \"2 %\"\n",
        &[
            "z.toml:1:10: cleaner.strong.contains_biocide: is missing; write for example contains_biocide = true, or false where its data sheet says so",
        ],
    );
    let settings = read("[cleaner.strong]\ncontains_biocide = true\n").unwrap();
    let cleaner = settings.sumps[0].recharge.cleaner.as_ref().unwrap();
    assert_eq!(cleaner.content, CleanerContent::Biocide);
}

#[test]
fn one_of_several_cleaners_must_be_chosen() {
    let two = "[cleaner.a]\ncontains_biocide = true\n[cleaner.b]\ncontains_biocide = true\n";
    told(
        two,
        &[
            "plant.toml:8:7: sump.cell-a.recharge.cleaner: is missing; write for example cleaner = \"alkaline\", or false, as there are several cleaners",
        ],
    );
    let with = |choice: &str| {
        let text = format!("{two}[sump.cell-a.recharge]\ncleaner = {choice}\n");
        read(&text).unwrap().sumps[0].recharge.cleaner.clone()
    };
    assert_eq!(with("false"), None);
    assert_eq!(with("\"b\"").unwrap().title, "b");
    told(
        "[sump.cell-a.recharge]\ncleaner = \"c\"\n",
        &[
            "z.toml:2:11: sump.cell-a.recharge.cleaner: there is no cleaner \"c\"; there is none to choose from",
        ],
    );
}

#[test]
fn the_first_fill_stays_within_the_strongest_premix() {
    told(
        "[sump.cell-a.recharge]\nfirst_fill_surplus = \"3 %\"\n[sump.cell-a.dose]\nstrongest_premix = \"10 %\"\n",
        &[
            "z.toml:2:22: sump.cell-a.recharge.first_fill_surplus: 3 % is not allowed; allowed is 0 to 10 %, and with the target at most dose.strongest_premix, here 2 %",
        ],
    );
    let settings = read("[sump.cell-a.dose]\nstrongest_premix = \"8.5 %\"\n").unwrap();
    let surplus = settings.sumps[0].recharge.first_fill_surplus;
    assert!((surplus.percent() - 0.5).abs() < 1e-12);
}

#[test]
fn a_stock_is_of_a_fluid_and_of_a_day() {
    told(
        "[stock.soluble-b]\nlitres = \"400 L\"\ncounted = \"last week\"\n",
        &[
            "z.toml:1:8: stock.soluble-b: there is no fluid \"soluble-b\"; did you mean \"soluble-a\"?",
            "z.toml:3:11: stock.soluble-b.counted: \"last week\" is not a date; write it as \"2026-03-02\"",
        ],
    );
}

#[test]
fn the_plan_follows_the_settings() {
    let mut settings = read_with(WRITTEN, &[]).unwrap();
    let nowhere = tempfile::tempdir().unwrap();
    settings.store.folder = nowhere.path().to_owned();
    let mut ask = Ask {
        sump: "cell-a".into(),
        volume: Some(Volume::from_litres(1000.0)),
        rest: 0.0,
        plan_only: false,
        json: true,
    };
    let text = recharge::told(&settings, &ask).unwrap();
    let both: serde_json::Value = serde_json::from_str(&text).unwrap();
    // Nothing is kept of it yet.
    assert_eq!(both["choice"], serde_json::Value::Null);
    let plan = &both["plan"];
    // A target of 8 % and one point: 90 L, and 2 L for the rinse.
    assert_eq!(plan["totals"]["concentrate_l"], 92.0);
    assert_eq!(plan["cleaning"]["cleaner_l"], 20.0);
    assert_eq!(plan["stock"]["counted"], "2026-11-20");
    assert_eq!(plan["volume_source"]["source"], "given");
    ask.plan_only = true;
    let alone = recharge::told(&settings, &ask).unwrap();
    assert_eq!(
        &serde_json::from_str::<serde_json::Value>(&alone).unwrap(),
        plan
    );
    ask.json = false;
    let alone = recharge::told(&settings, &ask).unwrap();
    assert!(alone.starts_with("Clean-out and recharge"), "{alone}");
    ask.plan_only = false;
    ask.volume = None;
    let text = recharge::told(&settings, &ask).unwrap();
    assert!(text.contains("820 L by the settings"), "{text}");
    assert!(text.contains("cannot be weighed"), "{text}");
    assert!(text.contains("400 L of concentrate counted on 2026-11-20"));
    ask.sump = "cell-b".into();
    let fault = recharge::told(&settings, &ask).unwrap_err().to_string();
    assert_eq!(
        fault,
        "there is no sump \"cell-b\"; did you mean \"cell-a\"?"
    );
    ask.sump = "cell-a".into();
    ask.rest = Concentration::from_percent(60.0).fraction();
    assert!(recharge::told(&settings, &ask).is_err());
}

#[test]
fn the_choice_is_the_plants() {
    let settings = read("").unwrap();
    assert_eq!(settings.sumps[0].choice, ChoiceLimits::default());
    let written = "[choice]\nnitrite = \"30 mg/L\"\nph_drop = [0.4, 0.9]\nbacteria = [\"1e4 CFU/mL\", \"1e7 CFU/mL\"]\nusual_life = \"100 d\"\ngoal = \"70 %\"\nmost_swaps = 2\n";
    let choice = read(written).unwrap().sumps[0].choice;
    let expected = ChoiceLimits {
        nitrite_mg_l: 30.0,
        ph_drop_ask: 0.4,
        ph_drop_change: 0.9,
        bacteria_review: 1e4,
        bacteria_clean: 1e7,
        usual_life: Span::from_hours(2400),
        goal: 0.7,
        most_swaps: 2,
        ..ChoiceLimits::default()
    };
    assert_eq!(choice, expected);
    told(
        "[choice]\nph_drop = [1.0, 0.5]\nlargest_swap = \"100 %\"\nmost_swaps = 0\nusual_life = \"1 h\"\n",
        &[
            "z.toml:2:11: choice.ph_drop: 1 and then 0.5 is not allowed; allowed is two values from 0 up, the second above the first",
            "z.toml:3:16: choice.largest_swap: 1 is not allowed; allowed is 0.05 to 0.9",
            "z.toml:4:14: choice.most_swaps: 0 is not allowed; allowed is 1 to 20",
            "z.toml:5:14: choice.usual_life: 1 h is not allowed; allowed is 1 d to 3650 d",
        ],
    );
}
