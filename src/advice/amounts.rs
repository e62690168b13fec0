//! The amounts of one step, as people can measure them out.

use serde::Serialize;

use super::candidate::Candidate;
use super::dose::DoseSetup;
use super::measure::Measure;
use super::way::Way;

/// Amounts of one step, rounded to what people can measure.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Amounts {
    /// Mix to let out first, L.
    pub drain_l: f64,
    /// Concentrate in the premix, L.
    pub concentrate_l: f64,
    /// Water in the premix, L.
    pub water_l: f64,
    /// Premix to add, L: concentrate and water together.
    pub premix_l: f64,
    /// Strength of the premix, % by volume; 0 is water alone.
    pub premix_strength_pct: f64,
}

impl Amounts {
    /// A drain, and concentrate and water mixed, L.
    pub fn new(drain_l: f64, concentrate_l: f64, water_l: f64) -> Self {
        let premix_l = concentrate_l + water_l;
        Amounts {
            drain_l,
            concentrate_l,
            water_l,
            premix_l,
            premix_strength_pct: if premix_l > 0.0 {
                100.0 * concentrate_l / premix_l
            } else {
                0.0
            },
        }
    }
}

/// Rounds one of so many equal steps to what people can measure: the drain up,
/// the total addition down (never an overfill), the concentrate to the nearest
/// that keeps the premix within the strongest allowed.
pub(super) fn rounded(
    measure: &Measure,
    setup: &DoseSetup,
    candidate: &Candidate,
    steps: u32,
) -> Amounts {
    let share = 1.0 / f64::from(steps.max(1));
    let (drain, concentrate) = (share * candidate.drain, share * candidate.concentrate);
    let added = concentrate + share * candidate.water;
    let drain_l = measure.up(drain).min(candidate.from.volume.value);
    let premix_l = measure.down(added + drain_l - drain);
    let strongest = match candidate.way {
        Way::NeatAtPoint => 1.0,
        _ => setup.strongest_premix.fraction(),
    };
    let mut concentrate_l = measure.nearest(concentrate).min(premix_l);
    if concentrate_l > strongest * premix_l + 1e-9 {
        concentrate_l = measure.down(strongest * premix_l);
    }
    Amounts::new(drain_l, concentrate_l, premix_l - concentrate_l)
}
