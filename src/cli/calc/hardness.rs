//! Hardness of water, from its calcium and magnesium and in every unit.

use crate::chemistry::hardness_by_calculation;
use crate::units::{Content, Hardness, Parse};

use super::answer::{Answer, Field};
use super::given::Given;
use super::parameter::Parameter;
use super::{Calculation, Example};

const CALCIUM: Parameter<Content> =
    Parameter::optional("calcium", "in the water; with magnesium, or give hardness");
const MAGNESIUM: Parameter<Content> =
    Parameter::optional("magnesium", "in the water; with calcium, or give hardness");
const HARDNESS: Parameter<Hardness> = Parameter::optional(
    "hardness",
    "in any unit, to be written in the others; or give calcium and magnesium",
);

const fn in_unit(key: &'static str, label: &'static str, unit: &'static str) -> Field {
    Field {
        key,
        label,
        unit,
        decimals: 2,
    }
}

static AS_CARBONATE: Field = in_unit("hardness_mg_l_caco3", "hardness", "mg/L CaCO3");
static MILLIMOLES: Field = in_unit("hardness_mmol_l", "calcium and magnesium", "mmol/L");
static EQUIVALENTS: Field = in_unit("hardness_mval_l", "milliequivalents", "mval/L");
static GERMAN: Field = in_unit("hardness_dh", "German degrees", "°dH");
static FRENCH: Field = in_unit("hardness_fh", "French degrees", "°fH");
static GRAINS: Field = in_unit("hardness_gpg", "grains a US gallon", "gpg");
static CLARK: Field = in_unit("hardness_clark", "English (Clark) degrees", "°e");

/// Every unit of hardness once; the unit of each field is one that
/// [`Hardness`] knows.
static UNITS: [&Field; 7] = [
    &AS_CARBONATE,
    &MILLIMOLES,
    &EQUIVALENTS,
    &GERMAN,
    &FRENCH,
    &GRAINS,
    &CLARK,
];

pub(super) static WATER_HARDNESS: Calculation = Calculation {
    name: "hardness",
    purpose: "hardness of water from its calcium and magnesium, and in every unit",
    parameters: &[&CALCIUM, &MAGNESIUM, &HARDNESS],
    results: &UNITS,
    formula: "2.497·Ca + 4.118·Mg, as mg/L of calcium carbonate",
    source: "Standard Methods, method 2340 B (memory; confirmed from molar masses); units from molar \
             masses, grain and gallons",
    cautions: &[],
    // A case of tests/reference/hardness_2340b_cases.csv.
    example: Example {
        arguments: &["calcium=80mg/L", "magnesium=24.3mg/L"],
        results: &[
            ("hardness_mg_l_caco3", 299.8274),
            ("hardness_dh", 16.7989),
            ("hardness_fh", 29.9827),
            ("hardness_gpg", 17.5153),
            ("hardness_mmol_l", 2.99567),
        ],
    },
    work,
};

fn work(given: &mut Given<'_>) -> Option<Answer> {
    let hardness = hardness(given)?;
    Some(UNITS.iter().fold(Answer::default(), |answer, field| {
        let line = Hardness::unit_conversion(field.unit).ok();
        answer.with(field, line.map(|line| hardness.mg_per_l() / line.scale))
    }))
}

fn hardness(given: &mut Given<'_>) -> Option<Hardness> {
    let ions = given.has(&CALCIUM) || given.has(&MAGNESIUM);
    match (given.has(&HARDNESS), ions) {
        (true, false) => given.take(&HARDNESS),
        (false, true) => {
            let calcium = given.take_for("the hardness from both", &CALCIUM);
            let magnesium = given.take_for("the hardness from both", &MAGNESIUM);
            hardness_by_calculation(calcium?, magnesium?)
                .map_err(|error| given.mistake(error))
                .ok()
        }
        _ => {
            given.mistake("give either hardness, or calcium and magnesium");
            None
        }
    }
}
