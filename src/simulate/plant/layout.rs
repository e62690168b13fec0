//! The six sumps of the invented plant. `demo/plant` holds the same numbers as
//! settings.

use super::tank::{Heads, Tank};

/// A product in use.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FluidSpec {
    /// Name of its data sheet.
    pub name: &'static str,
    /// Concentration for one degree of refractometer reading, % per °Bx.
    pub factor: f64,
    /// pH of a fresh mix at its target.
    pub(super) fresh_ph: f64,
    /// What one per cent of concentrate adds to the conductivity, µS/cm.
    pub(super) conductivity_per_pct: f64,
}

/// How a sump gets back what it loses.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TopUp {
    /// A mixer feeds premix of the holding strength (carry-off over all losses
    /// times target), so that the concentration stays where it is.
    Mixer,
    /// A float valve feeds plain water.
    Water,
    /// Nothing but people.
    ByHand,
}

/// One sump of the plant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SumpSpec {
    /// Name in topics and settings.
    pub name: &'static str,
    /// The product in it.
    pub fluid: &'static FluidSpec,
    /// The tank that the level probe stands in.
    pub tank: Tank,
    /// Fluid in pipes and machines, always full, L.
    pub lines_l: f64,
    /// Volume to be kept, lines included, L.
    pub working_volume_l: f64,
    /// What is above runs out over the edge, lines included, L.
    pub max_volume_l: f64,
    /// Flow of the circulation pumps, which never stop, L/min.
    pub circulation_l_per_min: f64,
    /// Concentration to be kept, %.
    pub target_pct: f64,
    /// Lowest and highest concentration wanted, %.
    pub window_pct: (f64, f64),
    /// Refractometer reading of the make-up water, °Bx.
    pub water_zero_brix: f64,
    /// Make-up.
    pub top_up: TopUp,
    /// Volume at the start, as a share of the working volume.
    pub(super) start_fill: f64,
    /// Water lost as vapour on a working day, as a share of the working volume.
    pub(super) evaporation_a_day: f64,
    /// Mix lost with parts and chips on a working day, as a share of the
    /// working volume.
    pub(super) carry_off_a_day: f64,
}

impl SumpSpec {
    /// The strength of premix that keeps the target against the losses, %.
    pub fn holding_strength_pct(&self) -> f64 {
        self.target_pct * self.carry_off_a_day / (self.evaporation_a_day + self.carry_off_a_day)
    }
}

/// Refractive factors within the usual ranges of the three classes, 0.9–1.2,
/// 1.1–1.8 and 1.5–3.5 (common practice, no source).
static SOLUBLE: FluidSpec = FluidSpec {
    name: "soluble",
    factor: 1.0,
    fresh_ph: 9.25,
    conductivity_per_pct: 150.0,
};

static SEMI_SYNTHETIC: FluidSpec = FluidSpec {
    name: "semi_synthetic",
    factor: 1.4,
    fresh_ph: 9.30,
    conductivity_per_pct: 210.0,
};

static SYNTHETIC: FluidSpec = FluidSpec {
    name: "synthetic",
    factor: 2.3,
    fresh_ph: 9.20,
    conductivity_per_pct: 450.0,
};

/// The plant's sumps. Losses are 3–5 % of the volume a working day, a quarter
/// to a third of it carry-off (common practice, no source).
pub static SUMPS: [SumpSpec; 6] = [
    SumpSpec {
        name: "central-1",
        fluid: &SOLUBLE,
        tank: Tank::HorizontalCylinder {
            diameter_m: 1.6,
            length_m: 3.0,
            heads: Heads::Ellipsoidal2To1,
        },
        lines_l: 900.0,
        working_volume_l: 6000.0,
        max_volume_l: 6500.0,
        circulation_l_per_min: 400.0,
        target_pct: 8.0,
        window_pct: (6.0, 10.0),
        water_zero_brix: 0.2,
        top_up: TopUp::Mixer,
        start_fill: 0.995,
        evaporation_a_day: 0.021,
        carry_off_a_day: 0.009,
    },
    SumpSpec {
        name: "grinder-1",
        fluid: &SYNTHETIC,
        tank: Tank::Rectangular {
            length_m: 1.6,
            width_m: 0.8,
            height_m: 0.5,
        },
        lines_l: 30.0,
        working_volume_l: 500.0,
        max_volume_l: 545.0,
        circulation_l_per_min: 60.0,
        target_pct: 4.0,
        window_pct: (3.0, 5.0),
        water_zero_brix: 0.2,
        top_up: TopUp::Water,
        start_fill: 0.99,
        evaporation_a_day: 0.027,
        carry_off_a_day: 0.009,
    },
    SumpSpec {
        name: "hobbing-1",
        fluid: &SEMI_SYNTHETIC,
        tank: Tank::Rectangular {
            length_m: 1.4,
            width_m: 0.8,
            height_m: 0.6,
        },
        lines_l: 40.0,
        working_volume_l: 550.0,
        max_volume_l: 600.0,
        circulation_l_per_min: 50.0,
        target_pct: 7.0,
        window_pct: (5.5, 8.5),
        water_zero_brix: 0.2,
        top_up: TopUp::Mixer,
        start_fill: 0.995,
        evaporation_a_day: 0.030,
        carry_off_a_day: 0.012,
    },
    SumpSpec {
        name: "lathe-3",
        fluid: &SOLUBLE,
        tank: Tank::Rectangular {
            length_m: 1.2,
            width_m: 0.6,
            height_m: 0.6,
        },
        lines_l: 20.0,
        working_volume_l: 350.0,
        max_volume_l: 390.0,
        circulation_l_per_min: 40.0,
        target_pct: 8.0,
        window_pct: (6.0, 10.0),
        water_zero_brix: 0.2,
        top_up: TopUp::ByHand,
        start_fill: 0.885,
        evaporation_a_day: 0.036,
        carry_off_a_day: 0.014,
    },
    SumpSpec {
        name: "mill-2",
        fluid: &SEMI_SYNTHETIC,
        tank: Tank::Rectangular {
            length_m: 1.8,
            width_m: 0.9,
            height_m: 0.6,
        },
        lines_l: 60.0,
        working_volume_l: 800.0,
        max_volume_l: 870.0,
        circulation_l_per_min: 60.0,
        target_pct: 7.0,
        window_pct: (5.5, 8.5),
        water_zero_brix: 0.2,
        top_up: TopUp::Mixer,
        start_fill: 0.995,
        evaporation_a_day: 0.030,
        carry_off_a_day: 0.012,
    },
    SumpSpec {
        name: "saw-1",
        fluid: &SOLUBLE,
        tank: Tank::HorizontalCylinder {
            diameter_m: 0.6,
            length_m: 1.2,
            heads: Heads::Flat,
        },
        lines_l: 10.0,
        working_volume_l: 250.0,
        max_volume_l: 285.0,
        circulation_l_per_min: 30.0,
        target_pct: 6.0,
        window_pct: (4.5, 7.5),
        water_zero_brix: 0.2,
        top_up: TopUp::Mixer,
        start_fill: 0.995,
        evaporation_a_day: 0.032,
        carry_off_a_day: 0.013,
    },
];
