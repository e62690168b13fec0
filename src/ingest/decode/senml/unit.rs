//! The units of SenML, and what they are in a channel's unit.
//!
//! Every symbol that is registered means what the registry says: `C` is the
//! coulomb and `%` a share of 1, whatever settings mean by them. The registry
//! has nothing for the Brix scale, nor for conductivity in µS/cm
//! (1 µS/cm = 1e-4 S/m); where a symbol is not registered, a quantity's own
//! units as settings write them are taken: `°Bx`, `µS/cm`, `bar`.

use crate::settings::Reports;
use crate::units::{Linear, Quantity};

/// A registered unit that some channel may have.
struct Taken {
    symbol: &'static str,
    /// The same in a unit of [`Quantity::units`], times this.
    ours: &'static str,
    times: f64,
}

const fn taken(symbol: &'static str, ours: &'static str, times: f64) -> Taken {
    Taken {
        symbol,
        ours,
        times,
    }
}

/// Units of RFC 8428, section 12.1, table 6, and, from `kg/m3` on, of RFC 8798,
/// tables 1 and 2 (as in the draft of 2020-02-13).
const TAKEN: [Taken; 24] = [
    taken("Cel", "°C", 1.0),
    taken("K", "K", 1.0),
    taken("pH", "pH", 1.0),
    taken("S/m", "S/m", 1.0),
    taken("m", "m", 1.0),
    taken("l", "L", 1.0),
    taken("m3", "m3", 1.0),
    taken("l/s", "L/min", 60.0),
    taken("m3/s", "L/min", 60_000.0),
    taken("V", "V", 1.0),
    taken("Pa", "Pa", 1.0),
    // "NOT a percentage but the absolute ratio" (RFC 8428, note 2).
    taken("/", "%", 100.0),
    taken("%", "%", 100.0),
    taken("kg/m3", "g/L", 1.0),
    taken("ug/m3", "µg/L", 1e-3),
    taken("mm", "mm", 1.0),
    taken("cm", "cm", 1.0),
    taken("km", "m", 1000.0),
    taken("mV", "mV", 1.0),
    taken("hPa", "mbar", 1.0),
    taken("/100", "%", 1.0),
    taken("/1000", "%", 0.1),
    taken("ppm", "%", 1e-4),
    // Of what is dissolved in water a part per million is 1 mg/L (common
    // practice, no source).
    taken("ppm", "ppm", 1.0),
];

/// Symbols that a switch may have: 0 is off, 1 on (RFC 8428, section 12.1,
/// note 2).
const OF_SWITCHES: [&str; 2] = ["/", "%"];

/// Symbols that a count of pulses may have.
const OF_PULSES: [&str; 1] = ["count"];

/// What else is registered: the rest of the same tables with the primary units
/// of RFC 8798, section 2, table 1, and three secondary ones from memory (MHz,
/// B/s, VAs).
const OTHERS: [(&str, &str); 73] = [
    ("kg", "kilogram"),
    ("g", "gram"),
    ("s", "second"),
    ("cd", "candela"),
    ("mol", "mole"),
    ("Hz", "hertz"),
    ("rad", "radian"),
    ("sr", "steradian"),
    ("N", "newton"),
    ("J", "joule"),
    ("W", "watt"),
    ("A", "ampere"),
    ("mA", "milliampere"),
    ("C", "coulomb"),
    ("F", "farad"),
    ("Ohm", "ohm"),
    ("S", "siemens"),
    ("Wb", "weber"),
    ("T", "tesla"),
    ("H", "henry"),
    ("lm", "lumen"),
    ("lx", "lux"),
    ("Bq", "becquerel"),
    ("Gy", "gray"),
    ("Sv", "sievert"),
    ("kat", "katal"),
    ("m2", "square metre"),
    ("m/s", "metre per second"),
    ("m/s2", "metre per square second"),
    ("W/m2", "watt per square metre"),
    ("cd/m2", "candela per square metre"),
    ("bit", "bit"),
    ("bit/s", "bit per second"),
    ("lat", "degrees latitude"),
    ("lon", "degrees longitude"),
    ("dB", "decibel"),
    ("dBW", "decibel relative to 1 W"),
    ("Bspl", "bel of sound pressure"),
    ("count", "a counter"),
    ("%RH", "relative humidity"),
    ("%EL", "remaining battery energy"),
    ("EL", "seconds of remaining battery energy"),
    ("1/s", "events per second"),
    ("1/min", "events per minute"),
    ("beat/min", "heart beats per minute"),
    ("beats", "heart beats"),
    ("B", "byte"),
    ("VA", "volt-ampere"),
    ("VAs", "volt-ampere second"),
    ("var", "volt-ampere reactive"),
    ("vars", "volt-ampere reactive second"),
    ("J/m", "joule per metre"),
    ("deg", "degree of angle"),
    ("ms", "millisecond"),
    ("min", "minute"),
    ("h", "hour"),
    ("MHz", "megahertz"),
    ("kW", "kilowatt"),
    ("kVA", "kilovolt-ampere"),
    ("kvar", "kilovar"),
    ("Ah", "ampere-hour"),
    ("Wh", "watt-hour"),
    ("kWh", "kilowatt-hour"),
    ("varh", "var-hour"),
    ("kvarh", "kilovar-hour"),
    ("kVAh", "kilovolt-ampere-hour"),
    ("Wh/km", "watt-hour per kilometre"),
    ("KiB", "kibibyte"),
    ("B/s", "byte per second"),
    ("dBm", "decibel relative to 1 mW"),
    ("mm/h", "millimetre per hour"),
    ("m/h", "metre per hour"),
    ("km/h", "kilometre per hour"),
];

/// Why a number in some unit is none that a channel can take.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum UnitError {
    /// A registered unit of something else.
    #[error(
        "the unit {unit:?}{} cannot be a {what}; let the sender give {allowed}",
        meant(unit, means)
    )]
    OfAnother {
        /// The unit.
        unit: String,
        /// What it is.
        means: &'static str,
        /// What the channel takes.
        what: &'static str,
        /// The units that can be.
        allowed: String,
    },
    /// A unit that neither the registry nor the quantity has.
    #[error(
        "the unit {unit:?} is neither registered for SenML nor a unit of {what}; let the sender give {allowed}"
    )]
    Unknown {
        /// The unit.
        unit: String,
        /// What the channel takes.
        what: &'static str,
        /// The units that can be.
        allowed: String,
    },
}

/// The way from a number in a unit of SenML to the unit in which values of the
/// quantity are kept; none for pulses and states, which the channel's own
/// settings turn into values.
///
/// # Errors
/// When the unit belongs to something else, or is not known.
pub fn conversion(unit: &str, reports: Reports) -> Result<Option<Linear>, UnitError> {
    match reports {
        Reports::Pulses => {
            one_of(unit, &OF_PULSES, "count of pulses")?;
            Ok(None)
        }
        Reports::Quantity(Quantity::State) => {
            one_of(unit, &OF_SWITCHES, Quantity::State.name())?;
            Ok(None)
        }
        Reports::Quantity(quantity) => line(unit, quantity).map(Some),
    }
}

fn line(unit: &str, quantity: Quantity) -> Result<Linear, UnitError> {
    let registered = rows(unit).find_map(|row| row.line(quantity));
    let own = || {
        let own = quantity.units().iter().find(|own| **own == unit)?;
        let is_registered = means(unit).is_some();
        (!is_registered).then(|| quantity.unit_conversion(own).ok())?
    };
    registered
        .or_else(own)
        .ok_or_else(|| refusal(unit, quantity.name(), allowed(quantity)))
}

fn one_of(unit: &str, symbols: &[&str], what: &'static str) -> Result<(), UnitError> {
    if symbols.contains(&unit) {
        return Ok(());
    }
    let allowed = format!("{}, or none", symbols.join(", "));
    Err(refusal(unit, what, allowed))
}

fn refusal(unit: &str, what: &'static str, allowed: String) -> UnitError {
    let unit = unit.to_owned();
    match means(&unit) {
        Some(means) => UnitError::OfAnother {
            unit,
            means,
            what,
            allowed,
        },
        None => UnitError::Unknown {
            unit,
            what,
            allowed,
        },
    }
}

/// What a registered symbol means.
fn means(unit: &str) -> Option<&'static str> {
    let of_others = OTHERS.iter().find(|(symbol, _)| *symbol == unit);
    of_others
        .map(|(_, means)| *means)
        .or_else(|| rows(unit).next().map(|row| row.ours))
}

/// What a symbol means, where that does not go without saying.
fn meant(unit: &str, means: &str) -> String {
    if means == unit {
        String::new()
    } else {
        format!(" ({means})")
    }
}

fn rows(unit: &str) -> impl Iterator<Item = &'static Taken> {
    TAKEN.iter().filter(move |row| row.symbol == unit)
}

impl Taken {
    fn line(&self, quantity: Quantity) -> Option<Linear> {
        let last = quantity.unit_conversion(self.ours).ok()?;
        Some(Linear {
            scale: self.times * last.scale,
            offset: last.offset,
        })
    }
}

/// The registered units of a quantity, or its own where there are none.
fn allowed(quantity: Quantity) -> String {
    let registered: Vec<&str> = TAKEN
        .iter()
        .filter(|row| row.line(quantity).is_some())
        .map(|row| row.symbol)
        .collect();
    if registered.is_empty() {
        quantity.units().join(", ")
    } else {
        registered.join(", ")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(unit: &str, quantity: Quantity) -> Result<Option<Linear>, UnitError> {
        conversion(unit, Reports::Quantity(quantity))
    }

    #[test]
    fn each_symbol_means_one_thing() {
        let mut symbols: Vec<_> = TAKEN.iter().map(|row| (row.symbol, row.ours)).collect();
        symbols.extend(OTHERS.iter().map(|(symbol, _)| (*symbol, "")));
        let count = symbols.len();
        symbols.sort_unstable();
        symbols.dedup();
        assert_eq!(symbols.len(), count);
        for (symbol, _) in OTHERS {
            assert!(rows(symbol).next().is_none(), "{symbol}");
        }
    }

    /// The factors are definitions: of the prefixes, the litre, the minute, the
    /// bar and the degree Celsius.
    #[test]
    fn values_arrive_in_the_unit_kept() {
        for (value, unit, quantity, kept) in [
            (23.1, "Cel", Quantity::Temperature, 23.1),
            (296.25, "K", Quantity::Temperature, 23.1),
            (9.2, "pH", Quantity::Ph, 9.2),
            (0.25, "S/m", Quantity::Conductivity, 2500.0),
            (1e-4, "S/m", Quantity::Conductivity, 1.0),
            (0.35, "m", Quantity::Level, 0.35),
            (350.0, "mm", Quantity::Level, 0.35),
            (35.0, "cm", Quantity::Level, 0.35),
            (820.0, "l", Quantity::Volume, 820.0),
            (0.82, "m3", Quantity::Volume, 820.0),
            (0.82, "m3", Quantity::Metered, 820.0),
            (0.5, "l/s", Quantity::Flow, 30.0),
            (0.0005, "m3/s", Quantity::Flow, 30.0),
            (0.05, "/", Quantity::Concentration, 5.0),
            (0.05, "%", Quantity::Concentration, 5.0),
            (5.0, "/100", Quantity::TrampOil, 5.0),
            (50.0, "/1000", Quantity::Concentration, 5.0),
            (50_000.0, "ppm", Quantity::Concentration, 5.0),
            (50.0, "ppm", Quantity::Chloride, 50.0),
            (0.05, "kg/m3", Quantity::Chloride, 50.0),
            (8e6, "ug/m3", Quantity::DissolvedOxygen, 8.0),
            (0.25, "V", Quantity::Redox, 250.0),
            (250.0, "mV", Quantity::Redox, 250.0),
            (150_000.0, "Pa", Quantity::Pressure, 1.5),
            (1500.0, "hPa", Quantity::Pressure, 1.5),
            (3.5, "°Bx", Quantity::Brix, 3.5),
            (2500.0, "µS/cm", Quantity::Conductivity, 2500.0),
            (1.5, "bar", Quantity::Pressure, 1.5),
        ] {
            let line = of(unit, quantity).unwrap().unwrap();
            let got = line.apply(value);
            assert!(
                (got - kept).abs() < 1e-9 * kept,
                "{value} {unit}: {got}, not {kept}"
            );
        }
    }

    #[test]
    fn pulses_are_counts_and_states_are_ratios() {
        assert_eq!(conversion("count", Reports::Pulses), Ok(None));
        assert_eq!(of("/", Quantity::State), Ok(None));
        for (unit, reports) in [
            ("l", Reports::Pulses),
            ("°Bx", Reports::Pulses),
            ("count", Reports::Quantity(Quantity::Metered)),
            ("count", Reports::Quantity(Quantity::State)),
        ] {
            assert!(conversion(unit, reports).is_err(), "{unit} {reports:?}");
        }
    }

    #[test]
    fn what_settings_mean_by_a_symbol_does_not_count_where_it_is_registered() {
        for (unit, quantity, means) in [
            ("C", Quantity::Temperature, "coulomb"),
            ("F", Quantity::Temperature, "farad"),
            ("V", Quantity::Brix, "V"),
            ("%RH", Quantity::Concentration, "relative humidity"),
            ("Cel", Quantity::Level, "°C"),
        ] {
            let told = of(unit, quantity).unwrap_err();
            assert!(matches!(told, UnitError::OfAnother { .. }), "{told}");
            let told = told.to_string();
            assert!(
                told.contains(means) && told.contains(quantity.name()),
                "{told}"
            );
        }
        let told = of("C", Quantity::Temperature).unwrap_err().to_string();
        assert!(told.contains("let the sender give Cel, K"), "{told}");
    }

    #[test]
    fn unknown_units_are_told_with_what_can_be() {
        for unit in ["us/cm", "brix", "", "°bx", "bar"] {
            let told = of(unit, Quantity::Conductivity).unwrap_err();
            assert!(matches!(told, UnitError::Unknown { .. }), "{unit}");
            assert!(told.to_string().contains("S/m"), "{told}");
        }
    }

    /// A unit that settings know for a quantity can be sent, and means the same
    /// unless the registry means something else by it.
    #[test]
    fn every_unit_of_ours_is_taken_or_registered_for_another() {
        for quantity in Quantity::ALL.into_iter().filter(|q| *q != Quantity::State) {
            for unit in quantity.units() {
                match of(unit, quantity) {
                    Ok(line) if line == quantity.unit_conversion(unit).ok() => {}
                    Ok(_) => assert_eq!(*unit, "%", "{quantity}"),
                    Err(why) => assert!(matches!(why, UnitError::OfAnother { .. }), "{why}"),
                }
            }
        }
    }
}
