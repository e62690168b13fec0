//! Text to quantity: a decimal number and one of the quantity's own units.

use std::fmt;

use super::{
    Brix, BrixCoefficient, CellConstant, Concentration, Conductance, Conductivity,
    ConductivityAsIs, Content, Current, Flow, Hardness, Length, LossRate, Ph, Potential, Quantity,
    RelativeCoefficient, Span, Temperature, Volume,
};

/// The largest number kept, in the unit that a quantity is kept in. It is
/// beyond every plant (30,000 years in milliseconds), and products of a few such
/// numbers are still finite.
const LARGEST: f64 = 1e15;

/// The longest piece of a wrong text that a message repeats, in characters.
const SHOWN: usize = 40;

/// A quantity that people write as a number with a unit: `820 L`, `4.2%`.
///
/// The number has a decimal point, never a comma; white space between number
/// and unit does not matter. A unit is matched as written first, and without
/// regard to upper and lower case where that leaves one meaning only.
pub trait Parse: Sized {
    /// What the quantity is called in messages.
    const NAME: &'static str;
    /// Every unit that may be written. The first is the one it is printed in.
    const UNITS: &'static [&'static str];

    /// Reads a number with a unit.
    ///
    /// # Errors
    /// When there is no number or no unit, when the unit belongs to another
    /// quantity, or when the number is beyond 1e15 in the unit kept.
    fn parse(text: &str) -> Result<Self, QuantityError>;

    /// The way from a number in `unit` to the unit that the quantity is kept
    /// in.
    ///
    /// # Errors
    /// When `unit` is empty or not one of [`Parse::UNITS`].
    fn unit_conversion(unit: &str) -> Result<Linear, QuantityError>;
}

/// A straight line from a number in one unit to the number in another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Linear {
    /// Units of the result for one unit of the input.
    pub scale: f64,
    /// The result where the input is 0.
    pub offset: f64,
}

impl Linear {
    /// The line that changes nothing.
    pub const IDENTITY: Linear = Linear::times(1.0);

    const fn times(scale: f64) -> Self {
        Linear { scale, offset: 0.0 }
    }

    /// `scale · value + offset`.
    ///
    /// A scale below 1 divides by its reciprocal instead, so that 35 mm become
    /// the number nearest to 0.035 m: the last digit stays the instrument's.
    pub fn apply(self, value: f64) -> f64 {
        let scaled = if self.scale.abs() < 1.0 {
            value / self.scale.recip()
        } else {
            value * self.scale
        };
        scaled + self.offset
    }
}

/// Why a text is not the quantity that it should be.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "\"{found}\" is not a {quantity}: {fault}; write a number and a unit (allowed: {})",
    allowed.join(", ")
)]
pub struct QuantityError {
    /// The text, shortened when it is long.
    pub found: String,
    /// What it should have been.
    pub quantity: &'static str,
    /// What is wrong with it.
    pub fault: QuantityFault,
    /// Every unit that could have been written.
    pub allowed: &'static [&'static str],
}

/// What is wrong with a text that should be a quantity.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum QuantityFault {
    /// It does not begin with a number.
    NoNumber,
    /// The number has a comma in it.
    Comma,
    /// The number is larger than is kept.
    TooLarge,
    /// Nothing stands after the number.
    NoUnit,
    /// What stands after the number is not one of the quantity's units.
    WrongUnit,
}

impl fmt::Display for QuantityFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            QuantityFault::NoNumber => "it does not begin with a number",
            QuantityFault::Comma => {
                "it has a comma; write a decimal point and nothing between thousands"
            }
            QuantityFault::TooLarge => "the number is too large",
            QuantityFault::NoUnit => "the unit is missing",
            QuantityFault::WrongUnit => "that is not one of its units",
        })
    }
}

/// A kind of quantity with the units that it is written in, each with its way
/// to the unit that the quantity is kept in.
#[derive(Clone, Copy)]
struct Dimension {
    name: &'static str,
    units: &'static [&'static str],
    lines: &'static [Linear],
}

impl Dimension {
    /// The number in the unit that the quantity is kept in.
    fn read(&self, text: &str) -> Result<f64, QuantityError> {
        let refuse = |fault| Err(self.error(text, fault));
        let trimmed = text.trim();
        let (number, rest) = split_number(trimmed);
        if rest.starts_with(',') {
            return refuse(QuantityFault::Comma);
        }
        let Ok(number) = number.parse::<f64>() else {
            return refuse(QuantityFault::NoNumber);
        };
        let value = self
            .line(rest.trim_start())
            .map_err(|fault| self.error(text, fault))?
            .apply(number);
        if value.abs() > LARGEST {
            return refuse(QuantityFault::TooLarge);
        }
        Ok(value)
    }

    /// The way from `unit` to the unit that the quantity is kept in.
    fn line(&self, unit: &str) -> Result<Linear, QuantityFault> {
        if unit.is_empty() && !self.units.contains(&unit) {
            return Err(QuantityFault::NoUnit);
        }
        let pairs = || self.units.iter().zip(self.lines);
        if let Some((_, line)) = pairs().find(|(name, _)| letters(name).eq(letters(unit))) {
            return Ok(*line);
        }
        let small = |text| letters(text).map(|c: char| c.to_ascii_lowercase());
        let mut alike = pairs()
            .filter(|(name, _)| small(name).eq(small(unit)))
            .map(|(_, line)| *line);
        match alike.next() {
            Some(line) if alike.all(|other| other == line) => Ok(line),
            _ => Err(QuantityFault::WrongUnit),
        }
    }

    /// As [`Self::line`], with the refusal in words.
    fn conversion(&self, unit: &str) -> Result<Linear, QuantityError> {
        self.line(unit.trim())
            .map_err(|fault| self.error(unit, fault))
    }

    fn error(&self, text: &str, fault: QuantityFault) -> QuantityError {
        QuantityError {
            found: text.chars().take(SHOWN).collect(),
            quantity: self.name,
            fault,
            allowed: self.units,
        }
    }
}

/// The letters of a unit; the Greek mu and the micro sign count as the same.
fn letters(unit: &str) -> impl Iterator<Item = char> {
    unit.chars().map(|c| if c == 'μ' { 'µ' } else { c })
}

/// Cuts a text after its leading decimal number. The number is empty or not
/// readable when there is none.
fn split_number(text: &str) -> (&str, &str) {
    let bytes = text.as_bytes();
    let digits = |from: usize| {
        from + bytes[from..]
            .iter()
            .take_while(|b| b.is_ascii_digit())
            .count()
    };
    let sign = |at: usize| at + usize::from(matches!(bytes.get(at), Some(b'+' | b'-')));
    let mut end = digits(sign(0));
    if bytes.get(end) == Some(&b'.') {
        end = digits(end + 1);
    }
    if matches!(bytes.get(end), Some(b'e' | b'E')) {
        let exponent = sign(end + 1);
        if digits(exponent) > exponent {
            end = digits(exponent);
        }
    }
    text.split_at(end)
}

macro_rules! dimension {
    ($const:ident, $name:literal, $($unit:literal => $line:expr),+ $(,)?) => {
        const $const: Dimension = Dimension {
            name: $name,
            units: &[$($unit),+],
            lines: &[$($line),+],
        };
    };
}

macro_rules! parse {
    ($type:ident, $dimension:ident, $from:expr) => {
        impl Parse for $type {
            const NAME: &'static str = $dimension.name;
            const UNITS: &'static [&'static str] = $dimension.units;

            fn parse(text: &str) -> Result<Self, QuantityError> {
                $dimension.read(text).map($from)
            }

            fn unit_conversion(unit: &str) -> Result<Linear, QuantityError> {
                $dimension.conversion(unit)
            }
        }
    };
}

// The US gallon is 231 cubic inches, the inch 25.4 mm (NIST Handbook 44,
// appendix C; memory).
dimension!(VOLUME, "volume",
    "L" => Linear::IDENTITY,
    "l" => Linear::IDENTITY,
    "mL" => Linear::times(1e-3),
    "m3" => Linear::times(1e3),
    "m³" => Linear::times(1e3),
    "gal(US)" => Linear::times(3.785_411_784),
);
dimension!(CONCENTRATION, "concentration", "%" => Linear::IDENTITY);
dimension!(BRIX, "Brix reading", "°Bx" => Linear::IDENTITY, "Bx" => Linear::IDENTITY);
dimension!(TEMPERATURE, "temperature",
    "°C" => Linear::IDENTITY,
    "degC" => Linear::IDENTITY,
    "C" => Linear::IDENTITY,
    "K" => Linear { scale: 1.0, offset: -273.15 },
    "°F" => FAHRENHEIT,
    "degF" => FAHRENHEIT,
    "F" => FAHRENHEIT,
);
const FAHRENHEIT: Linear = Linear {
    scale: 5.0 / 9.0,
    offset: -160.0 / 9.0,
};
dimension!(LENGTH, "length",
    "m" => Linear::IDENTITY,
    "cm" => Linear::times(1e-2),
    "mm" => Linear::times(1e-3),
    "in" => Linear::times(0.0254),
);
dimension!(FLOW, "flow",
    "L/min" => Linear::IDENTITY,
    "L/h" => Linear::times(1.0 / 60.0),
    "m3/h" => Linear::times(1000.0 / 60.0),
    "m³/h" => Linear::times(1000.0 / 60.0),
);
dimension!(LOSS_RATE, "loss rate",
    "L/d" => Linear::IDENTITY,
    "L/h" => Linear::times(24.0),
    "L/week" => Linear::times(1.0 / 7.0),
    "m3/d" => Linear::times(1e3),
    "m³/d" => Linear::times(1e3),
);
dimension!(CONDUCTIVITY, "conductivity",
    "µS/cm" => Linear::IDENTITY,
    "uS/cm" => Linear::IDENTITY,
    "mS/cm" => Linear::times(1e3),
    "S/m" => Linear::times(1e4),
);
dimension!(CONDUCTANCE, "conductance",
    "µS" => Linear::IDENTITY,
    "uS" => Linear::IDENTITY,
    "mS" => Linear::times(1e3),
    "S" => Linear::times(1e6),
);
dimension!(CELL_CONSTANT, "cell constant",
    "1/cm" => Linear::IDENTITY,
    "cm-1" => Linear::IDENTITY,
    "cm⁻¹" => Linear::IDENTITY,
    "1/m" => Linear::times(1e-2),
);
dimension!(RELATIVE_COEFFICIENT, "change with temperature",
    "%/K" => Linear::IDENTITY,
    "%/°C" => Linear::IDENTITY,
);
dimension!(BRIX_COEFFICIENT, "change of reading with temperature",
    "°Bx/K" => Linear::IDENTITY,
    "Bx/K" => Linear::IDENTITY,
    "°Bx/°C" => Linear::IDENTITY,
);
dimension!(PH, "pH", "pH" => Linear::IDENTITY);
dimension!(CURRENT, "current", "mA" => Linear::IDENTITY, "A" => Linear::times(1e3));
// As calcium carbonate, 100.0869 g/mol: 1 mmol/L of calcium and magnesium is 2
// mval/L; 1 °dH is 10 mg/L of calcium oxide (56.0774 g/mol), 1 °fH 10 mg/L of
// calcium carbonate, 1 gpg a grain (64.79891 mg) of it in a US gallon
// (3.785411784 L), 1 °e (Clark) a grain in an imperial gallon (4.54609 L). The
// reference, hardness_units.csv, works them out from the same.
dimension!(HARDNESS, "hardness",
    "mg/L CaCO3" => Linear::IDENTITY,
    "mg/L" => Linear::IDENTITY,
    "ppm" => Linear::IDENTITY,
    "mmol/L" => Linear::times(CALCIUM_CARBONATE),
    "mval/L" => Linear::times(CALCIUM_CARBONATE / 2.0),
    "°dH" => Linear::times(10.0 * CALCIUM_CARBONATE / 56.0774),
    "dH" => Linear::times(10.0 * CALCIUM_CARBONATE / 56.0774),
    "°fH" => Linear::times(10.0),
    "fH" => Linear::times(10.0),
    "gpg" => Linear::times(GRAIN / 3.785_411_784),
    "°e" => Linear::times(GRAIN / 4.546_09),
    "Clark" => Linear::times(GRAIN / 4.546_09),
);
/// Molar mass of calcium carbonate, g/mol.
const CALCIUM_CARBONATE: f64 = 100.086_9;
/// The grain, mg.
const GRAIN: f64 = 64.798_91;
dimension!(CONTENT, "content",
    "mg/L" => Linear::IDENTITY,
    "µg/L" => Linear::times(1e-3),
    "g/L" => Linear::times(1e3),
    "ppm" => Linear::IDENTITY,
);
dimension!(COLONIES, "count of colonies", "CFU/mL" => Linear::IDENTITY);
dimension!(POTENTIAL, "potential", "mV" => Linear::IDENTITY, "V" => Linear::times(1e3));
// The pound-force a square inch is 6894.757 Pa (NIST SP 811; memory).
dimension!(PRESSURE, "pressure",
    "bar" => Linear::IDENTITY,
    "mbar" => Linear::times(1e-3),
    "kPa" => Linear::times(1e-2),
    "Pa" => Linear::times(1e-5),
    "MPa" => Linear::times(10.0),
    "psi" => Linear::times(0.068_947_57),
);
dimension!(STATE, "state", "" => Linear::IDENTITY);
dimension!(SPAN, "length of time",
    "ms" => Linear::IDENTITY,
    "s" => Linear::times(1e3),
    "min" => Linear::times(60e3),
    "h" => Linear::times(3600e3),
    "d" => Linear::times(86_400e3),
);

parse!(Volume, VOLUME, Volume::from_litres);
parse!(Concentration, CONCENTRATION, Concentration::from_percent);
parse!(Brix, BRIX, Brix::from_degrees);
parse!(Temperature, TEMPERATURE, Temperature::from_celsius);
parse!(Length, LENGTH, Length::from_metres);
parse!(Flow, FLOW, Flow::from_litres_per_minute);
parse!(LossRate, LOSS_RATE, LossRate::from_litres_per_day);
parse!(
    Conductivity,
    CONDUCTIVITY,
    Conductivity::from_microsiemens_per_cm
);
parse!(
    ConductivityAsIs,
    CONDUCTIVITY,
    ConductivityAsIs::from_microsiemens_per_cm
);
parse!(Conductance, CONDUCTANCE, Conductance::from_microsiemens);
parse!(CellConstant, CELL_CONSTANT, CellConstant::from_per_cm);
parse!(
    RelativeCoefficient,
    RELATIVE_COEFFICIENT,
    RelativeCoefficient::from_percent_per_kelvin
);
parse!(
    BrixCoefficient,
    BRIX_COEFFICIENT,
    BrixCoefficient::from_degrees_per_kelvin
);
parse!(Hardness, HARDNESS, Hardness::from_mg_per_l);
parse!(Content, CONTENT, Content::from_mg_per_l);
parse!(Potential, POTENTIAL, Potential::from_millivolts);
parse!(Ph, PH, Ph::from_units);
parse!(Current, CURRENT, Current::from_milliamperes);

/// Fractions of a millisecond are rounded.
impl Parse for Span {
    const NAME: &'static str = SPAN.name;
    const UNITS: &'static [&'static str] = SPAN.units;

    fn parse(text: &str) -> Result<Self, QuantityError> {
        let millis = SPAN.read(text)?;
        Ok(Span::from_millis(millis.round() as i64))
    }

    fn unit_conversion(unit: &str) -> Result<Linear, QuantityError> {
        SPAN.conversion(unit)
    }
}

impl Quantity {
    const fn dimension(self) -> Dimension {
        match self {
            Quantity::Brix => BRIX,
            Quantity::Concentration => CONCENTRATION,
            Quantity::Ph => PH,
            Quantity::Conductivity => CONDUCTIVITY,
            Quantity::Temperature => TEMPERATURE,
            Quantity::Level => Dimension {
                name: "level",
                ..LENGTH
            },
            Quantity::Volume => VOLUME,
            Quantity::Metered => Dimension {
                name: "metered volume",
                ..VOLUME
            },
            Quantity::Hardness => HARDNESS,
            Quantity::Chloride | Quantity::Nitrite | Quantity::DissolvedOxygen => CONTENT,
            Quantity::Bacteria | Quantity::Fungi => COLONIES,
            Quantity::TrampOil => Dimension {
                name: "share of tramp oil",
                ..CONCENTRATION
            },
            Quantity::Redox => POTENTIAL,
            Quantity::Flow => FLOW,
            Quantity::Pressure => PRESSURE,
            Quantity::State => STATE,
        }
    }

    /// Every unit in which this quantity may be written.
    pub const fn units(self) -> &'static [&'static str] {
        self.dimension().units
    }

    /// Reads a number with a unit into the unit that [`Quantity::unit`] names.
    ///
    /// # Errors
    /// As [`Parse::parse`].
    pub fn parse_value(self, text: &str) -> Result<f64, QuantityError> {
        self.dimension().read(text)
    }

    /// The way from a number in `unit` to the unit that [`Quantity::unit`]
    /// names.
    ///
    /// # Errors
    /// When `unit` is empty or not one of [`Quantity::units`].
    pub fn unit_conversion(self, unit: &str) -> Result<Linear, QuantityError> {
        self.dimension().conversion(unit)
    }
}

#[cfg(test)]
mod tests;
