//! What the make-up water's minerals come to in a sump.

use crate::model::minerals::{TapShare, Turnover};
use crate::units::{Concentration, Content, Span, Volume};

use super::answer::{Answer, Field};
use super::given::Given;
use super::make_up::{CARRY_OFF, EVAPORATION, rates};
use super::parameter::Parameter;
use super::{Calculation, Example};

const VOLUME: Parameter<Volume> = Parameter::required("volume", "that the sump is kept at");
const CONCENTRATION: Parameter<Concentration> =
    Parameter::required("concentration", "that the sump is kept at");
const NOW: Parameter<Content> = Parameter::required("now", "content of the mix, hardness as CaCO3");
const WATER: Parameter<Content> = Parameter::required("water", "content of the make-up water");
const TIME: Parameter<Span> = Parameter::optional("time", "after which to say the content");
const LIMIT: Parameter<Content> = Parameter::optional("limit", "for the days until it is reached");
const TAP: Parameter<Content> = Parameter::required("tap", "content of the tap water");
const PURIFIED: Parameter<Content> =
    Parameter::or("purified", "0 mg/L", "content of the purified water");
const CEILING: Parameter<Content> =
    Parameter::required("limit", "that the mix is to stay at or under");

const fn milligrams(key: &'static str, label: &'static str) -> Field {
    Field {
        key,
        label,
        unit: "mg/L",
        decimals: 1,
    }
}

const fn days(key: &'static str, label: &'static str) -> Field {
    Field {
        key,
        label,
        unit: "d",
        decimals: 1,
    }
}

static STEADY: Field = milligrams("steady_mg_l", "ends at");
static CONSTANT: Field = days("time_constant_d", "of the way there 63 % in");
static THEN: Field = milligrams("content_mg_l", "content after the time");
static DAYS: Field = days("days_to_limit", "until the limit");
static SHARE: Field = Field::percent("tap_share_pct", "tap water at most");

const SOURCE: &str = "mass balance of what nothing consumes, with make-up of the holding strength and a \
                      concentrate that brings no minerals; worked out here";
const SOAPS: &str =
    "Hardness is lost to soaps of the concentrate, so this is the most; chloride is not lost.";

pub(super) static MINERAL_BUILD_UP: Calculation = Calculation {
    name: "mineral-build-up",
    purpose: "what hardness or chloride of the make-up water comes to in a sump that is kept full",
    parameters: &[
        &VOLUME,
        &CONCENTRATION,
        &EVAPORATION,
        &CARRY_OFF,
        &NOW,
        &WATER,
        &TIME,
        &LIMIT,
    ],
    results: &[&STEADY, &CONSTANT, &THEN, &DAYS],
    formula: "V·dS/dt = S_water·(1 − p)·(E + D) − D·S, p = c·D/(E + D); ends at S_water·(1 − p)·(E + D)/D, \
              with the time constant V/D; none where it never comes there",
    source: SOURCE,
    cautions: &[SOAPS],
    example: Example {
        arguments: &[
            "volume=1000L",
            "concentration=6%",
            "evaporation=50L/d",
            "carry-off=20L/d",
            "now=188mg/L",
            "water=200mg/L",
        ],
        results: &[("steady_mg_l", 688.0), ("time_constant_d", 50.0)],
    },
    work: |given| {
        let volume = given.take(&VOLUME);
        if let Some(empty) = volume.filter(|volume| *volume <= Volume::default()) {
            given.mistake(format!("the volume is {empty}; give more than 0 L"));
        }
        let turnover = turnover(given, volume);
        let (now, water) = (content(given, &NOW), content(given, &WATER));
        let (time, limit) = (given.take(&TIME), content(given, &LIMIT));
        let (turnover, now, water) = (turnover?, now?, water?);
        let mut answer = Answer::default()
            .with(&STEADY, turnover.steady_mg_l(water))
            .with(&CONSTANT, turnover.time_constant_d());
        if let Some(time) = time {
            if time < Span::ZERO {
                given.mistake(format!("the time is {time}; give 0 d or more"));
                return None;
            }
            let days = time.secs_f64() / 86_400.0;
            answer = answer.with(&THEN, turnover.after_mg_l(now, water, days));
        }
        if let Some(limit) = limit {
            answer = answer.with(&DAYS, turnover.days_to(now, water, limit));
        }
        Some(answer)
    },
};

pub(super) static TAP_SHARE: Calculation = Calculation {
    name: "tap-share",
    purpose: "largest share of tap water in the make-up, the rest purified, that keeps a mineral under a limit",
    parameters: &[
        &CONCENTRATION,
        &EVAPORATION,
        &CARRY_OFF,
        &TAP,
        &PURIFIED,
        &CEILING,
    ],
    results: &[&SHARE],
    formula: "a·S_tap + (1 − a)·S_purified = S_limit·D/((1 − p)·(E + D)), p = c·D/(E + D)",
    source: SOURCE,
    cautions: &[
        SOAPS,
        "For top-ups; a first fill wants some hardness, else it foams.",
    ],
    example: Example {
        arguments: &[
            "concentration=6%",
            "evaporation=50L/d",
            "carry-off=20L/d",
            "tap=200mg/L",
            "limit=344mg/L",
        ],
        results: &[("tap_share_pct", 50.0)],
    },
    work: |given| {
        let turnover = turnover(given, Some(Volume::from_litres(1.0)));
        let (tap, purified) = (content(given, &TAP), content(given, &PURIFIED));
        let limit = content(given, &CEILING);
        let share = turnover?.tap_share(tap?, purified?, limit?);
        if share == TapShare::None {
            given.answer_is_no(
                "no share of tap water keeps the mix under the limit; take purified water alone, \
                 and let some of the mix out when even that does not do",
            );
            return None;
        }
        Some(Answer::default().with(&SHARE, 100.0 * share.share()))
    },
};

fn turnover(given: &mut Given<'_>, volume: Option<Volume>) -> Option<Turnover> {
    let (concentration, rates) = (given.take(&CONCENTRATION), rates(given));
    let (concentration, rates) = (concentration?, rates?);
    if !(0.0..100.0).contains(&concentration.percent()) {
        given.mistake(format!(
            "the concentration is {concentration}; give 0 % or more, and less than 100 %"
        ));
        return None;
    }
    let lost = rates.total_l_d();
    let carried = lost * rates.carry_off_share();
    let evaporated = lost * rates.evaporation_share();
    Some(Turnover::holding(
        volume?,
        evaporated,
        carried,
        concentration,
    ))
}

/// A content of 0 mg/L or more.
fn content(given: &mut Given<'_>, parameter: &Parameter<Content>) -> Option<f64> {
    let content = given.take(parameter)?;
    if content >= Content::default() {
        return Some(content.mg_per_l());
    }
    let name = parameter.name;
    given.mistake(format!("{name} is {content}; give 0 mg/L or more"));
    None
}
