//! How doses are made up, as people write it.

use super::{read, told};
use crate::engine::{DoseSetup, VolumeUnit};
use crate::units::Span;

fn dose(table: &str) -> DoseSetup {
    let settings = read(&format!("[sump.cell-a.dose]\n{table}\n"));
    let settings = settings.unwrap_or_else(|e| panic!("{e}"));
    settings.sumps[0].dose.clone()
}

#[test]
fn nothing_written_means_litres_no_can_and_premix_only() {
    let dose = dose("");
    assert_eq!(dose.measure.unit, VolumeUnit::Litre);
    assert_eq!(dose.measure.step.litres(), 1.0);
    assert_eq!(dose.measure.vessel, None);
    assert_eq!(dose.largest_step.percent(), 2.0);
    assert_eq!(dose.longest_wait, Span::from_hours(24));
    assert_eq!((dose.dosing_point, dose.good_readings), (None, 3));
}

#[test]
fn a_plant_of_gallons_measures_in_quarts_unless_it_says_otherwise() {
    let gallon = VolumeUnit::UsGallon.litres();
    for unit in ["US gal", "gal(US)"] {
        let dose = dose(&format!("unit = \"{unit}\"\nvessel = \"5 gal(US)\""));
        assert_eq!(dose.measure.unit, VolumeUnit::UsGallon);
        assert_eq!(dose.measure.step.litres(), gallon / 4.0);
        let can = dose.measure.vessel.unwrap().litres();
        assert!((can - 5.0 * gallon).abs() < 1e-9);
    }
    let fine = dose("unit = \"US gal\"\nstep = \"1 L\"");
    assert_eq!(fine.measure.step.litres(), 1.0);
}

#[test]
fn a_dosing_point_is_named_in_words() {
    let dose = dose("dosing_point = \" the return weir \"");
    assert_eq!(dose.dosing_point.as_deref(), Some("the return weir"));
}

#[test]
fn what_cannot_be_is_told() {
    told(
        "[sump.cell-a.dose]\nunit = \"US gall\"\nstep = \"5 L\"\nvessel = \"4 L\"\n\
         largest_step = \"0 %\"\ngood_readings = 0\ndosing_point = \" \"\n",
        &[
            "z.toml:2:8: sump.cell-a.dose.unit: there is no unit of amounts \"US gall\"; allowed here: \
             L, US gal, gal(US)",
            "z.toml:4:10: sump.cell-a.dose.vessel: 4 L is not allowed; allowed is 5 L to 10000 L",
            "z.toml:5:16: sump.cell-a.dose.largest_step: 0 % is not allowed; allowed is 0.1 % to 100 %",
            "z.toml:6:17: sump.cell-a.dose.good_readings: 0 is not allowed; allowed is 1 to 100",
            "z.toml:7:16: sump.cell-a.dose.dosing_point: a name of 0 characters is not allowed; \
             allowed is a name of 1 characters to a name of 80 characters",
        ],
    );
}
