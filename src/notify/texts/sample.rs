//! Samples of every message, invented: what a plant's layouts are tried on.

use std::sync::Arc;

use crate::advice::balance::BalanceError;
use crate::advice::{
    Advice, Amounts, Cause, Caution, Cost, Dose, DoseOption, Judgement, LookStep, Measure,
    MixerCheck, Reason, VolumeUnit, Way, Withheld,
};
use crate::alarm::{AlarmState, Priority, Transition};
use crate::engine::{AlarmEvidence, AlarmLine, Outcome, OwnWords, Suppressor};
use crate::model::{Departure, DepartureKind, Movement, MovementKind, Origin};
use crate::notify::digest::Digest;
use crate::rules::causes::{CauseKind, LikelyCause, Sign, SignSeen};
use crate::rules::{Charted, Check, Condition, Direction, LimitLevel, PlanStep, Step};
use crate::signal::InstrumentReason;
use crate::units::{Concentration, Measured, Quantity, Span, Timestamp, Volume};

use super::data::{About, Told};
use super::sample_plant;
use super::sample_summaries;

/// 2026-03-02T13:25:00Z.
pub(super) const NOW: Timestamp = Timestamp::from_millis(1_772_457_900_000);

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

const DEPARTURES: [DepartureKind; 6] = [
    DepartureKind::MixLost,
    DepartureKind::WaterLost,
    DepartureKind::WaterIn,
    DepartureKind::MixIn,
    DepartureKind::Thinned,
    DepartureKind::Unknown,
];

const MOVEMENTS: [MovementKind; 8] = [
    MovementKind::Water,
    MovementKind::Premix,
    MovementKind::Concentrate,
    MovementKind::MixOut,
    MovementKind::Lines,
    MovementKind::Thinned,
    MovementKind::Instrument,
    MovementKind::Unclear,
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

const TRANSITIONS: [Transition; 12] = [
    Transition::Raised,
    Transition::RaisedAgain,
    Transition::Acknowledged,
    Transition::Returned,
    Transition::Unacknowledged,
    Transition::Reset,
    Transition::Shelved,
    Transition::Unshelved,
    Transition::Suppressed,
    Transition::Unsuppressed,
    Transition::TakenOutOfService,
    Transition::PutIntoService,
];

/// What the samples are about, in litres or in gallons.
pub(super) fn about(unit: VolumeUnit) -> About<'static> {
    let litres = |units: f64| Volume::from_litres(units * unit.litres());
    About {
        sump: "mill-4",
        title: "Mill 4",
        time: NOW,
        measure: Measure {
            unit,
            step: litres(1.0),
            vessel: Some(litres(10.0)),
        },
    }
}

/// Shows every sample.
pub(super) fn each(mut see: impl FnMut(&About<'_>, &Told<'_>)) {
    let about = about(VolumeUnit::Litre);
    for line in alarms() {
        see(&about, &Told::Alarm(&line));
    }
    for advice in all_advice() {
        see(&about, &Told::Advice(&advice));
    }
    for outcome in outcomes() {
        see(&about, &Told::Outcome(&outcome));
    }
    for check in mixers() {
        see(&about, &Told::Mixer(&check));
    }
    for movement in movements() {
        see(&about, &Told::Movement(&movement));
    }
    see(&about, &Told::Departure(None));
    for departure in departures() {
        see(&about, &Told::Departure(Some(&departure)));
    }
    see(&about, &Told::Digest(&Digest::default()));
    see(&about, &Told::Digest(&sample_summaries::digest()));
    for summary in sample_summaries::floods() {
        see(&about, &Told::Flood(&summary));
    }
}

/// An alarm about this condition.
pub(super) fn alarm(condition: Condition, transition: Transition) -> AlarmLine {
    let (value, unit) = match &condition {
        Condition::Limit(Quantity::Concentration, _) => (Some(6.6), Some("%")),
        Condition::Limit(quantity, _) => (Some(1.0), Some(quantity.unit())),
        _ => (None, None),
    };
    let is_limit = value.is_some();
    AlarmLine {
        id: format!("mill-4/{condition}/{NOW}"),
        priority: Priority::Medium,
        transition,
        state: AlarmState::Unacknowledged,
        since: NOW - Span::from_mins(20),
        value,
        unit,
        limit: is_limit.then_some(7.0),
        window: is_limit.then_some((Some(7.0), Some(9.0))),
        by: None,
        reason: None,
        because: None,
        until: None,
        own: None,
        source: sample_plant::source(&condition),
        stock: sample_plant::stock(&condition),
        forward: sample_plant::forward(&condition),
        disk: sample_plant::disk(&condition),
        advice: None,
        evidence: None,
        condition,
    }
}

fn suppressors() -> [Suppressor; 7] {
    let channel = || Arc::<str>::from("brix-2");
    [
        Suppressor::PumpsStopped,
        Suppressor::ProbeTouched(channel()),
        Suppressor::Recharge,
        Suppressor::SourceGone,
        Suppressor::Instrument(channel()),
        Suppressor::Unsettled(channel()),
        Suppressor::Alarm("concentration.low_low".to_owned()),
    ]
}

/// What a plant's own rules may say.
fn own_words() -> [OwnWords; 2] {
    let bare = OwnWords {
        title: "Smell after a stand-still".to_owned(),
        message: None,
        look_at: Vec::new(),
    };
    let full = OwnWords {
        message: Some("It stood for two days.".to_owned()),
        look_at: vec!["Smell it.".to_owned()],
        ..bare.clone()
    };
    [bare, full]
}

fn alarms() -> Vec<AlarmLine> {
    let low = || Condition::Limit(Quantity::Concentration, LimitLevel::Low);
    let mut lines = Vec::new();
    for transition in TRANSITIONS {
        let line = alarm(low(), transition);
        lines.push(AlarmLine {
            by: Some("shift 1".to_owned()),
            reason: Some("filter on order".to_owned()),
            until: Some(NOW + Span::from_hours(8)),
            ..line.clone()
        });
        lines.push(line);
    }
    for because in suppressors() {
        let because = Some(because);
        let line = alarm(low(), Transition::Suppressed);
        lines.push(AlarmLine { because, ..line });
    }
    for level in [
        LimitLevel::LowLow,
        LimitLevel::Low,
        LimitLevel::High,
        LimitLevel::HighHigh,
    ] {
        for quantity in Quantity::ALL {
            let condition = Condition::Limit(quantity, level);
            lines.push(alarm(condition, Transition::Raised));
        }
    }
    for window in [(Some(7.0), None), (None, Some(9.0)), (None, None)] {
        let window = Some(window);
        let line = alarm(low(), Transition::Raised);
        lines.push(AlarmLine { window, ..line });
    }
    for priority in [Priority::Low, Priority::Medium, Priority::High] {
        let line = alarm(low(), Transition::Raised);
        lines.push(AlarmLine { priority, ..line });
    }
    let channel = || Arc::<str>::from("brix-2");
    for condition in [
        Condition::Silent(channel()),
        Condition::Disagrees(channel()),
        Condition::Instrument(channel()),
        Condition::Loss,
        Condition::Gain,
        Condition::DoseMissed,
        Condition::Contradicted,
        Condition::Mixer,
        Condition::Excess(Step::Watch),
        Condition::Excess(Step::Act),
        Condition::Souring(Step::Watch),
        Condition::Souring(Step::Act),
        Condition::TrampOil,
        Condition::Factor,
        Condition::Source("hall-3".into()),
        Condition::Overdue(Check::DipSlide),
        Condition::Nitrite(PlanStep::Watch),
        Condition::PhDrop(PlanStep::Act),
        Condition::Ahead(Quantity::Ph, LimitLevel::Low),
        Condition::Ahead(Quantity::Concentration, LimitLevel::High),
        Condition::Stock("soluble-a".into()),
        Condition::Forward("history".into()),
        Condition::Disk,
        Condition::Rate(Quantity::Ph, Direction::Falling),
        Condition::Rate(Quantity::Volume, Direction::Rising),
        Condition::Shifted(Charted::RefractiveFactor),
        Condition::PumpsStopped,
    ] {
        lines.push(alarm(condition.clone(), Transition::Raised));
        lines.push(alarm(condition, Transition::Returned));
    }
    lines.extend(sample_plant::alarms());
    for own in own_words() {
        let line = alarm(Condition::Own("smell".into()), Transition::Raised);
        lines.push(AlarmLine {
            own: Some(Arc::new(own)),
            ..line
        });
    }
    for evidence in all_evidence() {
        let evidence = Some(Box::new(evidence));
        let line = alarm(low(), Transition::Raised);
        lines.push(AlarmLine { evidence, ..line });
    }
    for advice in all_advice() {
        let advice = Some(Arc::new(advice));
        let line = alarm(low(), Transition::Raised);
        lines.push(AlarmLine { advice, ..line });
    }
    lines
}

/// Every cause with every sign.
fn all_evidence() -> [AlarmEvidence; 1] {
    let sign = |sign| SignSeen {
        sign,
        value: None,
        unit: "",
    };
    let cause = |cause| LikelyCause {
        cause,
        signs: Sign::ALL.map(sign).to_vec(),
    };
    [AlarmEvidence {
        values: Vec::new(),
        trend: None,
        causes: CauseKind::ALL.map(cause).to_vec(),
    }]
}

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

/// Steps in one sample: about as many as an alarm has at most.
const LOOKS: usize = 8;

fn all_advice() -> Vec<Advice> {
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

fn outcomes() -> Vec<Outcome> {
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

fn mixers() -> [MixerCheck; 3] {
    [mixer(6.1), mixer(5.1), mixer(0.0)]
}

/// A movement of this kind, known so.
pub(super) fn movement(kind: MovementKind, litres: f64, origin: Origin) -> Movement {
    let time = NOW - Span::from_hours(2);
    Movement {
        time,
        until: time,
        kind,
        litres: Measured::new(litres, 1.2),
        strength_pct: Some(Measured::new(4.96, 0.3)),
        seen_strength_pct: None,
        origin,
        confidence: 0.97,
    }
}

/// By an entry that the readings contradict.
pub(super) fn contradicted() -> Origin {
    Origin::Contradicted {
        entries: vec!["e1".to_owned()],
        logged_litres: 400.0,
        logged_strength_pct: 5.0,
    }
}

fn movements() -> Vec<Movement> {
    let logged = || Origin::Logged {
        entries: vec!["e1".to_owned()],
        seen: true,
    };
    let mut all = Vec::new();
    for kind in MOVEMENTS {
        for origin in [Origin::Inferred, contradicted(), logged()] {
            for litres in [41.6, -41.6, 0.0] {
                let short = movement(kind, litres, origin.clone());
                all.push(Movement {
                    until: short.time + Span::from_mins(10),
                    strength_pct: None,
                    ..short.clone()
                });
                all.push(short);
            }
        }
    }
    all
}

/// A departure of this kind.
pub(super) fn departure(kind: DepartureKind) -> Departure {
    Departure {
        kind,
        since: NOW - Span::from_hours(30),
        litres_per_hour: Measured::new(2.04, 0.2),
        strength_pct: Some(7.9),
        gains: matches!(
            kind,
            DepartureKind::WaterIn | DepartureKind::MixIn | DepartureKind::Thinned
        ),
    }
}

fn departures() -> [Departure; 6] {
    DEPARTURES.map(departure)
}
