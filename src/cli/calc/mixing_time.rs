//! How long a sump takes to mix.

use crate::model::mixing::{mixing_min, turnover_min, turnovers};
use crate::units::{Flow, Volume};

use super::answer::{Answer, Field};
use super::argument::Share;
use super::given::Given;
use super::parameter::Parameter;
use super::{Calculation, Example};

const VOLUME: Parameter<Volume> = Parameter::required("volume", "what the sump holds");
const CIRCULATION: Parameter<Flow> = Parameter::required(
    "circulation",
    "what the pumps lead out of the sump and back into it",
);
const SHARE: Parameter<Share> = Parameter::or(
    "share",
    "95 %",
    "of a step that is to have arrived, less than 100 %",
);

static TURNOVER: Field = minutes("turnover_min", "one turnover");
static TURNOVERS: Field = Field {
    key: "turnovers",
    label: "turnovers needed",
    unit: "",
    decimals: 1,
};
static MIXING: Field = minutes("mixing_min", "mixing time");

const fn minutes(key: &'static str, label: &'static str) -> Field {
    Field {
        key,
        label,
        unit: "min",
        decimals: 1,
    }
}

pub(super) static MIXING_TIME: Calculation = Calculation {
    name: "mixing-time",
    purpose: "how long to wait after a dose until most of it has arrived everywhere",
    parameters: &[&VOLUME, &CIRCULATION, &SHARE],
    results: &[&TURNOVER, &TURNOVERS, &MIXING],
    formula: "V/Q; −ln(1 − share); −ln(1 − share)·V/Q",
    source: "a vessel that mixes perfectly; worked out here",
    cautions: &[
        "Real sumps have dead corners: take this for the least; 3 to 5 turnovers are usual (memory).",
    ],
    example: Example {
        arguments: &["volume=1000L", "circulation=50L/min"],
        results: &[("turnover_min", 20.0), ("mixing_min", 59.914_645)],
    },
    work,
};

fn work(given: &mut Given<'_>) -> Option<Answer> {
    let (volume, circulation) = (given.take(&VOLUME), given.take(&CIRCULATION));
    let share = given.take(&SHARE);
    let (volume, circulation, Share(share)) = (volume?, circulation?, share?);
    let mixing = mixing_min(volume, circulation, share)
        .map_err(|error| given.mistake(error))
        .ok()?;
    Some(
        Answer::default()
            .with(&TURNOVER, turnover_min(volume, circulation).ok())
            .with(&TURNOVERS, turnovers(share).ok())
            .with(&MIXING, mixing),
    )
}
