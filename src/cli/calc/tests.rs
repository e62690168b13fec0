use proptest::prelude::*;
use serde_json::Value;

use super::*;

mod balances;
mod series;

fn call(arguments: &[&str], json: bool) -> CalcOutcome {
    let owned: Vec<String> = arguments.iter().map(|text| (*text).to_owned()).collect();
    run(&owned, json)
}

fn answer(arguments: &[&str]) -> Value {
    let outcome = call(arguments, true);
    assert_eq!(outcome.verdict, Verdict::Answered, "{}", outcome.text);
    serde_json::from_str(&outcome.text).unwrap()
}

fn mistakes(arguments: &[&str]) -> Vec<String> {
    let outcome = call(arguments, true);
    assert_eq!(outcome.verdict, Verdict::WrongUsage, "{}", outcome.text);
    let object: Value = serde_json::from_str(&outcome.text).unwrap();
    serde_json::from_value(object["mistakes"].clone()).unwrap()
}

const LOW_LEAN: [&str; 5] = [
    "dose",
    "volume=820L",
    "concentration=4.2%",
    "target-volume=1000L",
    "target-concentration=6%",
];

#[test]
fn every_worked_example_comes_out() {
    for calculation in REGISTRY {
        let mut arguments = vec![calculation.name];
        arguments.extend(calculation.example.arguments);
        let got = answer(&arguments);
        assert!(!calculation.example.results.is_empty());
        for (key, want) in calculation.example.results {
            let number = got[key].as_f64().unwrap();
            assert!(
                (number - want).abs() < 1e-4,
                "{arguments:?}: {key} {number}"
            );
        }
        assert_eq!(got["calculation"], calculation.name);
        assert_eq!(got["source"], calculation.source);
        let object = got.as_object().unwrap();
        for key in object.keys() {
            let about = ["calculation", "source", "inputs", "cautions"].contains(&key.as_str());
            assert!(
                about || calculation.results.iter().any(|field| field.key == key),
                "{key} is not declared"
            );
        }
        let text = call(&arguments, false).text;
        assert!(text.contains(calculation.formula) && text.contains(calculation.source));
    }
}

#[test]
fn defaults_can_be_read() {
    for calculation in REGISTRY {
        for parameter in calculation.parameters {
            if let parameter::Need::Default(text) = parameter.need() {
                parameter.check(text).unwrap();
            }
        }
    }
}

#[test]
fn a_dose_in_text_is_aligned_and_cautious() {
    let outcome = call(&LOW_LEAN, false);
    assert_eq!(outcome.verdict, Verdict::Answered);
    let head = "\
dose: what to drain and add to bring a sump to its target

given
  volume                820L
  concentration         4.2%
  target-volume         1000L
  target-concentration  6%

result
  drain                   0.0 L
  concentrate            25.6 L
  water                 154.4 L
  premix of both        180.0 L
  premix strength       14.20 %

formula  keep k = min(";
    assert!(outcome.text.starts_with(head), "{}", outcome.text);
    for caution in [
        "Never pour neat concentrate",
        "regulated waste",
        "rotating pumps",
        "gloves and goggles",
        "check the concentration again",
    ] {
        assert!(outcome.text.contains(caution), "{}", outcome.text);
    }
}

#[test]
fn a_dose_in_json_is_flat_and_not_rounded() {
    let swap = answer(&[
        "dose",
        "volume=1 m3",
        "concentration=4.5 %",
        "target-volume=1000 L",
        "target-concentration=6 %",
        "strongest-premix=20 %",
    ]);
    assert!((swap["limited_drain_l"].as_f64().unwrap() - 3000.0 / 31.0).abs() < 1e-9);
    assert_eq!(swap["limited_premix_strength_pct"], 20.0);
    assert_eq!(swap["inputs"]["volume"], "1 m3");
    let nested = swap.as_object().unwrap().values().filter(|v| v.is_object());
    assert_eq!(nested.count(), 1, "only the inputs are an object");

    let on_target = answer(&[
        "dose",
        "volume=1000L",
        "concentration=6%",
        "target-volume=1000L",
        "target-concentration=6%",
    ]);
    assert_eq!(on_target["premix_strength_pct"], Value::Null);
    assert_eq!(on_target["drain_l"], 0.0);
}

#[test]
fn a_premix_too_weak_is_a_no_and_not_a_mistake() {
    let mut arguments = LOW_LEAN.to_vec();
    arguments.push("strongest-premix=5%");
    let outcome = call(&arguments, false);
    assert_eq!(outcome.verdict, Verdict::Refused);
    assert_eq!(outcome.verdict.exit_status(), 1);
    assert!(
        outcome.text.contains("cannot bring the sump up to 6.00 %"),
        "{}",
        outcome.text
    );
}

#[test]
fn all_mistakes_are_told_at_once() {
    let told = mistakes(&[
        "dose",
        "volum=820L",
        "concentration=4,2%",
        "target-volume=1000",
        "target-volume=1000L",
        "hurry",
    ]);
    let expected = [
        "there is no argument \"volum\"; did you mean volume? known: volume, concentration, ",
        "concentration: \"4,2%\" is not a concentration: it has a comma",
        "target-volume: \"1000\" is not a volume: the unit is missing; \
         write a number and a unit (allowed: L, l, mL, m3, m³, gal(US))",
        "target-volume is given twice",
        "\"hurry\" is not an argument; write key=value",
        "volume is missing: what the sump holds now, pipes and machines included (in L, l, mL, m3, m³, gal(US))",
        "target-concentration is missing: ",
    ];
    assert_eq!(told.len(), expected.len(), "{told:#?}");
    for (told, expected) in told.iter().zip(expected) {
        assert!(told.starts_with(expected), "{told}");
    }
}

#[test]
fn mistakes_in_text_come_with_an_example() {
    let outcome = call(&["loop-current", "current=8mA"], false);
    assert_eq!(outcome.verdict.exit_status(), 2);
    let lines: Vec<_> = outcome.text.lines().collect();
    assert_eq!(lines.len(), 3);
    assert!(lines[0].starts_with("low is missing"));
    assert_eq!(
        lines[2],
        "example: calc loop-current current=8mA low=0 high=14"
    );
}

#[test]
fn an_unknown_calculation_gets_the_nearest_and_all() {
    let told = mistakes(&["does"]);
    assert!(
        told[0].starts_with("there is no calculation \"does\"; did you mean dose?"),
        "{told:?}"
    );
    assert!(told[0].contains("tank-volume"));
    assert!(mistakes(&[])[0].starts_with("name a calculation: dose, "));
}

#[test]
fn values_outside_a_formula_are_told() {
    let told = mistakes(&["brix-from-index", "index=1.2"]);
    assert!(told[0].contains("1.33299 to 1.50398"), "{told:?}");
    let told = mistakes(&["loop-current", "current=8mA", "low=1", "high=1"]);
    assert!(told[0].contains("two different numbers"), "{told:?}");
    let huge = ["loop-current", "current=1e9mA", "low=0", "high=1e305"];
    assert_eq!(
        mistakes(&huge),
        ["the numbers are too large for this formula"]
    );
}

#[test]
fn a_tank_asks_for_the_dimensions_of_its_shape_only() {
    let told = mistakes(&["tank-volume", "shape=rectangular", "level=0.1m"]);
    assert_eq!(told.len(), 3, "{told:#?}");
    assert!(
        told[0].starts_with("length is missing for a box: "),
        "{told:?}"
    );

    let cylinder = [
        "tank-volume",
        "shape=horizontal-cylinder",
        "diameter=1m",
        "length=2m",
    ];
    let with = |more: &[&'static str]| [&cylinder[..], more].concat();
    let told = mistakes(&with(&["level=0.1m", "width=1m"]));
    assert_eq!(
        told,
        ["width has no part in this calculation; leave it out"]
    );
    let told = mistakes(&with(&["level=1.1m"]));
    assert!(
        told[0].starts_with("level: 1.100 m is not in the tank"),
        "{told:?}"
    );
    let told = mistakes(&with(&["level=0.1m", "heads=flatt"]));
    assert!(told[0].contains("did you mean flat?"), "{told:?}");
    assert_eq!(answer(&with(&["level=1m"]))["fill_pct"], 100.0);
}

/// Rows of tests/reference/tank_volumes_dished.csv and points by hand.
#[test]
fn every_shape_of_a_tank_can_be_asked_for() {
    for (arguments, litres) in [
        (
            &[
                "shape=horizontal-cylinder",
                "diameter=1.2m",
                "length=2m",
                "heads=dished",
            ][..],
            127.873008,
        ),
        (
            &["shape=vertical-cylinder", "diameter=1.2m", "height=2m"],
            135.716803,
        ),
        (
            &[
                "shape=cone-bottom",
                "diameter=1m",
                "cone-height=0.5m",
                "height=2m",
            ],
            1.809557,
        ),
        (
            &["shape=strapping-table", "points=0m:0L, 0.1m:80L, 0.2m:160L"],
            96.0,
        ),
    ] {
        let call = [&["tank-volume", "level=0.12m"], arguments].concat();
        let got = answer(&call)["volume_l"].as_f64().unwrap();
        assert!((got - litres).abs() < 1e-4, "{arguments:?} gave {got}");
    }
    let told = mistakes(&[
        "tank-volume",
        "level=0.1m",
        "shape=strapping-table",
        "points=0m:0L, 0.1m:80L, 0.1m:90L",
    ]);
    assert!(told[0].starts_with("row 3 says 0.100 m after"), "{told:?}");
    let plate = [
        "shape=vertical-cylinder",
        "diameter=1m",
        "height=2m",
        "crown-ratio=1",
    ];
    let told = mistakes(&[&["tank-volume", "level=0.1m"], &plate[..]].concat());
    assert_eq!(
        told,
        ["crown-ratio has no part in this calculation; leave it out"]
    );
}

#[test]
fn a_tank_with_lines_holds_less_where_its_pumps_stand_still() {
    let sump = |more: &[&'static str]| {
        let tank = [
            "tank-volume",
            "shape=rectangular",
            "length=2m",
            "width=1m",
            "height=1m",
            "level=0.5m",
        ];
        [&tank[..], more].concat()
    };
    let both = answer(&sump(&["lines=200L", "drain-back=60L"]));
    assert_eq!(both["running_volume_l"], 1200.0);
    assert_eq!(both["stopped_volume_l"], 1140.0);
    let alone = answer(&sump(&["lines=200L"]));
    assert_eq!(alone["running_volume_l"], 1200.0);
    assert!(alone.get("stopped_volume_l").is_none());
    let told = mistakes(&sump(&["drain-back=60L"]));
    assert!(
        told[0].starts_with("lines is missing for drain-back"),
        "{told:?}"
    );
    let told = mistakes(&sump(&["lines=40L", "drain-back=60L"]));
    assert!(
        told[0].starts_with("drain-back: no more runs back"),
        "{told:?}"
    );
}

#[test]
fn a_concentration_takes_a_factor_or_points() {
    let points = answer(&[
        "concentration",
        "brix=3.5 Bx",
        "points=0Bx:0%, 2Bx:3%, 5Bx:9%",
    ]);
    assert_eq!(points["concentration_pct"], 6.0);
    assert_eq!(points["inputs"]["water-zero"], "0 °Bx");
    let told = mistakes(&["concentration", "brix=3.5 Bx"]);
    assert_eq!(told, ["neither is given; give either factor or points"]);
    let told = mistakes(&[
        "concentration",
        "brix=3.5 Bx",
        "factor=1",
        "points=1Bx:1%,2Bx:2%",
    ]);
    assert_eq!(told, ["both are given; give either factor or points"]);
    let told = mistakes(&["concentration", "brix=3.5 Bx", "points=1Bx:1%,1"]);
    assert!(
        told[0].contains("\"1\" is not a point of a chart"),
        "{told:?}"
    );
}

#[test]
fn a_calibration_is_judged_and_takes_bottles_too() {
    let call = |readings, more: &[&'static str]| {
        [&["ph-calibration", "temperature=25°C", readings], more].concat()
    };
    let dull = answer(&call("readings=7.00 pH:5 mV, 10.01pH:-155 mV", &[]));
    // 160 mV over 3.01 pH, of 59.16.
    assert!((dull["slope_pct"].as_f64().unwrap() - 89.853).abs() < 0.001);
    assert_eq!(dull["judgement"], "watch");
    assert_eq!(dull.get("ph"), None);
    let three = "readings=phthalate:172mV, phosphate:0mV, borax:-136mV";
    let bent = answer(&call(three, &["reading=-150mV"]));
    assert_eq!(bent["judgement"], "good");
    assert_eq!(bent["bracketed"], false);
    assert!(bent["bend_ph"].as_f64().unwrap() < 0.1);

    let told = mistakes(&call("readings=phosphate:0mV, phosphate:1mV", &[]));
    assert!(told[0].contains("two of the buffers"), "{told:?}");
    let told = mistakes(&call("readings=phosfate:0mV, borax", &[]));
    assert!(told[0].contains("did you mean phosphate?"), "{told:?}");
    let told = mistakes(&call(
        "readings=phosphate:0mV, carbonate:-180mV",
        &["table=hj1147"],
    ));
    assert!(told[0].contains("has no carbonate buffer"), "{told:?}");
}

#[test]
fn what_an_instrument_compensates_is_not_asked_for_again() {
    let shown = [
        "refractometer-corrected",
        "shown=5Bx",
        "compensation=by-instrument",
    ];
    assert_eq!(answer(&shown)["brix_bx"], 5.0);
    let told = mistakes(&[&shown[..], &["temperature=30°C"]].concat());
    assert!(
        told[0].starts_with("temperature has no part in this"),
        "{told:?}"
    );
    let told = mistakes(&[
        "refractometer-corrected",
        "shown=5Bx",
        "compensation=as-water",
    ]);
    assert!(
        told[0].starts_with("temperature is missing for this"),
        "{told:?}"
    );

    let kappa = [
        "conductivity-at-25c",
        "conductivity=500µS/cm",
        "temperature=15°C",
    ];
    let water = answer(&[&kappa[..], &["rule=iso7888"]].concat());
    assert!((water["conductivity_us_per_cm"].as_f64().unwrap() - 628.0).abs() < 1e-9);
    let told = mistakes(&[&kappa[..], &["rule=iso7888", "coefficient=2%/K"]].concat());
    assert!(
        told[0].starts_with("coefficient has no part in this"),
        "{told:?}"
    );
    let told = mistakes(&kappa);
    assert!(
        told[0].starts_with("coefficient is missing for the linear rule"),
        "{told:?}"
    );
}

#[test]
fn a_standard_gives_a_constant_or_a_factor() {
    let standard = ["cell-constant", "standard=kcl-12880", "temperature=25°C"];
    let shown = answer(&[&standard[..], &["shown=12.2mS/cm"]].concat());
    assert_eq!(shown["judgement"], "replace");
    assert!((shown["factor"].as_f64().unwrap() - 12.88 / 12.2).abs() < 1e-9);
    let told = mistakes(&standard);
    assert_eq!(told, ["give either conductance or shown"]);
    let told = mistakes(&[&standard[..], &["conductance=0 µS"]].concat());
    assert!(told[0].contains("0.001 to 100 1/cm"), "{told:?}");
}

#[test]
fn the_list_names_everything() {
    let json: Value = serde_json::from_str(&list(true)).unwrap();
    let listed = json.as_array().unwrap();
    assert_eq!(listed.len(), REGISTRY.len());
    assert_eq!(listed[0]["name"], "dose");
    assert_eq!(listed[0]["parameters"][0]["required"], true);
    assert_eq!(listed[1]["parameters"][3]["default"], "0 °Bx");
    let text = list(false);
    for calculation in REGISTRY {
        assert!(text.contains(&format!("{}: {}", calculation.name, calculation.purpose)));
        for parameter in calculation.parameters {
            assert!(text.contains(parameter.about()));
        }
    }
}

#[test]
fn the_readme_names_every_calculation() {
    let readme = include_str!("../../../README.md");
    for name in names() {
        assert!(readme.contains(&format!("`{name}`")), "{name}");
    }
}

proptest! {
    #[test]
    fn no_input_is_fatal(
        which in 0..REGISTRY.len(), keys in prop::collection::vec((0usize..10, "\\PC{0,12}"), 0..8), json in any::<bool>(),
    ) {
        let calculation = REGISTRY[which];
        let mut arguments = vec![calculation.name.to_owned()];
        for (key, text) in keys {
            let key = calculation.parameters[key % calculation.parameters.len()].name();
            arguments.push(format!("{key}={text}"));
        }
        let outcome = run(&arguments, json);
        prop_assert!(!outcome.text.is_empty());
    }

    #[test]
    fn extreme_numbers_are_not_fatal(
        which in 0..REGISTRY.len(), exponents in prop::collection::vec(-330i32..330, 10), signs in any::<u16>(),
    ) {
        let calculation = REGISTRY[which];
        let mut arguments = vec![calculation.name.to_owned()];
        for (at, argument) in calculation.example.arguments.iter().enumerate() {
            let (key, text) = argument.split_once('=').unwrap();
            let unit = text.trim_start_matches(|c: char| c.is_ascii_digit() || c == '.');
            let sign = if signs >> at & 1 == 1 { "-" } else { "" };
            arguments.push(format!("{key}={sign}1e{}{unit}", exponents[at]));
        }
        let outcome = run(&arguments, true);
        prop_assert!(serde_json::from_str::<Value>(&outcome.text).is_ok());
    }
}
