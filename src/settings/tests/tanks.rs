//! The shapes of tanks.

use super::{read, told};
use crate::units::{Length, Volume};
use crate::vessel::{Dish, Head, StrappingTable, Vessel};

fn m(metres: f64) -> Length {
    Length::from_metres(metres)
}

/// The tank of a sump that is written so.
fn tank(written: &str) -> Vessel {
    let settings = read(&sump(written)).unwrap_or_else(|error| panic!("{error}"));
    settings.sumps[1].vessel.clone()
}

/// A second sump, small enough for every tank here.
fn sump(written: &str) -> String {
    format!(
        "[sump.cell-b]\nfluid = \"soluble-a\"\ntarget = \"8 %\"\nworking_volume = \"100 L\"\n\
         vessel = {written}\n\
         [sump.cell-b.channel.brix]\nquantity = \"brix\"\ntopic = \"cells/b/brix\"\n"
    )
}

#[test]
fn every_shape_can_be_written() {
    let floor = r#"{ shape = "sloped_floor", length = "2 m", width = "1 m", rise = "50 mm", height = "1 m" }"#;
    let expected = Vessel::sloped_floor(m(2.0), m(1.0), m(0.05), m(1.0));
    assert_eq!(tank(floor), expected.unwrap());

    let lying = r#"{ shape = "horizontal_cylinder", diameter = "1.2 m", length = "2 m", heads = "dished", crown_ratio = 0.8, knuckle_ratio = 0.154 }"#;
    let heads = Head::Dished(Dish::new(0.8, 0.154).unwrap());
    let expected = Vessel::horizontal_cylinder(m(1.2), m(2.0), heads);
    assert_eq!(tank(lying), expected.unwrap());

    let standing =
        r#"{ shape = "vertical_cylinder", diameter = "1.2 m", height = "2 m", bottom = "dished" }"#;
    let expected = Vessel::vertical_cylinder(m(1.2), Head::Dished(Dish::default()), m(2.0));
    assert_eq!(tank(standing), expected.unwrap());

    let cone =
        r#"{ shape = "cone_bottom", diameter = "1.4 m", cone_height = "0.6 m", height = "2 m" }"#;
    let expected = Vessel::cone_bottom(m(1.4), m(0.6), m(0.0), m(2.0));
    assert_eq!(tank(cone), expected.unwrap());

    let table = r#"{ shape = "strapping_table", points = [["0 m", "2 L"], ["30 cm", "0.4 m³"]] }"#;
    let points = [
        (m(0.0), Volume::from_litres(2.0)),
        (m(0.3), Volume::from_litres(400.0)),
    ];
    let expected = Vessel::Strapped(StrappingTable::new(&points).unwrap());
    assert_eq!(tank(table), expected);
}

#[test]
fn keys_of_other_shapes_are_told() {
    let written = r#"{ shape = "vertical_cylinder", diameter = "1.2 m", height = "2 m", heads = "flat", crown_ratio = 1 }"#;
    told(
        &sump(written),
        &[
            "z.toml:5:77: sump.cell-b.vessel.heads: has no effect: it is for shape = \
             \"horizontal_cylinder\" only",
            "z.toml:5:93: sump.cell-b.vessel.crown_ratio: has no effect: it is for heads = \
             \"dished\" or bottom = \"dished\" only",
        ],
    );
}

#[test]
fn what_makes_no_tank_is_told() {
    let written = r#"{ shape = "vertical_cylinder", diameter = "1.2 m", height = "0.2 m", bottom = "dished" }"#;
    told(
        &sump(written),
        &[
            "z.toml:5:1: sump.cell-b.vessel: the tank's bottom depth is 0.233 m, more than \
           its height of 0.200 m; measure both again, inside and from the lowest point",
        ],
    );
    let written = r#"{ shape = "strapping_table", points = [["0 m", "0 L"], ["0.2 m", "90 L"], ["0.2 m", "95 L"]] }"#;
    told(
        &sump(written),
        &[
            "z.toml:5:84: sump.cell-b.vessel.points[2]: row 3 says 0.200 m after 0.200 m; put the \
           rows in order, each level once",
        ],
    );
    told(
        &sump(r#"{ shape = "strapping_table", points = [["0 m"]] }"#),
        &[
            "z.toml:5:49: sump.cell-b.vessel.points[0]: is a list of a level and a volume, as \
           [\"0.1 m\", \"85 L\"], found 1 items",
        ],
    );
}
