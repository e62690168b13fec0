//! The data sheets of the fluids in use.

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::chemistry::MixCoefficient;
use crate::engine::FluidSetup;
use crate::units::{BrixCoefficient, Parse};

use super::build_chart;
use super::defaults;
use super::key_path::KeyPath;
use super::measure;
use super::problem::CalibrationProblem;
use super::raw::{Named, RawFluid};
use super::review::Review;

/// Every fluid by name; nothing in place of one whose sheet is wrong.
pub(super) type Fluids = BTreeMap<String, Option<Arc<FluidSetup>>>;

/// Reads every data sheet.
pub(super) fn fluids(review: &mut Review, sheets: Named) -> Fluids {
    let at = KeyPath::root().key("fluid");
    let mut fluids = Fluids::new();
    for (name, part) in sheets.unwrap_or_default() {
        let at = at.key(&name);
        review.name(&at, &name);
        let raw: RawFluid = review.take(&at, part);
        let fluid = fluid(review, &at, &name, &raw);
        fluids.insert(name, fluid.map(Arc::new));
    }
    fluids
}

fn fluid(review: &mut Review, at: &KeyPath, name: &str, raw: &RawFluid) -> Option<FluidSetup> {
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
    Some(FluidSetup {
        name: name.into(),
        title: raw.title.clone().unwrap_or_else(|| name.to_owned()),
        chart: chart?,
        chart_uncertainty: uncertainty?,
        temperature_coefficient: coefficient?,
        mixing_note: raw.mixing_note.clone(),
    })
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
