//! What a refractometer shows, corrected for zero, span and temperature.

use crate::chemistry::{BrixCompensation, MixCoefficient, Refractometer, ShownBrix, water_shift};
use crate::units::{Brix, BrixCoefficient, Temperature};

use super::answer::{Answer, Field};
use super::argument::{Argument, word, words};
use super::given::Given;
use super::parameter::Parameter;
use super::{Calculation, Example};

#[derive(Clone, Copy)]
enum Rule {
    ByInstrument,
    PerKelvin,
    AsWater,
}

const RULES: [(&str, Rule); 3] = [
    ("by-instrument", Rule::ByInstrument),
    ("per-kelvin", Rule::PerKelvin),
    ("as-water", Rule::AsWater),
];

impl Argument for Rule {
    fn allowed() -> String {
        words(&RULES).join(", ")
    }

    fn read(text: &str) -> Result<Self, String> {
        word("way of compensation", &RULES, text)
    }
}

const SHOWN: Parameter<Brix> = Parameter::required("shown", "by the instrument in the mix");
const RULE: Parameter<Rule> =
    Parameter::required("compensation", "where the temperature is taken out");
const COEFFICIENT: Parameter<BrixCoefficient> = Parameter::optional(
    "coefficient",
    "of the mix, below 0; for per-kelvin, from the fluid's data sheet",
);
const TEMPERATURE: Parameter<Temperature> = Parameter::optional(
    "temperature",
    "of the mix; not for an instrument that compensates itself",
);
const ZERO: Parameter<Brix> = Parameter::optional(
    "zero",
    "shown in pure water; the scale is right if left out",
);
const ZERO_TEMPERATURE: Parameter<Temperature> = Parameter::optional(
    "zero-temperature",
    "of the pure water; not for an instrument that compensates itself",
);
const SPAN: Parameter<Brix> = Parameter::optional(
    "span",
    "shown, at 20 °C or compensated, in a solution of span-reference",
);
const SPAN_REFERENCE: Parameter<Brix> =
    Parameter::optional("span-reference", "what that solution has");

static AT_20: Field = Field {
    key: "brix_bx",
    label: "reading at 20 °C",
    unit: "°Bx",
    decimals: 2,
};
static CHANGE: Field = Field {
    key: "correction_bx",
    label: "correction",
    unit: "°Bx",
    decimals: 2,
};
static WATER: Field = Field {
    key: "water_shift_bx",
    label: "pure water would show",
    unit: "°Bx",
    decimals: 2,
};

pub(super) static REFRACTOMETER: Calculation = Calculation {
    name: "refractometer-corrected",
    purpose: "reading of a mix at 20 °C from what an instrument shows",
    parameters: &[
        &SHOWN,
        &RULE,
        &COEFFICIENT,
        &TEMPERATURE,
        &ZERO,
        &ZERO_TEMPERATURE,
        &SPAN,
        &SPAN_REFERENCE,
    ],
    results: &[&AT_20, &CHANGE, &WATER],
    formula: "(shown − zero)·span − k·(T − 20 °C), or less what pure water would show at T; the \
              zero is what the instrument showed in pure water less what it should have",
    source: "water: IAPWS R9-97 and the first rise of the ICUMSA 1974 table; the rest: common \
             practice, no source",
    cautions: &[
        "an instrument with automatic temperature compensation is by-instrument; never compensate twice",
        "as-water leaves out the concentrate's part, and takes off some 8 % too much at 10 °Bx",
    ],
    example: Example {
        arguments: &[
            "shown=5.2Bx",
            "compensation=per-kelvin",
            "coefficient=-0.08Bx/K",
            "temperature=30°C",
            "zero=0.3Bx",
            "zero-temperature=20°C",
            "span=10.1Bx",
            "span-reference=10Bx",
        ],
        results: &[("brix_bx", 5.8), ("correction_bx", 0.6)],
    },
    work,
};

fn work(given: &mut Given<'_>) -> Option<Answer> {
    let shown = given.take(&SHOWN);
    let instrument = instrument(given);
    let (shown, instrument) = (shown?, instrument?);
    let temperature = if instrument.compensation().needs_temperature() {
        Some(given.take_for("this compensation", &TEMPERATURE)?)
    } else {
        None
    };
    let found = instrument.corrected(ShownBrix(shown), temperature);
    let at_20 = found.map_err(|error| given.mistake(error)).ok()?;
    let water = temperature.and_then(|temperature| water_shift(temperature).ok());
    Some(
        Answer::default()
            .with(&AT_20, at_20.degrees())
            .with(&CHANGE, at_20.degrees() - shown.degrees())
            .with(&WATER, water.map(Brix::degrees)),
    )
}

fn instrument(given: &mut Given<'_>) -> Option<Refractometer> {
    let compensation = match given.take(&RULE)? {
        Rule::ByInstrument => BrixCompensation::ByInstrument,
        Rule::AsWater => BrixCompensation::AsWater,
        Rule::PerKelvin => {
            let coefficient = given.take_for("per-kelvin", &COEFFICIENT)?;
            let checked = MixCoefficient::new(coefficient);
            BrixCompensation::PerKelvin(checked.map_err(|error| given.mistake(error)).ok()?)
        }
    };
    let mut instrument = Refractometer::right(compensation);
    if given.has(&ZERO) {
        let zero = given.take(&ZERO)?;
        let water = if compensation.needs_temperature() {
            Some(given.take_for("the zero", &ZERO_TEMPERATURE)?)
        } else {
            None
        };
        let found = instrument.with_zero(ShownBrix(zero), water);
        instrument = found.map_err(|error| given.mistake(error)).ok()?;
    }
    if given.has(&SPAN) || given.has(&SPAN_REFERENCE) {
        let shown = given.take_for("the span", &SPAN);
        let reference = given.take_for("the span", &SPAN_REFERENCE);
        let found = instrument.with_span(ShownBrix(shown?), reference?);
        instrument = found.map_err(|error| given.mistake(error)).ok()?;
    }
    Some(instrument)
}
