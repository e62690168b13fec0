//! What a fluid costs: the mix, too much of it, its change-out, and how long
//! the concentrate lasts.
//!
//! Promises: an amount of money is in the plant's one currency, a price in
//! that currency a litre; what is estimated carries its standard uncertainty;
//! what has no price is named, never counted as free. Refuses: rates of
//! exchange, taxes, and any price of its own.

mod change_out;
mod consumption;
mod price;
mod stock;

pub use change_out::{Cost, CostPart, change_out_per_week};
pub use consumption::{Consumption, Litres, Movement, MovementError, Period};
pub use price::{
    Currency, CurrencyError, OverStrength, Prices, UnitPrice, mix_price, over_strength,
};
pub use stock::{Cover, days_of_cover};
