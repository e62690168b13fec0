//! A whole year of one sump.

use sumpward::engine::JournalBody;
use sumpward::model::{MovementKind, Origin};

use super::chance::Chance;
use super::run::{spec, true_losses, wandering};
use super::whole::{Knows, Whole};

/// Bytes of what the watch remembers.
fn memory(whole: &Whole) -> usize {
    let snapshot = serde_json::to_string(&whole.watch().snapshot());
    snapshot.expect("a snapshot can be written").len()
}

/// A top-up each other day, and each other week the refractometer is wiped just
/// after it.
#[test]
fn a_year_takes_no_memory_and_tells_what_was_done_and_no_more() {
    let spec = spec(1.0, 8.0, wandering());
    let (evaporation, carry_off) = true_losses(&spec);
    let strength = 8.0 * carry_off / (evaporation + carry_off);
    let (mut chance, mut whole) = (Chance(1), Whole::new(spec, Knows::all(&spec), 1));
    let (mut deeds, mut sizes) = (0, Vec::new());
    for day in 1..=360 {
        whole.run_hours(24.0);
        if day % 2 == 0 {
            whole.run_hours(chance.between(7.0, 20.0));
            let litres = spec.volume_l - whole.trial.mix().volume_l();
            whole.add(litres, strength);
            deeds += 1;
        }
        if day % 14 == 0 {
            whole.wipe();
        }
        if day % 30 == 0 {
            sizes.push(memory(&whole));
        }
    }
    whole.run_hours(24.0);
    let departures = whole
        .journal
        .iter()
        .filter(|line| matches!(line.body, JournalBody::Departure { .. }))
        .count();
    let movements = whole.movements();
    let seen = movements
        .iter()
        .filter(|one| matches!(one.origin, Origin::Logged { seen: true, .. }))
        .filter(|one| matches!(one.kind, MovementKind::Premix))
        .count();
    let losses = whole.losses();
    println!(
        "a year: {deeds} deeds, {} movements, {seen} of them as written down, {departures} departures; memory {} to {} bytes from the sixth month on; evaporation {:+.1} %, carry-off {:+.1} %",
        movements.len(),
        sizes[5..].iter().min().unwrap_or(&0),
        sizes[5..].iter().max().unwrap_or(&0),
        100.0 * (losses.evaporation_l_per_d.value / evaporation - 1.0),
        100.0 * (losses.carry_off_l_per_d.value / carry_off - 1.0)
    );
    assert_eq!(movements.len(), deeds);
    assert_eq!(seen, deeds);
    assert_eq!(departures, 0);
    // Until the newest entries, movements and days are as many as are kept.
    let full = &sizes[5..];
    assert!(
        full.iter().all(|size| *size < full[0] * 21 / 20),
        "{sizes:?}"
    );
}
