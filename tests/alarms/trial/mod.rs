//! A plant of forty sumps under watch, with its crew: which of what was truly
//! wrong was told, and which of what was told was true.

#[path = "../../estimates/chance.rs"]
mod chance;
pub(crate) mod count;
mod crew;
mod expected;
mod figures;
pub(crate) mod goals;
mod kinds;
mod plant_settings;
mod reaction;
mod record;
mod run;
pub(crate) mod start_up;
pub(crate) mod table;
mod verdict;

pub(crate) use run::{Extent, run};
