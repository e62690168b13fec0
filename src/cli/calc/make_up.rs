//! Which premix a sump needs, and what a premix is mixed from.

use crate::advice::Caution;
use crate::model::LossRates;
use crate::model::makeup::{holding_strength, share_of, steady_concentration};
use crate::units::{Concentration, LossRate, Volume};

use super::answer::{Answer, Field};
use super::given::Given;
use super::parameter::Parameter;
use super::{Calculation, Example};

const STRONG: Parameter<Concentration> = Parameter::required("strong", "the stronger stock");
const WEAK: Parameter<Concentration> =
    Parameter::or("weak", "0 %", "the weaker stock; water is 0 %");
const TARGET: Parameter<Concentration> = Parameter::required("target", "what they are mixed to");
const AMOUNT: Parameter<Volume> =
    Parameter::optional("amount", "of the mix; adds the litres of either stock");
const CONCENTRATION: Parameter<Concentration> =
    Parameter::required("concentration", "that the sump is to keep");
const PREMIX: Parameter<Concentration> =
    Parameter::required("premix", "strength of all that is added");

/// The losses of a sump, here and in `drift`.
pub(super) const EVAPORATION: Parameter<LossRate> =
    Parameter::required("evaporation", "water that the sump loses as vapour");
pub(super) const CARRY_OFF: Parameter<LossRate> = Parameter::required(
    "carry-off",
    "mix that the sump loses with parts, chips and mist",
);

static STRONG_SHARE: Field = Field::percent("strong_share_pct", "share of the stronger");
static STRONG_LITRES: Field = Field::litres("strong_l", "of the stronger");
static WEAK_LITRES: Field = Field::litres("weak_l", "of the weaker");
static HOLDS: Field = Field::percent("premix_strength_pct", "premix strength");
static SETTLES: Field = Field::percent("concentration_pct", "concentration");
static CARRIED: Field = Field::percent("carry_off_share_pct", "carry-off in the losses");

const STEADY: &str = "For losses that stay as they are, all of them replaced by this make-up: check the \
                      concentration as often as before.";

pub(super) static PEARSON_SQUARE: Calculation = Calculation {
    name: "pearson-square",
    purpose: "shares in which two stocks make a mix",
    parameters: &[&STRONG, &WEAK, &TARGET, &AMOUNT],
    results: &[&STRONG_SHARE, &STRONG_LITRES, &WEAK_LITRES],
    formula: "share of the stronger = (t − b)/(a − b)",
    source: "mass balance by volume, known in the trade as Pearson's square; worked out here",
    cautions: &[
        "Stir the concentrate into the water, not the water into the concentrate.",
        Caution::Concentrate.words(),
    ],
    example: Example {
        arguments: &["strong=20%", "weak=2%", "target=6%", "amount=90L"],
        results: &[
            ("strong_share_pct", 22.222_222),
            ("strong_l", 20.0),
            ("weak_l", 70.0),
        ],
    },
    work: |given| {
        let (strong, weak) = (given.take(&STRONG), given.take(&WEAK));
        let (target, amount) = (given.take(&TARGET), given.take(&AMOUNT));
        let share = share_of(strong?, weak?, target?)
            .map_err(|error| given.answer_is_no(error))
            .ok()?;
        let answer = Answer::default().with(&STRONG_SHARE, 100.0 * share);
        let Some(litres) = amount.map(Volume::litres) else {
            return Some(answer);
        };
        Some(
            answer
                .with(&STRONG_LITRES, litres * share)
                .with(&WEAK_LITRES, litres * (1.0 - share)),
        )
    },
};

pub(super) static HOLDING_STRENGTH: Calculation = Calculation {
    name: "holding-strength",
    purpose: "strength of make-up that keeps a concentration against the losses",
    parameters: &[&CONCENTRATION, &EVAPORATION, &CARRY_OFF],
    results: &[&HOLDS, &CARRIED],
    formula: "p = c·D/(E + D)",
    source: "mass balance by volume; worked out here",
    cautions: &[STEADY],
    example: Example {
        arguments: &["concentration=8%", "evaporation=12L/d", "carry-off=18L/d"],
        results: &[("premix_strength_pct", 4.8), ("carry_off_share_pct", 60.0)],
    },
    work: |given| {
        let (concentration, rates) = (given.take(&CONCENTRATION), rates(given));
        let rates = rates?;
        let held = holding_strength(concentration?, &rates)
            .map_err(|error| given.mistake(error))
            .ok()?;
        Some(
            Answer::default()
                .with(&HOLDS, held.percent())
                .with(&CARRIED, 100.0 * rates.carry_off_share()),
        )
    },
};

pub(super) static STEADY_CONCENTRATION: Calculation = Calculation {
    name: "steady-concentration",
    purpose: "concentration that make-up of one strength leads a sump to",
    parameters: &[&PREMIX, &EVAPORATION, &CARRY_OFF],
    results: &[&SETTLES, &CARRIED],
    formula: "c = p·(E + D)/D",
    source: "mass balance by volume; worked out here",
    cautions: &[STEADY],
    example: Example {
        arguments: &["premix=3%", "evaporation=40L/d", "carry-off=20L/d"],
        results: &[("concentration_pct", 9.0)],
    },
    work: |given| {
        let (premix, rates) = (given.take(&PREMIX), rates(given));
        let rates = rates?;
        let settles = steady_concentration(premix?, &rates)
            .map_err(|error| given.answer_is_no(error))
            .ok()?;
        Some(
            Answer::default()
                .with(&SETTLES, settles.percent())
                .with(&CARRIED, 100.0 * rates.carry_off_share()),
        )
    },
};

/// Evaporation and carry-off together.
pub(super) fn rates(given: &mut Given<'_>) -> Option<LossRates> {
    let (evaporation, carry_off) = (given.take(&EVAPORATION), given.take(&CARRY_OFF));
    LossRates::new(evaporation?, carry_off?)
        .map_err(|error| given.mistake(error))
        .ok()
}
