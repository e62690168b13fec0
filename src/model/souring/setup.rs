//! What a sump's signs of souring are held against.

use crate::model::minerals::Bounds;
use crate::units::{Ph, Span, Timestamp};

/// What a sump's signs of souring are held against.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SouringSetup {
    /// pH of the charge when it was fresh; without it that of its first day.
    pub reference_ph: Option<Ph>,
    /// pH of a fresh mix by the fluid's sheet, which stands in until then.
    pub fresh_ph: Option<Ph>,
    /// Falls of pH against that: beyond the first it is watched, beyond the
    /// second acted upon.
    pub ph_drop: Bounds,
    /// How much pH rises where the concentration grows tenfold.
    pub ph_per_decade: f64,
    /// A fall of pH of so much a week is a sign.
    pub ph_fall_a_week: f64,
    /// A rise of pH of so much within two hours is sudden.
    pub ph_jump: f64,
    /// Dissolved oxygen below which it is watched, and below which acted upon,
    /// mg/L.
    pub oxygen_mg_l: Bounds,
    /// Falls of the redox potential against the first day, mV.
    pub redox_fall_mv: Bounds,
    /// Bacteria, CFU/mL.
    pub bacteria: GermBounds,
    /// Yeasts and moulds, CFU/mL.
    pub fungi: GermBounds,
    /// A sump that stands still for longer takes up no air.
    pub still: Span,
    /// What people read, smelt and saw counts for so long.
    pub counts_for: Span,
}

/// Where a count of colonies is no longer good, and where it is poor; each
/// belongs to the worse side.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GermBounds {
    /// From here on it is reasonable only.
    pub reasonable: f64,
    /// From here on it is poor.
    pub poor: f64,
}

/// Falls of pH by more than 0.5 and 1.0: DGUV Regel 109-003, annex, test plan
/// no. 2. Bacteria 10³ and 10⁶: HSE, "Bacterial contamination". The rest is
/// memory, but for the fall a week (choice: a step of an indicator stick) and the
/// time that stands for still (choice: longer than a night).
impl Default for SouringSetup {
    fn default() -> Self {
        SouringSetup {
            reference_ph: None,
            fresh_ph: None,
            ph_drop: Bounds {
                watch: 0.5,
                act: 1.0,
            },
            ph_per_decade: 0.5,
            ph_fall_a_week: 0.2,
            ph_jump: 0.3,
            oxygen_mg_l: Bounds {
                watch: 4.0,
                act: 2.0,
            },
            redox_fall_mv: Bounds {
                watch: 50.0,
                act: 100.0,
            },
            bacteria: GermBounds {
                reasonable: 1e3,
                poor: 1e6,
            },
            fungi: GermBounds {
                reasonable: 1e2,
                poor: 1e3,
            },
            still: Span::from_hours(24),
            counts_for: Span::from_hours(8 * 24),
        }
    }
}

impl SouringSetup {
    /// What people found, as long as it counts.
    pub fn still_counts<T>(&self, found: Option<(Timestamp, T)>, now: Timestamp) -> Option<T> {
        let (time, value) = found?;
        (now - time <= self.counts_for).then_some(value)
    }
}
