//! The head of a sump's log sheet, with the fields of the published sample (guide
//! formerly BGI 5003, section 4.6, figure 4-2). What is not kept here is named as
//! such.

use crate::report::facts::sump::SumpFacts;
use crate::report::table::{Cell, Table};
use crate::units::Brix;

/// What is to be known of a sump.
pub(super) fn head(facts: &SumpFacts<'_>) -> Table {
    let setup = facts.setup;
    let chart = &setup.fluid.chart;
    let factor = chart.slope_at(chart.brix_for(setup.target, Brix::default()));
    let litres = |litres: f64| Cell::Number(litres, 0);
    let percent = |percent: f64| Cell::Number(percent, 1);
    let rows = [
        ("machine", Cell::Text(setup.title.clone()), ""),
        ("fluid", Cell::Text(setup.fluid.title.clone()), ""),
        ("fill_volume", litres(setup.working_volume.litres()), "L"),
        ("most_volume", litres(setup.max_volume.litres()), "L"),
        ("set_concentration", percent(setup.target.percent()), "%"),
        (
            "lowest_concentration",
            percent(setup.window.0.percent()),
            "%",
        ),
        (
            "highest_concentration",
            percent(setup.window.1.percent()),
            "%",
        ),
        ("refractometer_factor", Cell::Number(factor, 2), "%/°Bx"),
        ("titration_factor", Cell::word("not_kept"), ""),
        (
            "water_zero",
            Cell::Number(setup.water_zero.degrees(), 1),
            "°Bx",
        ),
        ("biocide", Cell::word("not_kept"), ""),
        ("responsible", Cell::word("not_kept"), ""),
    ];
    let rows = rows.map(|(key, value, unit)| {
        let unit = match unit {
            "" => Cell::None,
            unit => Cell::Text(unit.to_owned()),
        };
        vec![Cell::word(format!("sheet.{key}")), value, unit]
    });
    Table::new("sheet_head", &["what", "value", "unit"]).with_rows(rows)
}

/// The waters that the settings describe.
pub(super) fn waters(facts: &SumpFacts<'_>) -> Table {
    let rows = facts.setup.waters.iter().map(|water| {
        vec![
            Cell::Text(water.name.to_string()),
            Cell::number(water.hardness.map(|hardness| hardness.value), 0),
            Cell::number(water.chloride.map(|chloride| chloride.value), 0),
            Cell::number(water.nitrate_mg_l, 0),
            Cell::number(water.conductivity.map(|one| one.microsiemens_per_cm()), 0),
        ]
    });
    let columns = &[
        "water",
        "hardness_mg_l_caco3",
        "chloride_mg_l",
        "nitrate_mg_l",
        "conductivity_us_cm",
    ];
    Table::new("waters", columns).with_rows(rows)
}
