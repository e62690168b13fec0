//! Refractometer reading to concentration.

use crate::chemistry::Chart;
use crate::units::Brix;

use super::answer::{Answer, Field};
use super::argument::Points;
use super::given::Given;
use super::parameter::Parameter;
use super::{Calculation, Example};

const BRIX: Parameter<Brix> = Parameter::required("brix", "refractometer reading of the mix");
const FACTOR: Parameter<f64> = Parameter::optional(
    "factor",
    "refractive factor of the fluid in % per °Bx; give this or points",
);
const POINTS: Parameter<Points> = Parameter::optional(
    "points",
    "chart of the fluid, net reading to concentration; give this or factor",
);
const WATER_ZERO: Parameter<Brix> = Parameter::or(
    "water-zero",
    "0 °Bx",
    "refractometer reading of the make-up water alone",
);

static PERCENT: Field = Field {
    key: "concentration_pct",
    label: "concentration",
    unit: "%",
    decimals: 2,
};
static SLOPE: Field = Field {
    key: "slope_pct_per_bx",
    label: "slope there",
    unit: "% per °Bx",
    decimals: 2,
};

pub(super) static CONCENTRATION: Calculation = Calculation {
    name: "concentration",
    purpose: "concentration of a mix from its refractometer reading",
    parameters: &[&BRIX, &FACTOR, &POINTS, &WATER_ZERO],
    results: &[&PERCENT, &SLOPE],
    formula: "c = f·(B − B0), or the chart read at B − B0 on straight lines between its points; \
              not below 0",
    source: "common practice, no source; factor or chart from the fluid's data sheet",
    cautions: &[],
    example: Example {
        arguments: &["brix=4.3Bx", "water-zero=0.2Bx", "factor=1.4"],
        results: &[("concentration_pct", 5.74), ("slope_pct_per_bx", 1.4)],
    },
    work,
};

fn work(given: &mut Given<'_>) -> Option<Answer> {
    let brix = given.take(&BRIX);
    let zero = given.take(&WATER_ZERO);
    let chart = chart(given);
    let (brix, zero, chart) = (brix?, zero?, chart?);
    let net = Brix::from_degrees(brix.degrees() - zero.degrees());
    Some(
        Answer::default()
            .with(&PERCENT, chart.concentration(brix, zero).percent())
            .with(&SLOPE, chart.slope_at(net)),
    )
}

fn chart(given: &mut Given<'_>) -> Option<Chart> {
    let chart = match (given.has(&FACTOR), given.has(&POINTS)) {
        (true, false) => Chart::factor(given.take(&FACTOR)?),
        (false, true) => Chart::points(given.take(&POINTS)?.0),
        (both, _) => {
            let found = if both { "both are" } else { "neither is" };
            given.mistake(format!("{found} given; give either factor or points"));
            return None;
        }
    };
    chart.map_err(|error| given.mistake(error)).ok()
}
