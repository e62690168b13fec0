//! What is known of the waters of a plant, and what a sump bears of them.

use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::excess::SheetBaseLine;
use crate::units::{Conductivity, Measured, Quantity};

/// What is followed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Mineral {
    /// Total hardness, as mg/L of calcium carbonate.
    Hardness,
    /// Chloride, mg/L.
    Chloride,
}

impl Mineral {
    /// Both.
    pub const ALL: [Mineral; 2] = [Mineral::Hardness, Mineral::Chloride];

    /// The quantity that a reading of it has.
    pub const fn quantity(self) -> Quantity {
        match self {
            Mineral::Hardness => Quantity::Hardness,
            Mineral::Chloride => Quantity::Chloride,
        }
    }

    /// The mineral that a reading of this quantity is of.
    pub fn read_as(quantity: Quantity) -> Option<Mineral> {
        Mineral::ALL
            .into_iter()
            .find(|mineral| mineral.quantity() == quantity)
    }

    /// What must be known of its readings.
    pub(super) const fn remark(self) -> &'static str {
        match self {
            Mineral::Hardness => {
                "hardness is lost to soaps of the concentrate and so reads low; chloride is the \
                 better tracer"
            }
            Mineral::Chloride => "nothing in the mix consumes chloride: it is the better tracer",
        }
    }
}

/// A water that a plant uses.
#[derive(Debug, Clone, PartialEq)]
pub struct Water {
    /// Its name in settings and entries.
    pub name: Arc<str>,
    /// Hardness, mg/L of calcium carbonate.
    pub hardness: Option<Measured>,
    /// Chloride, mg/L.
    pub chloride: Option<Measured>,
    /// Nitrate, mg/L.
    pub nitrate_mg_l: Option<f64>,
    /// Conductivity.
    pub conductivity: Option<Conductivity>,
}

impl Water {
    /// A water of which nothing but the name is known.
    pub fn undescribed(name: &str) -> Self {
        Water {
            name: name.into(),
            hardness: None,
            chloride: None,
            nitrate_mg_l: None,
            conductivity: None,
        }
    }

    /// Its content of a mineral, mg/L.
    pub fn content(&self, mineral: Mineral) -> Option<Measured> {
        match mineral {
            Mineral::Hardness => self.hardness,
            Mineral::Chloride => self.chloride,
        }
    }
}

/// From where on something is to be watched, and from where on acted upon.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounds {
    /// Above this it is to be watched.
    pub watch: f64,
    /// Above this something is to be done.
    pub act: f64,
}

/// What a sump's minerals are held against.
#[derive(Debug, Clone, PartialEq)]
pub struct MineralSetup {
    /// The water of a first fill.
    pub first_fill: Option<Arc<Water>>,
    /// The water of top-ups that name none.
    pub top_up: Option<Arc<Water>>,
    /// Hardness of the mix, mg/L of calcium carbonate.
    pub hardness: Bounds,
    /// Chloride of the mix, mg/L.
    pub chloride: Bounds,
    /// Conductivity of the mix as a multiple of its base line.
    pub excess: Bounds,
    /// Hardness of the first fill, lowest and highest, mg/L of calcium
    /// carbonate: softer water foams, harder troubles the emulsion.
    pub first_fill_hardness: (f64, f64),
    /// Nitrate that make-up water may have, mg/L.
    pub nitrate_mg_l: f64,
    /// The base line of the conductivity by the fluid's sheet.
    pub sheet: SheetBaseLine,
}

/// Hardness 400 and 800, chloride 100 and 200 mg/L, 1.5 and 2 times the base
/// line, 80 to 200 mg/L for the first fill: memory. Nitrate not above 50 mg/L:
/// TRGS 611, section 5.2.
impl Default for MineralSetup {
    fn default() -> Self {
        MineralSetup {
            first_fill: None,
            top_up: None,
            hardness: Bounds {
                watch: 400.0,
                act: 800.0,
            },
            chloride: Bounds {
                watch: 100.0,
                act: 200.0,
            },
            excess: Bounds {
                watch: 1.5,
                act: 2.0,
            },
            first_fill_hardness: (80.0, 200.0),
            nitrate_mg_l: 50.0,
            sheet: SheetBaseLine::default(),
        }
    }
}

impl MineralSetup {
    /// What the mix may hold of a mineral, mg/L.
    pub fn bounds(&self, mineral: Mineral) -> Bounds {
        match mineral {
            Mineral::Hardness => self.hardness,
            Mineral::Chloride => self.chloride,
        }
    }
}
