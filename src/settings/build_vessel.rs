//! From a sump's settings to its tank: the one place that knows how tanks are
//! made.

use crate::units::{Length, Parse, Volume};
use crate::vessel::{Head, Vessel, VesselError};

use super::key_path::KeyPath;
use super::problem::Problem;
use super::raw::RawVessel;
use super::review::Review;
use super::written::Written;

/// A tank, and what else its dimensions tell.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct BuiltVessel {
    /// The tank.
    pub(super) vessel: Vessel,
    /// Its inside height.
    pub(super) height: Length,
}

impl BuiltVessel {
    /// What it holds when full to the brim.
    pub(super) fn capacity(&self) -> Volume {
        self.vessel.volume(self.height)
    }
}

#[derive(Debug, Clone, Copy)]
enum Shape {
    Rectangular,
    HorizontalCylinder,
}

const SHAPES: [(&str, Shape); 2] = [
    ("rectangular", Shape::Rectangular),
    ("horizontal_cylinder", Shape::HorizontalCylinder),
];
const HEADS: [(&str, Head); 3] = [
    ("flat", Head::Flat),
    ("ellipsoidal_2to1", Head::Ellipsoidal2To1),
    ("hemispherical", Head::Hemispherical),
];

/// The tank that the settings describe.
pub(super) fn vessel(review: &mut Review, at: &KeyPath, raw: &RawVessel) -> Option<BuiltVessel> {
    let path = at.key("shape");
    let shape = review.required(&path, raw.shape.as_deref(), "shape = \"rectangular\"")?;
    match review.one_of(&path, shape, &SHAPES)? {
        Shape::Rectangular => rectangular(review, at, raw),
        Shape::HorizontalCylinder => horizontal_cylinder(review, at, raw),
    }
}

fn rectangular(review: &mut Review, at: &KeyPath, raw: &RawVessel) -> Option<BuiltVessel> {
    let cylinder = "shape = \"horizontal_cylinder\"";
    superfluous(review, at, "diameter", raw.diameter.is_some(), cylinder);
    superfluous(review, at, "heads", raw.heads.is_some(), cylinder);
    let length = dimension(review, at, "length", raw.length.as_ref());
    let width = dimension(review, at, "width", raw.width.as_ref());
    let height = dimension(review, at, "height", raw.height.as_ref());
    let (length, width, height) = (length?, width?, height?);
    built(
        review,
        at,
        Vessel::rectangular(length, width, height),
        height,
    )
}

fn horizontal_cylinder(review: &mut Review, at: &KeyPath, raw: &RawVessel) -> Option<BuiltVessel> {
    let rectangle = "shape = \"rectangular\"";
    superfluous(review, at, "width", raw.width.is_some(), rectangle);
    superfluous(review, at, "height", raw.height.is_some(), rectangle);
    let diameter = dimension(review, at, "diameter", raw.diameter.as_ref());
    let length = dimension(review, at, "length", raw.length.as_ref());
    let heads = match raw.heads.as_deref() {
        None => Some(Head::Flat),
        Some(heads) => review.one_of(&at.key("heads"), heads, &HEADS),
    };
    let (diameter, length, heads) = (diameter?, length?, heads?);
    let vessel = Vessel::horizontal_cylinder(diameter, length, heads);
    built(review, at, vessel, diameter)
}

fn built(
    review: &mut Review,
    at: &KeyPath,
    vessel: Result<Vessel, VesselError>,
    height: Length,
) -> Option<BuiltVessel> {
    let vessel = review.good(at, vessel)?;
    Some(BuiltVessel { vessel, height })
}

fn dimension(
    review: &mut Review,
    at: &KeyPath,
    key: &str,
    written: Option<&Written>,
) -> Option<Length> {
    let path = at.key(key);
    let length = review.needed(&path, written, Length::parse, "\"1.2 m\"")?;
    let range = (Length::from_metres(0.01), Length::from_metres(50.0));
    review.within(&path, length, range, |length| format!("{length:.2}"))
}

fn superfluous(review: &mut Review, at: &KeyPath, key: &str, given: bool, other: &'static str) {
    if given {
        review.tell(&at.key(key), Problem::OnlyFor(other));
    }
}
