//! Values of a quantity that is only known when the settings are read, and the
//! few numbers that are no quantity.

use jiff::civil::Date;

use crate::units::{Concentration, Parse, Quantity, Volume};

use super::problem::Problem;

/// A value in the quantity's unit.
pub(super) fn value(quantity: Quantity, text: &str) -> Result<f64, Problem> {
    match quantity {
        Quantity::Ph => ph(text),
        other => Ok(other.parse_value(text)?),
    }
}

/// A difference between two values, in the quantity's unit. It is not written
/// like a value only for temperatures.
pub(super) fn difference(quantity: Quantity, text: &str) -> Result<f64, Problem> {
    match quantity {
        Quantity::Temperature => temperature_step(text),
        other => value(other, text),
    }
}

/// A difference of temperature, in kelvin.
fn temperature_step(text: &str) -> Result<f64, Problem> {
    let number = text.trim().strip_suffix('K').map(str::trim_end);
    number
        .and_then(|number| number.parse().ok())
        .filter(|step: &f64| step.is_finite())
        .ok_or_else(|| Problem::NotANumber {
            found: text.chars().take(40).collect(),
            example: "\"1 K\"",
        })
}

/// Litres, or a share of the working volume in per cent.
pub(super) fn volume_or_share(text: &str, working: f64) -> Result<f64, Problem> {
    if text.trim_end().ends_with('%') {
        Ok(share(text)? * working)
    } else {
        Ok(Volume::parse(text)?.litres())
    }
}

/// A change over time, an hour: a change as `change` reads it, and the time that
/// it is over, as in `0.5 %/h`.
pub(super) fn rate(
    text: &str,
    change: impl FnOnce(&str) -> Result<f64, Problem>,
) -> Result<f64, Problem> {
    let hours = |unit: &str| match unit.trim() {
        "min" => Some(1.0 / 60.0),
        "h" => Some(1.0),
        "d" => Some(24.0),
        _ => None,
    };
    let parts = text.rsplit_once('/');
    let parts = parts.and_then(|(change, unit)| Some((change, hours(unit)?)));
    let (by, hours) = parts.ok_or_else(|| {
        not_a_number(
            text,
            "a change and the time that it is over, as \"0.5 %/h\" (times: min, h, d)",
        )
    })?;
    Ok(change(by.trim_end())? / hours)
}

/// A day, as `2026-03-02`.
pub(super) fn date(text: &str) -> Result<Date, Problem> {
    text.parse()
        .map_err(|_| Problem::NotADate(text.chars().take(40).collect()))
}

/// A share written in per cent.
pub(super) fn share(text: &str) -> Result<f64, Problem> {
    Ok(Concentration::parse(text)?.fraction())
}

/// pH has no unit, but may carry its name.
fn ph(text: &str) -> Result<f64, Problem> {
    let number = text.trim().trim_end_matches("pH").trim_end();
    number
        .parse()
        .ok()
        .filter(|ph: &f64| ph.is_finite())
        .ok_or_else(|| not_a_number(text, "8.7"))
}

/// An amount of bytes, as `256 KiB`.
pub(super) fn bytes(text: &str) -> Result<u32, Problem> {
    let text = text.trim();
    let end = text
        .find(|c: char| !c.is_ascii_digit())
        .unwrap_or(text.len());
    let unit = match text[end..].trim() {
        "B" => 1,
        "KiB" => 1 << 10,
        "MiB" => 1 << 20,
        _ => return Err(not_a_number(text, "\"256 KiB\" (units: B, KiB, MiB)")),
    };
    let count: u32 = text[..end]
        .parse()
        .map_err(|_| not_a_number(text, "\"256 KiB\""))?;
    Ok(count.saturating_mul(unit))
}

/// A plain number.
pub(super) fn number(text: &str) -> Result<f64, Problem> {
    let number = text.trim().parse().ok();
    number
        .filter(|number: &f64| number.is_finite())
        .ok_or_else(|| not_a_number(text, "1.5"))
}

fn not_a_number(found: &str, example: &'static str) -> Problem {
    Problem::NotANumber {
        found: found.chars().take(40).collect(),
        example,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_changes_over_time() {
        let of = |quantity| move |text: &str| difference(quantity, text);
        let near = |found: Result<f64, Problem>, right: f64| {
            let found = found.unwrap();
            assert!((found - right).abs() < 1e-9, "{found} {right}");
        };
        near(rate("0.5 %/h", of(Quantity::Concentration)), 0.5);
        near(rate("2.4 % / d", of(Quantity::Concentration)), 0.1);
        near(rate("0.01 pH/min", of(Quantity::Ph)), 0.6);
        near(rate("0.3/h", of(Quantity::Ph)), 0.3);
        near(rate("10 K/h", of(Quantity::Temperature)), 10.0);
        near(rate("0.2 mS/cm/h", of(Quantity::Conductivity)), 200.0);
        near(rate("2 %/h", |text| volume_or_share(text, 800.0)), 16.0);
        for wrong in ["0.5 %", "200 µS/cm", "/h", "0.5 %/week", "10 °C/h"] {
            let of = match wrong.contains("°C") {
                true => Quantity::Temperature,
                false => Quantity::Concentration,
            };
            assert!(rate(wrong, |text| difference(of, text)).is_err(), "{wrong}");
        }
    }

    #[test]
    fn reads_shares_and_bytes() {
        assert_eq!(volume_or_share("85 %", 800.0).unwrap(), 680.0);
        assert_eq!(volume_or_share("700 L", 800.0).unwrap(), 700.0);
        assert_eq!(bytes("256 KiB").unwrap(), 262_144);
        assert_eq!(bytes("9999999 MiB").unwrap(), u32::MAX);
        assert!(bytes("256").is_err() && bytes("-1 B").is_err());
        assert_eq!(value(Quantity::Ph, "8.7 pH").unwrap(), 8.7);
        assert!(value(Quantity::Ph, "NaN").is_err());
        assert_eq!(difference(Quantity::Temperature, "1 K").unwrap(), 1.0);
    }
}
