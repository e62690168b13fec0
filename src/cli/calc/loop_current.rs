//! What a 4–20 mA loop says.

use crate::signal::{LoopRange, LoopState};
use crate::units::Current;

use super::answer::{Answer, Field};
use super::given::Given;
use super::parameter::Parameter;
use super::{Calculation, Example};

const CURRENT: Parameter<Current> = Parameter::required("current", "of the loop");
const AT_4_MA: Parameter<f64> =
    Parameter::required("low", "value at 4 mA, in the unit of what is measured");
const AT_20_MA: Parameter<f64> = Parameter::required("high", "value at 20 mA, in the same unit");

static VALUE: Field = Field {
    key: "value",
    label: "value",
    unit: "",
    decimals: 3,
};
static STATE: Field = Field {
    key: "state",
    label: "the loop is",
    unit: "",
    decimals: 0,
};
static MEASURES: Field = Field {
    key: "usable",
    label: "value can be used",
    unit: "",
    decimals: 0,
};

pub(super) static LOOP_CURRENT: Calculation = Calculation {
    name: "loop-current",
    purpose: "value and state of a 4–20 mA loop",
    parameters: &[&CURRENT, &AT_4_MA, &AT_20_MA],
    results: &[&VALUE, &STATE, &MEASURES],
    formula: "low + (I − 4 mA)/16 mA · (high − low); usable from 3.8 to 20.5 mA",
    source: "NAMUR NE 43: measuring 3.8 to 20.5 mA, failure at most 3.6 or at least 21 mA",
    cautions: &[],
    example: Example {
        arguments: &["current=8mA", "low=0", "high=14"],
        results: &[("value", 3.5)],
    },
    work,
};

fn work(given: &mut Given<'_>) -> Option<Answer> {
    let current = given.take(&CURRENT);
    let (low, high) = (given.take(&AT_4_MA), given.take(&AT_20_MA));
    let range = LoopRange::new(low?, high?)
        .map_err(|error| given.mistake(error))
        .ok()?;
    let current = current?;
    let state = LoopState::of(current);
    Some(
        Answer::default()
            .with(&VALUE, range.value(current))
            .with(&STATE, state.name())
            .with(&MEASURES, state.measures()),
    )
}
