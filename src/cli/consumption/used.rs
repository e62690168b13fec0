//! What one sump has used.

use std::sync::Arc;

use serde::Serialize;

use crate::engine::{SumpSetup, SumpWatch};
use crate::model::money::{Consumption, Cost, Currency, Litres, OverStrength, Prices};
use crate::units::Timestamp;

/// What one sump has used, as far as the store keeps it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(super) struct SumpUse {
    pub(super) sump: Arc<str>,
    pub(super) title: String,
    pub(super) fluid: String,
    /// Nothing where no daemon has watched it yet.
    #[serde(flatten)]
    pub(super) kept: Option<KeptUse>,
}

/// What is kept of it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(super) struct KeptUse {
    /// The newest that the watch knew of.
    pub(super) as_of: Timestamp,
    /// When the present charge began, where that is known; else its figures
    /// are of all that was ever counted.
    pub(super) charge_since: Option<Timestamp>,
    pub(super) charge: Used,
    pub(super) last_7_days: Used,
    pub(super) last_31_days: Used,
    /// Oldest first; those without a movement are left out.
    pub(super) months: Vec<MonthUse>,
    pub(super) over_strength: Option<TooStrong>,
}

/// Litres, and what they cost where there are prices.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(super) struct Used {
    #[serde(flatten)]
    pub(super) litres: Litres,
    pub(super) cost: Option<Cost>,
}

/// What was used in a month.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(super) struct MonthUse {
    /// As `2026-11`, UTC.
    pub(super) month: String,
    #[serde(flatten)]
    pub(super) used: Used,
}

/// What it costs that the mix is too strong.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(super) struct TooStrong {
    pub(super) currency: Currency,
    #[serde(flatten)]
    pub(super) cost: OverStrength,
}

impl SumpUse {
    pub(super) fn new(setup: &SumpSetup, watch: Option<&SumpWatch>) -> Self {
        let kept = watch.map(|watch| {
            let prices = setup.prices.as_ref();
            let over = prices.map(|prices| prices.currency);
            let over = over
                .zip(watch.over_strength())
                .map(|(currency, cost)| TooStrong { currency, cost });
            KeptUse::new(watch.now(), watch.consumption(), prices, over)
        });
        SumpUse {
            sump: Arc::clone(&setup.name),
            title: setup.title.clone(),
            fluid: setup.fluid.title.clone(),
            kept,
        }
    }
}

impl KeptUse {
    pub(super) fn new(
        now: Timestamp,
        consumption: &Consumption,
        prices: Option<&Prices>,
        over_strength: Option<TooStrong>,
    ) -> Self {
        let used = |litres: Litres| Used {
            cost: prices.map(|prices| Cost::of_litres(&litres, prices)),
            litres,
        };
        let months = consumption.months().iter().map(|month| MonthUse {
            month: month_name(month.number),
            used: used(month.litres),
        });
        KeptUse {
            as_of: now,
            charge_since: consumption.charge_since(),
            charge: used(*consumption.charge()),
            last_7_days: used(consumption.of_last_days(now, 7)),
            last_31_days: used(consumption.of_last_days(now, 31)),
            months: months.collect(),
            over_strength,
        }
    }
}

/// The month that is so many after January 1970.
fn month_name(number: i32) -> String {
    let (year, month) = (number.div_euclid(12), number.rem_euclid(12));
    format!("{:04}-{:02}", 1970 + year, month + 1)
}
