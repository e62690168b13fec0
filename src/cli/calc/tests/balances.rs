//! Make-up, drift, volumes and hardness from the command line.

use super::*;
use crate::model::DoseVolumeSetup;

/// The reason why the answer is no.
fn no(arguments: &[&str]) -> String {
    let outcome = call(arguments, true);
    assert_eq!(outcome.verdict, Verdict::Refused, "{}", outcome.text);
    let object: Value = serde_json::from_str(&outcome.text).unwrap();
    object["refused"].as_str().unwrap().to_owned()
}

#[test]
fn water_is_what_is_added_unless_a_strength_is_given() {
    let call = ["top-up", "volume=900L", "concentration=9%", "added=100L"];
    let after = answer(&call);
    assert!((after["concentration_pct"].as_f64().unwrap() - 8.1).abs() < 1e-9);
    assert_eq!(after["inputs"]["strength"], "0 %");
    let told = mistakes(&["top-up", "volume=900L", "concentration=9%", "added=-1L"]);
    assert_eq!(told, ["the volume added is -1.0 L; give 0 L or more"]);
}

#[test]
fn an_addition_knows_how_much_goes_in() {
    let lean = [
        "addition",
        "volume=1000L",
        "concentration=4.5%",
        "target-concentration=6%",
        "strength=100%",
    ];
    let free = answer(&lean);
    assert!((free["add_l"].as_f64().unwrap() - 750.0 / 47.0).abs() < 1e-9);
    assert_eq!(free["water_to_add_l"], 0.0);
    let with = |most| [&lean[..], &[most]].concat();
    answer(&with("highest-volume=1020L"));
    let told = no(&with("highest-volume=1010L"));
    assert!(
        told.contains("would hold 1016.0 L, more than 1010.0 L"),
        "{told}"
    );
}

#[test]
fn what_cannot_be_mixed_is_a_no() {
    let lean = [
        "exchange",
        "volume=1000L",
        "concentration=4.5%",
        "target-concentration=6%",
        "strength=5%",
    ];
    assert!(no(&lean).starts_with("6.00 % cannot be had from 5.00 % and 4.50 %"));
    assert!(no(&["pearson-square", "strong=5%", "target=6%"]).contains("cannot be had"));
    let losses = ["evaporation=40L/d", "carry-off=0L/d"];
    let settles = [&["steady-concentration", "premix=3%"], &losses[..]].concat();
    assert!(no(&settles).starts_with("without carry-off"));
    let holds = [&["holding-strength", "concentration=8%"], &losses[..]].concat();
    assert_eq!(answer(&holds)["premix_strength_pct"], 0.0);
}

#[test]
fn a_drift_says_what_is_asked_and_no_more() {
    let sump = [
        "drift",
        "volume=1000L",
        "concentration=6%",
        "evaporation=0 L/d",
        "carry-off=2.5 L/h",
    ];
    let with = |more: &[&'static str]| [&sump[..], more].concat();
    let told = mistakes(&sump);
    assert!(
        told[0].starts_with("give time, lowest-volume or"),
        "{told:?}"
    );
    let days = answer(&with(&["lowest-volume=700L", "highest-concentration=8%"]));
    assert_eq!(days["days_to_lowest_volume"], 5.0);
    assert_eq!(days["days_to_highest_concentration"], Value::Null);
    assert_eq!(days.get("volume_l"), None);
    let told = no(&with(&["time=20d"]));
    assert!(told.contains("after 16.67 d"), "{told}");
    let told = mistakes(&with(&["time=-1d"]));
    assert!(told[0].starts_with("the time is"), "{told:?}");
}

#[test]
fn volumes_are_pooled_and_judged() {
    let call = |doses, more: &[&'static str]| [&["volume-by-dose", doses], more].concat();
    let number = |answer: &Value, key: &str| answer[key].as_f64().unwrap();
    let one = answer(&call("doses=10L:5%:6.2%", &[]));
    let two = answer(&call("doses=10L:5%:6.2%, 10L:5%:6.2%", &[]));
    assert!((number(&two, "volume_l") - 2345.0 / 3.0).abs() < 1e-9);
    assert!(number(&two, "standard_uncertainty_l") < number(&one, "standard_uncertainty_l"));
    assert_eq!(one.get("judgement"), None);
    let judged = answer(&call(
        "doses=10L:5%:6.2%, 10L:5%:6.2%",
        &["settings-volume=1000L"],
    ));
    assert_eq!(judged["judgement"], "holds_less");
    assert_eq!(number(&judged, "volume_l"), number(&two, "volume_l"));
    let lenient = ["settings-volume=1000L", "least-off=30%"];
    let judged = answer(&call("doses=10L:5%:6.2%, 10L:5%:6.2%", &lenient));
    assert_eq!(judged["judgement"], "agrees");

    let told = no(&call("doses=10L:5%:5.2%", &[]));
    assert!(told.starts_with("a step of 0.20 points"), "{told}");
    let told = mistakes(&call("doses=10L:5%:4%", &[]));
    assert!(told[0].starts_with("an addition of 100 %"), "{told:?}");
    let told = mistakes(&call(
        "doses=10L:5%",
        &["least-step=-1", "factor-uncertainty=3"],
    ));
    assert_eq!(told.len(), 3, "{told:?}");
    assert!(told[0].contains("\"10L:5%\" is not a dose"), "{told:?}");
    assert!(told[1].contains("\"3\" is not a share"), "{told:?}");
    assert_eq!(told[2], "least-step is -1; give 0 or more");
}

#[test]
fn the_factor_has_no_part_where_strength_and_sump_are_read_alike() {
    let call = |more: &[&'static str]| {
        let plain = ["volume-by-dose", "doses=60L:5%:6.2%", "strength=15%"];
        answer(&[&plain[..], more].concat())["standard_uncertainty_l"].clone()
    };
    let alike = "strength-by=read-alike";
    let uncertain = "factor-uncertainty=20%";
    assert_eq!(call(&[alike]), call(&[alike, uncertain]));
    assert!(call(&[uncertain]).as_f64() > call(&[]).as_f64());
}

/// The defaults told are those that the model has.
#[test]
fn defaults_of_a_volume_are_those_of_the_model() {
    let setup = DoseVolumeSetup::default();
    let plain = answer(&["volume-by-dose", "doses=10L:5%:6.2%"]);
    let default = |key: &str| {
        let text = plain["inputs"][key].as_str().unwrap();
        let number: f64 = text.trim_end_matches(" %").parse().unwrap();
        number
    };
    assert_eq!(default("least-step"), setup.least_step_sigmas);
    assert_eq!(default("least-off") / 100.0, setup.least_off);
    assert_eq!(
        default("factor-uncertainty") / 100.0,
        setup.factor_uncertainty
    );
}

#[test]
fn hardness_takes_any_unit_or_both_ions() {
    let degrees = answer(&["hardness", "hardness=12 °dH"]);
    for (key, want) in [
        ("hardness_mg_l_caco3", 214.1759),
        ("hardness_clark", 15.0259),
    ] {
        assert!(
            (degrees[key].as_f64().unwrap() - want).abs() < 1e-4,
            "{key}"
        );
    }
    assert_eq!(degrees["hardness_dh"], 12.0);
    let told = mistakes(&["hardness", "calcium=80mg/L"]);
    assert!(told[0].starts_with("magnesium is missing for"), "{told:?}");
    let both = "give either hardness, or calcium and magnesium";
    assert_eq!(mistakes(&["hardness"]), [both]);
    assert_eq!(
        mistakes(&["hardness", "hardness=1°dH", "calcium=1mg/L"]),
        [both]
    );
}

#[test]
fn a_share_is_written_in_per_cent() {
    let wait = |share| ["mixing-time", "volume=1000L", "circulation=3m3/h", share];
    let most = answer(&wait("share=99 %"));
    assert!((most["mixing_min"].as_f64().unwrap() - 92.103_404).abs() < 1e-6);
    for wrong in ["share=0.99", "share=101%", "share=nan%"] {
        assert!(
            mistakes(&wait(wrong))[0].contains("is not a share"),
            "{wrong}"
        );
    }
    let told = mistakes(&wait("share=100%"));
    assert!(
        told[0].starts_with("the share of the step is 100 %"),
        "{told:?}"
    );
}

#[test]
fn minerals_pile_up_to_an_end_or_without() {
    let sump = |more: &[&'static str]| {
        let plain = [
            "mineral-build-up",
            "volume=1000L",
            "concentration=6%",
            "evaporation=50L/d",
            "now=188mg/L",
            "water=200mg/L",
        ];
        [&plain[..], more].concat()
    };
    let never = answer(&sump(&["carry-off=20L/d", "limit=700mg/L"]));
    assert_eq!(never["days_to_limit"], Value::Null);
    let endless = answer(&sump(&["carry-off=0L/d", "limit=388mg/L", "time=10d"]));
    assert_eq!(endless["steady_mg_l"], Value::Null);
    assert_eq!(endless["days_to_limit"], 20.0);
    assert_eq!(endless["content_mg_l"], 288.0);
    let told = mistakes(&sump(&["carry-off=20L/d", "time=-1d"]));
    assert!(told[0].starts_with("the time is"), "{told:?}");

    let blend = [
        "tap-share",
        "concentration=6%",
        "evaporation=50L/d",
        "carry-off=20L/d",
        "tap=200mg/L",
    ];
    let with = |more: &[&'static str]| [&blend[..], more].concat();
    assert_eq!(answer(&with(&["limit=700mg/L"]))["tap_share_pct"], 100.0);
    let told = no(&with(&["limit=344mg/L", "purified=120mg/L"]));
    assert!(told.starts_with("no share of tap water"), "{told}");
    let told = mistakes(&with(&["limit=-1mg/L"]));
    assert_eq!(told, ["limit is -1.0 mg/L; give 0 mg/L or more"]);
}

#[test]
fn several_mixes_make_a_factor() {
    let mixes = "mixes=2.2Bx:2.5%, 4.2Bx:5%, 6.2Bx:7.5%, 8.2Bx:10%";
    let factor = answer(&["factor", mixes, "water-zero=0.2Bx"]);
    let got = factor["factor_pct_per_bx"].as_f64().unwrap();
    assert!((got - 1.25).abs() < 1e-9, "{got}");
    let told = mistakes(&["factor", "mixes=0.1Bx:5%", "water-zero=0.2Bx"]);
    assert!(
        told[0].starts_with("mix 1 reads 0.10 °Bx, not above"),
        "{told:?}"
    );
}

#[test]
fn costs_are_none_at_the_target_and_refused_below_nothing() {
    let sump = |concentration, price| {
        let plain = [
            "over-strength",
            "volume=1000L",
            "target-concentration=6%",
            "carry-off=20L/d",
        ];
        [&plain[..], &[concentration, price]].concat()
    };
    let lean = answer(&sump("concentration=5%", "concentrate-price=5"));
    assert_eq!(lean["on_board"], 0.0);
    let told = mistakes(&sump("concentration=8%", "concentrate-price=-5"));
    assert_eq!(told, ["concentrate-price is -5; give 0 or more"]);
    let told = mistakes(&[
        "change-out-cost",
        "volume=1000L",
        "disposal-price=1",
        "life=0d",
    ]);
    assert!(
        told[0].starts_with("the life is 0 s; give more"),
        "{told:?}"
    );
}

#[test]
fn a_recharge_counts_what_stays() {
    let sump = |more: &[&'static str]| {
        let plain = [
            "recharge",
            "volume=1000L",
            "old-concentration=4%",
            "target-concentration=5%",
            "rinse-strength=0%",
        ];
        [&plain[..], more].concat()
    };
    // 100 L at 4 % stay; a rinse of 200 L leaves a third of that strength.
    let plan = answer(&sump(&["rest=10%"]));
    let number = |key: &str| plan[key].as_f64().unwrap();
    assert!((number("rest_strength_pct") - 4.0 / 3.0).abs() < 1e-9);
    assert!((number("carry_over_pct") - 10.0 / 3.0).abs() < 1e-9);
    assert!((number("fill_concentrate_l") - (60.0 - 4.0 / 3.0)).abs() < 1e-9);
    assert!((number("waste_l") - (900.0 + 200.0)).abs() < 1e-9);
    let told = mistakes(&sump(&["rinses=0.5", "first-fill-surplus=-1%"]));
    assert_eq!(told.len(), 2, "{told:?}");
    let told = mistakes(&sump(&["rest=60%"]));
    assert!(
        told[0].starts_with("a rest of 60 % of the volume"),
        "{told:?}"
    );
}

#[test]
fn a_mixer_that_agrees_within_its_reading_is_left_alone() {
    let mixer = |more: &[&'static str]| [&["mixer-correction", "setting=6%"], more].concat();
    let told = answer(&mixer(&["reading=5.9%", "uncertainty=0.1%"]));
    assert_eq!(told["new_setting_pct"], Value::Null);
    assert!(told["gives_of_setting_pct"].as_f64() < Some(100.0));
    let told = no(&mixer(&["reading=0.3%", "uncertainty=0.1%"]));
    assert!(told.contains("draws concentrate"), "{told}");
    let told = mistakes(&mixer(&["reading=0%", "uncertainty=-1%"]));
    assert_eq!(told.len(), 2, "{told:?}");
}
