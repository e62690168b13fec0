//! Level to volume.

use crate::units::{Length, Volume};
use crate::vessel::Vessel;

use super::answer::{Answer, Field};
use super::given::Given;
use super::parameter::Parameter;
use super::tank_shape::{self, SHAPE};
use super::{Calculation, Example};

const LEVEL: Parameter<Length> =
    Parameter::required("level", "of the fluid above the lowest inside point");
const LINES: Parameter<Volume> =
    Parameter::optional("lines", "fluid in pipes and machines while the pumps run");
const DRAIN_BACK: Parameter<Volume> = Parameter::optional(
    "drain-back",
    "the part of it that runs back into the tank when they stop",
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

static RUNNING: Field = Field {
    key: "running_volume_l",
    label: "with lines, if read while the pumps run",
    unit: "L",
    decimals: 1,
};
static STOPPED: Field = Field {
    key: "stopped_volume_l",
    label: "with lines, if read while they stand still",
    unit: "L",
    decimals: 1,
};

pub(super) static TANK_VOLUME: Calculation = Calculation {
    name: "tank-volume",
    purpose: "volume of fluid in a tank from its level",
    parameters: &[
        &SHAPE,
        &LEVEL,
        &tank_shape::LENGTH,
        &tank_shape::WIDTH,
        &tank_shape::HEIGHT,
        &tank_shape::RISE,
        &tank_shape::DIAMETER,
        &tank_shape::HEADS,
        &tank_shape::BOTTOM,
        &tank_shape::CROWN_RATIO,
        &tank_shape::KNUCKLE_RATIO,
        &tank_shape::CONE_HEIGHT,
        &tank_shape::OUTLET_DIAMETER,
        &tank_shape::POINTS,
        &LINES,
        &DRAIN_BACK,
    ],
    results: &[&VOLUME, &FULL, &SHARE, &SLOPE, &RUNNING, &STOPPED],
    formula: "closed form of the shape: box, wedge, circular segment with spherical caps \
              flattened to the heads' depth, frustum of a cone; lying dished heads by integration \
              over their circles; a strapping table by a monotone cubic. With lines: volume + lines, \
              and less the drain-back where the pumps stand still",
    source: "geometry, worked out here and held against independently computed partial volumes; \
             F. N. Fritsch and R. E. Carlson, SIAM J. Numer. Anal. 17 (1980) for tables",
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
    let beyond = out_of_sight(given);
    let shape = given.take(&SHAPE)?;
    let vessel = tank_shape::vessel(given, shape)?;
    let level = level?;
    if level < Length::default() || level > vessel.height() {
        given.mistake(format!(
            "level: {level} is not in the tank; give 0 m to its height of {}",
            vessel.height()
        ));
        return None;
    }
    Some(answer(&vessel, level, beyond))
}

/// Litres of fluid out of sight of a level probe.
#[derive(Clone, Copy)]
struct OutOfSight {
    running: Option<f64>,
    stopped: Option<f64>,
}

fn out_of_sight(given: &mut Given<'_>) -> OutOfSight {
    let drain_back = given.take(&DRAIN_BACK).map(Volume::litres);
    let lines = match drain_back {
        Some(_) => given.take_for("drain-back", &LINES),
        None => given.take(&LINES),
    };
    let running = lines.map(Volume::litres);
    let stopped = running.zip(drain_back).map(|(lines, back)| lines - back);
    if running.is_some_and(|lines| lines < 0.0) {
        given.mistake("lines: there is no less than nothing in them; give 0 L or more");
    }
    if drain_back.is_some_and(|back| back < 0.0) || stopped.is_some_and(|rest| rest < 0.0) {
        given.mistake("drain-back: no more runs back than is in the lines; give 0 L to lines");
    }
    OutOfSight { running, stopped }
}

fn answer(vessel: &Vessel, level: Length, beyond: OutOfSight) -> Answer {
    let (volume, full) = (vessel.volume(level).litres(), vessel.full_volume().litres());
    let mut answer = Answer::default()
        .with(&VOLUME, volume)
        .with(&FULL, full)
        .with(&SHARE, 100.0 * volume / full)
        .with(&SLOPE, vessel.litres_per_metre(level) / 1000.0);
    for (field, beyond) in [(&RUNNING, beyond.running), (&STOPPED, beyond.stopped)] {
        if let Some(beyond) = beyond {
            answer = answer.with(field, volume + beyond);
        }
    }
    answer
}
