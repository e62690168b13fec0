//! Samples of what the balance tells: movements, and losses and gains that are not
//! as usual.

use crate::model::{Departure, DepartureKind, Movement, MovementKind, Origin};
use crate::units::{Measured, Span};

use super::sample::NOW;

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

pub(super) fn movements() -> Vec<Movement> {
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

pub(super) fn departures() -> [Departure; 6] {
    DEPARTURES.map(departure)
}
