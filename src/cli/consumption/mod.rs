//! `consumption`: what sumps have used, what that costs, and how long the
//! concentrate in stock lasts, from the store, whether a daemon runs or not.

#[cfg(test)]
mod tests;
mod text;
mod used;

use serde::Serialize;

use super::kept_store::{NoStore, kept_store};
use super::sump_named::{NoSump, sumps_named};
use super::{NO, WRONG};
use crate::daemon::kept::{self, KeptError};
use crate::daemon::stock::{StockUse, Uses};
use crate::engine::{SumpSetup, SumpWatch};
use crate::settings::Settings;
use crate::store::StoreError;
use crate::units::to_wire;
use used::SumpUse;

/// Why there is no answer.
#[derive(Debug, thiserror::Error)]
pub(super) enum ConsumptionFault {
    #[error(transparent)]
    NoSump(#[from] NoSump),
    #[error(transparent)]
    NoStore(#[from] NoStore),
    #[error(transparent)]
    Store(#[from] StoreError),
    #[error(transparent)]
    Kept(#[from] KeptError),
    #[error("the answer cannot be written as JSON: {0}")]
    Json(#[from] serde_json::Error),
}

impl ConsumptionFault {
    /// The exit status that tells a calling program.
    pub(super) fn status(&self) -> u8 {
        match self {
            ConsumptionFault::NoSump(_) => WRONG,
            ConsumptionFault::NoStore(why) => why.status(),
            ConsumptionFault::Store(_) | ConsumptionFault::Kept(_) | ConsumptionFault::Json(_) => {
                NO
            }
        }
    }
}

/// The whole answer.
#[derive(Debug, Clone, PartialEq, Serialize)]
struct Told {
    sumps: Vec<SumpUse>,
    stock: Vec<StockUse>,
}

/// The use of these sumps, or of all where none is named, with the stock of
/// their fluids, as text that ends in a line break.
pub(super) fn told(
    settings: &Settings,
    names: &[String],
    json: bool,
) -> Result<String, ConsumptionFault> {
    let asked = sumps_named(settings, names)?;
    let kept = all_kept(settings)?;
    let is_asked = |sump: &SumpSetup| asked.iter().any(|one| one.name == sump.name);
    let of_asked = kept.iter().filter(|(sump, _)| is_asked(sump));
    let stocks = settings.stocks.iter().filter(|stock| {
        names.is_empty() || asked.iter().any(|sump| sump.fluid.name == stock.fluid)
    });
    let told = Told {
        sumps: of_asked
            .map(|(sump, watch)| SumpUse::new(sump, watch.as_ref()))
            .collect(),
        stock: stocks
            .map(|stock| StockUse::new(stock, &uses(&kept, &stock.fluid)))
            .collect(),
    };
    if json {
        return Ok(format!("{}\n", to_wire(&told)?));
    }
    Ok(told.to_string())
}

/// Each sump with its watch, where one is kept.
type Kept<'a> = (&'a SumpSetup, Option<SumpWatch>);

fn all_kept(settings: &Settings) -> Result<Vec<Kept<'_>>, ConsumptionFault> {
    let reader = kept_store(settings)?;
    let each = settings
        .sumps
        .iter()
        .map(|sump| Ok((&**sump, kept::watch(settings, &reader, sump)?)));
    each.collect()
}

/// The use of one fluid by every sump that it is in.
fn uses<'a>(kept: &'a [Kept<'_>], fluid: &str) -> Vec<Uses<'a>> {
    let with_fluid = kept.iter().filter(|(sump, _)| *sump.fluid.name == *fluid);
    let each = with_fluid.map(|(sump, watch)| Uses {
        sump: &sump.name,
        kept: watch
            .as_ref()
            .map(|watch| (watch.now(), watch.consumption())),
    });
    each.collect()
}
