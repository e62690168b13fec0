//! Rules from text to verdict.

mod properties;
mod readme;
mod right;
mod same_as_the_language;
mod wrong;

use super::*;
use crate::units::Quantity;

/// Reads a rule on the stack that this asks for.
fn compile(text: &str) -> Result<OwnRule, Vec<OwnMistake>> {
    std::thread::scope(|scope| {
        let reader = std::thread::Builder::new().stack_size(OwnRule::STACK);
        let reading = reader.spawn_scoped(scope, || OwnRule::compile(text));
        reading.unwrap().join().unwrap()
    })
}

/// The values of an ordinary hour.
fn inputs() -> OwnInputs {
    let mut inputs = OwnInputs {
        concentration: Some(6.5),
        target: Some(8.0),
        ph: Some(8.9),
        temperature: Some(24.0),
        volume: Some(700.0),
        working_volume: Some(820.0),
        evaporation: Some(20.0),
        carry_off: Some(0.0),
        pumps_run: Some(true),
        in_shift: Some(false),
        hour: Some(22),
        minute: Some(30),
        weekday: Some("sat"),
        active: vec!["concentration.low".into()],
        ..OwnInputs::default()
    };
    inputs.set_since_reading(Quantity::Ph, 12.0);
    inputs.set_since_entry(OwnEntry::Skimmed, 90.0);
    inputs
}
