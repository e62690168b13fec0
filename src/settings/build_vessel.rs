//! From a sump's settings to its tank: the one place that knows how tanks are
//! made.

use crate::units::{Length, Parse, Volume};
use crate::vessel::{Dish, Head, StrappingTable, Vessel};

use super::key_path::KeyPath;
use super::problem::Problem;
use super::raw::RawVessel;
use super::review::Review;
use super::written::Written;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Shape {
    Rectangular,
    SlopedFloor,
    HorizontalCylinder,
    VerticalCylinder,
    ConeBottom,
    StrappingTable,
}

const SHAPES: [(&str, Shape); 6] = [
    ("rectangular", Shape::Rectangular),
    ("sloped_floor", Shape::SlopedFloor),
    ("horizontal_cylinder", Shape::HorizontalCylinder),
    ("vertical_cylinder", Shape::VerticalCylinder),
    ("cone_bottom", Shape::ConeBottom),
    ("strapping_table", Shape::StrappingTable),
];

/// What a word for the end of a cylinder means.
#[derive(Debug, Clone, Copy)]
enum End {
    /// This one.
    Of(Head),
    /// Dished, with proportions of its own.
    Dished,
}

const ENDS: [(&str, End); 4] = [
    ("flat", End::Of(Head::Flat)),
    ("ellipsoidal_2to1", End::Of(Head::Ellipsoidal2To1)),
    ("hemispherical", End::Of(Head::Hemispherical)),
    ("dished", End::Dished),
];

/// The tank that the settings describe.
pub(super) fn vessel(review: &mut Review, at: &KeyPath, raw: &RawVessel) -> Option<Vessel> {
    let path = at.key("shape");
    let shape = review.required(&path, raw.shape.as_deref(), "shape = \"rectangular\"")?;
    let shape = review.one_of(&path, shape, &SHAPES)?;
    superfluous(review, at, raw, shape);
    match shape {
        Shape::Rectangular => rectangular(review, at, raw),
        Shape::SlopedFloor => sloped_floor(review, at, raw),
        Shape::HorizontalCylinder => horizontal_cylinder(review, at, raw),
        Shape::VerticalCylinder => vertical_cylinder(review, at, raw),
        Shape::ConeBottom => cone_bottom(review, at, raw),
        Shape::StrappingTable => strapping_table(review, at, raw),
    }
}

fn rectangular(review: &mut Review, at: &KeyPath, raw: &RawVessel) -> Option<Vessel> {
    let length = dimension(review, at, "length", raw.length.as_ref());
    let width = dimension(review, at, "width", raw.width.as_ref());
    let height = dimension(review, at, "height", raw.height.as_ref());
    review.good(at, Vessel::rectangular(length?, width?, height?))
}

fn sloped_floor(review: &mut Review, at: &KeyPath, raw: &RawVessel) -> Option<Vessel> {
    let length = dimension(review, at, "length", raw.length.as_ref());
    let width = dimension(review, at, "width", raw.width.as_ref());
    let rise = dimension(review, at, "rise", raw.rise.as_ref());
    let height = dimension(review, at, "height", raw.height.as_ref());
    review.good(at, Vessel::sloped_floor(length?, width?, rise?, height?))
}

fn horizontal_cylinder(review: &mut Review, at: &KeyPath, raw: &RawVessel) -> Option<Vessel> {
    let diameter = dimension(review, at, "diameter", raw.diameter.as_ref());
    let length = dimension(review, at, "length", raw.length.as_ref());
    let heads = head(review, at, ("heads", raw.heads.as_deref()), raw);
    let (diameter, length, heads) = (diameter?, length?, heads?);
    review.good(at, Vessel::horizontal_cylinder(diameter, length, heads))
}

fn vertical_cylinder(review: &mut Review, at: &KeyPath, raw: &RawVessel) -> Option<Vessel> {
    let diameter = dimension(review, at, "diameter", raw.diameter.as_ref());
    let height = dimension(review, at, "height", raw.height.as_ref());
    let bottom = head(review, at, ("bottom", raw.bottom.as_deref()), raw);
    let (diameter, height, bottom) = (diameter?, height?, bottom?);
    review.good(at, Vessel::vertical_cylinder(diameter, bottom, height))
}

fn cone_bottom(review: &mut Review, at: &KeyPath, raw: &RawVessel) -> Option<Vessel> {
    let diameter = dimension(review, at, "diameter", raw.diameter.as_ref());
    let cone = dimension(review, at, "cone_height", raw.cone_height.as_ref());
    let outlet = match &raw.outlet_diameter {
        None => Some(Length::default()),
        written => dimension(review, at, "outlet_diameter", written.as_ref()),
    };
    let height = dimension(review, at, "height", raw.height.as_ref());
    let (diameter, cone, outlet, height) = (diameter?, cone?, outlet?, height?);
    review.good(at, Vessel::cone_bottom(diameter, cone, outlet, height))
}

fn strapping_table(review: &mut Review, at: &KeyPath, raw: &RawVessel) -> Option<Vessel> {
    let path = at.key("points");
    let example = "points = [[\"0 m\", \"0 L\"], [\"0.1 m\", \"85 L\"], …]";
    let rows = review.required(&path, raw.points.as_ref(), example)?;
    let points = rows.iter().enumerate();
    let points = points.map(|(place, row)| point(review, &path.item(place), row));
    let points: Vec<_> = points.collect();
    let points: Vec<_> = points.into_iter().collect::<Option<_>>()?;
    let table = StrappingTable::new(&points).map_err(|error| {
        let row = error.row().map(|row| path.item(row - 1));
        review.tell(&row.unwrap_or_else(|| path.clone()), error);
    });
    table.ok().map(Vessel::Strapped)
}

fn point(review: &mut Review, path: &KeyPath, row: &[Written]) -> Option<(Length, Volume)> {
    let [level, volume] = row else {
        let wanted = "a level and a volume, as [\"0.1 m\", \"85 L\"]";
        let found = row.len();
        review.tell(path, Problem::Length { wanted, found });
        return None;
    };
    let level = review.good(&path.item(0), Length::parse(level.text()));
    let volume = review.good(&path.item(1), Volume::parse(volume.text()));
    Some((level?, volume?))
}

/// The end of a cylinder that stands under `key`, flat without a word.
fn head(
    review: &mut Review,
    at: &KeyPath,
    (key, word): (&str, Option<&str>),
    raw: &RawVessel,
) -> Option<Head> {
    let end = match word {
        None => Some(End::Of(Head::Flat)),
        Some(word) => review.one_of(&at.key(key), word, &ENDS),
    };
    if let Some(End::Of(_)) = end {
        let dished = "heads = \"dished\" or bottom = \"dished\"";
        only_for(review, at, "crown_ratio", raw.crown_ratio.is_some(), dished);
        let knuckle = raw.knuckle_ratio.is_some();
        only_for(review, at, "knuckle_ratio", knuckle, dished);
    }
    match end? {
        End::Of(head) => Some(head),
        End::Dished => {
            let crown = raw.crown_ratio.unwrap_or(Dish::USUAL_CROWN);
            let knuckle = raw.knuckle_ratio.unwrap_or(Dish::USUAL_KNUCKLE);
            review.good(at, Dish::new(crown, knuckle)).map(Head::Dished)
        }
    }
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

/// A key that only some shapes have.
struct Key {
    name: &'static str,
    is_given: fn(&RawVessel) -> bool,
    shapes: &'static [Shape],
    /// The shapes in the words of the settings.
    words: &'static str,
}

const CYLINDERS: &[Shape] = &[Shape::HorizontalCylinder, Shape::VerticalCylinder];
const CYLINDERS_IN_WORDS: &str = "shape = \"horizontal_cylinder\" and \"vertical_cylinder\"";

const KEYS: [Key; 12] = [
    Key {
        name: "length",
        is_given: |raw| raw.length.is_some(),
        shapes: &[
            Shape::Rectangular,
            Shape::SlopedFloor,
            Shape::HorizontalCylinder,
        ],
        words: "shape = \"rectangular\", \"sloped_floor\" and \"horizontal_cylinder\"",
    },
    Key {
        name: "width",
        is_given: |raw| raw.width.is_some(),
        shapes: &[Shape::Rectangular, Shape::SlopedFloor],
        words: "shape = \"rectangular\" and \"sloped_floor\"",
    },
    Key {
        name: "height",
        is_given: |raw| raw.height.is_some(),
        shapes: &[
            Shape::Rectangular,
            Shape::SlopedFloor,
            Shape::VerticalCylinder,
            Shape::ConeBottom,
        ],
        words: "shape = \"rectangular\", \"sloped_floor\", \"vertical_cylinder\" and \
                \"cone_bottom\"",
    },
    Key {
        name: "rise",
        is_given: |raw| raw.rise.is_some(),
        shapes: &[Shape::SlopedFloor],
        words: "shape = \"sloped_floor\"",
    },
    Key {
        name: "diameter",
        is_given: |raw| raw.diameter.is_some(),
        shapes: &[
            Shape::HorizontalCylinder,
            Shape::VerticalCylinder,
            Shape::ConeBottom,
        ],
        words: "shape = \"horizontal_cylinder\", \"vertical_cylinder\" and \"cone_bottom\"",
    },
    Key {
        name: "heads",
        is_given: |raw| raw.heads.is_some(),
        shapes: &[Shape::HorizontalCylinder],
        words: "shape = \"horizontal_cylinder\"",
    },
    Key {
        name: "bottom",
        is_given: |raw| raw.bottom.is_some(),
        shapes: &[Shape::VerticalCylinder],
        words: "shape = \"vertical_cylinder\"",
    },
    Key {
        name: "crown_ratio",
        is_given: |raw| raw.crown_ratio.is_some(),
        shapes: CYLINDERS,
        words: CYLINDERS_IN_WORDS,
    },
    Key {
        name: "knuckle_ratio",
        is_given: |raw| raw.knuckle_ratio.is_some(),
        shapes: CYLINDERS,
        words: CYLINDERS_IN_WORDS,
    },
    Key {
        name: "cone_height",
        is_given: |raw| raw.cone_height.is_some(),
        shapes: &[Shape::ConeBottom],
        words: "shape = \"cone_bottom\"",
    },
    Key {
        name: "outlet_diameter",
        is_given: |raw| raw.outlet_diameter.is_some(),
        shapes: &[Shape::ConeBottom],
        words: "shape = \"cone_bottom\"",
    },
    Key {
        name: "points",
        is_given: |raw| raw.points.is_some(),
        shapes: &[Shape::StrappingTable],
        words: "shape = \"strapping_table\"",
    },
];

/// Tells every key that says nothing of a tank of this shape.
fn superfluous(review: &mut Review, at: &KeyPath, raw: &RawVessel, shape: Shape) {
    for key in &KEYS {
        let superfluous = (key.is_given)(raw) && !key.shapes.contains(&shape);
        only_for(review, at, key.name, superfluous, key.words);
    }
}

fn only_for(review: &mut Review, at: &KeyPath, key: &str, given: bool, words: &'static str) {
    if given {
        review.tell(&at.key(key), Problem::OnlyFor(words));
    }
}
