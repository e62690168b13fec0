//! What an addition makes of a sump, and how much of one a correction takes.

use crate::advice::Caution;
use crate::model::Mix;
use crate::model::makeup::{addition, exchange, topped_up};
use crate::units::{Concentration, Volume};

use super::answer::{Answer, Field};
use super::given::Given;
use super::parameter::Parameter;
use super::{Calculation, Example};

const VOLUME: Parameter<Volume> = Parameter::required(
    "volume",
    "what the sump holds now, pipes and machines included",
);
const CONCENTRATION: Parameter<Concentration> =
    Parameter::required("concentration", "of what the sump holds now");
const ADDED: Parameter<Volume> = Parameter::required("added", "what is added");
const STRENGTH_ADDED: Parameter<Concentration> =
    Parameter::or("strength", "0 %", "of what is added; water is 0 %");
const STRENGTH: Parameter<Concentration> = Parameter::required(
    "strength",
    "of what is added; water is 0 %, neat concentrate 100 %",
);
const TARGET: Parameter<Concentration> =
    Parameter::required("target-concentration", "that the sump is to have");
const HIGHEST_VOLUME: Parameter<Volume> = Parameter::optional(
    "highest-volume",
    "that the sump can hold; says no where it would overflow",
);

static VOLUME_AFTER: Field = Field::litres("volume_l", "the sump then holds");
static CONCENTRATION_AFTER: Field = Field::percent("concentration_pct", "of a concentration of");
static CONCENTRATE_AFTER: Field = Field::litres("concentrate_l", "concentrate in it");
static ADD: Field = Field::litres("add_l", "add");
static DRAIN: Field = Field::litres("drain_l", "drain, then fill up with as much");
static CONCENTRATE: Field = Field::litres("concentrate_to_add_l", "concentrate in that");
static WATER: Field = Field::litres("water_to_add_l", "water in that");

const SOURCE: &str = "mass balance by volume, volumes taken to add up; worked out here";
const NEXT: &str = "Once mixed, check the concentration again by hand.";

pub(super) static TOP_UP: Calculation = Calculation {
    name: "top-up",
    purpose: "what adding water or premix makes of a sump",
    parameters: &[&VOLUME, &CONCENTRATION, &ADDED, &STRENGTH_ADDED],
    results: &[&VOLUME_AFTER, &CONCENTRATION_AFTER, &CONCENTRATE_AFTER],
    formula: "(c·V + p·v)/(V + v)",
    source: SOURCE,
    cautions: &[
        Caution::PremixOnly.words(),
        Caution::Concentrate.words(),
        NEXT,
    ],
    example: Example {
        arguments: &[
            "volume=820L",
            "concentration=4.2%",
            "added=180L",
            "strength=5%",
        ],
        results: &[("volume_l", 1000.0), ("concentration_pct", 4.344)],
    },
    work: |given| {
        let (now, added) = (now(given), given.take(&ADDED));
        let strength = given.take(&STRENGTH_ADDED);
        let after = topped_up(now?, Mix::new(added?, strength?))
            .map_err(|error| given.mistake(error))
            .ok()?;
        Some(
            Answer::default()
                .with(&VOLUME_AFTER, after.volume.litres())
                .with(&CONCENTRATION_AFTER, after.concentration.percent())
                .with(&CONCENTRATE_AFTER, after.concentrate_part().litres()),
        )
    },
};

pub(super) static ADDITION: Calculation = Calculation {
    name: "addition",
    purpose: "how much to add, while the level rises, to bring a sump to a concentration",
    parameters: &[&VOLUME, &CONCENTRATION, &TARGET, &STRENGTH, &HIGHEST_VOLUME],
    results: &[&ADD, &CONCENTRATE, &WATER, &VOLUME_AFTER],
    formula: "V·(ct − c)/(p − ct)",
    source: SOURCE,
    cautions: &[
        Caution::PremixOnly.words(),
        Caution::Concentrate.words(),
        Caution::MovingParts.words(),
        Caution::DataSheets.words(),
        "Without highest-volume nothing is said about the room there is: do not overfill.",
        NEXT,
    ],
    example: Example {
        arguments: &[
            "volume=1000L",
            "concentration=8%",
            "target-concentration=6%",
            "strength=0%",
        ],
        results: &[("add_l", 1000.0 / 3.0), ("volume_l", 4000.0 / 3.0)],
    },
    work: |given| {
        let (now, target) = (now(given), given.take(&TARGET));
        let (strength, highest) = (given.take(&STRENGTH), given.take(&HIGHEST_VOLUME));
        let (now, strength) = (now?, strength?);
        let added = addition(now, strength, target?)
            .map_err(|error| given.answer_is_no(error))
            .ok()?;
        let after = Volume::from_litres(now.volume.litres() + added.litres());
        if let Some(highest) = highest.filter(|highest| after > *highest) {
            given.answer_is_no(format!(
                "{added} would have to be added, and the sump would hold {after}, \
                 more than {highest}; exchange instead, or aim for less"
            ));
            return None;
        }
        let answer = Answer::default().with(&ADD, added.litres());
        Some(parts(answer, Mix::new(added, strength)).with(&VOLUME_AFTER, after.litres()))
    },
};

pub(super) static EXCHANGE: Calculation = Calculation {
    name: "exchange",
    purpose: "how much to drain and replace with water or premix to bring a sump to a concentration",
    parameters: &[&VOLUME, &CONCENTRATION, &TARGET, &STRENGTH],
    results: &[&DRAIN, &CONCENTRATE, &WATER],
    formula: "V·(ct − c)/(p − c)",
    source: SOURCE,
    cautions: &[
        Caution::PremixOnly.words(),
        Caution::Concentrate.words(),
        Caution::Waste.words(),
        Caution::MovingParts.words(),
        Caution::DataSheets.words(),
        NEXT,
    ],
    example: Example {
        arguments: &[
            "volume=1000L",
            "concentration=4.5%",
            "target-concentration=6%",
            "strength=20%",
        ],
        results: &[
            ("drain_l", 96.774_194),
            ("concentrate_to_add_l", 19.354_839),
        ],
    },
    work: |given| {
        let (now, target) = (now(given), given.take(&TARGET));
        let strength = given.take(&STRENGTH);
        let (now, strength) = (now?, strength?);
        let swapped = exchange(now, strength, target?)
            .map_err(|error| given.answer_is_no(error))
            .ok()?;
        let answer = Answer::default().with(&DRAIN, swapped.litres());
        Some(parts(answer, Mix::new(swapped, strength)))
    },
};

/// What the sump holds now.
fn now(given: &mut Given<'_>) -> Option<Mix> {
    let (volume, concentration) = (given.take(&VOLUME), given.take(&CONCENTRATION));
    Some(Mix::new(volume?, concentration?))
}

fn parts(answer: Answer, added: Mix) -> Answer {
    answer
        .with(&CONCENTRATE, added.concentrate_part().litres())
        .with(&WATER, added.water_part().litres())
}
