//! pH from an electrode, and the buffers it is calibrated in.

use crate::chemistry::{BufferTable, Electrode, StandardBuffer, nernst_slope};
use crate::units::{Potential, Temperature};

use super::answer::{Answer, Field};
use super::argument::{Argument, word, words};
use super::given::Given;
use super::parameter::Parameter;
use super::{Calculation, Example};

const BUFFERS: [(&str, StandardBuffer); 4] = [
    ("phthalate", StandardBuffer::Phthalate),
    ("phosphate", StandardBuffer::Phosphate),
    ("borax", StandardBuffer::Borax),
    ("carbonate", StandardBuffer::Carbonate),
];

const TABLES: [(&str, BufferTable); 2] =
    [("nist", BufferTable::Nist), ("hj1147", BufferTable::Hj1147)];

impl Argument for StandardBuffer {
    fn allowed() -> String {
        words(&BUFFERS).join(", ")
    }

    fn read(text: &str) -> Result<Self, String> {
        word("buffer", &BUFFERS, text)
    }
}

impl Argument for BufferTable {
    fn allowed() -> String {
        words(&TABLES).join(", ")
    }

    fn read(text: &str) -> Result<Self, String> {
        word("table of buffers", &TABLES, text)
    }
}

pub(super) const TABLE: Parameter<BufferTable> =
    Parameter::or("table", "nist", "whose values the buffers have");
pub(super) const BUFFER_SOURCE: &str = "buffers: values of the NIST / DIN 19266 / IUPAC 2002 type \
     (0 to 60 °C), as carried by two public source files, or HJ 1147-2020 (0 to 50 °C)";

const BUFFER: Parameter<StandardBuffer> = Parameter::required("buffer", "by its salt");
const BUFFER_TEMPERATURE: Parameter<Temperature> =
    Parameter::required("temperature", "of the buffer");
const READING: Parameter<Potential> = Parameter::required("reading", "of the electrode");
const TEMPERATURE: Parameter<Temperature> = Parameter::required("temperature", "of the fluid");
const OFFSET: Parameter<Potential> =
    Parameter::or("offset", "0 mV", "of the electrode: its potential at pH 7");
const SLOPE: Parameter<f64> =
    Parameter::or("slope", "100", "of the electrode, in % of Nernst's slope");

pub(super) static PH: Field = Field {
    key: "ph",
    label: "pH",
    unit: "",
    decimals: 3,
};
static NERNST: Field = Field {
    key: "nernst_mv_per_ph",
    label: "Nernst's slope there",
    unit: "mV per pH",
    decimals: 2,
};

pub(super) static BUFFER_PH: Calculation = Calculation {
    name: "buffer-ph",
    purpose: "pH of a standard buffer at a temperature",
    parameters: &[&BUFFER, &BUFFER_TEMPERATURE, &TABLE],
    results: &[&PH],
    formula: "straight lines between the rows of the table",
    source: BUFFER_SOURCE,
    cautions: &["a buffer of another recipe, as pH 7.00 or 10.01, has the table on its bottle"],
    example: Example {
        arguments: &["buffer=borax", "temperature=20°C"],
        results: &[("ph", 9.225)],
    },
    work: |given| {
        let (buffer, table) = (given.take(&BUFFER), given.take(&TABLE));
        let temperature = given.take(&BUFFER_TEMPERATURE);
        let ph = table?
            .ph(buffer?, temperature?)
            .map_err(|error| given.mistake(error))
            .ok()?;
        Some(Answer::default().with(&PH, ph.units()))
    },
};

pub(super) static PH_FROM_MV: Calculation = Calculation {
    name: "ph-from-mv",
    purpose: "pH from the potential of a calibrated electrode",
    parameters: &[&READING, &TEMPERATURE, &OFFSET, &SLOPE],
    results: &[&PH, &NERNST],
    formula: "pH = 7 + (E₇ − E)/(s·N), N = ln(10)·R·T/F",
    source: "Nernst's equation with R and F of CODATA 2018; isopotential point at pH 7: common \
             practice, no source",
    cautions: &[
        "this is the pH at the fluid's own temperature; no instrument refers a fluid's pH to 25 °C",
    ],
    // The first case of tests/reference/ph_calibration_cases.csv.
    example: Example {
        arguments: &[
            "reading=-88mV",
            "temperature=25°C",
            "offset=-9.843mV",
            "slope=98.2082",
        ],
        results: &[("ph", 8.3452), ("nernst_mv_per_ph", 59.1593)],
    },
    work: ph_from_mv,
};

fn ph_from_mv(given: &mut Given<'_>) -> Option<Answer> {
    let (reading, temperature) = (given.take(&READING), given.take(&TEMPERATURE));
    let (offset, slope) = (given.take(&OFFSET), given.take(&SLOPE));
    let electrode = Electrode::new(offset?, slope? / 100.0)
        .map_err(|error| given.mistake(error))
        .ok()?;
    let (reading, temperature) = (reading?, temperature?);
    let found = electrode.ph(reading, temperature);
    let ph = found.map_err(|error| given.mistake(error)).ok()?;
    Some(
        Answer::default()
            .with(&PH, ph.units())
            .with(&NERNST, nernst_slope(temperature).ok()),
    )
}
