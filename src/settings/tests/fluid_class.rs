//! The class of a fluid, and the defaults that go by it.

use super::{PLANT, variables};
use crate::engine::LimitLevel;
use crate::settings::{Remarked, Settings};
use crate::units::Quantity;

const PROBE: &str = "\
[sump.cell-a.channel.conductivity]
quantity = \"conductivity\"
topic = \"cells/a/conductivity\"
";

/// The plant with a sheet of this class and a sump with this target.
fn of_class(class: &str, target: &str, extra: &str) -> Settings {
    let plant = PLANT.replace("8 %", target);
    let sheet = format!("factor = 1.1\n{class}\n");
    let extra = format!("{PROBE}{extra}");
    let files = [
        ("plant.toml", plant.as_str()),
        ("fluids/soluble-a.toml", sheet.as_str()),
        ("z.toml", extra.as_str()),
    ];
    Settings::from_texts(&files, variables(&[])).unwrap_or_else(|e| panic!("{e}"))
}

fn threshold(settings: &Settings, signal: Quantity, level: LimitLevel) -> Option<f64> {
    let mut limits = settings.sumps[0].limits.iter();
    let limit = limits.find(|one| one.signal == signal && one.level == level);
    limit.map(|limit| limit.threshold)
}

#[test]
fn a_class_changes_the_defaults_and_a_sumps_own_setting_wins() {
    let low_low = |class: &str, extra: &str| {
        let settings = of_class(class, "4.5 %", extra);
        threshold(&settings, Quantity::Concentration, LimitLevel::LowLow)
    };
    let soluble = "class = \"soluble oil\"";
    let synthetic = "class = \"synthetic\"";
    assert_eq!(low_low("", ""), Some(2.5));
    assert_eq!(low_low(soluble, ""), Some(3.0));
    assert_eq!(low_low(synthetic, ""), Some(2.5));
    let own = "[sump.cell-a.limits.concentration]\nlow_low = \"2 %\"\n";
    assert_eq!(low_low(soluble, own), Some(2.0));

    let high = |class: &str, extra: &str| {
        let settings = of_class(class, "8 %", extra);
        threshold(&settings, Quantity::Conductivity, LimitLevel::High)
    };
    assert_eq!(high("", ""), None);
    assert_eq!(high(soluble, ""), Some(5000.0));
    assert_eq!(high("class = \"semi-synthetic\"", ""), Some(5000.0));
    assert_eq!(high(synthetic, ""), None);
    let own = "[sump.cell-a.limits.conductivity]\nhigh = \"3 mS/cm\"\n";
    assert_eq!(high(soluble, own), Some(3000.0));
    let off = "[sump.cell-a.limits]\nconductivity = false\n";
    assert_eq!(high(soluble, off), None);
}

#[test]
fn what_is_unusual_of_a_class_is_remarked_upon() {
    let remarks = |class: &str, target: &str| {
        let settings = of_class(class, target, "");
        let remarks = settings.remarks.iter().map(ToString::to_string);
        remarks.collect::<Vec<_>>()
    };
    assert_eq!(remarks("class = \"soluble oil\"", "8 %"), [""; 0]);
    assert_eq!(
        remarks("class = \"synthetic\"", "12 %"),
        [
            "fluids/soluble-a.toml:1:10: fluid.soluble-a.factor: 1.1 is unusual of a synthetic, whose factors are commonly 1.5 to 3.5 % for each °Bx: compare it with the product's data sheet, and its class",
            "plant.toml:10:10: sump.cell-a.target: 12 % is unusual of a synthetic, which is commonly used at 2 to 8 %: compare it with the product's data sheet",
        ]
    );
    let about = &of_class("class = \"synthetic\"", "8 %", "").remarks[0].about;
    assert!(matches!(about, Remarked::UnusualFactor { .. }));
}

#[test]
fn an_unknown_class_is_told_with_its_place_and_the_nearest() {
    let files = [
        ("plant.toml", PLANT),
        (
            "fluids/soluble-a.toml",
            "factor = 1.1\nclass = \"semisynthetic\"\n",
        ),
    ];
    let error = Settings::from_texts(&files, variables(&[])).unwrap_err();
    let told: Vec<String> = error.mistakes.iter().map(ToString::to_string).collect();
    assert_eq!(
        told,
        [
            "fluids/soluble-a.toml:2:9: fluid.soluble-a.class: \"semisynthetic\" is not one of them; did you mean \"semi-synthetic\"?"
        ]
    );
}
