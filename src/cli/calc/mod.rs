//! Any formula of the house from the command line: `calc NAME key=value…`.
//!
//! Promises: every calculation names its formula, its source and a worked
//! example that the tests run; all mistakes of a call are told at once; JSON
//! results are not rounded. Refuses: quantities without their unit, keys that
//! a calculation does not know or does not use, and numbers that a formula does
//! not hold for. It works out what it is given and touches nothing.
//!
//! To add a calculation, write its file beside the others and name it in
//! `REGISTRY`.

mod answer;
mod argument;
mod concentration;
mod conductivity;
mod control_charts;
mod costs;
mod dose;
mod dose_volume;
mod drift;
mod factor;
mod filters;
mod given;
mod hardness;
mod list;
mod loop_current;
mod make_up;
mod minerals;
mod mixer;
mod mixing_time;
mod modbus_crc;
mod parameter;
mod ph;
mod ph_calibration;
mod print;
mod recharge;
mod refractometer;
mod sucrose;
mod tank_shape;
mod tank_volume;
mod top_up;
mod trend;
mod unknown;

use answer::{Answer, Field};
use given::{Given, Stop};
use parameter::Declared;

pub use list::{about, list};

/// Every calculation, in the order in which they are listed.
static REGISTRY: &[&Calculation] = &[
    &dose::DOSE,
    &concentration::CONCENTRATION,
    &tank_volume::TANK_VOLUME,
    &top_up::TOP_UP,
    &top_up::ADDITION,
    &top_up::EXCHANGE,
    &recharge::RECHARGE,
    &make_up::PEARSON_SQUARE,
    &make_up::HOLDING_STRENGTH,
    &make_up::STEADY_CONCENTRATION,
    &mixer::MIXER_CORRECTION,
    &drift::DRIFT,
    &drift::AFTER_EVAPORATION,
    &mixing_time::MIXING_TIME,
    &dose_volume::VOLUME_BY_DOSE,
    &dose_volume::VOLUME_BY_WATER,
    &factor::REFRACTIVE_FACTOR,
    &refractometer::REFRACTOMETER,
    &ph::PH_FROM_MV,
    &ph_calibration::PH_CALIBRATION,
    &ph::BUFFER_PH,
    &conductivity::CONDUCTIVITY_AT_25_C,
    &conductivity::CELL_CONSTANT,
    &sucrose::BRIX_FROM_INDEX,
    &sucrose::INDEX_FROM_BRIX,
    &sucrose::BRIX_AT_20_C,
    &hardness::WATER_HARDNESS,
    &minerals::MINERAL_BUILD_UP,
    &minerals::TAP_SHARE,
    &costs::MIX_PRICE,
    &costs::OVER_STRENGTH,
    &costs::CHANGE_OUT_COST,
    &loop_current::LOOP_CURRENT,
    &filters::HAMPEL,
    &filters::EWMA,
    &trend::THEIL_SEN,
    &control_charts::EWMA_CHART,
    &control_charts::CUSUM,
    &modbus_crc::MODBUS_CRC,
];

/// One calculation with all that is to be said about it.
struct Calculation {
    /// Name on the command line.
    name: &'static str,
    /// What it is for, in one line.
    purpose: &'static str,
    /// What it takes.
    parameters: &'static [&'static dyn Declared],
    /// What it can give.
    results: &'static [&'static Field],
    /// The formula in one line.
    formula: &'static str,
    /// Where the formula comes from.
    source: &'static str,
    /// What a person must heed who acts on the answer.
    cautions: &'static [&'static str],
    /// A worked call.
    example: Example,
    /// The work. It takes its parameters from `Given`, where it also leaves
    /// what stands in the way of an answer.
    work: fn(&mut Given<'_>) -> Option<Answer>,
}

/// A worked call, and what must come of it.
struct Example {
    arguments: &'static [&'static str],
    /// Some of the results; numbers to within 1e-4.
    results: &'static [(&'static str, f64)],
}

/// What to print, and how the call went.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CalcOutcome {
    /// The answer or the mistakes: lines of text, or one JSON object.
    pub text: String,
    /// How the call went.
    pub verdict: Verdict,
}

/// How a call went.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// There is an answer.
    Answered,
    /// The call was understood and the answer is no.
    Refused,
    /// The call was wrong.
    WrongUsage,
}

impl Verdict {
    /// The exit status that tells a calling program.
    pub const fn exit_status(self) -> u8 {
        match self {
            Verdict::Answered => 0,
            Verdict::Refused => 1,
            Verdict::WrongUsage => 2,
        }
    }
}

/// Runs the calculation that `arguments` name first with the `key=value` pairs
/// that follow, and gives what is to be printed, as text or as JSON.
pub fn run(arguments: &[String], json: bool) -> CalcOutcome {
    let Some((name, pairs)) = arguments.split_first() else {
        let told = format!("name a calculation: {}", names().join(", "));
        return print::mistakes(None, &[told], json);
    };
    let Some(calculation) = REGISTRY.iter().find(|known| known.name == name) else {
        let told = unknown("calculation", name, &names());
        return print::mistakes(None, &[told], json);
    };
    let mut given = Given::new(calculation.parameters, pairs);
    let answer = (calculation.work)(&mut given);
    let inputs = match given.finish() {
        Ok(inputs) => inputs,
        Err(Stop::Mistakes(told)) => return print::mistakes(Some(calculation), &told, json),
        Err(Stop::No(reason)) => return print::refusal(calculation, &reason, json),
    };
    match answer.filter(Answer::is_finite) {
        Some(answer) => print::answer(calculation, &inputs, &answer, json),
        None => {
            let told = "the numbers are too large for this formula".to_owned();
            print::mistakes(Some(calculation), &[told], json)
        }
    }
}

fn names() -> Vec<&'static str> {
    REGISTRY
        .iter()
        .map(|calculation| calculation.name)
        .collect()
}

#[cfg(test)]
mod tests;

use unknown::unknown;
