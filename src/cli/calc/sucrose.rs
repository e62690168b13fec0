//! The refractometer's own scale.

use crate::chemistry::{at_20_celsius, brix_from_index, index_from_brix};
use crate::units::{Brix, Temperature};

use super::answer::{Answer, Field};
use super::parameter::Parameter;
use super::{Calculation, Example};

const INDEX: Parameter<f64> =
    Parameter::required("index", "refractive index at 20 °C and 589 nm, against air");
const BRIX: Parameter<Brix> = Parameter::required("brix", "refractometer reading");
const TEMPERATURE: Parameter<Temperature> =
    Parameter::required("temperature", "of the sample when it was read");

static BRIX_RESULT: Field = Field {
    key: "brix_bx",
    label: "reading at 20 °C",
    unit: "°Bx",
    decimals: 2,
};
static CORRECTION_RESULT: Field = Field {
    key: "correction_bx",
    label: "correction",
    unit: "°Bx",
    decimals: 2,
};
static INDEX_RESULT: Field = Field {
    key: "refractive_index",
    label: "refractive index",
    unit: "",
    decimals: 5,
};

const INDEX_SOURCE: &str = "ICUMSA 1974 table for sucrose in water (20 °C, 589 nm), as carried by the open library \
     chemicals 1.5.2";

pub(super) static BRIX_FROM_INDEX: Calculation = Calculation {
    name: "brix-from-index",
    purpose: "refractometer reading that a refractive index stands for",
    parameters: &[&INDEX],
    results: &[&BRIX_RESULT],
    formula: "straight lines between the rows of the table",
    source: INDEX_SOURCE,
    cautions: &[],
    example: Example {
        arguments: &["index=1.34782"],
        results: &[("brix_bx", 10.0)],
    },
    work: |given| {
        let index = given.take(&INDEX)?;
        let brix = brix_from_index(index)
            .map_err(|error| given.mistake(error))
            .ok()?;
        Some(Answer::default().with(&BRIX_RESULT, brix.degrees()))
    },
};

pub(super) static INDEX_FROM_BRIX: Calculation = Calculation {
    name: "index-from-brix",
    purpose: "refractive index that a refractometer reading stands for",
    parameters: &[&BRIX],
    results: &[&INDEX_RESULT],
    formula: "straight lines between the rows of the table",
    source: INDEX_SOURCE,
    cautions: &[],
    example: Example {
        arguments: &["brix=5Bx"],
        results: &[("refractive_index", 1.34026)],
    },
    work: |given| {
        let brix = given.take(&BRIX)?;
        let index = index_from_brix(brix)
            .map_err(|error| given.mistake(error))
            .ok()?;
        Some(Answer::default().with(&INDEX_RESULT, index))
    },
};

pub(super) static BRIX_AT_20_C: Calculation = Calculation {
    name: "brix-at-20c",
    purpose: "reading of a sugar solution taken at another temperature, referred to 20 °C",
    parameters: &[&BRIX, &TEMPERATURE],
    results: &[&BRIX_RESULT, &CORRECTION_RESULT],
    formula: "reading plus the table's correction, straight lines between its rows and columns",
    source: "OIV-MA-AS2-02, Table I, rows of 5 to 17 °C; nought at 20 °C by definition",
    cautions: &[
        "for sucrose in water; a metalworking emulsion has a temperature coefficient of its own",
        "do not correct the reading of an instrument that does so itself",
    ],
    example: Example {
        arguments: &["brix=15Bx", "temperature=10°C"],
        results: &[("brix_bx", 14.38), ("correction_bx", -0.62)],
    },
    work: |given| {
        let (brix, temperature) = (given.take(&BRIX), given.take(&TEMPERATURE));
        let brix = brix?;
        let corrected = at_20_celsius(brix, temperature?)
            .map_err(|error| given.mistake(error))
            .ok()?;
        Some(
            Answer::default()
                .with(&BRIX_RESULT, corrected.degrees())
                .with(&CORRECTION_RESULT, corrected.degrees() - brix.degrees()),
        )
    },
};
