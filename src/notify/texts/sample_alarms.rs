//! Samples of alarms.

use std::sync::Arc;

use crate::alarm::{AlarmState, Priority, Transition};
use crate::engine::{AlarmEvidence, AlarmLine, AskedValue, OwnWords, Suppressor};
use crate::model::Mineral;
use crate::rules::causes::{CauseKind, LikelyCause, Sign, SignSeen};
use crate::rules::own::OwnValue;
use crate::rules::{Charted, Check, Condition, Direction, LimitLevel, PlanStep, Step};
use crate::units::{Quantity, Span};

use super::sample::NOW;
use super::sample_advice::all_advice;
use super::sample_instruments;
use super::sample_plant;
use super::sample_sizes;

const TRANSITIONS: [Transition; 13] = [
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
    Transition::Removed,
];

/// An alarm about this condition.
pub(super) fn alarm(condition: Condition, transition: Transition) -> AlarmLine {
    let size = sample_sizes::size(&condition);
    AlarmLine {
        id: format!("mill-4/{condition}/{NOW}"),
        priority: Priority::Medium,
        transition,
        state: AlarmState::Unacknowledged,
        since: NOW - Span::from_mins(20),
        value: size.value,
        unit: size.unit,
        limit: size.limit,
        window: size.window,
        signal: size.signal.map(Box::new),
        by: None,
        reason: None,
        because: None,
        until: None,
        own: None,
        silent_with: match &condition {
            Condition::Silent(_) => vec!["ph-2".into(), "level-2".into()],
            _ => Vec::new(),
        },
        instrument: sample_instruments::told(&condition),
        source: sample_plant::source(&condition),
        stock: sample_plant::stock(&condition).map(Box::new),
        forward: sample_plant::forward(&condition),
        disk: sample_plant::disk(&condition),
        start_up: sample_plant::start_up(&condition),
        advice: None,
        evidence: None,
        condition,
    }
}

fn suppressors() -> [Suppressor; 8] {
    let channel = || Arc::<str>::from("brix-2");
    [
        Suppressor::PumpsStopped,
        Suppressor::ProbeTouched(channel()),
        Suppressor::Recharge,
        Suppressor::SourceGone,
        Suppressor::Instrument(channel()),
        Suppressor::Unsettled(channel()),
        Suppressor::Alarm("concentration.low_low".to_owned()),
        Suppressor::StartUp,
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

pub(super) fn alarms() -> Vec<AlarmLine> {
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
        Condition::StartUp,
        Condition::Rate(Quantity::Ph, Direction::Falling),
        Condition::Rate(Quantity::Volume, Direction::Rising),
        Condition::Shifted(Charted::RefractiveFactor),
        Condition::Shifted(Charted::Ph),
        Condition::Mineral(Mineral::Hardness, Step::Act),
        Condition::PumpsStopped,
    ] {
        lines.push(alarm(condition.clone(), Transition::Raised));
        lines.push(alarm(condition, Transition::Returned));
    }
    lines.extend(sample_plant::alarms());
    lines.extend(sample_instruments::alarms());
    lines.extend(sample_sizes::alarms());
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

/// Values of every kind, more than one message tells.
pub(super) fn asked() -> Vec<AskedValue> {
    let named = |asked: &str, value, unit| AskedValue {
        asked: asked.into(),
        value,
        unit,
    };
    let mut all = vec![
        named("ph", Some(OwnValue::Number(8.42)), "pH"),
        named(
            "minutes_since_reading(\"brix\")",
            Some(OwnValue::Number(61.04)),
            "min",
        ),
        named("concentration", None, "%"),
        named("pumps_run", Some(OwnValue::Truth(false)), ""),
        named("in_shift", Some(OwnValue::Truth(true)), ""),
        named("hour", Some(OwnValue::Whole(14)), "h"),
        named("weekday", Some(OwnValue::Word("fri")), ""),
        named("volume", Some(OwnValue::Number(700.4)), "L"),
    ];
    all.extend(["flow", "redox"].map(|name| named(name, None, "")));
    all
}

/// Every cause and every sign, as many in a message as an alarm has.
fn all_evidence() -> Vec<AlarmEvidence> {
    let sign = |sign: &Sign| SignSeen {
        sign: *sign,
        value: None,
        unit: "",
    };
    let signs_of = Sign::ALL.chunks(4).cycle();
    let causes = CauseKind::ALL.into_iter().zip(signs_of);
    let causes: Vec<LikelyCause> = causes
        .map(|(cause, signs)| LikelyCause {
            cause,
            signs: signs.iter().map(sign).collect(),
        })
        .collect();
    let evidence = |causes: &[LikelyCause]| AlarmEvidence {
        values: Vec::new(),
        asked: asked(),
        trend: None,
        causes: causes.to_vec(),
    };
    causes.chunks(3).map(evidence).collect()
}
