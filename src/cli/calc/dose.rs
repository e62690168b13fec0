//! What to drain and add.

use crate::advice::Caution;
use crate::advice::balance::{BalanceError, Makeup, balance, limited};
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
const TARGET_VOLUME: Parameter<Volume> =
    Parameter::required("target-volume", "what the sump is to hold");
const TARGET_CONCENTRATION: Parameter<Concentration> =
    Parameter::required("target-concentration", "that the sump is to have");
const STRONGEST_PREMIX: Parameter<Concentration> = Parameter::optional(
    "strongest-premix",
    "that people can mix; adds the make-up that keeps to it",
);

static DRAIN: Field = Field::litres("drain_l", "drain");
static CONCENTRATE: Field = Field::litres("concentrate_l", "concentrate");
static WATER: Field = Field::litres("water_l", "water");
static PREMIX: Field = Field::litres("premix_l", "premix of both");
static STRENGTH: Field = Field::percent("premix_strength_pct", "premix strength");
static LIMITED_DRAIN: Field = Field::litres("limited_drain_l", "with limit: drain");
static LIMITED_CONCENTRATE: Field =
    Field::litres("limited_concentrate_l", "with limit: concentrate");
static LIMITED_WATER: Field = Field::litres("limited_water_l", "with limit: water");
static LIMITED_PREMIX: Field = Field::litres("limited_premix_l", "with limit: premix");
static LIMITED_STRENGTH: Field =
    Field::percent("limited_premix_strength_pct", "with limit: strength");

pub(super) static DOSE: Calculation = Calculation {
    name: "dose",
    purpose: "what to drain and add to bring a sump to its target",
    parameters: &[
        &VOLUME,
        &CONCENTRATION,
        &TARGET_VOLUME,
        &TARGET_CONCENTRATION,
        &STRONGEST_PREMIX,
    ],
    results: &[
        &DRAIN,
        &CONCENTRATE,
        &WATER,
        &PREMIX,
        &STRENGTH,
        &LIMITED_DRAIN,
        &LIMITED_CONCENTRATE,
        &LIMITED_WATER,
        &LIMITED_PREMIX,
        &LIMITED_STRENGTH,
    ],
    formula: "keep k = min(V, ct·Vt/c, (1−ct)·Vt/(1−c)), with a strongest premix p at most \
              Vt·(p−ct)/(p−c); drain V − k; concentrate ct·Vt − c·k; water (1−ct)·Vt − (1−c)·k",
    source: "mass balance by volume, volumes taken to add up; worked out here",
    cautions: &[
        Caution::PremixOnly.words(),
        Caution::Concentrate.words(),
        Caution::Waste.words(),
        Caution::MovingParts.words(),
        Caution::DataSheets.words(),
        "Above some 20 to 25 % a premix is hard to mix (memory): strongest-premix keeps it below.",
        "Once mixed, check the concentration again by hand.",
    ],
    example: Example {
        arguments: &[
            "volume=820L",
            "concentration=4.2%",
            "target-volume=1000L",
            "target-concentration=6%",
        ],
        results: &[
            ("drain_l", 0.0),
            ("concentrate_l", 25.56),
            ("water_l", 154.44),
            ("premix_l", 180.0),
            ("premix_strength_pct", 14.2),
        ],
    },
    work,
};

fn work(given: &mut Given<'_>) -> Option<Answer> {
    let volume = given.take(&VOLUME);
    let concentration = given.take(&CONCENTRATION);
    let target_volume = given.take(&TARGET_VOLUME);
    let target_concentration = given.take(&TARGET_CONCENTRATION);
    let strongest = given.take(&STRONGEST_PREMIX);
    let (v, c, vt, ct) = (
        volume?,
        concentration?,
        target_volume?,
        target_concentration?,
    );

    let bare = balance(v, c, vt, ct)
        .map_err(|error| given.mistake(error))
        .ok()?;
    let answer = Answer::default()
        .with(&DRAIN, bare.drain.litres())
        .with(&CONCENTRATE, bare.concentrate.litres())
        .with(&WATER, bare.water.litres())
        .with(&PREMIX, bare.premix_volume().litres())
        .with(
            &STRENGTH,
            bare.premix_strength().map(Concentration::percent),
        );
    let Some(strongest) = strongest else {
        return Some(answer);
    };
    match limited(v, c, vt, ct, strongest) {
        Ok(makeup) => Some(with_limit(answer, &makeup)),
        Err(no @ BalanceError::PremixTooWeak { .. }) => {
            given.answer_is_no(no);
            None
        }
        Err(error) => {
            given.mistake(error);
            None
        }
    }
}

fn with_limit(answer: Answer, makeup: &Makeup) -> Answer {
    let adds = makeup.premix > Volume::default();
    answer
        .with(&LIMITED_DRAIN, makeup.drain.litres())
        .with(&LIMITED_CONCENTRATE, makeup.concentrate.litres())
        .with(&LIMITED_WATER, makeup.water.litres())
        .with(&LIMITED_PREMIX, makeup.premix.litres())
        .with(&LIMITED_STRENGTH, adds.then(|| makeup.strength.percent()))
}
