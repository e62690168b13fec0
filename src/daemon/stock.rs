//! The concentrate in stock, against what all sumps with that fluid use.

use std::sync::Arc;

use jiff::civil::{Date, date};
use serde::Serialize;

use crate::engine::{SumpSetup, SumpWatch};
use crate::model::money::{Consumption, Cover, days_of_cover};
use crate::settings::StockSettings;
use crate::units::{Measured, Timestamp, Volume};

/// What is kept of one sump that has the fluid.
#[derive(Debug, Clone, Copy)]
pub struct Uses<'a> {
    /// Its name.
    pub sump: &'a Arc<str>,
    /// When the watch stood, and what it had counted.
    pub kept: Option<(Timestamp, &'a Consumption)>,
}

/// How long a stock lasts.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StockUse {
    /// Name of the fluid.
    pub fluid: Arc<str>,
    /// How much there was, L.
    pub counted_l: f64,
    /// The day on which it was counted.
    pub counted: String,
    /// Concentrate used since that day began, L: what was used on the day
    /// itself is taken to have been used after the count.
    pub used_since_l: f64,
    /// The day from which on that use is known, where it is not known from the
    /// count on.
    pub known_from: Option<String>,
    /// What should be left, L.
    pub left_l: f64,
    /// Use a day of all sumps whose use is known, L.
    pub daily_use_l: Option<Measured>,
    /// Sumps that use it, and whose use a day is known.
    pub sumps: Vec<Arc<str>>,
    /// Sumps that use it, and whose use a day is not known yet.
    pub unknown: Vec<Arc<str>>,
    /// How long what is left lasts; too long by the use that is not known.
    pub cover: Option<Cover>,
}

impl StockUse {
    /// By the watches of all sumps, in the order of the settings.
    pub fn by_watches(
        stock: &StockSettings,
        sumps: &[Arc<SumpSetup>],
        watches: &[Option<SumpWatch>],
    ) -> Self {
        let all = sumps.iter().zip(watches);
        let with_it = all.filter(|(sump, _)| sump.fluid.name == stock.fluid);
        let uses: Vec<Uses<'_>> = with_it
            .map(|(sump, watch)| Uses {
                sump: &sump.name,
                kept: watch
                    .as_ref()
                    .map(|watch| (watch.now(), watch.consumption())),
            })
            .collect();
        StockUse::new(stock, &uses)
    }

    /// The errors of the sumps' uses are taken to be independent.
    pub fn new(stock: &StockSettings, uses: &[Uses<'_>]) -> Self {
        let counted = day_number(stock.counted);
        let mut told = StockUse {
            fluid: Arc::clone(&stock.fluid),
            counted_l: stock.litres.litres(),
            counted: stock.counted.to_string(),
            used_since_l: 0.0,
            known_from: None,
            left_l: 0.0,
            daily_use_l: None,
            sumps: Vec::new(),
            unknown: Vec::new(),
            cover: None,
        };
        let mut known_from = counted;
        for one in uses {
            if let Some((_, consumption)) = one.kept {
                told.used_since_l += consumption.since_day(counted).concentrate_l;
                known_from = known_from.max(consumption.kept_from().unwrap_or(counted));
            }
            let daily = one
                .kept
                .and_then(|(now, consumption)| consumption.daily_concentrate(now));
            match daily {
                Some(daily) => {
                    told.sumps.push(Arc::clone(one.sump));
                    told.daily_use_l = Some(sum(told.daily_use_l, daily));
                }
                None => told.unknown.push(Arc::clone(one.sump)),
            }
        }
        told.known_from = (known_from > counted).then(|| day_name(known_from));
        told.left_l = (told.counted_l - told.used_since_l).max(0.0);
        let left = Volume::from_litres(told.left_l);
        told.cover = told.daily_use_l.and_then(|use_| days_of_cover(left, use_));
        told
    }
}

fn sum(so_far: Option<Measured>, one: Measured) -> Measured {
    so_far.map_or(one, |so_far| {
        Measured::new(
            so_far.value + one.value,
            so_far.uncertainty.hypot(one.uncertainty),
        )
    })
}

/// Days since 1970-01-01.
fn day_number(day: Date) -> i32 {
    (day - date(1970, 1, 1)).get_days()
}

fn day_name(number: i32) -> String {
    let day = date(1970, 1, 1).saturating_add(jiff::Span::new().days(number));
    day.to_string()
}
