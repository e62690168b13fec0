//! From what a conductivity cell gives to conductivity at 25 °C.
//!
//! Promises: what is not yet referred to 25 °C has a type of its own,
//! `ConductivityAsIs`, and only that type can be compensated: nothing is
//! compensated twice. Refuses: temperatures outside a published table, and
//! cells and coefficients that do not exist.

mod cell;
mod compensation;
mod iso7888;
mod probe;
mod standard;

pub use cell::{Cell, CellError, ProbeBands, ProbeFactor, ProbeFactorError, ProbeRemark};
pub use compensation::{CompensationError, ConductivityCompensation, LinearCoefficient};
pub use iso7888::{OutsideIso7888, natural_water_factor};
pub use probe::ConductivityProbe;
pub use standard::{ConductivityStandard, StandardError};
