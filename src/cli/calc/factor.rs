//! The refractive factor of a fluid from mixes of known strength.

use crate::model::factor_check::calibrate_factor;
use crate::units::Brix;

use super::answer::{Answer, Field};
use super::argument::Points;
use super::given::Given;
use super::parameter::Parameter;
use super::{Calculation, Example};

const MIXES: Parameter<Points> = Parameter::required(
    "mixes",
    "reading and strength of mixes made of counted litres of concentrate and your own water",
);
const WATER_ZERO: Parameter<Brix> =
    Parameter::or("water-zero", "0 °Bx", "reading of that water alone");

const fn factor(key: &'static str, label: &'static str) -> Field {
    Field {
        key,
        label,
        unit: "% per °Bx",
        decimals: 3,
    }
}

static FACTOR: Field = factor("factor_pct_per_bx", "refractive factor");
static UNCERTAINTY: Field = factor("standard_uncertainty_pct_per_bx", "standard uncertainty");

pub(super) static REFRACTIVE_FACTOR: Calculation = Calculation {
    name: "factor",
    purpose: "refractive factor of a fluid from mixes of known strength",
    parameters: &[&MIXES, &WATER_ZERO],
    results: &[&FACTOR, &UNCERTAINTY],
    formula: "least squares through the water, Σ c·(B − B0)/Σ (B − B0)²; of one mix c/(B − B0); uncertain by \
              0.1 °Bx a reading, or by the scatter about the line where that is more",
    source: "common practice; the estimator from memory",
    cautions: &[
        "Each product, and weakly each lot of it, has a factor of its own.",
        "Take several strengths around the one in use, as 2.5, 5, 7.5 and 10 %.",
    ],
    example: Example {
        arguments: &["mixes=3.4Bx:5%", "water-zero=0.1Bx"],
        results: &[("factor_pct_per_bx", 1.515_152)],
    },
    work,
};

fn work(given: &mut Given<'_>) -> Option<Answer> {
    let (mixes, zero) = (given.take(&MIXES), given.take(&WATER_ZERO));
    let found = calibrate_factor(&mixes?.0, zero?)
        .map_err(|error| given.mistake(error))
        .ok()?;
    Some(
        Answer::default()
            .with(&FACTOR, found.value)
            .with(&UNCERTAINTY, found.uncertainty),
    )
}
