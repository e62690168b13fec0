//! Samples of alarms about instruments.

use std::sync::Arc;

use crate::advice::{Advice, look_at, look_at_instrument};
use crate::alarm::Transition;
use crate::engine::{AlarmLine, InstrumentFigures, InstrumentTold};
use crate::rules::Condition;
use crate::signal::{InstrumentClass, InstrumentReason};
use crate::units::{Quantity, Span};

use super::sample::NOW;
use super::sample_alarms::alarm;

/// Every reason with the status that it stands for.
const REASONS: [(InstrumentReason, InstrumentClass); 10] = [
    (InstrumentReason::Silent, InstrumentClass::Failure),
    (InstrumentReason::Fault, InstrumentClass::Failure),
    (InstrumentReason::Frozen, InstrumentClass::Failure),
    (
        InstrumentReason::JustTouched,
        InstrumentClass::FunctionCheck,
    ),
    (
        InstrumentReason::OutOfRange,
        InstrumentClass::OutOfSpecification,
    ),
    (InstrumentReason::Foam, InstrumentClass::OutOfSpecification),
    (InstrumentReason::Noisy, InstrumentClass::OutOfSpecification),
    (
        InstrumentReason::Fouled,
        InstrumentClass::OutOfSpecification,
    ),
    (
        InstrumentReason::Drifting,
        InstrumentClass::OutOfSpecification,
    ),
    (
        InstrumentReason::Spiking,
        InstrumentClass::MaintenanceRequired,
    ),
];

/// What an alarm about an instrument tells of it.
pub(super) fn told(condition: &Condition) -> Option<Box<InstrumentTold>> {
    let reason = match condition {
        Condition::Silent(_) => InstrumentReason::Silent,
        Condition::Disagrees(_) => InstrumentReason::Drifting,
        Condition::Instrument(_) => InstrumentReason::Frozen,
        _ => return None,
    };
    Some(Box::new(how(reason, figures(reason))))
}

fn how(reason: InstrumentReason, figures: InstrumentFigures) -> InstrumentTold {
    let (_, class) = REASONS[REASONS
        .iter()
        .position(|(of, _)| *of == reason)
        .unwrap_or(0)];
    InstrumentTold {
        quantity: Quantity::Brix,
        unit: Quantity::Brix.unit(),
        class,
        reason: Some(reason),
        since: Some(NOW - Span::from_mins(500)),
        figures,
    }
}

fn figures(reason: InstrumentReason) -> InstrumentFigures {
    let none = InstrumentFigures::default();
    match reason {
        InstrumentReason::Silent => InstrumentFigures {
            last: Some(7.4),
            ..none
        },
        InstrumentReason::Frozen => InstrumentFigures {
            frozen_at: Some(7.4),
            ..none
        },
        InstrumentReason::OutOfRange => InstrumentFigures {
            shown: Some(31.2),
            lowest: Some(0.0),
            highest: Some(30.0),
            ..none
        },
        InstrumentReason::Foam => InstrumentFigures {
            held: Some(7.4),
            ..none
        },
        InstrumentReason::Noisy => InstrumentFigures {
            scatter: Some(0.4),
            usual_scatter: Some(0.02),
            ..none
        },
        InstrumentReason::Fouled => InstrumentFigures {
            drift_a_day: Some(-0.3),
            ..none
        },
        InstrumentReason::Drifting => InstrumentFigures {
            over_hand: Some(0.4),
            ..none
        },
        InstrumentReason::Spiking => InstrumentFigures {
            spike_share_pct: Some(25.0),
            ..none
        },
        InstrumentReason::Fault | InstrumentReason::JustTouched => none,
    }
}

/// An alarm that is raised about an instrument, with what to look at.
pub(super) fn raised(condition: Condition) -> AlarmLine {
    let reason = told(&condition).and_then(|told| told.reason);
    with_advice(condition.clone(), reason, told(&condition))
}

fn with_advice(
    condition: Condition,
    reason: Option<InstrumentReason>,
    instrument: Option<Box<InstrumentTold>>,
) -> AlarmLine {
    let (look_at, cautions) = match (&condition, reason) {
        (Condition::Instrument(_), Some(reason)) => look_at_instrument(Quantity::Brix, reason),
        _ => look_at(&condition),
    };
    AlarmLine {
        since: NOW - Span::from_mins(495),
        instrument,
        advice: Some(Arc::new(Advice {
            id: "mill-4/advice/7".to_owned(),
            time: NOW,
            condition: condition.clone(),
            dose: None,
            withheld: None,
            look_at,
            cautions,
        })),
        ..alarm(condition, Transition::Raised)
    }
}

/// Alarms about instruments in every way that they may be told: each reason with its
/// figures and without, either way that figures point, and with nothing known.
pub(super) fn alarms() -> Vec<AlarmLine> {
    let of = || Condition::Instrument("brix-2".into());
    let mut lines = Vec::new();
    for (reason, _) in REASONS {
        let turned = InstrumentFigures {
            drift_a_day: figures(reason).drift_a_day.map(|drift| -drift),
            over_hand: figures(reason).over_hand.map(|over| -over),
            usual_scatter: None,
            ..figures(reason)
        };
        for figures in [figures(reason), turned, InstrumentFigures::default()] {
            let told = Some(Box::new(how(reason, figures)));
            lines.push(with_advice(of(), Some(reason), told));
        }
    }
    for condition in [
        of(),
        Condition::Silent("brix-2".into()),
        Condition::Disagrees("brix-2".into()),
    ] {
        lines.push(with_advice(condition, None, None));
    }
    lines.push(raised(Condition::Disagrees("brix-2".into())));
    lines
}
