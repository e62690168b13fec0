//! How doses are made up at a sump.

use crate::engine::DoseSetup;
use crate::units::{Concentration, Parse, Quantity, Span, Volume};

use super::defaults;
use super::key_path::KeyPath;
use super::measure;
use super::problem::Problem;
use super::raw::RawDose;
use super::review::Review;

/// Reads the table `dose` of a sump that is kept at `target` per cent.
pub(super) fn dose(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawDose,
    target: Option<f64>,
) -> Option<DoseSetup> {
    let at = at.key("dose");
    let strongest = strongest_premix(review, &at, raw, target);
    let step = dose_step(review, &at, raw);
    let dead_band = dose_dead_band(review, &at, raw);
    let turnovers = raw.turnovers.unwrap_or(defaults::TURNOVERS);
    let turnovers = review.within(&at.key("turnovers"), turnovers, (0.5, 100.0), |x| {
        x.to_string()
    });
    let min_mixing = min_mixing(review, &at, raw);
    Some(DoseSetup {
        strongest_premix: strongest?,
        step: step?,
        dead_band: dead_band?,
        turnovers: turnovers?,
        min_mixing: min_mixing?,
    })
}

fn strongest_premix(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawDose,
    target: Option<f64>,
) -> Option<Concentration> {
    let path = at.key("strongest_premix");
    let usual = Concentration::from_percent(defaults::STRONGEST_PREMIX);
    let written = raw.strongest_premix.as_ref();
    let strongest = review.or_default(&path, written, Concentration::parse, usual)?;
    let share = strongest.percent();
    if !(target? < share && share <= 100.0) {
        let found = percent(share);
        let allowed = format!("more than the target of {}, up to 100 %", percent(target?));
        review.tell(&path, Problem::OutOfRange { found, allowed });
        return None;
    }
    Some(strongest)
}

fn dose_step(review: &mut Review, at: &KeyPath, raw: &RawDose) -> Option<Volume> {
    let path = at.key("step");
    let usual = Volume::from_litres(defaults::DOSE_STEP);
    let step = review.or_default(&path, raw.step.as_ref(), Volume::parse, usual)?;
    review.within(&path, step.litres(), (0.001, 10_000.0), |step| {
        format!("{step} L")
    })?;
    Some(step)
}

fn dose_dead_band(review: &mut Review, at: &KeyPath, raw: &RawDose) -> Option<Concentration> {
    let path = at.key("dead_band");
    let usual = defaults::DOSE_DEAD_BAND;
    let read = |text: &str| measure::difference(Quantity::Concentration, text);
    let band = review.or_default(&path, raw.dead_band.as_ref(), read, usual)?;
    review
        .within(&path, band, (0.0, 20.0), percent)
        .map(Concentration::from_percent)
}

fn min_mixing(review: &mut Review, at: &KeyPath, raw: &RawDose) -> Option<Span> {
    let path = at.key("min_mixing");
    let written = raw.min_mixing.as_ref();
    let span = review.or_default(&path, written, Span::parse, defaults::MIN_MIXING)?;
    let range = (Span::ZERO, Span::from_hours(7 * 24));
    review.within(&path, span, range, |span| span.to_string())
}

fn percent(value: f64) -> String {
    format!("{value} %")
}
