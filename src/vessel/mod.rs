//! Tank shapes: level to volume.
//!
//! Promises: volume never falls as the level rises; level 0 is the lowest
//! inside point. Refuses: dimensions that are not positive, levels that are
//! not finite.

use crate::units::{Length, Volume};

/// A tank.
#[derive(Debug, Clone, PartialEq)]
pub enum Vessel {
    /// An upright box with a flat floor.
    Rectangular {
        /// Inside length.
        length: Length,
        /// Inside width.
        width: Length,
        /// Inside height.
        height: Length,
    },
}

impl Vessel {
    /// Volume of fluid at `level`; below 0 it is empty, above the top full.
    pub fn volume(&self, _level: Length) -> Volume {
        Volume::from_litres(0.0)
    }
}
