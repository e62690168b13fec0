//! Reckons the concentrate in stock from what the store keeps, and tells the plant.

use std::sync::Arc;
use std::time::Duration;

use tokio_util::sync::CancellationToken;

use super::Clock;
use super::kept::{self, KeptError};
use super::plant_desk;
use super::stock::StockUse;
use crate::engine::StockLeft;
use crate::ingest::{Content, Intake};
use crate::settings::Settings;

/// Stocks are reckoned this often. Choice: they change within days.
const RECKON_EVERY: Duration = Duration::from_secs(600);

/// Looks at the stock.
pub(super) struct StockWatcher {
    pub(super) settings: Arc<Settings>,
    pub(super) intake: Intake,
    pub(super) clock: Clock,
}

impl StockWatcher {
    /// Looks at the start and from time to time, until `stop`.
    pub(super) async fn run(self, stop: CancellationToken) {
        if self.settings.watched.stocks.is_empty() {
            return;
        }
        let mut every = tokio::time::interval(RECKON_EVERY);
        loop {
            tokio::select! {
                biased;
                () = stop.cancelled() => return,
                _ = every.tick() => {}
            }
            let settings = Arc::clone(&self.settings);
            let reckoned = tokio::task::spawn_blocking(move || reckon(&settings)).await;
            let told = match reckoned {
                Ok(Ok(contents)) => {
                    let plant = self.settings.sumps.len() as u32;
                    let told = plant_desk::tell(&self.intake, plant, &self.clock, contents);
                    told.await.is_ok()
                }
                Ok(Err(error)) => {
                    tracing::warn!("the stock cannot be reckoned: {error}");
                    true
                }
                Err(_) => false,
            };
            if !told {
                return;
            }
        }
    }
}

/// Every stock, by the watches as they were kept last.
fn reckon(settings: &Settings) -> Result<Vec<Content>, KeptError> {
    let Some(reader) = kept::store(settings)? else {
        return Ok(Vec::new());
    };
    let watches = settings
        .sumps
        .iter()
        .map(|sump| kept::watch(settings, &reader, sump));
    let watches = watches.collect::<Result<Vec<_>, _>>()?;
    let all = settings.stocks.iter().map(|stock| Content::Stock {
        fluid: Arc::clone(&stock.fluid),
        left: left(&StockUse::by_watches(stock, &settings.sumps, &watches)),
    });
    Ok(all.collect())
}

fn left(stock: &StockUse) -> StockLeft {
    StockLeft {
        counted_l: stock.counted_l,
        left_l: stock.left_l,
        daily_use_l: stock.daily_use_l.map(|use_| use_.value),
        days: stock.cover.map(|cover| cover.days),
        unknown: stock.unknown.len(),
    }
}
