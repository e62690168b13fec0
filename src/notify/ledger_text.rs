//! What the ledger tells, as a person reads it on a phone: first the sump and
//! what, then what to do, then why, then what to beware of.

use crate::advice::Caution;
use crate::model::{Departure, DepartureKind, Movement, MovementKind, Origin};

/// A movement in words.
pub fn movement_text(title: &str, movement: &Movement) -> String {
    match &movement.origin {
        Origin::Logged { .. } => format!("{title}: {}, as written down.", amount(movement)),
        Origin::Inferred => format!(
            "{title}: {} that nobody wrote down, {}.\nDo: write it down if you know of it.\nWhy: volume and concentrate changed by as much at once ({:.0} % sure).",
            amount(movement),
            when(movement),
            100.0 * movement.confidence
        ),
        Origin::Contradicted {
            logged_litres,
            logged_strength_pct,
            ..
        } => format!(
            "{title}: the readings contradict an entry.\nDo: check the entry (amount, strength, sump, time) and correct it; if it is right, look at the tank's measures in the settings and at the mixer.\nWhy: written down were {:.1} L at {:.1} %; the readings show {}.",
            logged_litres,
            logged_strength_pct,
            match movement.litres.value {
                0.0 => "nothing of it".to_owned(),
                _ => amount(movement),
            }
        ),
    }
}

/// A departure from the usual losses in words.
pub fn departure_text(title: &str, departure: &Departure) -> String {
    let rate = departure.litres_per_hour;
    let caution = match departure.kind {
        DepartureKind::MixLost | DepartureKind::Unknown => {
            format!(
                "\nCaution: {} {}",
                Caution::SlipperyFloor.words(),
                Caution::MovingParts.words()
            )
        }
        _ => format!("\nCaution: {}", Caution::MovingParts.words()),
    };
    format!(
        "{title}: {:.1} ± {:.1} L/h beyond what is usual.\nDo: {}.\nWhy: so since {}, {:.0} L a day if it goes on.{caution}",
        rate.value,
        2.0 * rate.uncertainty,
        departure.kind.words(),
        departure.since,
        24.0 * rate.value
    )
}

/// The end of a departure in words.
pub(super) fn usual_again_text(title: &str) -> String {
    format!("{title}: losses and gains are usual again.")
}

fn when(movement: &Movement) -> String {
    match movement.until > movement.time {
        true => format!("between {} and {}", movement.time, movement.until),
        false => format!("about {}", movement.time),
    }
}

fn amount(movement: &Movement) -> String {
    let litres = movement.litres;
    let way = if litres.value < 0.0 { "out" } else { "in" };
    let of = match (movement.kind, movement.strength_pct) {
        (MovementKind::Premix, Some(strength)) => format!("premix of {:.1} %", strength.value),
        (MovementKind::Instrument | MovementKind::Thinned, Some(jump)) => {
            return format!(
                "a jump of the concentration by {:+.1} points: {}",
                jump.value,
                movement.kind.words()
            );
        }
        (kind, _) => kind.words().to_owned(),
    };
    let of = match movement.kind {
        MovementKind::MixOut => "mix".to_owned(),
        _ => of,
    };
    format!(
        "{:.0} ± {:.0} L of {of} {way}",
        litres.value.abs(),
        (2.0 * litres.uncertainty).max(1.0)
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Measured, Timestamp};

    fn movement(kind: MovementKind, litres: f64, origin: Origin) -> Movement {
        let time = Timestamp::parse("2026-03-02T06:10:00Z").unwrap();
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

    #[test]
    fn what_nobody_wrote_down_is_asked_for() {
        let text = movement_text(
            "Mill 4",
            &movement(MovementKind::Premix, 41.6, Origin::Inferred),
        );
        assert_eq!(
            text,
            "Mill 4: 42 ± 2 L of premix of 5.0 % in that nobody wrote down, about 2026-03-02T06:10:00Z.\n\
             Do: write it down if you know of it.\n\
             Why: volume and concentrate changed by as much at once (97 % sure)."
        );
    }

    #[test]
    fn what_contradicts_names_both() {
        let origin = Origin::Contradicted {
            entries: vec!["e1".into()],
            logged_litres: 400.0,
            logged_strength_pct: 5.0,
        };
        let text = movement_text("Mill 4", &movement(MovementKind::Water, 41.6, origin));
        assert!(
            text.contains("written down were 400.0 L at 5.0 %"),
            "{text}"
        );
        assert!(
            text.contains("the readings show 42 ± 2 L of water in"),
            "{text}"
        );
    }

    #[test]
    fn a_leak_says_how_much_and_where_to_look() {
        let departure = Departure {
            kind: DepartureKind::MixLost,
            since: Timestamp::parse("2026-03-02T06:10:00Z").unwrap(),
            litres_per_hour: Measured::new(2.04, 0.2),
            strength_pct: Some(7.9),
        };
        let text = departure_text("Mill 4", &departure);
        assert!(text.starts_with("Mill 4: 2.0 ± 0.4 L/h beyond"), "{text}");
        assert!(
            text.contains("leak") && text.contains("49 L a day"),
            "{text}"
        );
        assert!(text.contains("Caution: "), "{text}");
    }
}
