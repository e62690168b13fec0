//! Minerals that the water brings: hardness and chloride.
//!
//! Water evaporates, its minerals stay. What the make-up water brings in and the
//! carry-off takes out is followed as a mass, so that nothing is lost on the
//! way, from the first fill on or from a reading of the mix on; each reading by
//! hand or from a laboratory corrects it by its weight. Chloride is the better
//! tracer of the two: nothing consumes it, while hardness is lost to soaps of
//! the concentrate and so reads low (memory). Between readings the conductivity
//! beyond its base line tells on-line that salts pile up, though not which.
//!
//! Refuses: to go on from a top-up with water that nobody described.

mod advice;
mod content;
mod excess;
mod forecast;
mod setup;
mod status;
#[cfg(test)]
mod tests;
mod turnover;
mod watch;

pub use advice::WaterAdvice;
pub use excess::{BaseLineFrom, ConductivityExcess, ExcessLevel, SheetBaseLine};
pub use forecast::{Forecast, Losses};
pub use setup::{Bounds, Mineral, MineralSetup, Water};
pub use status::{MineralStatus, SumpNow, Surprise, TracerStatus};
pub use turnover::{TapShare, Turnover};
pub use watch::{Charge, MineralWatch, Movement};
