//! The waters of a plant, and which of them a sump is filled with.

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::engine::Water;
use crate::units::{Conductivity, Measured, Quantity};

use super::defaults;
use super::key_path::KeyPath;
use super::measure;
use super::raw::{Named, RawWater};
use super::review::Review;
use super::written::Written;

/// Every water by name; nothing in place of one that is wrong.
pub(super) type Waters = BTreeMap<String, Option<Arc<Water>>>;

/// Reads every water.
pub(super) fn waters(review: &mut Review, tables: Named) -> Waters {
    let at = KeyPath::root().key("water");
    let mut waters = Waters::new();
    for (name, part) in tables.unwrap_or_default() {
        let at = at.key(&name);
        review.name(&at, &name);
        let raw: RawWater = review.take(&at, part);
        let water = water(review, &at, &name, &raw);
        waters.insert(name, water.map(Arc::new));
    }
    waters
}

/// All that could be read.
pub(super) fn all(waters: &Waters) -> Arc<[Arc<Water>]> {
    waters.values().flatten().map(Arc::clone).collect()
}

/// The water that a sump names, if it names one.
pub(super) fn named(
    review: &mut Review,
    path: &KeyPath,
    name: Option<&str>,
    waters: &Waters,
) -> Option<Option<Arc<Water>>> {
    let Some(name) = name else {
        return Some(None);
    };
    match waters.get(name) {
        Some(water) => water.clone().map(Some),
        None => {
            review.unknown_name(path, "water", name, waters.keys().map(String::as_str));
            None
        }
    }
}

fn water(review: &mut Review, at: &KeyPath, name: &str, raw: &RawWater) -> Option<Water> {
    let path = at.key("uncertainty");
    let share = review.or_default(
        &path,
        raw.uncertainty.as_ref(),
        measure::share,
        defaults::WATER_UNCERTAINTY,
    );
    let share = share.and_then(|share| {
        review.within(&path, share, (0.0, 1.0), |share| {
            format!("{} %", 100.0 * share)
        })
    });
    let mut value = |key: &str, quantity, written: Option<&Written>| {
        optional(review, &at.key(key), quantity, written)
    };
    let hardness = value("hardness", Quantity::Hardness, raw.hardness.as_ref());
    let chloride = value("chloride", Quantity::Chloride, raw.chloride.as_ref());
    // Nitrate is written in the units of nitrite.
    let nitrate = value("nitrate", Quantity::Nitrite, raw.nitrate.as_ref());
    let conductivity = value(
        "conductivity",
        Quantity::Conductivity,
        raw.conductivity.as_ref(),
    );
    let share = share?;
    let measured = |value: f64| Measured::new(value, share * value);
    Some(Water {
        name: name.into(),
        hardness: hardness?.map(measured),
        chloride: chloride?.map(measured),
        nitrate_mg_l: nitrate?,
        conductivity: conductivity?.map(Conductivity::from_microsiemens_per_cm),
    })
}

/// A value that may be absent, in the quantity's unit and conceivable.
pub(super) fn optional(
    review: &mut Review,
    path: &KeyPath,
    quantity: Quantity,
    written: Option<&Written>,
) -> Option<Option<f64>> {
    let Some(written) = written else {
        return Some(None);
    };
    let value = review.good(path, measure::value(quantity, written.text()))?;
    let range = defaults::conceivable(quantity);
    review
        .within(path, value, range, |value| {
            format!("{value} {}", quantity.unit())
        })
        .map(Some)
}
