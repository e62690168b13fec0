//! A pH electrode from its readings in buffers, and whether it is still good.

use crate::chemistry::{
    BufferError, BufferTable, CalibrationPoint, ElectrodeBands, Judgement, PhCalibration,
    StandardBuffer, nernst_slope,
};
use crate::units::{Ph, Potential, Temperature};

use super::answer::{Answer, Field};
use super::argument::Argument;
use super::given::Given;
use super::parameter::Parameter;
use super::ph::{PH, TABLE};
use super::{Calculation, Example};

/// A buffer, by its salt or by the pH that its bottle states.
enum Buffer {
    Standard(StandardBuffer),
    Stated(Ph),
}

/// Buffers with what the electrode read in each.
struct Readings(Vec<(Buffer, Potential)>);

impl Argument for Readings {
    fn allowed() -> String {
        "pairs of buffer:mV, as \"phosphate:-2 mV, borax:-136.5 mV\"; a buffer is one of phthalate, \
         phosphate, borax, carbonate, or the pH on its bottle, as 7.02 pH"
            .to_owned()
    }

    fn read(text: &str) -> Result<Self, String> {
        text.split(',')
            .map(reading)
            .collect::<Result<_, _>>()
            .map(Readings)
    }
}

fn reading(text: &str) -> Result<(Buffer, Potential), String> {
    let (buffer, potential) = text.split_once(':').ok_or_else(|| {
        format!("\"{text}\" is not a reading in a buffer; write both as borax:-136.5 mV")
    })?;
    let starts_as_number = buffer.trim().starts_with(|c: char| c.is_ascii_digit());
    let buffer = if starts_as_number {
        Buffer::Stated(Ph::read(buffer)?)
    } else {
        Buffer::Standard(StandardBuffer::read(buffer)?)
    };
    Ok((buffer, Potential::read(potential)?))
}

impl Buffer {
    fn ph(&self, table: BufferTable, temperature: Temperature) -> Result<Ph, BufferError> {
        match self {
            Buffer::Standard(buffer) => table.ph(*buffer, temperature),
            Buffer::Stated(ph) => Ok(*ph),
        }
    }
}

const READINGS: Parameter<Readings> =
    Parameter::required("readings", "of the electrode in 2 or 3 buffers");
const TEMPERATURE: Parameter<Temperature> = Parameter::required("temperature", "of the buffers");
const READING: Parameter<Potential> = Parameter::optional(
    "reading",
    "in the fluid at the same temperature, to be turned into pH",
);

static OFFSET: Field = Field {
    key: "offset_mv",
    label: "offset at pH 7",
    unit: "mV",
    decimals: 1,
};
static SLOPE: Field = Field {
    key: "slope_pct",
    label: "slope of Nernst's",
    unit: "%",
    decimals: 1,
};
static SLOPE_MV: Field = Field {
    key: "slope_mv_per_ph",
    label: "slope",
    unit: "mV per pH",
    decimals: 2,
};
static BEND: Field = Field {
    key: "bend_ph",
    label: "middle buffer off the line",
    unit: "pH",
    decimals: 3,
};
static JUDGEMENT: Field = Field {
    key: "judgement",
    label: "the electrode is",
    unit: "",
    decimals: 0,
};
static BRACKETED: Field = Field {
    key: "bracketed",
    label: "reading lies between buffers",
    unit: "",
    decimals: 0,
};

pub(super) static PH_CALIBRATION: Calculation = Calculation {
    name: "ph-calibration",
    purpose: "slope and offset of a pH electrode from its readings in buffers, judged",
    parameters: &[&READINGS, &TEMPERATURE, &TABLE, &READING],
    results: &[
        &OFFSET, &SLOPE, &SLOPE_MV, &BEND, &JUDGEMENT, &PH, &BRACKETED,
    ],
    formula: "line of least squares E = E₇ − s·N·(pH − 7); good from 95 to 105 % and up to 30 mV, \
              replace below 85 % or beyond 45 mV, watch between; a middle buffer more than 0.1 pH off \
              the line of the outer two is to be watched",
    source: "Nernst's equation with R and F of CODATA 2018; buffers of the NIST / DIN 19266 / IUPAC \
             2002 type, as carried by two public source files, or of HJ 1147-2020; 0.1 pH: a state's \
             training text for operators; other bands: common practice, no source",
    cautions: &[
        "watch: clean the electrode and calibrate again in fresh buffers; replace: if that does not help",
        "a pH at the edge of the buffers or beyond them is extrapolated; take buffers on both sides",
    ],
    // The first case of tests/reference/ph_calibration_cases.csv.
    example: Example {
        arguments: &[
            "readings=phosphate:-2 mV, borax:-136.5 mV",
            "temperature=25°C",
            "reading=-88mV",
        ],
        results: &[
            ("offset_mv", -9.8434),
            ("slope_pct", 98.2082),
            ("slope_mv_per_ph", 58.0994),
            ("ph", 8.3452),
        ],
    },
    work,
};

fn work(given: &mut Given<'_>) -> Option<Answer> {
    let (readings, temperature) = (given.take(&READINGS), given.take(&TEMPERATURE));
    let (table, reading) = (given.take(&TABLE), given.take(&READING));
    let temperature = temperature?;
    let points = points(given, &readings?, table?, temperature)?;
    let calibration = PhCalibration::new(&points, temperature)
        .map_err(|error| given.mistake(error))
        .ok()?;
    let electrode = calibration.electrode();
    let share = electrode.slope_share();
    let remarks = calibration.judge(&ElectrodeBands::default());
    let worst = remarks.iter().map(|remark| remark.judgement()).max();
    let ph = reading.and_then(|reading| electrode.ph(reading, temperature).ok());
    let answer = Answer::default()
        .with(&OFFSET, electrode.offset().millivolts())
        .with(&SLOPE, share * 100.0)
        .with(
            &SLOPE_MV,
            nernst_slope(temperature).ok().map(|nernst| share * nernst),
        )
        .with(&BEND, calibration.bend())
        .with(&JUDGEMENT, worst.unwrap_or(Judgement::Good).name());
    Some(match ph {
        Some(ph) => answer
            .with(&PH, ph.units())
            .with(&BRACKETED, calibration.brackets(ph)),
        None => answer,
    })
}

fn points(
    given: &mut Given<'_>,
    readings: &Readings,
    table: BufferTable,
    temperature: Temperature,
) -> Option<Vec<CalibrationPoint>> {
    let points = readings.0.iter().map(|(buffer, potential)| {
        Ok(CalibrationPoint {
            ph: buffer.ph(table, temperature)?,
            potential: *potential,
        })
    });
    let points: Result<_, BufferError> = points.collect();
    points.map_err(|error| given.mistake(error)).ok()
}
