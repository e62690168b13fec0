//! What a mixer (proportioner) is to be set to.

use crate::advice::MixerCheck;
use crate::units::{Concentration, Measured};

use super::answer::{Answer, Field, Value};
use super::given::Given;
use super::parameter::Parameter;
use super::{Calculation, Example};

const SETTING: Parameter<Concentration> =
    Parameter::required("setting", "what it is set to and should give");
const READING: Parameter<Concentration> =
    Parameter::required("reading", "what it gives, read at its outlet");
const UNCERTAINTY: Parameter<Concentration> = Parameter::or(
    "uncertainty",
    "0 %",
    "of the reading, one standard deviation in points",
);

static NEW_SETTING: Field = Field::percent("new_setting_pct", "set it to");
static RATIO: Field = Field::percent("gives_of_setting_pct", "it gives of its setting");

pub(super) static MIXER_CORRECTION: Calculation = Calculation {
    name: "mixer-correction",
    purpose: "what to set a mixer to that gives too much or too little",
    parameters: &[&SETTING, &READING, &UNCERTAINTY],
    results: &[&NEW_SETTING, &RATIO],
    formula: "setting·setting/reading; none where the two agree within 2 u",
    source: "linear through zero; worked out here",
    cautions: &[
        "Look at the water pressure, the suction line, the strainer and the nozzle first.",
        "Set it, fill a can and read again; what it is marked with and what it gives differ.",
    ],
    example: Example {
        arguments: &["setting=6.0%", "reading=5.1%"],
        results: &[
            ("new_setting_pct", 7.058_824),
            ("gives_of_setting_pct", 85.0),
        ],
    },
    work: |given| {
        let setting = above_nothing(given, &SETTING);
        let reading = above_nothing(given, &READING);
        let uncertainty = given.take(&UNCERTAINTY)?.percent();
        if uncertainty < 0.0 {
            given.mistake(format!("uncertainty is {uncertainty} %; give 0 % or more"));
        }
        let (setting, got) = (setting?, Measured::new(reading?.percent(), uncertainty));
        let check = MixerCheck::new("", setting, got, &[]);
        let agrees = (got.value - setting.percent()).abs() <= 2.0 * uncertainty;
        if check.new_setting_pct.is_none() && !agrees {
            given.answer_is_no(
                "no setting up to 100 % gives what is wanted: see that it draws concentrate",
            );
        }
        let new = check.new_setting_pct.map_or(Value::Nothing, Value::Number);
        Some(
            Answer::default()
                .with(&NEW_SETTING, new)
                .with(&RATIO, 100.0 * check.ratio()),
        )
    },
};

/// A strength above nothing, at most that of the concentrate.
fn above_nothing(
    given: &mut Given<'_>,
    parameter: &Parameter<Concentration>,
) -> Option<Concentration> {
    let found = given.take(parameter)?;
    if found.percent() > 0.0 && found.percent() <= 100.0 {
        return Some(found);
    }
    let name = parameter.name;
    given.mistake(format!(
        "{name} is {found}; give more than 0 % and at most 100 %"
    ));
    None
}
