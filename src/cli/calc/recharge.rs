//! The litres of a clean-out and its new charge.

use crate::advice::Caution;
use crate::advice::recharge::{RechargeCase, RechargeSetup, VolumeSource, plan};
use crate::units::{Concentration, Span, Volume};

use super::answer::{Answer, Field};
use super::argument::Share;
use super::given::Given;
use super::parameter::Parameter;
use super::{Calculation, Example};

const VOLUME: Parameter<Volume> = Parameter::required(
    "volume",
    "that the sump holds and is to hold, pipes and machines included",
);
const OLD: Parameter<Concentration> =
    Parameter::required("old-concentration", "of the charge that is let out");
const TARGET: Parameter<Concentration> =
    Parameter::required("target-concentration", "that the sump is to be kept at");
const SURPLUS: Parameter<Concentration> = Parameter::or(
    "first-fill-surplus",
    "1 %",
    "points above the target for the first charge",
);
const REST: Parameter<Share> = Parameter::or(
    "rest",
    "0 %",
    "of the volume that no drain gets out, up to 50 %",
);
const RINSES: Parameter<f64> = Parameter::or("rinses", "1", "how many, 1 or more");
const RINSE_SHARE: Parameter<Share> =
    Parameter::or("rinse-share", "20 %", "of the volume for one rinse");
const RINSE_STRENGTH: Parameter<Concentration> =
    Parameter::or("rinse-strength", "1 %", "of a rinse; fresh water is 0 %");
const STRONGEST_PREMIX: Parameter<Concentration> =
    Parameter::or("strongest-premix", "20 %", "that people can mix");

static REST_VOLUME: Field = Field::litres("rest_l", "stays in");
static REST_STRENGTH: Field = Field::percent("rest_strength_pct", "of a strength, once rinsed, of");
static CARRY_OVER: Field = Field::percent("carry_over_pct", "old fluid in the new charge");
static CONCENTRATE: Field = Field::litres("fill_concentrate_l", "fill: concentrate");
static WATER: Field = Field::litres("fill_water_l", "fill: water");
static WATER_FIRST: Field = Field::litres("water_first_l", "of it first, alone");
static PREMIX: Field = Field::litres("premix_l", "then premix");
static STRENGTH: Field = Field::percent("premix_strength_pct", "premix strength");
static RINSE_CONCENTRATE: Field = Field::litres("rinse_concentrate_l", "rinses: concentrate");
static RINSE_WATER: Field = Field::litres("rinse_water_l", "rinses: water");
static WASTE: Field = Field::litres("waste_l", "waste without a cleaner");

/// More rinses than anybody makes.
const MOST_RINSES: f64 = 100.0;

pub(super) static RECHARGE: Calculation = Calculation {
    name: "recharge",
    purpose: "litres of a clean-out: what stays in, the new charge on top of it, rinses and waste",
    parameters: &[
        &VOLUME,
        &OLD,
        &TARGET,
        &SURPLUS,
        &REST,
        &RINSES,
        &RINSE_SHARE,
        &RINSE_STRENGTH,
        &STRONGEST_PREMIX,
    ],
    results: &[
        &REST_VOLUME,
        &REST_STRENGTH,
        &CARRY_OVER,
        &CONCENTRATE,
        &WATER,
        &WATER_FIRST,
        &PREMIX,
        &STRENGTH,
        &RINSE_CONCENTRATE,
        &RINSE_WATER,
        &WASTE,
    ],
    formula: "rest r/V·(r/(r + R))^n of old fluid, c ← (c·r + cR·R)/(r + R) by each rinse R; concentrate \
              ct·V − c·r, water V − r − concentrate; waste V − r + n·R",
    source: "mass balance by volume, volumes taken to add up; worked out here",
    // The hazards that go with every plan.
    cautions: &[
        Caution::ConfinedSpaceEntry.words(),
        Caution::LockOut.words(),
        Caution::AlkalineCleaner.words(),
        Caution::BiocideInCleaner.words(),
        Caution::Concentrate.words(),
        Caution::ProtectiveEquipment.words(),
        Caution::Jetting.words(),
        Caution::SlipperyFloor.words(),
        Caution::WasteCodes.words(),
        Caution::PremixOnly.words(),
        Caution::MovingParts.words(),
        Caution::DataSheets.words(),
        "A cleaner and its amount are by its data sheet, and come on top of the waste.",
    ],
    example: Example {
        arguments: &[
            "volume=1000L",
            "old-concentration=5.5%",
            "target-concentration=5.5%",
        ],
        results: &[
            ("fill_concentrate_l", 65.0),
            ("fill_water_l", 935.0),
            ("premix_l", 325.0),
            ("rinse_concentrate_l", 2.0),
            ("waste_l", 1200.0),
        ],
    },
    work,
};

fn work(given: &mut Given<'_>) -> Option<Answer> {
    let (setup, case) = (setup(given), case(given));
    let plan = plan(&setup?, &case?)
        .map_err(|error| given.mistake(error))
        .ok()?;
    let times = f64::from(plan.rinse.times);
    Some(
        Answer::default()
            .with(&REST_VOLUME, plan.rest.volume_l)
            .with(&REST_STRENGTH, plan.rest.strength_pct)
            .with(&CARRY_OVER, plan.rest.carry_over_pct)
            .with(&CONCENTRATE, plan.fill.concentrate_l)
            .with(&WATER, plan.fill.water_l)
            .with(&WATER_FIRST, plan.fill.water_first_l)
            .with(&PREMIX, plan.fill.premix_l)
            .with(&STRENGTH, plan.fill.premix_strength_pct)
            .with(&RINSE_CONCENTRATE, times * plan.rinse.concentrate_l)
            .with(&RINSE_WATER, times * plan.rinse.water_l)
            .with(&WASTE, plan.totals.waste_l),
    )
}

/// How it is cleaned. Times have no part in the litres.
fn setup(given: &mut Given<'_>) -> Option<RechargeSetup> {
    let (rinses, share) = (rinses(given), given.take(&RINSE_SHARE));
    let (strength, surplus) = (given.take(&RINSE_STRENGTH), given.take(&SURPLUS));
    for (name, found) in [
        ("rinse-strength", strength),
        ("first-fill-surplus", surplus),
    ] {
        if let Some(found) = found.filter(|found| !(0.0..100.0).contains(&found.percent())) {
            given.mistake(format!(
                "{name} is {found}; give 0 % or more, and less than 100 %"
            ));
        }
    }
    Some(RechargeSetup {
        cleaner: None,
        cleaner_time: Span::ZERO,
        drain_rate: None,
        rinses: rinses?,
        rinse_share: share?.0,
        rinse_strength: strength?,
        rinse_time: Span::ZERO,
        carry_over_limit: 1.0,
        first_fill_surplus: surplus?,
        settle: Span::ZERO,
    })
}

fn case(given: &mut Given<'_>) -> Option<RechargeCase> {
    let (volume, old) = (given.take(&VOLUME), given.take(&OLD));
    let (target, rest) = (given.take(&TARGET), given.take(&REST));
    let strongest = given.take(&STRONGEST_PREMIX);
    Some(RechargeCase {
        sump: "sump".into(),
        title: String::new(),
        fluid: String::new(),
        mixing_note: None,
        volume: volume?,
        old_volume: volume?,
        volume_source: VolumeSource::Given,
        head_room: Volume::default(),
        old: old?,
        rest: rest?.0,
        target: target?,
        strongest_premix: strongest?,
        mixing: Span::ZERO,
        measure: None,
        prices: None,
    })
}

fn rinses(given: &mut Given<'_>) -> Option<u16> {
    let found = given.take(&RINSES)?;
    if found.fract() == 0.0 && (1.0..=MOST_RINSES).contains(&found) {
        // A whole number between 1 and 100.
        return Some(found as u16);
    }
    given.mistake(format!(
        "rinses is {found}; give a whole number from 1 to {MOST_RINSES}"
    ));
    None
}
