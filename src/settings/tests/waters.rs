//! Waters, and what a sump's chemistry is held against.

use super::{read, told};
use crate::engine::{Bounds, FactorSetup, MineralSetup, SouringSetup};
use crate::units::Measured;

#[test]
fn without_a_word_there_are_defaults_and_no_waters() {
    let settings = read("").unwrap();
    let sump = &settings.sumps[0];
    assert!(sump.waters.is_empty());
    assert_eq!(sump.minerals, MineralSetup::default());
    assert_eq!(sump.souring, SouringSetup::default());
    assert_eq!(sump.methods, FactorSetup::default());
}

#[test]
fn a_sump_names_its_waters() {
    let settings = read(
        "
[water.tap]
hardness = \"10 °dH\"
nitrate = \"20 mg/L\"
conductivity = \"0.5 mS/cm\"
[water.well]
chloride = \"40 mg/L\"
uncertainty = \"5 %\"
[sump.cell-a]
first_fill_water = \"tap\"
top_up_water = \"well\"
[sump.cell-a.minerals]
chloride_limit = [\"80 mg/L\", \"150 mg/L\"]
[sump.cell-a.souring]
reference_ph = 9.1
dissolved_oxygen = [\"5 mg/L\", \"3 mg/L\"]
",
    )
    .unwrap();
    let sump = &settings.sumps[0];
    assert_eq!(sump.waters.len(), 2);
    let tap = sump.minerals.first_fill.as_ref().unwrap();
    let hardness = tap.hardness.unwrap();
    assert!((hardness.value - 178.48).abs() < 0.01, "{hardness:?}");
    assert!((hardness.uncertainty - 17.848).abs() < 0.01, "{hardness:?}");
    assert_eq!((tap.chloride, tap.nitrate_mg_l), (None, Some(20.0)));
    assert_eq!(tap.conductivity.unwrap().microsiemens_per_cm(), 500.0);
    let well = sump.minerals.top_up.as_ref().unwrap();
    assert_eq!(well.chloride, Some(Measured::new(40.0, 2.0)));
    let chloride = Bounds {
        watch: 80.0,
        act: 150.0,
    };
    assert_eq!(sump.minerals.chloride, chloride);
    assert_eq!(sump.souring.reference_ph.unwrap().units(), 9.1);
    assert_eq!(sump.souring.oxygen_mg_l.act, 3.0);
}

#[test]
fn what_is_wrong_is_told_with_its_place() {
    told(
        "[water.tap]
hardness = \"10 mS\"
[water.well]
[sump.cell-a]
first_fill_water = \"wel\"
[sump.cell-a.minerals]
hardness_limit = [\"800 mg/L\", \"400 mg/L\"]
[sump.cell-a.souring]
ph_drop = [0.5]
ph_jump = 9
",
        &[
            "z.toml:2:12: water.tap.hardness: \"10 mS\" is not a hardness: that is not one of its \
             units; write a number and a unit (allowed: mg/L CaCO3, mg/L, ppm, mmol/L, mval/L, \
             °dH, dH, °fH, fH, gpg, °e, Clark)",
            "z.toml:5:20: sump.cell-a.first_fill_water: there is no water \"wel\"; did you mean \
             \"well\"?",
            "z.toml:7:18: sump.cell-a.minerals.hardness_limit: 800 mg/L and then 400 mg/L is not \
             allowed; allowed is two values from 0 up, the second above the first",
            "z.toml:9:11: sump.cell-a.souring.ph_drop: is a list of two values, found 1 items",
            "z.toml:10:11: sump.cell-a.souring.ph_jump: 9 is not allowed; allowed is 0.05 to 5",
        ],
    );
}
