//! The straight line through a short series.

use crate::signal::{Confidence, TrendError, theil_sen};
use crate::units::Span;

use super::answer::{Answer, Field};
use super::argument::{Argument, Series, word, words};
use super::given::Given;
use super::parameter::Parameter;
use super::{Calculation, Example};

const LEVELS: [(&str, Confidence); 2] =
    [("90%", Confidence::Ninety), ("95%", Confidence::NinetyFive)];

impl Argument for Confidence {
    fn allowed() -> String {
        words(&LEVELS).join(", ")
    }

    fn read(text: &str) -> Result<Self, String> {
        word("confidence", &LEVELS, text)
    }
}

const VALUES: Parameter<Series> = Parameter::required("values", "readings of one channel");
const INTERVAL: Parameter<Span> = Parameter::or("interval", "1 d", "from reading to reading");
const CONFIDENCE: Parameter<Confidence> = Parameter::or(
    "confidence",
    "90%",
    "that the interval holds the true slope",
);

const fn number(key: &'static str, label: &'static str, unit: &'static str) -> Field {
    Field {
        key,
        label,
        unit,
        decimals: 4,
    }
}

static SLOPE: Field = number("slope_per_day", "slope", "a day");
static LOWEST: Field = number("lowest_slope_per_day", "at least", "a day");
static HIGHEST: Field = number("highest_slope_per_day", "at most", "a day");
static NEWEST: Field = number("newest", "the line at the newest", "");
static TAU: Field = number("tau_b", "Kendall's rank correlation", "");
static CERTAIN: Field = Field::plain("certain", "it rises or falls for sure");

pub(super) static THEIL_SEN: Calculation = Calculation {
    name: "theil-sen",
    purpose: "straight line through a series that a few wrong readings cannot turn",
    parameters: &[&VALUES, &INTERVAL, &CONFIDENCE],
    results: &[&SLOPE, &LOWEST, &HIGHEST, &NEWEST, &TAU, &CERTAIN],
    formula: "the median of the slopes of all pairs; interval by Kendall's variance, with its correction \
              for ties",
    source: "H. Theil (1950); P. K. Sen, JASA 63 (1968); from memory",
    cautions: &[
        "Readings that hang together, as smoothed ones or those of a day's rhythm, make the interval too narrow.",
    ],
    example: Example {
        arguments: &["values=9.20, 9.17, 9.16, 9.11, 8.40, 9.06, 9.02"],
        results: &[("slope_per_day", -0.03)],
    },
    work,
};

fn work(given: &mut Given<'_>) -> Option<Answer> {
    let (values, interval) = (given.take(&VALUES), given.take_span(&INTERVAL));
    let confidence = given.take(&CONFIDENCE);
    let days = interval?.secs_f64() / 86_400.0;
    let Series(values) = values?;
    // The newest is at 0, so that the line's height there is its intercept.
    let newest = values.len().saturating_sub(1) as f64;
    let places = (0u32..).map(|place| (f64::from(place) - newest) * days);
    let points: Vec<_> = places.zip(values).collect();
    let trend = match theil_sen(&points, confidence?) {
        Ok(trend) => trend,
        Err(no @ TrendError::TooFew { .. }) => {
            given.answer_is_no(no);
            return None;
        }
        Err(error) => {
            given.mistake(error);
            return None;
        }
    };
    let (lowest, highest) = trend.interval;
    Some(
        Answer::default()
            .with(&SLOPE, trend.slope)
            .with(&LOWEST, lowest)
            .with(&HIGHEST, highest)
            .with(&NEWEST, trend.joint_intercept)
            .with(&TAU, trend.tau_b)
            .with(&CERTAIN, trend.is_certain()),
    )
}
