//! What can stand after the `=` of an argument.

use crate::units::{Brix, Concentration, Parse};

use super::unknown::unknown;

/// A kind of value that an argument can have.
pub(super) trait Argument: Sized {
    /// What may be written, for people: units or words.
    fn allowed() -> String;

    /// Reads it, or says what is wrong with it and what is allowed.
    fn read(text: &str) -> Result<Self, String>;
}

impl<T: Parse> Argument for T {
    fn allowed() -> String {
        format!("in {}", T::UNITS.join(", "))
    }

    fn read(text: &str) -> Result<Self, String> {
        T::parse(text).map_err(|error| error.to_string())
    }
}

/// A plain number.
impl Argument for f64 {
    fn allowed() -> String {
        "a plain number".to_owned()
    }

    fn read(text: &str) -> Result<Self, String> {
        match text.trim().parse::<f64>() {
            Ok(number) if number.is_finite() => Ok(number),
            _ => Err(format!(
                "\"{text}\" is not a plain number; write digits and a decimal point, and no unit"
            )),
        }
    }
}

/// A share of a whole, written in per cent and kept between 0 and 1.
pub(super) struct Share(pub(super) f64);

impl Argument for Share {
    fn allowed() -> String {
        "0 to 100 %".to_owned()
    }

    fn read(text: &str) -> Result<Self, String> {
        let number = text.trim().strip_suffix('%').map(str::trim_end);
        match number.and_then(|number| number.parse::<f64>().ok()) {
            Some(percent) if (0.0..=100.0).contains(&percent) => Ok(Share(percent / 100.0)),
            _ => Err(format!(
                "\"{text}\" is not a share; write 0 to 100 and %, as 95 %"
            )),
        }
    }
}

/// So many numbers are taken in one series.
const LONGEST: usize = 10_000;

/// Numbers of one unit, in the order of time.
pub(super) struct Series(pub(super) Vec<f64>);

impl Argument for Series {
    fn allowed() -> String {
        "plain numbers of one unit in the order of time, as \"6.1, 6.2, 6.3\"".to_owned()
    }

    fn read(text: &str) -> Result<Self, String> {
        let values: Vec<f64> = text.split(',').map(f64::read).collect::<Result<_, _>>()?;
        if values.len() > LONGEST {
            let found = values.len();
            return Err(format!("there are {found} numbers; give {LONGEST} at most"));
        }
        Ok(Series(values))
    }
}

/// Points of a fluid's chart.
pub(super) struct Points(pub(super) Vec<(Brix, Concentration)>);

impl Argument for Points {
    fn allowed() -> String {
        "pairs of °Bx:%, as \"0 °Bx:0 %, 5 °Bx:9 %\"".to_owned()
    }

    fn read(text: &str) -> Result<Self, String> {
        text.split(',')
            .map(point)
            .collect::<Result<_, _>>()
            .map(Points)
    }
}

fn point(text: &str) -> Result<(Brix, Concentration), String> {
    let (brix, concentration) = text.split_once(':').ok_or_else(|| {
        format!(
            "\"{text}\" is not a point of a chart; write reading and concentration as 5 °Bx:9 %"
        )
    })?;
    Ok((Brix::read(brix)?, Concentration::read(concentration)?))
}

/// Reads one word out of a table of words.
pub(super) fn word<T: Copy>(
    what: &str,
    table: &[(&'static str, T)],
    text: &str,
) -> Result<T, String> {
    table
        .iter()
        .find(|(word, _)| *word == text.trim())
        .map(|(_, meaning)| *meaning)
        .ok_or_else(|| unknown(what, text, &words(table)))
}

/// The words of a table.
pub(super) fn words<T>(table: &[(&'static str, T)]) -> Vec<&'static str> {
    table.iter().map(|(word, _)| *word).collect()
}
