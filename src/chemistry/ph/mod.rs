//! From the potential of a pH electrode to pH.
//!
//! Promises: the slope follows the fluid's temperature after Nernst; a buffer
//! has the pH of a published table at the temperature of the calibration, or
//! the one that its bottle states there. Refuses: calibrations that no working
//! electrode gives, and buffers at temperatures outside their table. It does
//! not refer the fluid's own pH to another temperature: nobody can without the
//! fluid's chemistry, and no instrument does.

mod buffer;
mod calibration;
mod electrode;
mod judgement;

pub use buffer::{BufferError, BufferTable, StandardBuffer};
pub use calibration::{CalibrationPoint, PhCalibration, PhCalibrationError};
pub use electrode::{Electrode, ElectrodeError, nernst_slope};
pub use judgement::{ElectrodeBands, ElectrodeRemark};
