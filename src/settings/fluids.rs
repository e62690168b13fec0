//! The data sheets of the fluids in use.

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::chemistry::MixCoefficient;
use crate::engine::{FluidSetup, SheetBaseLine};
use crate::model::money::UnitPrice;
use crate::units::{BrixCoefficient, Conductivity, Parse, Ph, Quantity};

use super::build_chart;
use super::defaults;
use super::fluid_class::FluidClass;
use super::key_path::KeyPath;
use super::measure;
use super::prices::{self, PlantPrices};
use super::problem::CalibrationProblem;
use super::raw::{Named, RawFluid};
use super::remark::Remarked;
use super::review::Review;
use super::waters;

/// Every fluid by name; nothing in place of one whose sheet is wrong.
pub(super) type Fluids = BTreeMap<String, Option<Sheet>>;

/// A data sheet.
#[derive(Debug, Clone)]
pub(super) struct Sheet {
    /// What the engine needs of it.
    pub(super) fluid: Arc<FluidSetup>,
    /// Its class, where it is written: what holds of that where a sump says
    /// nothing.
    pub(super) class: Option<FluidClass>,
}

/// Reads every data sheet.
pub(super) fn fluids(review: &mut Review, sheets: Named, prices: Option<&PlantPrices>) -> Fluids {
    let at = KeyPath::root().key("fluid");
    let mut fluids = Fluids::new();
    for (name, part) in sheets.unwrap_or_default() {
        let at = at.key(&name);
        review.name(&at, &name);
        let raw: RawFluid = review.take(&at, part);
        let class = class(review, &at, &raw);
        let fluid = fluid(review, &at, &name, &raw, prices).map(Arc::new);
        let sheet = fluid
            .zip(class)
            .map(|(fluid, class)| Sheet { fluid, class });
        fluids.insert(name, sheet);
    }
    fluids
}

/// The class; a factor that is unusual of it may be right, and is remarked upon.
fn class(review: &mut Review, at: &KeyPath, raw: &RawFluid) -> Option<Option<FluidClass>> {
    let Some(word) = &raw.class else {
        return Some(None);
    };
    let class = review.one_of(&at.key("class"), word, &FluidClass::WORDS)?;
    let (lowest, highest) = class.usual().factor;
    let unusual = |factor: &f64| !(lowest..=highest).contains(factor);
    if let Some(found) = raw.factor.filter(unusual) {
        let about = Remarked::UnusualFactor {
            class,
            found,
            lowest,
            highest,
        };
        review.remark(&at.key("factor"), None, about);
    }
    Some(Some(class))
}

fn fluid(
    review: &mut Review,
    at: &KeyPath,
    name: &str,
    raw: &RawFluid,
    prices: Option<&PlantPrices>,
) -> Option<FluidSetup> {
    let chart = build_chart::chart(review, at, raw);
    let path = at.key("chart_uncertainty");
    let uncertainty = review
        .or_default(
            &path,
            raw.chart_uncertainty.as_ref(),
            measure::share,
            defaults::CHART_UNCERTAINTY,
        )
        .and_then(|share| {
            review.within(&path, share, (0.0, 0.5), |share| {
                format!("{} %", 100.0 * share)
            })
        });
    let coefficient = temperature_coefficient(review, at, raw);
    let fresh_ph = waters::optional(
        review,
        &at.key("fresh_ph"),
        Quantity::Ph,
        raw.fresh_ph.as_ref(),
    );
    let ph_per_decade = ph_per_decade(review, at, raw);
    let base_line = base_line(review, at, raw);
    let price = price(review, at, raw, prices);
    Some(FluidSetup {
        name: name.into(),
        title: raw.title.clone().unwrap_or_else(|| name.to_owned()),
        chart: chart?,
        chart_uncertainty: uncertainty?,
        temperature_coefficient: coefficient?,
        mixing_note: raw.mixing_note.clone(),
        fresh_ph: fresh_ph?.map(Ph::from_units),
        ph_per_decade: ph_per_decade?,
        base_line: base_line?,
        price: price?,
    })
}

fn ph_per_decade(review: &mut Review, at: &KeyPath, raw: &RawFluid) -> Option<f64> {
    let path = at.key("ph_per_decade");
    let read = |text: &str| measure::value(Quantity::Ph, text);
    let written = raw.ph_per_decade.as_ref();
    let rise = review.or_default(&path, written, read, defaults::PH_PER_DECADE)?;
    review.within(&path, rise, (0.0, 3.0), |rise| rise.to_string())
}

/// The base line of conductivity, as far as the sheet gives it.
fn base_line(review: &mut Review, at: &KeyPath, raw: &RawFluid) -> Option<SheetBaseLine> {
    let mut conductivity =
        |key, written| waters::optional(review, &at.key(key), Quantity::Conductivity, written);
    let base = conductivity("conductivity_base", raw.conductivity_base.as_ref());
    let per_percent = conductivity(
        "conductivity_per_percent",
        raw.conductivity_per_percent.as_ref(),
    );
    Some(SheetBaseLine {
        base: base?.map(Conductivity::from_microsiemens_per_cm),
        per_percent_us_cm: per_percent?,
    })
}

/// The price of the concentrate, in the plant's currency.
fn price(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawFluid,
    prices: Option<&PlantPrices>,
) -> Option<Option<UnitPrice>> {
    let Some(written) = &raw.price else {
        return Some(None);
    };
    let currency = prices?.currency(review)?;
    prices::unit_price(review, &at.key("price"), Some(written), currency)
}

fn temperature_coefficient(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawFluid,
) -> Option<Option<MixCoefficient>> {
    let Some(written) = &raw.temperature_coefficient else {
        return Some(None);
    };
    let path = at.key("temperature_coefficient");
    let coefficient = review.good(&path, BrixCoefficient::parse(written.text()))?;
    let checked = MixCoefficient::new(coefficient).map_err(CalibrationProblem::from);
    review.good(&path, checked).map(Some)
}
