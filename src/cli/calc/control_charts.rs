//! Control charts of a short series.

use crate::signal::{Control, Cusum, CusumSetup, EwmaChart, EwmaSetup, HeadStart};

use super::answer::{Answer, Field};
use super::argument::Series;
use super::parameter::Parameter;
use super::{Calculation, Example};

const VALUES: Parameter<Series> = Parameter::required("values", "of what is to stay on its target");
const TARGET: Parameter<f64> = Parameter::required("target", "in the unit of the values");
const SIGMA: Parameter<f64> = Parameter::required(
    "sigma",
    "standard deviation of one value about its target, above 0",
);
const WEIGHT: Parameter<f64> =
    Parameter::or("weight", "0.3", "of the newest value, above 0 up to 1");
const LIMITS: Parameter<f64> = Parameter::or(
    "limits",
    "3",
    "standard deviations of the average at which it is out of control",
);
const REFERENCE: Parameter<f64> = Parameter::required(
    "reference",
    "usually half of the shift to be found, in the unit of the values",
);
const DECISION: Parameter<f64> = Parameter::required(
    "decision",
    "sum that is too much, usually 4 to 5 standard deviations, in the unit of the values",
);

const fn series(key: &'static str, label: &'static str) -> Field {
    Field {
        key,
        label,
        unit: "",
        decimals: 3,
    }
}

static AVERAGES: Field = series("averages", "averages");
static LOWER: Field = series("lower_limit", "lower limit in the end");
static UPPER: Field = series("upper_limit", "upper limit in the end");
static HIGH_SUMS: Field = series("high_sums", "sums above");
static LOW_SUMS: Field = series("low_sums", "sums below");
static STATE: Field = Field::plain("state", "the newest is");
static FIRST_OUT: Field = Field::plain("first_out", "first out at, counted from 1");

pub(super) static EWMA_CHART: Calculation = Calculation {
    name: "ewma-chart",
    purpose: "whether a series stays on its target, by its exponentially weighted average",
    parameters: &[&VALUES, &TARGET, &SIGMA, &WEIGHT, &LIMITS],
    results: &[&AVERAGES, &LOWER, &UPPER, &STATE, &FIRST_OUT],
    formula: "z ← z + λ·(x − z), begun at the target; limits target ∓ k·σ·√(λ/(2 − λ)·(1 − (1 − λ)^2i))",
    source: "S. W. Roberts (1959), from memory; NIST/SEMATECH e-Handbook, 6.3.2.4",
    cautions: &[],
    // The first values of the handbook's example, tests/reference/nist_ewma.csv.
    example: Example {
        arguments: &["values=52, 47, 53, 49.3", "target=50", "sigma=2.0539"],
        results: &[("lower_limit", 47.411_568), ("upper_limit", 52.588_432)],
    },
    work: |given| {
        let (values, target) = (given.take(&VALUES), given.take(&TARGET));
        let (sigma, weight) = (given.take(&SIGMA), given.take(&WEIGHT));
        let limits = given.take(&LIMITS);
        let setup = EwmaSetup::new(weight?, target?, sigma?, limits?)
            .map_err(|error| given.mistake(error))
            .ok()?;
        let mut chart = EwmaChart::default();
        let mut seen = Seen::default();
        let mut averages = Vec::new();
        for x in values?.0 {
            seen.note(chart.step(&setup, x));
            averages.push(chart.average(&setup));
        }
        let (lower, upper) = setup.asymptotic_limits();
        let answer = Answer::default()
            .with(&AVERAGES, averages)
            .with(&LOWER, lower)
            .with(&UPPER, upper);
        Some(seen.told(answer))
    },
};

pub(super) static CUSUM: Calculation = Calculation {
    name: "cusum",
    purpose: "whether a series stays on its target, by adding up how far it is off",
    parameters: &[&VALUES, &TARGET, &REFERENCE, &DECISION],
    results: &[&HIGH_SUMS, &LOW_SUMS, &STATE, &FIRST_OUT],
    formula: "high ← max(0, high + x − target − k), low ← max(0, low + target − k − x); out above h",
    source: "E. S. Page (1954), from memory; NIST/SEMATECH e-Handbook, 6.3.2.3",
    cautions: &[],
    example: Example {
        arguments: &[
            "values=6.1, 6.4, 6.5, 6.4, 6.6",
            "target=6",
            "reference=0.2",
            "decision=0.8",
        ],
        results: &[("first_out", 5.0)],
    },
    work: |given| {
        let (values, target) = (given.take(&VALUES), given.take(&TARGET));
        let (reference, decision) = (given.take(&REFERENCE), given.take(&DECISION));
        let setup = CusumSetup::new(target?, reference?, decision?, HeadStart::None)
            .map_err(|error| given.mistake(error))
            .ok()?;
        let mut chart = Cusum::default();
        let mut seen = Seen::default();
        let (mut above, mut below) = (Vec::new(), Vec::new());
        for x in values?.0 {
            seen.note(chart.step(&setup, x));
            let (high, low) = chart.sums();
            above.push(high);
            below.push(low);
        }
        let answer = Answer::default()
            .with(&HIGH_SUMS, above)
            .with(&LOW_SUMS, below);
        Some(seen.told(answer))
    },
};

/// What a chart said of the values.
#[derive(Default)]
struct Seen {
    values: u32,
    first_out: Option<u32>,
    newest: Option<Control>,
}

impl Seen {
    fn note(&mut self, control: Control) {
        self.values += 1;
        if control != Control::Within {
            self.first_out.get_or_insert(self.values);
        }
        self.newest = Some(control);
    }

    fn told(&self, answer: Answer) -> Answer {
        let state = match self.newest {
            None | Some(Control::Within) => "within",
            Some(Control::Above) => "above",
            Some(Control::Below) => "below",
        };
        answer
            .with(&STATE, state)
            .with(&FIRST_OUT, self.first_out.map(f64::from))
    }
}
