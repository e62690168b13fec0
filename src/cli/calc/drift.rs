//! A sump that nobody tops up.

use crate::model::Mix;
use crate::model::drift::{Drift, DriftError, evaporated};
use crate::units::{Concentration, Span, Volume};

use super::answer::{Answer, Field};
use super::given::Given;
use super::make_up::{CARRY_OFF, EVAPORATION, rates};
use super::parameter::Parameter;
use super::{Calculation, Example};

const VOLUME: Parameter<Volume> = Parameter::required("volume", "what the sump holds now");
const CONCENTRATION: Parameter<Concentration> =
    Parameter::required("concentration", "of what the sump holds now");
const TIME: Parameter<Span> = Parameter::optional("time", "after which to say where it stands");
const LOWEST: Parameter<Volume> =
    Parameter::optional("lowest-volume", "for the days until it has sunk so far");
const HIGHEST: Parameter<Concentration> = Parameter::optional(
    "highest-concentration",
    "for the days until it is so concentrated",
);
const EVAPORATED: Parameter<Volume> = Parameter::required("evaporated", "water that is gone");

static VOLUME_THEN: Field = Field::litres("volume_l", "the sump then holds");
static CONCENTRATION_THEN: Field = Field::percent("concentration_pct", "of a concentration of");
static DAYS_TO_LOWEST: Field = days("days_to_lowest_volume", "until the lowest volume");
static DAYS_TO_HIGHEST: Field = days(
    "days_to_highest_concentration",
    "until the highest concentration",
);

const fn days(key: &'static str, label: &'static str) -> Field {
    Field {
        key,
        label,
        unit: "d",
        decimals: 2,
    }
}

pub(super) static DRIFT: Calculation = Calculation {
    name: "drift",
    purpose: "where a sump goes without top-up, and when it reaches a limit",
    parameters: &[
        &VOLUME,
        &CONCENTRATION,
        &EVAPORATION,
        &CARRY_OFF,
        &TIME,
        &LOWEST,
        &HIGHEST,
    ],
    results: &[
        &VOLUME_THEN,
        &CONCENTRATION_THEN,
        &DAYS_TO_LOWEST,
        &DAYS_TO_HIGHEST,
    ],
    formula: "V(t) = V0 − (E + D)·t; c(t) = c0·(V0/V)^(E/(E + D)); days (V0 − V)/(E + D) and \
              V0·(1 − (c0/c)^((E + D)/E))/(E + D), none where it never comes there",
    source: "mass balance by volume, worked out here; agrees with a numeric solution of it",
    cautions: &[
        "For losses that stay as they are; shifts, weekends and the weather change them.",
        "A pump that runs dry is damaged: the lowest volume is that which its suction needs.",
    ],
    example: Example {
        arguments: &[
            "volume=1000L",
            "concentration=6%",
            "evaporation=40L/d",
            "carry-off=15L/d",
            "time=5d",
            "lowest-volume=700L",
            "highest-concentration=8%",
        ],
        results: &[
            ("volume_l", 725.0),
            ("concentration_pct", 7.580_950),
            ("days_to_lowest_volume", 5.454_545),
            ("days_to_highest_concentration", 5.939_982),
        ],
    },
    work,
};

fn work(given: &mut Given<'_>) -> Option<Answer> {
    let (now, rates) = (now(given), rates(given));
    let (time, lowest, highest) = (given.take(&TIME), given.take(&LOWEST), given.take(&HIGHEST));
    if !(given.has(&TIME) || given.has(&LOWEST) || given.has(&HIGHEST)) {
        given.mistake("give time, lowest-volume or highest-concentration, or several of them");
        return None;
    }
    let drift = told(given, Drift::new(now?, rates?))?;
    let mut answer = Answer::default();
    if let Some(time) = time {
        let then = told(given, drift.after(time))?;
        answer = answer
            .with(&VOLUME_THEN, then.volume.litres())
            .with(&CONCENTRATION_THEN, then.concentration.percent());
    }
    if let Some(lowest) = lowest {
        let days = told(given, drift.days_to_volume(lowest))?;
        answer = answer.with(&DAYS_TO_LOWEST, days);
    }
    if let Some(highest) = highest {
        let days = told(given, drift.days_to_concentration(highest))?;
        answer = answer.with(&DAYS_TO_HIGHEST, days);
    }
    Some(answer)
}

pub(super) static AFTER_EVAPORATION: Calculation = Calculation {
    name: "evaporation",
    purpose: "what evaporation alone makes of a sump",
    parameters: &[&VOLUME, &CONCENTRATION, &EVAPORATED],
    results: &[&VOLUME_THEN, &CONCENTRATION_THEN],
    formula: "c·V/(V − E)",
    source: "mass balance by volume; worked out here",
    cautions: &[],
    example: Example {
        arguments: &["volume=1000L", "concentration=6%", "evaporated=80L"],
        results: &[("volume_l", 920.0), ("concentration_pct", 6.521_739)],
    },
    work: |given| {
        let (now, gone) = (now(given), given.take(&EVAPORATED));
        let left = told(given, evaporated(now?, gone?))?;
        Some(
            Answer::default()
                .with(&VOLUME_THEN, left.volume.litres())
                .with(&CONCENTRATION_THEN, left.concentration.percent()),
        )
    },
};

fn now(given: &mut Given<'_>) -> Option<Mix> {
    let (volume, concentration) = (given.take(&VOLUME), given.take(&CONCENTRATION));
    Some(Mix::new(volume?, concentration?))
}

/// What came of it. A sump that is gone by then is a no, all else a mistake.
fn told<T>(given: &mut Given<'_>, found: Result<T, DriftError>) -> Option<T> {
    match found {
        Ok(found) => Some(found),
        Err(no @ (DriftError::Gone { .. } | DriftError::NotThatMuchWater { .. })) => {
            given.answer_is_no(no);
            None
        }
        Err(error) => {
            given.mistake(error);
            None
        }
    }
}
