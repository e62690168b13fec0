//! What a mix and its upkeep cost. Money is a plain number here, in whatever
//! currency the prices are.

use crate::model::money::{UnitPrice, change_out_per_week, mix_price, over_strength};
use crate::units::{Concentration, Measured, Span, Volume};

use super::answer::{Answer, Field};
use super::given::Given;
use super::make_up::CARRY_OFF;
use super::parameter::Parameter;
use super::{Calculation, Example};

const CONCENTRATION: Parameter<Concentration> = Parameter::required("concentration", "of the mix");
const CONCENTRATE: Parameter<f64> =
    Parameter::required("concentrate-price", "of a litre of concentrate");
const WATER: Parameter<f64> = Parameter::or("water-price", "0", "of a litre of water");
const VOLUME: Parameter<Volume> = Parameter::required("volume", "of the sump");
const TARGET: Parameter<Concentration> =
    Parameter::required("target-concentration", "that the sump is to have");
const DISPOSAL: Parameter<f64> = Parameter::required(
    "disposal-price",
    "of a litre of spent mix that is taken away",
);
const LABOUR: Parameter<f64> = Parameter::or("labour", "0", "of one change-out");
const LIFE: Parameter<Span> = Parameter::required("life", "of a charge, from fill to change-out");

const fn money(key: &'static str, label: &'static str, decimals: usize) -> Field {
    Field {
        key,
        label,
        unit: "",
        decimals,
    }
}

static PER_LITRE: Field = money("price_per_l", "a litre of mix costs", 4);
static ON_BOARD: Field = money("on_board", "concentrate on board beyond the target", 2);
static PER_DAY: Field = money("per_day", "carried off of it a day", 2);
static PER_WEEK: Field = money("per_week", "change-outs a week", 2);

const SOURCE: &str = "worked out here";
const CURRENCY: &str = "All prices in one currency; so are the results.";

pub(super) static MIX_PRICE: Calculation = Calculation {
    name: "mix-price",
    purpose: "what a litre of mix costs",
    parameters: &[&CONCENTRATION, &CONCENTRATE, &WATER],
    results: &[&PER_LITRE],
    formula: "c·pc + (1 − c)·pw",
    source: SOURCE,
    cautions: &[CURRENCY],
    example: Example {
        arguments: &[
            "concentration=6%",
            "concentrate-price=5.20",
            "water-price=0.004",
        ],
        results: &[("price_per_l", 0.315_76)],
    },
    work: |given| {
        let concentration = share(given, &CONCENTRATION);
        let (concentrate, water) = (price(given, &CONCENTRATE), price(given, &WATER));
        let mix = mix_price(concentration?, concentrate?, water?);
        Some(Answer::default().with(&PER_LITRE, mix.per_litre()))
    },
};

pub(super) static OVER_STRENGTH: Calculation = Calculation {
    name: "over-strength",
    purpose: "what a mix costs that is stronger than its target",
    parameters: &[&VOLUME, &CONCENTRATION, &TARGET, &CARRY_OFF, &CONCENTRATE],
    results: &[&ON_BOARD, &PER_DAY],
    formula: "(c − ct)·V·pc on board, and (c − ct)·D·pc a day",
    source: SOURCE,
    cautions: &[CURRENCY],
    example: Example {
        arguments: &[
            "volume=1000L",
            "concentration=8%",
            "target-concentration=6%",
            "carry-off=20L/d",
            "concentrate-price=5",
        ],
        results: &[("on_board", 100.0), ("per_day", 2.0)],
    },
    work: |given| {
        let (volume, carry_off) = (given.take(&VOLUME), given.take(&CARRY_OFF));
        let concentration = share(given, &CONCENTRATION);
        let (target, price) = (share(given, &TARGET), price(given, &CONCENTRATE));
        let litres = volume.and_then(|volume| not_below(given, "volume", volume.litres()));
        let carried =
            carry_off.and_then(|carried| not_below(given, "carry-off", carried.litres_per_day()));
        let exact = |value| Measured::new(value, 0.0);
        let cost = over_strength(
            exact(concentration?.percent()),
            target?,
            exact(litres?),
            exact(carried?),
            price?,
        );
        let on_board = cost.map_or(0.0, |cost| cost.on_board.value);
        let per_day = cost.map_or(0.0, |cost| cost.per_day.value);
        Some(
            Answer::default()
                .with(&ON_BOARD, on_board)
                .with(&PER_DAY, per_day),
        )
    },
};

pub(super) static CHANGE_OUT_COST: Calculation = Calculation {
    name: "change-out-cost",
    purpose: "what change-outs cost a week",
    parameters: &[&VOLUME, &DISPOSAL, &LABOUR, &LIFE],
    results: &[&PER_WEEK],
    formula: "(V·pd + labour)/weeks; the new charge is not in it",
    source: SOURCE,
    cautions: &[CURRENCY],
    example: Example {
        arguments: &[
            "volume=1000L",
            "disposal-price=0.35",
            "labour=180",
            "life=182d",
        ],
        results: &[("per_week", 20.384_615)],
    },
    work: |given| {
        let (volume, disposal) = (given.take(&VOLUME), price(given, &DISPOSAL));
        let (labour, life) = (given.take(&LABOUR), given.take(&LIFE));
        let litres = volume.and_then(|volume| not_below(given, "volume", volume.litres()));
        let labour = labour.and_then(|labour| not_below(given, "labour", labour));
        let volume = Volume::from_litres(litres?);
        let life = life?;
        let cost = change_out_per_week(volume, disposal?, labour?, life);
        if cost.is_none() {
            given.mistake(format!("the life is {life}; give more than nothing"));
        }
        Some(Answer::default().with(&PER_WEEK, cost?))
    },
};

/// A price of 0 or more.
fn price(given: &mut Given<'_>, parameter: &Parameter<f64>) -> Option<UnitPrice> {
    let price = given.take(parameter)?;
    not_below(given, parameter.name, price).map(UnitPrice::from_per_litre)
}

/// A share of concentrate of 0 to 100 %.
fn share(given: &mut Given<'_>, parameter: &Parameter<Concentration>) -> Option<Concentration> {
    let found = given.take(parameter)?;
    if (0.0..=100.0).contains(&found.percent()) {
        return Some(found);
    }
    let name = parameter.name;
    given.mistake(format!("{name} is {found}; give 0 to 100 %"));
    None
}

fn not_below(given: &mut Given<'_>, name: &str, found: f64) -> Option<f64> {
    if found >= 0.0 {
        return Some(found);
    }
    given.mistake(format!("{name} is {found}; give 0 or more"));
    None
}
