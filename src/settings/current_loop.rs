//! Instruments on a 4–20 mA loop: `unit = "mA"` and `loop = ["0 °Bx", "30 °Bx"]`.

use crate::signal::LoopRange;
use crate::units::{Conductance, Linear, Parse, Potential, Quantity};

use super::calibration::Reports;
use super::key_path::KeyPath;
use super::measure;
use super::problem::Problem;
use super::raw::RawChannel;
use super::review::Review;

/// Units that the current of a loop may come in, with the way to mA.
const UNITS: [(&str, Linear); 2] = [
    ("mA", Linear::IDENTITY),
    (
        "A",
        Linear {
            scale: 1000.0,
            offset: 0.0,
        },
    ),
];

/// Whether the channel's instrument is on a loop.
pub(super) fn is_on(raw: &RawChannel) -> bool {
    raw.r#loop.is_some() || raw.unit.as_deref() == Some("mA")
}

/// The way from the number that comes in to a current in mA.
pub(super) fn scale(review: &mut Review, at: &KeyPath, raw: &RawChannel) -> Option<Linear> {
    if raw.unit_from.is_some() {
        let problem = Problem::OnlyFor("channels without a loop");
        review.tell(&at.key("unit_from"), problem);
    }
    let path = at.key("unit");
    let example = "unit = \"mA\", as the channel is on a loop";
    let unit = review.required(&path, raw.unit.as_deref(), example)?;
    review.one_of(&path, unit, &UNITS)
}

/// The range of the channel's instrument, where it is on a loop.
pub(super) fn range(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawChannel,
    quantity: Quantity,
) -> Option<Option<LoopRange>> {
    if !is_on(raw) {
        return Some(None);
    }
    let path = at.key("loop");
    let example = "loop = [\"0 °Bx\", \"30 °Bx\"], the values at 4 mA and at 20 mA";
    let written = review.required(&path, raw.r#loop.as_deref(), example)?;
    if matches!(quantity, Quantity::Metered | Quantity::State) {
        review.tell(&path, Problem::OnlyFor("instruments that show a value"));
        return None;
    }
    let [low, high] = written else {
        let (wanted, found) = ("the values at 4 mA and at 20 mA", written.len());
        review.tell(&path, Problem::Length { wanted, found });
        return None;
    };
    let reports = Reports::of(raw, quantity);
    let mut value = |nth, text| review.good(&path.item(nth), value(reports, quantity, text));
    let (low, high) = (value(0, low.text()), value(1, high.text()));
    review.good(&path, LoopRange::new(low?, high?)).map(Some)
}

/// A value of what the instrument reports, in the unit that its calibration
/// takes.
fn value(reports: Reports, quantity: Quantity, text: &str) -> Result<f64, Problem> {
    match reports {
        Reports::Quantity => measure::value(quantity, text),
        Reports::Potential => Ok(Potential::parse(text)?.millivolts()),
        Reports::Conductance => Ok(Conductance::parse(text)?.microsiemens()),
    }
}
