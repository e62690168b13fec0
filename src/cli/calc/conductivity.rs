//! Conductivity at 25 °C, and the cell it is measured with.

use crate::chemistry::{
    Cell, ConductivityCompensation, ConductivityStandard, Judgement, LinearCoefficient, ProbeBands,
    ProbeFactor,
};
use crate::units::{Conductance, ConductivityAsIs, RelativeCoefficient, Temperature};

use super::answer::{Answer, Field};
use super::argument::{Argument, word, words};
use super::given::Given;
use super::parameter::Parameter;
use super::{Calculation, Example};

#[derive(Clone, Copy)]
enum Rule {
    Linear,
    Iso7888,
}

const RULES: [(&str, Rule); 2] = [("linear", Rule::Linear), ("iso7888", Rule::Iso7888)];

impl Argument for Rule {
    fn allowed() -> String {
        words(&RULES).join(", ")
    }

    fn read(text: &str) -> Result<Self, String> {
        word("rule", &RULES, text)
    }
}

fn standards() -> [(&'static str, ConductivityStandard); 7] {
    ConductivityStandard::ALL.map(|standard| (standard.name(), standard))
}

impl Argument for ConductivityStandard {
    fn allowed() -> String {
        words(&standards()).join(", ")
    }

    fn read(text: &str) -> Result<Self, String> {
        word("standard", &standards(), text)
    }
}

const CONDUCTIVITY: Parameter<ConductivityAsIs> =
    Parameter::required("conductivity", "at the temperature of the fluid");
const TEMPERATURE: Parameter<Temperature> = Parameter::required("temperature", "of the fluid");
const RULE: Parameter<Rule> = Parameter::or("rule", "linear", "of compensation");
const COEFFICIENT: Parameter<RelativeCoefficient> = Parameter::optional(
    "coefficient",
    "of the fluid, of its conductivity at 25 °C; 2 %/K when it is not known",
);

const STANDARD: Parameter<ConductivityStandard> =
    Parameter::required("standard", "potassium chloride solution that was read");
const STANDARD_TEMPERATURE: Parameter<Temperature> =
    Parameter::required("temperature", "of the standard");
const CONDUCTANCE: Parameter<Conductance> = Parameter::optional(
    "conductance",
    "of the cell in the standard, for its constant; give this or shown",
);
const SHOWN: Parameter<ConductivityAsIs> = Parameter::optional(
    "shown",
    "by the instrument in the standard, not compensated, for its factor; give this or conductance",
);

static AT_25: Field = Field {
    key: "conductivity_us_per_cm",
    label: "conductivity at 25 °C",
    unit: "µS/cm",
    decimals: 1,
};
static RATIO: Field = Field {
    key: "factor",
    label: "multiplied with",
    unit: "",
    decimals: 4,
};
static STANDARD_HAS: Field = Field {
    key: "standard_us_per_cm",
    label: "the standard has",
    unit: "µS/cm",
    decimals: 1,
};
static CONSTANT: Field = Field {
    key: "cell_constant_per_cm",
    label: "cell constant",
    unit: "1/cm",
    decimals: 4,
};
static FACTOR: Field = Field {
    key: "factor",
    label: "multiply readings with",
    unit: "",
    decimals: 4,
};
static JUDGEMENT: Field = Field {
    key: "judgement",
    label: "the instrument is",
    unit: "",
    decimals: 0,
};

pub(super) static CONDUCTIVITY_AT_25_C: Calculation = Calculation {
    name: "conductivity-at-25c",
    purpose: "conductivity measured at another temperature, referred to 25 °C",
    parameters: &[&CONDUCTIVITY, &TEMPERATURE, &RULE, &COEFFICIENT],
    results: &[&AT_25, &RATIO],
    formula: "linear: κ₂₅ = κ/(1 + α·(T − 25 °C)); iso7888: κ₂₅ = f₂₅(T)·κ, straight lines between \
              the rows of the table",
    source: "linear: common practice, no source; iso7888: ISO 7888:1985, table for natural water, \
             0 to 35.3 °C, as reproduced in two instrument manuals",
    cautions: &[
        "do not compensate the reading of an instrument that does so itself",
        "iso7888 is for natural water, commonly advised from 60 to 1000 µS/cm; take linear for a mix",
    ],
    // A case of tests/reference/conductivity_linear_cases.csv.
    example: Example {
        arguments: &[
            "conductivity=3.1mS/cm",
            "temperature=31.5°C",
            "coefficient=1.91%/K",
        ],
        results: &[("conductivity_us_per_cm", 2757.6391)],
    },
    work: at_25,
};

fn at_25(given: &mut Given<'_>) -> Option<Answer> {
    let (conductivity, temperature) = (given.take(&CONDUCTIVITY), given.take(&TEMPERATURE));
    let rule = rule(given);
    let (conductivity, temperature) = (conductivity?, temperature?);
    let found = rule?.at_25(conductivity, temperature);
    let at_25 = found.map_err(|error| given.mistake(error)).ok()?;
    let (as_is, at_25) = (
        conductivity.microsiemens_per_cm(),
        at_25.microsiemens_per_cm(),
    );
    let factor = Some(at_25 / as_is).filter(|factor| factor.is_finite());
    Some(Answer::default().with(&AT_25, at_25).with(&RATIO, factor))
}

fn rule(given: &mut Given<'_>) -> Option<ConductivityCompensation> {
    match given.take(&RULE)? {
        Rule::Iso7888 => Some(ConductivityCompensation::NaturalWater),
        Rule::Linear => {
            let coefficient = given.take_for("the linear rule", &COEFFICIENT)?;
            LinearCoefficient::new(coefficient)
                .map(ConductivityCompensation::Linear)
                .map_err(|error| given.mistake(error))
                .ok()
        }
    }
}

pub(super) static CELL_CONSTANT: Calculation = Calculation {
    name: "cell-constant",
    purpose: "constant of a conductivity cell, or factor of its instrument, from a standard",
    parameters: &[&STANDARD, &STANDARD_TEMPERATURE, &CONDUCTANCE, &SHOWN],
    results: &[&STANDARD_HAS, &CONSTANT, &FACTOR, &JUDGEMENT],
    formula: "K = κ/G, or factor = κ/shown; κ on straight lines between the rows of the table; \
              good up to 2 % off, replace beyond 5 %, watch between",
    source: "kcl-…-molal: NIST (Wu, Koch, Pratt 1991; Wu et al. 1994; Pratt et al. 2001), as in a \
             handbook; others: a table printed in an instrument manual; bands: common practice, no \
             source",
    cautions: &["read the standard without the instrument's own temperature compensation"],
    example: Example {
        arguments: &[
            "standard=kcl-1413",
            "temperature=20°C",
            "conductance=2556µS",
        ],
        results: &[
            ("standard_us_per_cm", 1278.0),
            ("cell_constant_per_cm", 0.5),
        ],
    },
    work: cell_constant,
};

fn cell_constant(given: &mut Given<'_>) -> Option<Answer> {
    let (standard, temperature) = (given.take(&STANDARD), given.take(&STANDARD_TEMPERATURE));
    let (conductance, shown) = (given.take(&CONDUCTANCE), given.take(&SHOWN));
    if given.has(&CONDUCTANCE) == given.has(&SHOWN) {
        given.mistake("give either conductance or shown");
        return None;
    }
    let found = standard?.at(temperature?);
    let standard = found.map_err(|error| given.mistake(error)).ok()?;
    let answer = Answer::default().with(&STANDARD_HAS, standard.microsiemens_per_cm());
    if let Some(conductance) = conductance {
        let cell = Cell::from_standard(conductance, standard)
            .map_err(|error| given.mistake(error))
            .ok()?;
        return Some(answer.with(&CONSTANT, cell.constant().per_cm()));
    }
    let shown = shown?.microsiemens_per_cm();
    let factor = ProbeFactor::from_standard(shown, standard.microsiemens_per_cm())
        .map_err(|error| given.mistake(error))
        .ok()?;
    let remark = factor.judge(&ProbeBands::default());
    let judgement = remark.map_or(Judgement::Good, |remark| remark.judgement());
    Some(
        answer
            .with(&FACTOR, factor.get())
            .with(&JUDGEMENT, judgement.name()),
    )
}
