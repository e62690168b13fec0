//! A tank from the arguments of a calculation.

use crate::units::{Length, Volume};
use crate::vessel::{Dish, Head, StrappingTable, Vessel};

use super::argument::{Argument, word, words};
use super::given::Given;
use super::parameter::Parameter;

/// A shape that there is a word for.
#[derive(Clone, Copy)]
pub(super) enum Shape {
    Rectangular,
    SlopedFloor,
    HorizontalCylinder,
    VerticalCylinder,
    ConeBottom,
    StrappingTable,
}

const SHAPES: [(&str, Shape); 6] = [
    ("rectangular", Shape::Rectangular),
    ("sloped-floor", Shape::SlopedFloor),
    ("horizontal-cylinder", Shape::HorizontalCylinder),
    ("vertical-cylinder", Shape::VerticalCylinder),
    ("cone-bottom", Shape::ConeBottom),
    ("strapping-table", Shape::StrappingTable),
];

/// What a word for the end of a cylinder means.
#[derive(Clone, Copy)]
pub(super) enum End {
    Of(Head),
    Dished,
}

const ENDS: [(&str, End); 4] = [
    ("flat", End::Of(Head::Flat)),
    ("ellipsoidal-2-to-1", End::Of(Head::Ellipsoidal2To1)),
    ("hemispherical", End::Of(Head::Hemispherical)),
    ("dished", End::Dished),
];

/// Levels and volumes of a strapping table.
pub(super) struct Strapped(Vec<(Length, Volume)>);

impl Argument for Shape {
    fn allowed() -> String {
        words(&SHAPES).join(", ")
    }

    fn read(text: &str) -> Result<Self, String> {
        word("shape", &SHAPES, text)
    }
}

impl Argument for End {
    fn allowed() -> String {
        words(&ENDS).join(", ")
    }

    fn read(text: &str) -> Result<Self, String> {
        word("head", &ENDS, text)
    }
}

impl Argument for Strapped {
    fn allowed() -> String {
        "pairs of level:volume, as \"0 m:0 L, 0.1 m:85 L\"".to_owned()
    }

    fn read(text: &str) -> Result<Self, String> {
        let points = text.split(',').map(point);
        points.collect::<Result<_, _>>().map(Strapped)
    }
}

fn point(text: &str) -> Result<(Length, Volume), String> {
    let (level, volume) = text.split_once(':').ok_or_else(|| {
        format!("\"{text}\" is not a point of a table; write level and volume as 0.1 m:85 L")
    })?;
    Ok((Length::read(level)?, Volume::read(volume)?))
}

pub(super) const SHAPE: Parameter<Shape> = Parameter::required("shape", "of the tank");
pub(super) const LENGTH: Parameter<Length> =
    Parameter::optional("length", "inside; of a lying cylinder its straight part");
pub(super) const WIDTH: Parameter<Length> = Parameter::optional("width", "inside, of a box");
pub(super) const HEIGHT: Parameter<Length> = Parameter::optional(
    "height",
    "inside, from the lowest point; not of a lying cylinder or a table",
);
pub(super) const RISE: Parameter<Length> =
    Parameter::optional("rise", "of a sloped floor from its low to its high end");
pub(super) const DIAMETER: Parameter<Length> =
    Parameter::optional("diameter", "inside, of a cylinder");
pub(super) const HEADS: Parameter<End> = Parameter::or("heads", "flat", "ends of a lying cylinder");
pub(super) const BOTTOM: Parameter<End> = Parameter::or("bottom", "flat", "of a standing cylinder");
pub(super) const CROWN_RATIO: Parameter<f64> = Parameter::or(
    "crown-ratio",
    "1",
    "of a dished end: its crown's radius as a share of the diameter",
);
pub(super) const KNUCKLE_RATIO: Parameter<f64> = Parameter::or(
    "knuckle-ratio",
    "0.1",
    "of a dished end: its knuckle's radius, likewise",
);
pub(super) const CONE_HEIGHT: Parameter<Length> =
    Parameter::optional("cone-height", "of a cone bottom");
pub(super) const OUTLET_DIAMETER: Parameter<Length> = Parameter::or(
    "outlet-diameter",
    "0 m",
    "bottom of a cone that ends in no point",
);
pub(super) const POINTS: Parameter<Strapped> =
    Parameter::optional("points", "of a strapping table, from 0 m on");

/// The tank of this shape, from the arguments that it needs.
pub(super) fn vessel(given: &mut Given<'_>, shape: Shape) -> Option<Vessel> {
    let vessel = match shape {
        Shape::Rectangular => {
            let [length, width, height] = dimensions(given, "a box", [&LENGTH, &WIDTH, &HEIGHT])?;
            Vessel::rectangular(length, width, height)
        }
        Shape::SlopedFloor => {
            let wanted = [&LENGTH, &WIDTH, &RISE, &HEIGHT];
            let [length, width, rise, height] = dimensions(given, "a sloped floor", wanted)?;
            Vessel::sloped_floor(length, width, rise, height)
        }
        Shape::HorizontalCylinder => {
            let heads = head(given, &HEADS);
            let wanted = [&DIAMETER, &LENGTH];
            let [diameter, length] = dimensions(given, "a lying cylinder", wanted)?;
            Vessel::horizontal_cylinder(diameter, length, heads?)
        }
        Shape::VerticalCylinder => {
            let bottom = head(given, &BOTTOM);
            let wanted = [&DIAMETER, &HEIGHT];
            let [diameter, height] = dimensions(given, "a standing cylinder", wanted)?;
            Vessel::vertical_cylinder(diameter, bottom?, height)
        }
        Shape::ConeBottom => {
            let outlet = given.take(&OUTLET_DIAMETER);
            let wanted = [&DIAMETER, &CONE_HEIGHT, &HEIGHT];
            let [diameter, cone, height] = dimensions(given, "a cone bottom", wanted)?;
            Vessel::cone_bottom(diameter, cone, outlet?, height)
        }
        Shape::StrappingTable => {
            let Strapped(points) = given.take_for("a strapping table", &POINTS)?;
            let table = StrappingTable::new(&points).map_err(|error| given.mistake(error));
            Ok(Vessel::Strapped(table.ok()?))
        }
    };
    vessel.map_err(|error| given.mistake(error)).ok()
}

fn head(given: &mut Given<'_>, parameter: &Parameter<End>) -> Option<Head> {
    match given.take(parameter)? {
        End::Of(head) => Some(head),
        End::Dished => {
            let (crown, knuckle) = (given.take(&CROWN_RATIO), given.take(&KNUCKLE_RATIO));
            let dish = Dish::new(crown?, knuckle?).map_err(|error| given.mistake(error));
            dish.ok().map(Head::Dished)
        }
    }
}

/// The dimensions that a shape needs, all of them asked for before the first
/// missing one ends it.
fn dimensions<const N: usize>(
    given: &mut Given<'_>,
    shape: &str,
    wanted: [&Parameter<Length>; N],
) -> Option<[Length; N]> {
    let taken = wanted.map(|parameter| given.take_for(shape, parameter));
    let mut lengths = [Length::default(); N];
    for (length, taken) in lengths.iter_mut().zip(taken) {
        *length = taken?;
    }
    Some(lengths)
}
