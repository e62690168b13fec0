//! What the filters of a channel make of a short series.

use crate::signal::{Despike, DespikeSetup, Judged, Smoother};
use crate::units::{Span, Timestamp};

use super::answer::{Answer, Field};
use super::argument::Series;
use super::parameter::Parameter;
use super::{Calculation, Example};

const VALUES: Parameter<Series> = Parameter::required("values", "readings of one channel");
const INTERVAL: Parameter<Span> = Parameter::or("interval", "1 min", "from reading to reading");
const WINDOW: Parameter<Span> = Parameter::or(
    "window",
    "15 min",
    "readings older than this are left out; the newest 11 are looked at",
);
const SIGMAS: Parameter<f64> = Parameter::or(
    "sigmas",
    "3",
    "robust standard deviations from the median that make a spike",
);
const FLOOR: Parameter<f64> = Parameter::or(
    "floor",
    "0",
    "least robust standard deviation, in the unit of the values",
);
const TIME_CONSTANT: Parameter<Span> = Parameter::or(
    "time-constant",
    "5 min",
    "after which a step has come to 63 %",
);

const fn series(key: &'static str, label: &'static str) -> Field {
    Field {
        key,
        label,
        unit: "",
        decimals: 3,
    }
}

static FILTERED: Field = series("filtered", "filtered");
static SPIKES: Field = Field::plain("spikes", "spikes");
static SPIKE_PLACES: Field = Field::plain("spike_places", "at, counted from 1");
static SMOOTHED: Field = series("smoothed", "smoothed");
static NEWEST: Field = series("newest", "the newest");
static WEIGHT: Field = series("weight", "weight of a reading");

pub(super) static HAMPEL: Calculation = Calculation {
    name: "hampel",
    purpose: "a series without its spikes, as a channel filters it",
    parameters: &[&VALUES, &INTERVAL, &WINDOW, &SIGMAS, &FLOOR],
    results: &[&FILTERED, &SPIKES, &SPIKE_PLACES],
    formula: "a spike where |x − median| > sigmas·1.4826·median(|xi − median|), over the window that ends \
              with x and has at least 4 readings; the median then stands for it",
    source: "F. R. Hampel, JASA 69 (1974), from memory",
    cautions: &[],
    example: Example {
        arguments: &["values=6.0, 6.1, 6.0, 6.2, 6.1, 9.9, 6.2"],
        results: &[("spikes", 1.0)],
    },
    work: |given| {
        let (values, interval) = (given.take(&VALUES), given.take_span(&INTERVAL));
        let window = given.take_span(&WINDOW);
        let (sigmas, floor) = (given.take(&SIGMAS), given.take(&FLOOR));
        let setup = DespikeSetup {
            window: window?,
            sigmas: sigmas?,
            floor: floor?,
        };
        let mut despike = Despike::default();
        let (mut filtered, mut places) = (Vec::new(), Vec::new());
        for (place, (time, x)) in (1u32..).zip(timed(values?, interval?)) {
            match despike.step(&setup, time, x) {
                Judged::Kept(x) => filtered.push(x),
                Judged::Spike(median) => {
                    filtered.push(median);
                    places.push(f64::from(place));
                }
            }
        }
        Some(
            Answer::default()
                .with(&FILTERED, filtered)
                .with(&SPIKES, places.len() as f64)
                .with(&SPIKE_PLACES, places),
        )
    },
};

pub(super) static EWMA: Calculation = Calculation {
    name: "ewma",
    purpose: "a series smoothed exponentially, as a channel smooths it",
    parameters: &[&VALUES, &INTERVAL, &TIME_CONSTANT],
    results: &[&SMOOTHED, &NEWEST, &WEIGHT],
    formula: "y ← y + α·(x − y), α = 1 − e^(−interval/time constant), begun with the first reading",
    source: "common practice, no source; the usual exponentially weighted moving average",
    cautions: &[],
    // α = 0.3: the first rows of tests/reference/filters_small.csv.
    example: Example {
        arguments: &[
            "values=5.92, 6.03, 6.14, 6.05",
            "interval=60s",
            "time-constant=168.22s",
        ],
        results: &[("newest", 6.021_37), ("weight", 0.3)],
    },
    work: |given| {
        let (values, interval) = (given.take(&VALUES), given.take_span(&INTERVAL));
        let tau = given.take_span(&TIME_CONSTANT);
        let (interval, tau) = (interval?, tau?);
        let mut smoother = Smoother::default();
        let smoothed: Vec<f64> = timed(values?, interval)
            .map(|(time, x)| smoother.step(tau, time, x))
            .collect();
        let weight = 1.0 - (-interval.secs_f64() / tau.secs_f64()).exp();
        Some(
            Answer::default()
                .with(&SMOOTHED, smoothed)
                .with(&NEWEST, smoother.value())
                .with(&WEIGHT, weight),
        )
    },
};

/// The values, one each interval.
fn timed(values: Series, interval: Span) -> impl Iterator<Item = (Timestamp, f64)> {
    let mut time = Timestamp::from_millis(0);
    values.0.into_iter().map(move |x| {
        let now = time;
        time = time + interval;
        (now, x)
    })
}
