//! The true volume of a sump out of what known additions did to it.

use crate::model::{DosePool, DoseStep, DoseVolumeError, DoseVolumeSetup, Strength};
use crate::units::{Concentration, Measured, Volume};

use super::answer::{Answer, Field};
use super::argument::{Argument, Share, word, words};
use super::given::Given;
use super::parameter::Parameter;
use super::{Calculation, Example};

/// One addition: how much, and the concentration before and after.
struct Dose {
    added: Volume,
    before: Concentration,
    after: Concentration,
}

/// Additions to the same sump at the same level.
struct Doses(Vec<Dose>);

impl Argument for Doses {
    fn allowed() -> String {
        "amount:before:after, one or several, as \"10 L:5.0 %:6.2 %, 8 L:5.1 %:6.0 %\"".to_owned()
    }

    fn read(text: &str) -> Result<Self, String> {
        text.split(',')
            .map(dose)
            .collect::<Result<_, _>>()
            .map(Doses)
    }
}

fn dose(text: &str) -> Result<Dose, String> {
    let parts: Vec<_> = text.split(':').collect();
    let [added, before, after] = parts[..] else {
        return Err(format!(
            "\"{text}\" is not a dose; write amount, concentration before and after, as 10 L:5.0 %:6.2 %"
        ));
    };
    Ok(Dose {
        added: Volume::read(added)?,
        before: Concentration::read(before)?,
        after: Concentration::read(after)?,
    })
}

/// How the strength of what was added is known.
#[derive(Clone, Copy)]
enum KnownBy {
    Counted,
    ReadAlike,
}

const WAYS: [(&str, KnownBy); 2] = [
    ("counted", KnownBy::Counted),
    ("read-alike", KnownBy::ReadAlike),
];

impl Argument for KnownBy {
    fn allowed() -> String {
        words(&WAYS).join(", ")
    }

    fn read(text: &str) -> Result<Self, String> {
        word("way to know a strength", &WAYS, text)
    }
}

const DOSES: Parameter<Doses> = Parameter::required(
    "doses",
    "litres of concentrate or premix, and the concentration before and, once mixed, after",
);
const WATERS: Parameter<Doses> = Parameter::required(
    "doses",
    "litres of water, and the concentration before and, once mixed, after",
);
const STRENGTH: Parameter<Concentration> = Parameter::or(
    "strength",
    "100 %",
    "of what was added; neat concentrate is 100 %",
);
const STRENGTH_UNCERTAINTY: Parameter<Concentration> = Parameter::or(
    "strength-uncertainty",
    "0 %",
    "standard uncertainty of the strength",
);
const STRENGTH_BY: Parameter<KnownBy> = Parameter::or(
    "strength-by",
    "counted",
    "litres that made the premix, or the refractometer that reads the sump",
);
const AMOUNT_UNCERTAINTY: Parameter<Share> = Parameter::or(
    "amount-uncertainty",
    "1 %",
    "standard uncertainty of each amount, of itself",
);
const READING_UNCERTAINTY: Parameter<Concentration> = Parameter::or(
    "reading-uncertainty",
    "0.1 %",
    "standard uncertainty of each concentration, without that of the factor",
);
const FACTOR_UNCERTAINTY: Parameter<Share> = Parameter::or(
    "factor-uncertainty",
    "3 %",
    "standard uncertainty of the refractive factor, of itself",
);
const LEAST_STEP: Parameter<f64> = Parameter::or(
    "least-step",
    "4",
    "standard uncertainties that a step must have to tell a volume",
);
const LEAST_OFF: Parameter<Share> = Parameter::or(
    "least-off",
    "5 %",
    "difference from the settings that matters",
);
const SETTINGS_VOLUME: Parameter<Volume> = Parameter::optional(
    "settings-volume",
    "what the settings say that the sump holds before a dose; adds whether that is so",
);

static VOLUME: Field = Field::litres("volume_l", "the sump held");
static UNCERTAINTY: Field = Field::litres("standard_uncertainty_l", "standard uncertainty");
static LOWEST: Field = Field::litres("lowest_l", "in 9 of 10 cases from");
static HIGHEST: Field = Field::litres("highest_l", "to");
static OFF: Field = Field {
    key: "off_pct",
    label: "off the settings",
    unit: "%",
    decimals: 1,
};
static JUDGEMENT: Field = Field::plain("judgement", "beside the settings it");

const SOURCE: &str = "mass balance by volume, worked out here; uncertainty by first-order propagation, \
                      the factor's once for all doses";
const READING: &str = "Read before and, once mixed, after with the same instrument and the pumps in the same \
                       state; add enough for a step of a point or more.";
const ELSE: &str = "Nothing else may have been added or drained in between.";

pub(super) static VOLUME_BY_DOSE: Calculation = Calculation {
    name: "volume-by-dose",
    purpose: "what a sump truly holds, from what known additions of concentrate or premix did",
    parameters: &[
        &DOSES,
        &STRENGTH,
        &STRENGTH_UNCERTAINTY,
        &STRENGTH_BY,
        &AMOUNT_UNCERTAINTY,
        &READING_UNCERTAINTY,
        &FACTOR_UNCERTAINTY,
        &LEAST_STEP,
        &LEAST_OFF,
        &SETTINGS_VOLUME,
    ],
    results: &[&VOLUME, &UNCERTAINTY, &LOWEST, &HIGHEST, &OFF, &JUDGEMENT],
    formula: "V = v·(p − c2)/(c2 − c1), before the addition; several doses as the weighted mean of 1/V; \
              off when 1 lies outside the 90 % interval of the ratio and by least-off or more",
    source: SOURCE,
    cautions: &[READING, ELSE],
    example: Example {
        arguments: &["doses=10 L:5.0 %:6.2 %", "settings-volume=1000L"],
        results: &[("volume_l", 781.666_667), ("off_pct", -21.833_333)],
    },
    work: |given| {
        let doses = given.take(&DOSES);
        let (strength, uncertainty) = (given.take(&STRENGTH), given.take(&STRENGTH_UNCERTAINTY));
        let by = given.take(&STRENGTH_BY);
        let factor = given.take(&FACTOR_UNCERTAINTY);
        let pooled = Pooling::take(given, factor);
        let strength = Measured::new(strength?.percent(), uncertainty?.percent());
        let strength = match by? {
            KnownBy::Counted => Strength::Counted(strength),
            KnownBy::ReadAlike => Strength::ReadAlike(strength),
        };
        pooled?.answer(given, &doses?, strength)
    },
};

pub(super) static VOLUME_BY_WATER: Calculation = Calculation {
    name: "volume-by-water",
    purpose: "what a sump truly holds, from what known additions of water did",
    parameters: &[
        &WATERS,
        &AMOUNT_UNCERTAINTY,
        &READING_UNCERTAINTY,
        &LEAST_STEP,
        &LEAST_OFF,
        &SETTINGS_VOLUME,
    ],
    results: &[&VOLUME, &UNCERTAINTY, &LOWEST, &HIGHEST, &OFF, &JUDGEMENT],
    formula: "V = w·c2/(c1 − c2), before the addition; the refractive factor cancels; several as the \
              weighted mean of 1/V; off when 1 lies outside the 90 % interval of the ratio and by least-off or more",
    source: SOURCE,
    cautions: &[
        READING,
        ELSE,
        "Water makes the sump leaner: not below what its fluid needs.",
    ],
    example: Example {
        arguments: &["doses=40 L:8.0 %:7.6 %", "reading-uncertainty=0.05%"],
        results: &[("volume_l", 760.0)],
    },
    work: |given| {
        let doses = given.take(&WATERS);
        // Of water the factor has no part.
        let pooled = Pooling::take(given, Some(Share(0.0)));
        let water = Strength::Counted(Measured::new(0.0, 0.0));
        pooled?.answer(given, &doses?, water)
    },
};

/// How doses are pooled, and what they are held against.
struct Pooling {
    amount_uncertainty: f64,
    reading_uncertainty_pct: f64,
    settings: Option<Volume>,
    setup: DoseVolumeSetup,
}

impl Pooling {
    fn take(given: &mut Given<'_>, factor: Option<Share>) -> Option<Self> {
        let amount = given.take(&AMOUNT_UNCERTAINTY);
        let reading = given.take(&READING_UNCERTAINTY);
        let least = given.take(&LEAST_STEP);
        let (least_off, settings) = (given.take(&LEAST_OFF), given.take(&SETTINGS_VOLUME));
        let least_step_sigmas = least?;
        if least_step_sigmas < 0.0 {
            given.mistake(format!("least-step is {least_step_sigmas}; give 0 or more"));
            return None;
        }
        Some(Pooling {
            amount_uncertainty: amount?.0,
            reading_uncertainty_pct: reading?.percent(),
            settings,
            setup: DoseVolumeSetup {
                least_step_sigmas,
                least_off: least_off?.0,
                factor_uncertainty: factor?.0,
            },
        })
    }

    fn answer(&self, given: &mut Given<'_>, doses: &Doses, strength: Strength) -> Option<Answer> {
        // Without settings the ratio to one litre is the volume.
        let expected = self.settings.unwrap_or(Volume::from_litres(1.0));
        let mut pool = DosePool::default();
        for dose in &doses.0 {
            match pool.add(&self.step(dose, strength), expected, &self.setup) {
                Ok(()) => {}
                Err(no @ DoseVolumeError::StepTooSmall { .. }) => {
                    given.answer_is_no(no);
                    return None;
                }
                Err(error) => {
                    given.mistake(error);
                    return None;
                }
            }
        }
        let ratio = pool.ratio(&self.setup)?;
        let litres = |share: f64| share * expected.litres();
        let (lowest, highest) = ratio.interval_90();
        let answer = Answer::default()
            .with(&VOLUME, litres(ratio.value))
            .with(&UNCERTAINTY, litres(ratio.uncertainty))
            .with(&LOWEST, litres(lowest))
            .with(&HIGHEST, litres(highest));
        if self.settings.is_none() {
            return Some(answer);
        }
        let judgement = pool.judge(&self.setup)?;
        Some(
            answer
                .with(&OFF, 100.0 * (ratio.value - 1.0))
                .with(&JUDGEMENT, judgement.name()),
        )
    }

    fn step(&self, dose: &Dose, strength: Strength) -> DoseStep {
        let added_l = dose.added.litres();
        let read =
            |found: Concentration| Measured::new(found.percent(), self.reading_uncertainty_pct);
        DoseStep {
            added_l: Measured::new(added_l, self.amount_uncertainty * added_l),
            strength,
            before_pct: read(dose.before),
            after_pct: read(dose.after),
            offset_pct: 0.0,
        }
    }
}
