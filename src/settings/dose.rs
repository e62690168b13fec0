//! How doses are made up at a sump.

use std::sync::Arc;

use crate::engine::{DoseSetup, Measure, VolumeUnit};
use crate::units::{Concentration, Parse, Quantity, Span, Volume};

use super::defaults;
use super::key_path::KeyPath;
use super::measure;
use super::problem::Problem;
use super::raw::RawDose;
use super::review::Review;
use super::written::Written;

/// Units that amounts may be told in, as they are written.
const UNITS: [(&str, VolumeUnit); 3] = [
    ("L", VolumeUnit::Litre),
    ("US gal", VolumeUnit::UsGallon),
    ("gal(US)", VolumeUnit::UsGallon),
];

/// Longest name of a dosing point, in characters.
const LONGEST_POINT: usize = 80;

/// Reads the table `dose` of a sump that is kept at `target` per cent.
pub(super) fn dose(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawDose,
    target: Option<f64>,
) -> Option<DoseSetup> {
    let at = at.key("dose");
    let strongest = strongest_premix(review, &at, raw, target);
    let measure = measure(review, &at, raw);
    let dead_band = points(review, &at, "dead_band", raw.dead_band.as_ref());
    let largest_step = points(review, &at, "largest_step", raw.largest_step.as_ref());
    let longest_wait = longest_wait(review, &at, raw);
    let dosing_point = dosing_point(review, &at, raw);
    let good_readings = raw.good_readings.unwrap_or(defaults::GOOD_READINGS);
    let path = at.key("good_readings");
    let good_readings = review.within(&path, good_readings, (1, 100), |n| n.to_string());
    let turnovers = raw.turnovers.unwrap_or(defaults::TURNOVERS);
    let turnovers = review.within(&at.key("turnovers"), turnovers, (0.5, 100.0), |x| {
        x.to_string()
    });
    let min_mixing = min_mixing(review, &at, raw);
    Some(DoseSetup {
        strongest_premix: strongest?,
        measure: measure?,
        dead_band: dead_band?,
        largest_step: largest_step?,
        longest_wait: longest_wait?,
        dosing_point: dosing_point?,
        good_readings: good_readings?,
        turnovers: turnovers?,
        min_mixing: min_mixing?,
    })
}

/// What people measure with: a can holds at least one step.
fn measure(review: &mut Review, at: &KeyPath, raw: &RawDose) -> Option<Measure> {
    let unit = unit(review, at, raw);
    let (litre, gallon) = defaults::DOSE_STEP;
    let usual = match unit {
        Some(VolumeUnit::UsGallon) => gallon * VolumeUnit::UsGallon.litres(),
        _ => litre,
    };
    let path = at.key("step");
    let usual = Volume::from_litres(usual);
    let step = review.or_default(&path, raw.step.as_ref(), Volume::parse, usual)?;
    let step = review.within(&path, step.litres(), (0.001, 10_000.0), litres)?;
    let vessel = match &raw.vessel {
        None => None,
        Some(written) => {
            let path = at.key("vessel");
            let vessel = review.good(&path, Volume::parse(written.text()))?;
            Some(review.within(&path, vessel.litres(), (step, 10_000.0), litres)?)
        }
    };
    Some(Measure {
        unit: unit?,
        step: Volume::from_litres(step),
        vessel: vessel.map(Volume::from_litres),
    })
}

fn unit(review: &mut Review, at: &KeyPath, raw: &RawDose) -> Option<VolumeUnit> {
    let Some(written) = raw.unit.as_deref() else {
        return Some(VolumeUnit::default());
    };
    let found = UNITS.iter().find(|(name, _)| *name == written.trim());
    if found.is_none() {
        let names = UNITS.iter().map(|(name, _)| *name);
        review.unknown_name(&at.key("unit"), "unit of amounts", written, names);
    }
    found.map(|(_, unit)| *unit)
}

fn dosing_point(review: &mut Review, at: &KeyPath, raw: &RawDose) -> Option<Option<Arc<str>>> {
    let Some(written) = raw.dosing_point.as_deref() else {
        return Some(None);
    };
    let length = written.trim().chars().count();
    review.within(
        &at.key("dosing_point"),
        length,
        (1, LONGEST_POINT),
        |length| format!("a name of {length} characters"),
    )?;
    Some(Some(written.trim().into()))
}

fn longest_wait(review: &mut Review, at: &KeyPath, raw: &RawDose) -> Option<Span> {
    let path = at.key("longest_wait");
    let written = raw.longest_wait.as_ref();
    let span = review.or_default(&path, written, Span::parse, defaults::LONGEST_WAIT)?;
    let range = (Span::ZERO, Span::from_hours(90 * 24));
    review.within(&path, span, range, |span| span.to_string())
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

/// A difference of concentration in points.
fn points(
    review: &mut Review,
    at: &KeyPath,
    key: &str,
    written: Option<&Written>,
) -> Option<Concentration> {
    let path = at.key(key);
    let (usual, range) = match key {
        "largest_step" => (defaults::LARGEST_STEP, (0.1, 100.0)),
        _ => (defaults::DOSE_DEAD_BAND, (0.0, 20.0)),
    };
    let read = |text: &str| measure::difference(Quantity::Concentration, text);
    let points = review.or_default(&path, written, read, usual)?;
    review
        .within(&path, points, range, percent)
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

fn litres(volume: f64) -> String {
    format!("{volume} L")
}
