//! Quantities with their units, and points in time.
//!
//! Promises: a value that crosses the border of a room carries its unit in its
//! type; text is only turned into a quantity when its unit is one of the
//! quantity's own. Refuses: a number without a unit, a unit of another
//! quantity, anything that is not finite.

mod exact;
mod measured;
mod median;
mod nearest;
mod parse;
mod quantity;
mod time;
mod wire;

pub use exact::exact;
pub use measured::{Measured, correlation_by_sum};
pub use median::median;
pub use nearest::nearest;
pub use parse::{Linear, Parse, QuantityError, QuantityFault};
pub use quantity::{
    Brix, BrixCoefficient, CellConstant, Concentration, Conductance, Conductivity,
    ConductivityAsIs, Content, Current, Flow, Hardness, Length, LossRate, Ph, Potential, Quantity,
    RelativeCoefficient, Temperature, Volume,
};
pub use time::{Span, TimeError, Timestamp};
pub use wire::to_wire;
