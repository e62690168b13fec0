//! Samples of advice, of doses, and of what came of them.

use std::sync::Arc;

use crate::advice::balance::BalanceError;
use crate::advice::{
    Advice, Amounts, Cause, Caution, Cost, Dose, DoseOption, Judgement, LookStep, MixerCheck,
    Reason, VolumeUnit, Way, Withheld,
};
use crate::engine::Outcome;
use crate::rules::{Condition, LimitLevel};
use crate::signal::InstrumentReason;
use crate::units::{Concentration, Measured, Quantity, Span, Volume};

use super::sample::{NOW, about};

const WAYS: [Way; 10] = [
    Way::WaterOnly,
    Way::Premix,
    Way::WaterToMax,
    Way::PremixToMax,
    Way::NeatAtPoint,
    Way::DrainAndWater,
    Way::DrainAndPremix,
    Way::WaitAndPremix,
    Way::WaterAsItFalls,
    Way::LetItBe,
];

const INSTRUMENTS: [InstrumentReason; 10] = [
    InstrumentReason::Silent,
    InstrumentReason::Fault,
    InstrumentReason::Frozen,
    InstrumentReason::JustTouched,
    InstrumentReason::OutOfRange,
    InstrumentReason::Foam,
    InstrumentReason::Noisy,
    InstrumentReason::Fouled,
    InstrumentReason::Drifting,
    InstrumentReason::Spiking,
];

/// Steps in one sample: about as many as an alarm has at most.
const LOOKS: usize = 8;

/// Advice with this dose, or with the reason why there is none.
pub(super) fn advice(dose: Result<Dose, Withheld>) -> Advice {
    let (dose, withheld) = match dose {
        Ok(dose) => (Some(dose), None),
        Err(withheld) => (None, Some(withheld)),
    };
    Advice {
        id: "mill-4/advice/1".to_owned(),
        time: NOW,
        condition: Condition::Limit(Quantity::Concentration, LimitLevel::Low),
        dose,
        withheld,
        look_at: vec![LookStep::SampleByHand, LookStep::LeanCauses],
        cautions: vec![Caution::PremixOnly, Caution::Concentrate],
    }
}

pub(super) fn all_advice() -> Vec<Advice> {
    let cautious = Advice {
        cautions: Caution::ALL.to_vec(),
        withheld: None,
        ..advice(Err(Withheld::NoConcentration))
    };
    let looks = LookStep::ALL.chunks(LOOKS).map(|steps| Advice {
        look_at: steps.to_vec(),
        withheld: None,
        ..advice(Err(Withheld::NoConcentration))
    });
    let doses = WAYS.into_iter().map(|way| advice(Ok(dose(way))));
    let step = advice(Ok(Dose {
        step: 2,
        volume_assumed: true,
        ..dose(Way::Premix)
    }));
    let withheld = all_withheld().into_iter().map(|why| advice(Err(why)));
    let all = doses.chain(withheld).chain(looks);
    all.chain([step, cautious]).collect()
}

/// Every reason against a dose.
pub(super) fn all_withheld() -> Vec<Withheld> {
    let channel = || Arc::<str>::from("brix-2");
    let mut all = vec![
        Withheld::NoConcentration,
        Withheld::Silent { channel: channel() },
        Withheld::Doubted { channel: channel() },
        Withheld::Bad { channel: channel() },
        Withheld::Unsure { channel: channel() },
        Withheld::TooFew {
            channel: channel(),
            good: 1,
            needed: 3,
        },
        Withheld::Foaming { seen: NOW },
        Withheld::PumpsStopped { since: NOW },
        Withheld::Mixing {
            until: NOW + Span::from_mins(30),
        },
        Withheld::OnTarget { within_pct: 0.3 },
        Withheld::StepTooCoarse { step_l: 20.0 },
    ];
    all.extend(INSTRUMENTS.map(|instrument| Withheld::Instrument {
        channel: channel(),
        instrument,
        since: NOW,
    }));
    all.extend(balance_errors().map(|error| Withheld::NoBalance { error }));
    all
}

fn balance_errors() -> [BalanceError; 6] {
    let litres = Volume::from_litres;
    let percent = Concentration::from_percent;
    [
        BalanceError::Volume {
            found: litres(-1.0),
        },
        BalanceError::TargetVolume { found: litres(0.0) },
        BalanceError::Concentration {
            found: percent(-1.0),
        },
        BalanceError::TargetConcentration {
            found: percent(0.0),
        },
        BalanceError::StrongestPremix {
            found: percent(0.0),
        },
        BalanceError::PremixTooWeak {
            strongest: percent(5.0),
            target: percent(8.0),
        },
    ]
}

/// A dose by this way; every other way stands beside it, and every reason.
pub(super) fn dose(way: Way) -> Dose {
    let amounts = match way {
        Way::WaterOnly | Way::WaterToMax | Way::WaterAsItFalls => Amounts::new(0.0, 0.0, 88.0),
        Way::DrainAndWater => Amounts::new(97.0, 0.0, 97.0),
        Way::DrainAndPremix => Amounts::new(97.0, 19.0, 78.0),
        Way::NeatAtPoint => Amounts::new(0.0, 15.0, 0.0),
        Way::LetItBe => Amounts::default(),
        Way::Premix | Way::PremixToMax | Way::WaitAndPremix => Amounts::new(0.0, 17.0, 71.0),
    };
    let others = WAYS.into_iter().filter(|other| *other != way);
    Dose {
        way,
        why: reasons().to_vec(),
        amounts,
        concentrate_uncertainty_l: 2.25,
        step: 1,
        steps: 2,
        measure: about(VolumeUnit::Litre).measure,
        concentration_pct: Measured::new(6.6, 0.3),
        repeatability_pct: 0.1,
        volume_l: Measured::new(731.0, 7.0),
        volume_assumed: false,
        target_concentration_pct: 8.0,
        target_volume_l: 820.0,
        expected_concentration_pct: Measured::new(7.97, 0.25),
        expected_volume_l: 819.0,
        mixing_min: 34.0,
        limited_to_pct: Some(20.0),
        stop_at_l: Some(861.0),
        dosing_point: (way == Way::NeatAtPoint).then(|| "the return weir".into()),
        mixing_note: Some("Concentrate into water.".to_owned()),
        options: std::iter::once(way)
            .chain(others)
            .map(|way| option(way, amounts))
            .collect(),
    }
}

fn option(way: Way, amounts: Amounts) -> DoseOption {
    let waits = matches!(way, Way::WaitAndPremix | Way::WaterAsItFalls);
    let drains = amounts.drain_l > 0.0;
    DoseOption {
        way,
        amounts,
        steps: 2,
        expected_concentration_pct: Measured::new(7.97, 0.25),
        expected_volume_l: Measured::new(819.0, 7.0),
        reaches_target: true,
        fills_up: true,
        waste_l: amounts.drain_l,
        cost: drains.then(|| Cost {
            amount: 133.06,
            currency: "EUR".to_owned(),
        }),
        wait_d: waits.then_some(Measured::new(1.75, 0.4)),
        time_min: 34.0,
    }
}

/// Every reason for an option.
pub(super) fn reasons() -> [Reason; 10] {
    let wait_d = Measured::new(1.75, 0.4);
    [
        Reason::WaterSuffices,
        Reason::Room,
        Reason::HeadRoom { max_l: 861.0 },
        Reason::LeastRoom,
        Reason::DrainForWater,
        Reason::DrainForPremix {
            strongest_pct: 20.0,
        },
        Reason::LossesMakeRoom { wait_d },
        Reason::ComesDown { wait_d },
        Reason::NearEnough,
        Reason::WaitTooLong {
            wait_d,
            allowed: Span::from_hours(24),
        },
    ]
}

/// An outcome, and whether it is as expected.
pub(super) fn outcome(as_expected: Option<bool>, deviation: f64) -> Outcome {
    let judgement = as_expected.map(|as_expected| Judgement {
        deviation_pct: deviation,
        deviation_sigma_pct: 0.2,
        as_expected,
        causes: if as_expected {
            Vec::new()
        } else {
            causes().to_vec()
        },
    });
    Outcome {
        advice: "mill-4/advice/1".to_owned(),
        expected_concentration_pct: Measured::new(8.0, 0.25),
        concentration_pct: Some(Measured::new(8.0 + deviation, 0.35)),
        volume_l: Some(819.0),
        poured: Some(Amounts::new(0.0, 17.0, 71.0)),
        as_expected,
        judgement,
    }
}

/// Everything that may be behind a miss.
pub(super) fn causes() -> [Cause; 6] {
    [
        Cause::Amount {
            changed_l: 85.0,
            expected_l: 180.0,
        },
        Cause::NotMixed,
        Cause::Volume { explains_l: 700.0 },
        Cause::Strength { explains_pct: 20.9 },
        Cause::Factor {
            explains_times: 0.93,
        },
        Cause::TrampOil,
    ]
}

pub(super) fn outcomes() -> Vec<Outcome> {
    vec![
        outcome(Some(true), -0.1),
        outcome(Some(false), 1.2),
        outcome(Some(false), -1.2),
        outcome(None, 0.0),
        Outcome {
            concentration_pct: None,
            ..outcome(None, 0.0)
        },
    ]
}

/// A mixer that is set to 6 % and gives this much; usually it is right.
pub(super) fn mixer(gives: f64) -> MixerCheck {
    let setting = Concentration::from_percent(6.0);
    MixerCheck::new("east", setting, Measured::new(gives, 0.1), &[1.0, 1.0, 1.0])
}

pub(super) fn mixers() -> [MixerCheck; 3] {
    [mixer(6.1), mixer(5.1), mixer(0.0)]
}
