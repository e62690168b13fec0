//! The units of SenML, and what they are in a channel's unit.
//!
//! Every symbol that is registered means what the registry says: `C` is the
//! coulomb and `%` a share of 1, whatever settings mean by them. The registry
//! has nothing for the Brix scale, nor for conductivity in µS/cm
//! (1 µS/cm = 1e-4 S/m); where a symbol is not registered, a quantity's own
//! units as settings write them are taken: `°Bx`, `µS/cm`.

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

/// Units of RFC 8428, section 12.1, table 6, and, from `mm` on, secondary
/// units of RFC 8798, section 3, table 2 (as in the draft of 2020-02-13).
const TAKEN: [Taken; 18] = [
    taken("Cel", "°C", 1.0),
    taken("K", "K", 1.0),
    taken("pH", "pH", 1.0),
    taken("S/m", "S/m", 1.0),
    taken("m", "m", 1.0),
    taken("l", "L", 1.0),
    taken("m3", "m3", 1.0),
    taken("l/s", "L/min", 60.0),
    taken("m3/s", "L/min", 60_000.0),
    taken("A", "A", 1.0),
    // "NOT a percentage but the absolute ratio" (RFC 8428, note 2).
    taken("/", "%", 100.0),
    taken("%", "%", 100.0),
    taken("mm", "mm", 1.0),
    taken("cm", "cm", 1.0),
    taken("mA", "mA", 1.0),
    taken("/100", "%", 1.0),
    taken("/1000", "%", 0.1),
    taken("ppm", "%", 1e-4),
];

/// What else is registered: the rest of the same tables with the primary units
/// of RFC 8798, section 2, table 1, and three secondary ones from memory (MHz,
/// B/s, VAs).
const OTHERS: [(&str, &str); 77] = [
    ("kg", "kilogram"),
    ("g", "gram"),
    ("s", "second"),
    ("cd", "candela"),
    ("mol", "mole"),
    ("Hz", "hertz"),
    ("rad", "radian"),
    ("sr", "steradian"),
    ("N", "newton"),
    ("Pa", "pascal"),
    ("J", "joule"),
    ("W", "watt"),
    ("C", "coulomb"),
    ("V", "volt"),
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
    ("kg/m3", "kilogram per cubic metre"),
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
    ("mV", "millivolt"),
    ("dBm", "decibel relative to 1 mW"),
    ("ug/m3", "microgram per cubic metre"),
    ("mm/h", "millimetre per hour"),
    ("m/h", "metre per hour"),
    ("hPa", "hectopascal"),
    ("km/h", "kilometre per hour"),
];

/// Why a value in some unit is none of a channel's quantity.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum UnitError {
    /// A registered unit of something else.
    #[error("the unit {unit:?} ({means}) cannot be a {quantity}; let the sender give {allowed}")]
    OfAnother {
        /// The unit.
        unit: String,
        /// What it is.
        means: &'static str,
        /// What the channel measures.
        quantity: Quantity,
        /// The units that can be.
        allowed: String,
    },
    /// A unit that neither the registry nor the quantity has.
    #[error(
        "the unit {unit:?} is neither registered for SenML nor a unit of {quantity}; let the sender give {allowed}"
    )]
    Unknown {
        /// The unit.
        unit: String,
        /// What the channel measures.
        quantity: Quantity,
        /// The units that can be.
        allowed: String,
    },
}

/// The way from a number in a unit of SenML to the unit in which readings of
/// the quantity are kept.
///
/// # Errors
/// When the unit belongs to something else, or is not known.
pub fn conversion(unit: &str, quantity: Quantity) -> Result<Linear, UnitError> {
    if let Some(row) = TAKEN.iter().find(|row| row.symbol == unit) {
        return row
            .line(quantity)
            .ok_or_else(|| of_another(unit, row.ours, quantity));
    }
    if let Some((_, means)) = OTHERS.iter().find(|(symbol, _)| *symbol == unit) {
        return Err(of_another(unit, means, quantity));
    }
    let own = quantity.units().iter().find(|own| **own == unit);
    own.and_then(|own| quantity.unit_conversion(own).ok())
        .ok_or_else(|| UnitError::Unknown {
            unit: unit.to_owned(),
            quantity,
            allowed: allowed(quantity),
        })
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

fn of_another(unit: &str, means: &'static str, quantity: Quantity) -> UnitError {
    UnitError::OfAnother {
        unit: unit.to_owned(),
        means,
        quantity,
        allowed: allowed(quantity),
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

    #[test]
    fn each_symbol_stands_once() {
        let mut symbols: Vec<&str> = TAKEN.iter().map(|row| row.symbol).collect();
        symbols.extend(OTHERS.iter().map(|(symbol, _)| *symbol));
        let count = symbols.len();
        symbols.sort_unstable();
        symbols.dedup();
        assert_eq!(symbols.len(), count);
    }

    /// The factors are definitions: of the prefixes, the litre, the minute and
    /// the degree Celsius.
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
            (0.05, "/", Quantity::Concentration, 5.0),
            (0.05, "%", Quantity::Concentration, 5.0),
            (5.0, "/100", Quantity::Concentration, 5.0),
            (50.0, "/1000", Quantity::Concentration, 5.0),
            (50_000.0, "ppm", Quantity::Concentration, 5.0),
            (3.5, "°Bx", Quantity::Brix, 3.5),
            (2500.0, "µS/cm", Quantity::Conductivity, 2500.0),
        ] {
            let line = conversion(unit, quantity).unwrap();
            let got = line.apply(value);
            assert!(
                (got - kept).abs() < 1e-9,
                "{value} {unit}: {got}, not {kept}"
            );
        }
    }

    #[test]
    fn what_settings_mean_by_a_symbol_does_not_count_where_it_is_registered() {
        for (unit, quantity, means) in [
            ("C", Quantity::Temperature, "coulomb"),
            ("F", Quantity::Temperature, "farad"),
            ("V", Quantity::Brix, "volt"),
            ("%RH", Quantity::Concentration, "relative humidity"),
            ("Cel", Quantity::Level, "°C"),
        ] {
            let told = conversion(unit, quantity).unwrap_err().to_string();
            assert!(
                told.contains(means) && told.contains(quantity.name()),
                "{told}"
            );
        }
        assert!(
            conversion("C", Quantity::Temperature)
                .unwrap_err()
                .to_string()
                .contains("Cel, K")
        );
    }

    #[test]
    fn unknown_units_are_told_with_what_can_be() {
        for unit in ["us/cm", "brix", "", "°bx", "bar"] {
            let told = conversion(unit, Quantity::Conductivity).unwrap_err();
            assert!(matches!(told, UnitError::Unknown { .. }), "{unit}");
            assert!(told.to_string().contains("S/m"), "{told}");
        }
    }

    /// A unit of some quantity that settings know can be sent, unless the
    /// registry means something else by it.
    #[test]
    fn every_unit_of_ours_is_taken_or_registered_for_another() {
        for quantity in Quantity::ALL {
            for unit in quantity.units() {
                let taken = conversion(unit, quantity);
                let ours = quantity.unit_conversion(unit).unwrap();
                match taken {
                    Ok(line) if line == ours => {}
                    Ok(_) => assert_eq!(*unit, "%", "{quantity}"),
                    Err(why) => assert!(matches!(why, UnitError::OfAnother { .. }), "{why}"),
                }
            }
        }
    }
}
