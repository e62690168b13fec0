//! Chemistry of the mix and what its instruments say: refractometry, pH,
//! conductivity, hardness.
//!
//! Promises: a concentration is never below 0; each formula and table names
//! its source; a table is only read between rows that were published; what an
//! instrument shows and what it was corrected to have types of their own, so
//! that nothing is corrected twice. Refuses: charts that do not rise, readings
//! and temperatures outside a table's range, calibrations that no working
//! instrument gives. It does not correct an emulsion for temperature by a table
//! made for sucrose: that table is there for sugar solutions and for checking
//! instruments.

mod conductivity;
mod hardness;
mod judgement;
mod liquid;
mod ph;
mod refractometer;
mod refractometry;
mod sucrose;
mod table;
mod water;

pub use conductivity::{
    Cell, CellError, CompensationError, ConductivityCompensation, ConductivityProbe,
    ConductivityStandard, LinearCoefficient, OutsideIso7888, ProbeBands, ProbeFactor,
    ProbeFactorError, ProbeRemark, StandardError, natural_water_factor,
};
pub use hardness::{NoContent, hardness_by_calculation};
pub use judgement::Judgement;
pub use liquid::NotLiquid;
pub use ph::{
    BufferError, BufferTable, CalibrationPoint, Electrode, ElectrodeBands, ElectrodeError,
    ElectrodeRemark, PhCalibration, PhCalibrationError, StandardBuffer, nernst_slope,
};
pub use refractometer::{
    BrixCompensation, MixCoefficient, Refractometer, RefractometerError, ShownBrix,
};
pub use refractometry::{Chart, ChartError};
pub use sucrose::{SucroseError, at_20_celsius, brix_from_index, index_from_brix};
pub use water::{OutsideWater, water_shift};
