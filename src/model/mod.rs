//! What is really going on in a sump: its ledger of additions, its losses, its
//! true volume, its minerals, and what comes next.
//!
//! Promises: mass is kept (what goes in, goes out or stays adds up); every
//! figure comes with its standard uncertainty, and where the readings cannot
//! tell, that is said in place of a figure; memory is fixed. Refuses: to guess
//! a loss from a level that something unseen holds up.
//!
//! The plain balances ([`makeup`], [`drift`], [`mixing`]) are formulas and no
//! figures: they take what they are given as exact. Who estimates evaporation
//! and carry-off from the same readings knows how the two hang together, and
//! carries the uncertainty.

mod balance;
mod classify;
mod departure;
mod dose_volume;
pub mod drift;
mod evidence;
pub mod factor_check;
mod first_day;
mod forecast;
mod gaussian;
mod ledger;
mod loss_rates;
mod losses;
pub mod makeup;
pub mod minerals;
mod mix;
pub mod mixing;
pub mod money;
mod movement;
mod noise;
#[cfg(test)]
mod reference;
mod robust;
mod setup;
mod shift;
mod shift_pattern;
pub mod souring;
mod state;
mod steps;
#[cfg(test)]
mod testing;
mod wander;

pub use balance::{Balance, Point, Response, Told};
pub use departure::{Departure, DepartureKind};
pub use dose_volume::{
    DosePool, DoseStep, DoseVolumeError, DoseVolumeSetup, Strength, VolumeJudgement,
};
pub use evidence::{Evidence, Speaks, Weight};
pub use factor_check::{
    FactorContext, FactorPair, FactorSetup, FactorStatus, FactorWatch, OtherMethod,
};
pub use first_day::FirstDay;
pub use forecast::{Forecast, ForecastCase, Outlook, TopUp, forecast};
pub use loss_rates::{LossRates, LossRatesError};
pub use losses::{Losses, NotIdentifiable};
pub use minerals::{
    Bounds, Charge, Mineral, MineralSetup, MineralStatus, MineralWatch, SheetBaseLine, SumpNow,
    Water,
};
pub use mix::Mix;
pub use movement::{Logged, Movement, MovementKind, Origin};
pub use setup::{BalanceSetup, ErrorSetup};
pub use shift::{Shift, ShiftError};
pub use shift_pattern::{ShiftPattern, ShiftPatternError};
pub use souring::{
    GermBounds, Odour, Souring, SouringNow, SouringSetup, SouringStatus, SouringWatch,
};
pub use state::Step;
