//! What a value written by hand can be. The ranges catch slips of the pen and
//! wrong units, not bad fluid; all are choices, wide enough for any water-mixed
//! fluid in use.

use super::error::{EntryError, wrong};
use crate::engine::SumpSetup;
use crate::units::Quantity;

/// The quantities that people read by hand, by name.
pub(super) const BY_HAND: [(&str, Quantity); 18] = {
    let mut named = [("", Quantity::Brix); 18];
    let mut place = 0;
    // The last of all is a state, which is an event and no reading.
    while place < named.len() {
        named[place] = (Quantity::ALL[place].name(), Quantity::ALL[place]);
        place += 1;
    }
    named
};

/// An amount may be so many times what the sump holds at most. Choice: twice
/// lets a recharge with a rinse be one entry.
const MOST_FILLINGS: f64 = 2.0;

/// Lowest and highest value, in the quantity's unit.
const fn range(quantity: Quantity) -> (f64, f64) {
    match quantity {
        Quantity::Brix => (-1.0, 60.0),
        Quantity::Concentration | Quantity::TrampOil => (0.0, 100.0),
        Quantity::Ph => (0.0, 14.0),
        Quantity::Conductivity => (0.0, 200_000.0),
        Quantity::Temperature => (-10.0, 120.0),
        Quantity::Level => (0.0, 20.0),
        Quantity::Volume => (0.0, 1e6),
        Quantity::Hardness => (0.0, 10_000.0),
        Quantity::Chloride => (0.0, 20_000.0),
        Quantity::Nitrite => (0.0, 5_000.0),
        Quantity::Bacteria | Quantity::Fungi => (0.0, 1e10),
        Quantity::DissolvedOxygen => (0.0, 50.0),
        Quantity::Redox => (-2_000.0, 2_000.0),
        Quantity::Flow => (0.0, 100_000.0),
        Quantity::Pressure => (-1.0, 500.0),
        Quantity::Metered => (0.0, 1e12),
        Quantity::State => (0.0, 1.0),
    }
}

/// A value in the quantity's unit.
pub(super) fn check(quantity: Quantity, value: f64) -> Result<(), EntryError> {
    let (lowest, highest) = range(quantity);
    if (lowest..=highest).contains(&value) {
        return Ok(());
    }
    let unit = quantity.unit();
    Err(wrong(
        "value",
        format!("{} {unit}", shown(value)),
        &format!("{quantity} can be {lowest} to {highest} {unit}; is it in another unit?"),
    ))
}

/// An amount that went into the sump or out of it, L.
pub(super) fn litres(found: f64, sump: &SumpSetup) -> Result<(), EntryError> {
    let most = MOST_FILLINGS * sump.max_volume.litres();
    if found > 0.0 && found <= most {
        return Ok(());
    }
    let holds = sump.max_volume.litres();
    Err(wrong(
        "litres",
        shown(found),
        &format!("more than 0 and at most {most} L are allowed, as the sump holds {holds} L"),
    ))
}

/// A number as people write it, also one with hundreds of digits.
fn shown(value: f64) -> String {
    if value == 0.0 || (1e-6..1e15).contains(&value.abs()) {
        value.to_string()
    } else {
        format!("{value:e}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn huge_and_tiny_numbers_are_told_briefly() {
        let told = |value| check(Quantity::Brix, value).unwrap_err().to_string();
        assert!(
            told(1e300).contains("value is 1e300 °Bx"),
            "{}",
            told(1e300)
        );
        assert!(told(-4.5).contains("value is -4.5 °Bx"), "{}", told(-4.5));
        assert_eq!(shown(1e-9), "1e-9");
        assert_eq!(shown(0.0), "0");
    }
}
