//! Level to volume.

use crate::units::Length;
use crate::vessel::{Head, Vessel};

use super::answer::{Answer, Field};
use super::argument::{Argument, word, words};
use super::given::Given;
use super::parameter::Parameter;
use super::{Calculation, Example};

#[derive(Clone, Copy)]
enum Shape {
    Rectangular,
    SlopedFloor,
    HorizontalCylinder,
    ConeBottom,
}

const SHAPES: [(&str, Shape); 4] = [
    ("rectangular", Shape::Rectangular),
    ("sloped-floor", Shape::SlopedFloor),
    ("horizontal-cylinder", Shape::HorizontalCylinder),
    ("cone-bottom", Shape::ConeBottom),
];

const HEAD_SHAPES: [(&str, Head); 3] = [
    ("flat", Head::Flat),
    ("ellipsoidal-2-to-1", Head::Ellipsoidal2To1),
    ("hemispherical", Head::Hemispherical),
];

impl Argument for Shape {
    fn allowed() -> String {
        words(&SHAPES).join(", ")
    }

    fn read(text: &str) -> Result<Self, String> {
        word("shape", &SHAPES, text)
    }
}

impl Argument for Head {
    fn allowed() -> String {
        words(&HEAD_SHAPES).join(", ")
    }

    fn read(text: &str) -> Result<Self, String> {
        word("head", &HEAD_SHAPES, text)
    }
}

const SHAPE: Parameter<Shape> = Parameter::required("shape", "of the tank");
const LEVEL: Parameter<Length> =
    Parameter::required("level", "of the fluid above the lowest inside point");
const LENGTH: Parameter<Length> =
    Parameter::optional("length", "inside; of a lying cylinder its straight part");
const WIDTH: Parameter<Length> = Parameter::optional("width", "inside, of a box");
const HEIGHT: Parameter<Length> = Parameter::optional(
    "height",
    "inside, from the lowest point; not of a lying cylinder",
);
const RISE: Parameter<Length> =
    Parameter::optional("rise", "of a sloped floor from its low to its high end");
const DIAMETER: Parameter<Length> = Parameter::optional("diameter", "inside, of a cylinder");
const HEADS: Parameter<Head> = Parameter::or("heads", "flat", "ends of a lying cylinder");
const CONE_HEIGHT: Parameter<Length> = Parameter::optional("cone-height", "of a cone bottom");
const OUTLET_DIAMETER: Parameter<Length> = Parameter::or(
    "outlet-diameter",
    "0 m",
    "bottom of a cone that ends in no point",
);

static VOLUME: Field = Field {
    key: "volume_l",
    label: "volume",
    unit: "L",
    decimals: 1,
};
static FULL: Field = Field {
    key: "full_volume_l",
    label: "volume when full",
    unit: "L",
    decimals: 1,
};
static SHARE: Field = Field {
    key: "fill_pct",
    label: "filled",
    unit: "%",
    decimals: 1,
};
static SLOPE: Field = Field {
    key: "litres_per_mm",
    label: "a millimetre more is",
    unit: "L",
    decimals: 2,
};

pub(super) static TANK_VOLUME: Calculation = Calculation {
    name: "tank-volume",
    purpose: "volume of fluid in a tank from its level",
    parameters: &[
        &SHAPE,
        &LEVEL,
        &LENGTH,
        &WIDTH,
        &HEIGHT,
        &RISE,
        &DIAMETER,
        &HEADS,
        &CONE_HEIGHT,
        &OUTLET_DIAMETER,
    ],
    results: &[&VOLUME, &FULL, &SHARE, &SLOPE],
    formula: "closed form of the shape: box, wedge, circular segment with spherical caps \
              flattened to the heads' depth, frustum of a cone",
    source: "geometry; worked out here and held against independently computed partial volumes",
    cautions: &[],
    example: Example {
        arguments: &[
            "shape=horizontal-cylinder",
            "diameter=1.2m",
            "length=2m",
            "heads=ellipsoidal-2-to-1",
            "level=300mm",
        ],
        results: &[("volume_l", 512.8989), ("full_volume_l", 2714.3361)],
    },
    work,
};

fn work(given: &mut Given<'_>) -> Option<Answer> {
    let level = given.take(&LEVEL);
    let shape = given.take(&SHAPE)?;
    let vessel = vessel(given, shape)?;
    let level = level?;
    if level < Length::default() || level > vessel.height() {
        given.mistake(format!(
            "level: {level} is not in the tank; give 0 m to its height of {}",
            vessel.height()
        ));
        return None;
    }
    let (volume, full) = (vessel.volume(level), vessel.full_volume());
    Some(
        Answer::default()
            .with(&VOLUME, volume.litres())
            .with(&FULL, full.litres())
            .with(&SHARE, 100.0 * volume.litres() / full.litres())
            .with(&SLOPE, vessel.litres_per_metre(level) / 1000.0),
    )
}

fn vessel(given: &mut Given<'_>, shape: Shape) -> Option<Vessel> {
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
            let heads = given.take(&HEADS);
            let wanted = [&DIAMETER, &LENGTH];
            let [diameter, length] = dimensions(given, "a lying cylinder", wanted)?;
            Vessel::horizontal_cylinder(diameter, length, heads?)
        }
        Shape::ConeBottom => {
            let outlet = given.take(&OUTLET_DIAMETER);
            let wanted = [&DIAMETER, &CONE_HEIGHT, &HEIGHT];
            let [diameter, cone, height] = dimensions(given, "a cone bottom", wanted)?;
            Vessel::cone_bottom(diameter, cone, outlet?, height)
        }
    };
    vessel.map_err(|error| given.mistake(error)).ok()
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
