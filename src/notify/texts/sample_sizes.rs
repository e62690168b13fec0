//! Samples of how bad it is, by what an alarm is about.

use crate::alarm::Transition;
use crate::engine::{AlarmEvidence, AlarmLine, EvidenceTrend, EvidenceValue};
use crate::rules::{Charted, Condition, Direction};
use crate::units::Quantity;

use super::sample_alarms::alarm;

/// Value, unit, limit, window and signal of an alarm.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Size {
    pub(super) value: Option<f64>,
    pub(super) unit: Option<&'static str>,
    pub(super) limit: Option<f64>,
    pub(super) window: Option<(Option<f64>, Option<f64>)>,
    pub(super) signal: Option<EvidenceValue>,
}

const WINDOW: Option<(Option<f64>, Option<f64>)> = Some((Some(7.0), Some(9.0)));

/// What an alarm about this condition has.
pub(super) fn size(condition: &Condition) -> Size {
    let of = |value: f64, unit: &'static str, limit: Option<f64>| Size {
        value: Some(value),
        unit: Some(unit),
        limit,
        ..Size::default()
    };
    match condition {
        Condition::Limit(Quantity::Concentration, _) => Size {
            window: WINDOW,
            ..of(6.6, "%", Some(7.0))
        },
        Condition::Limit(quantity, _) => Size {
            window: WINDOW,
            ..of(1.0, quantity.unit(), Some(7.0))
        },
        Condition::Ahead(quantity, _) => Size {
            window: WINDOW,
            ..of(7.4, quantity.unit(), Some(7.0))
        },
        Condition::Rate(quantity @ Quantity::Ph, Direction::Falling) => Size {
            window: WINDOW,
            signal: Some(now(*quantity)),
            ..of(-0.42, "pH/h", Some(-0.3))
        },
        Condition::Rate(..) => of(12.0, "L/h", Some(10.0)),
        Condition::Shifted(Charted::RefractiveFactor) => of(8.0, "%", Some(4.0)),
        Condition::Shifted(_) => Size {
            window: WINDOW,
            signal: Some(now(Quantity::Ph)),
            ..of(-0.3, "pH", Some(-0.15))
        },
        Condition::Loss | Condition::Gain => of(2.04, "L/h", None),
        Condition::DoseMissed => of(1.2, "%", None),
        Condition::Contradicted => of(42.0, "L", Some(400.0)),
        Condition::Mixer => of(5.1, "%", Some(6.0)),
        Condition::Mineral(..) => of(420.0, "mg/L CaCO3", Some(400.0)),
        Condition::Excess(_) => of(1.53, "", Some(1.5)),
        Condition::TrampOil => of(2.5, "%", Some(2.0)),
        Condition::Factor => of(0.9, "%", None),
        Condition::Overdue(_) => of(9.0, "d", Some(7.0)),
        Condition::Nitrite(_) => of(24.0, "mg/L", Some(20.0)),
        Condition::PhDrop(_) => of(1.1, "pH", Some(1.0)),
        Condition::Stock(_) => of(9.0, "d", Some(14.0)),
        Condition::PumpsStopped => of(45.0, "min", Some(30.0)),
        Condition::Silent(_) | Condition::Disagrees(_) | Condition::Instrument(_) => {
            of(7.4, Quantity::Brix.unit(), None)
        }
        Condition::Own(_)
        | Condition::Souring(_)
        | Condition::Source(_)
        | Condition::Forward(_)
        | Condition::Disk
        | Condition::StartUp => Size::default(),
    }
}

fn now(name: Quantity) -> EvidenceValue {
    EvidenceValue {
        name,
        value: 8.6,
        unit: name.unit(),
    }
}

/// That a signal goes by so much a day.
pub(super) fn trend(signal: Quantity, a_day: f64) -> AlarmEvidence {
    AlarmEvidence {
        asked: Vec::new(),
        values: Vec::new(),
        trend: Some(EvidenceTrend {
            signal,
            unit: signal.unit(),
            a_day,
            uncertainty: 0.05,
            over_h: 20.0,
        }),
        causes: Vec::new(),
    }
}

/// Sizes that lie the other way, that have no number, and signals that go up,
/// down, and nowhere.
pub(super) fn alarms() -> Vec<AlarmLine> {
    let raised = |condition: Condition| alarm(condition, Transition::Raised);
    let mut lines = Vec::new();
    for condition in [
        Condition::DoseMissed,
        Condition::Factor,
        Condition::Shifted(Charted::Ph),
        Condition::Shifted(Charted::RefractiveFactor),
    ] {
        let line = raised(condition);
        let value = line.value.map(|value| -value);
        lines.push(AlarmLine { value, ..line });
    }
    let line = raised(Condition::Contradicted);
    let value = line.limit;
    lines.push(AlarmLine { value, ..line });
    for condition in [Condition::Loss, Condition::TrampOil, Condition::Factor] {
        let line = raised(condition);
        lines.push(AlarmLine {
            value: None,
            limit: None,
            ..line
        });
    }
    for a_day in [-60.0, 60.0, 0.01] {
        let evidence = Some(Box::new(trend(Quantity::Volume, a_day)));
        let line = raised(Condition::Loss);
        lines.push(AlarmLine { evidence, ..line });
    }
    lines
}
