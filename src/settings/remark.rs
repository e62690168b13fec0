//! What may be settled so, and what a person should look to all the same.

use std::fmt;

use jiff::civil::Date;

use crate::chemistry::{ElectrodeRemark, ProbeRemark};

use super::fluid_class::FluidClass;
use super::mistake::Place;

/// Something that is no mistake and that a person should look to. Prints as
/// `file:line:column: path: what to do`.
#[derive(Debug, Clone, PartialEq)]
pub struct Remark {
    /// Where the setting stands.
    pub place: Place,
    /// Its path, as `sump.turning-cell.channel.ph.calibration`.
    pub path: String,
    /// Of which day the calibration is, where that is written down.
    pub date: Option<Date>,
    /// What it is about.
    pub about: Remarked,
}

/// What a remark is about.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum Remarked {
    /// A pH electrode that is not good.
    #[error(transparent)]
    Electrode(#[from] ElectrodeRemark),
    /// A conductivity instrument that is not good.
    #[error(transparent)]
    Probe(#[from] ProbeRemark),
    /// A pH that is read beyond the buffers.
    #[error(
        "the buffers do not lie on both sides of the pH of a mix, 8.5 to 9: the reading is \
         extrapolated; take phosphate or 7.00, and borax or 10.01"
    )]
    BuffersAside,
    /// Water's compensation for a mix.
    #[error(
        "iso7888 is for natural water, commonly advised from 60 to 1000 µS/cm; a mix has more: \
         take \"linear\" with the coefficient of the fluid"
    )]
    NaturalWater,
    /// A refractive factor beyond what is usual of its class.
    #[error(
        "{found} is unusual of a {class}, whose factors are commonly {lowest} to {highest} % for \
         each °Bx: compare it with the product's data sheet, and its class"
    )]
    UnusualFactor {
        /// The class.
        class: FluidClass,
        /// The factor, % by volume for each °Bx.
        found: f64,
        /// The lowest usual, likewise.
        lowest: f64,
        /// The highest usual, likewise.
        highest: f64,
    },
    /// A target beyond what is usual of the fluid's class.
    #[error(
        "{found} % is unusual of a {class}, which is commonly used at {lowest} to {highest} %: \
         compare it with the product's data sheet"
    )]
    UnusualTarget {
        /// The class.
        class: FluidClass,
        /// The target, % by volume.
        found: f64,
        /// The lowest usual, likewise.
        lowest: f64,
        /// The highest usual, likewise.
        highest: f64,
    },
}

impl fmt::Display for Remark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}: ", self.place, self.path)?;
        if let Some(date) = self.date {
            write!(f, "calibrated {date}: ")?;
        }
        self.about.fmt(f)
    }
}
